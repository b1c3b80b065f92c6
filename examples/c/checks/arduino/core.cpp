#include "Arduino.h"
extern "C" {
#include "board.h"
}

static const int values[] = {180, 178, 171, 160, 148, 136, 124};
static int next = 0;
static bool fresh = false;
SerialLine Serial;

unsigned long millis() { return 300000ul * static_cast<unsigned long>(next); }
int SerialLine::available() { return fresh; }
float SerialLine::parseFloat() {
  fresh = false;
  return static_cast<float>(values[next]);
}
void SerialLine::println(float value, int) {
  char text[8];
  int i = 7, whole = static_cast<int>(value + 0.5f);
  text[i] = 0;
  do text[--i] = static_cast<char>('0' + whole % 10); while ((whole /= 10) > 0);
  board_print(text + i);
  board_print(" ");
}
void SerialLine::println(const char *text) {
  board_print(text);
  board_print("\n");
}

extern "C" int check(void) {
  setup();
  for (next = 0; next < 7; next++) {
    fresh = true;
    loop();
  }
  return 0;
}
