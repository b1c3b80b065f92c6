/* A bedside light: five lamps, one above the other. */
#ifndef LIGHT_H
#define LIGHT_H
#include "glidepath.h"

typedef struct { uint8_t red, green, blue; } lamp;

/* What the five lamps show, lowest first; half_second flips twice a second, for what flashes. */
void light_of(const gp_view *view, int half_second, lamp lamps[5]);
#endif
