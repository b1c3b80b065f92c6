// An existing sketch: a reading arrives on the serial line every five minutes as mg/dL and is shown.
#include <Arduino.h>
#include <glidepath.hpp>

glidepath::Direction direction;

void setup() {
  Serial.begin(9600);
}

void loop() {
  if (Serial.available()) {
    float mg_dl = Serial.parseFloat();
    Serial.println(mg_dl, 0);
    direction.reading(millis() / 1000, mg_dl);
    Serial.println(direction.words(millis() / 1000)); // "falling", or "not known"
  }
}
