// An existing sketch: a reading arrives on the serial line every five minutes as mg/dL and is shown.
#include <Arduino.h>
#include <glidepath.hpp>

glidepath::TrendMonitor trend;
gp_trend_view view;

void setup() {
  Serial.begin(9600);
}

void loop() {
  trend.set_uptime(millis() / 1000);
  if (Serial.available()) {
    float mg_dl = Serial.parseFloat();
    Serial.println(mg_dl, 0);
    trend.push(millis() / 1000, mg_dl, view);
    Serial.println(gp_trend_text(view.trend)); // "falling", or "not known"
    if (view.warning != GP_ALARM_NONE) Serial.println(gp_alarm_text(view.warning));
  }
}
