/* What a check needs of the machine it runs on. */
#ifndef BOARD_H
#define BOARD_H
#include <stddef.h>
#include <stdint.h>

void board_print(const char *text);

/* Paints what lies under the stack, and gives how many bytes of it were used since; 0 where it is not known. */
void board_paint(void);
uint32_t board_stack(void);

/* The check itself; 0 is success. */
int check(void);
#endif
