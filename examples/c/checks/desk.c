/* A desk. */
#include "board.h"
#include <stdio.h>

void board_print(const char *text) { fputs(text, stdout); }
void board_paint(void) {}
uint32_t board_stack(void) { return 0; }
int main(void) { return check(); }
