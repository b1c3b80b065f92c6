// An existing sketch: a reading arrives on the serial line every five minutes as mg/dL and is shown.
#include <Arduino.h>

void setup() {
  Serial.begin(9600);
}

void loop() {
  if (Serial.available()) {
    float mg_dl = Serial.parseFloat();
    Serial.println(mg_dl, 0);
  }
}
