// As much of the Arduino core as the sketch takes, fed with a fall and then a silence.
#pragma once
#include <stddef.h>
#include <stdint.h>

unsigned long millis();

struct SerialLine {
  void begin(long) {}
  int available();
  float parseFloat();
  void println(float value, int digits);
  void println(const char *text);
};
extern SerialLine Serial;
void setup();
void loop();
