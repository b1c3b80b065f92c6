/* A bedside light, in C. Not a medical device: see README.md.
 *
 *     lowest               vermilion                 low
 *     middle               bluish green              in range
 *     highest              sky blue                  high
 *     lowest and highest   white, dim                not known
 *     lowest and highest   vermilion and sky blue    doubted
 *     all five, flashing   red                       very low, until somebody acknowledges it
 *
 * The place tells it all, the colours (Okabe and Ito 2008) only help. "In range" is shown only while silence means that
 * all is well. */
#include "light.h"

void light_of(const gp_view *view, int half_second, lamp lamps[5]) {
    static const lamp off = {0, 0, 0}, red = {255, 0, 0}, vermilion = {213, 94, 0}, bluish_green = {0, 158, 115},
                      sky_blue = {86, 180, 233}, dim = {24, 24, 24};
    const gp_alarm *floor = &view->alarms[GP_ALARM_FLOOR];
    for (int i = 0; i < 5; i++) lamps[i] = off;
    if (floor->holds && !floor->acknowledged) {
        for (int i = 0; i < 5; i++) lamps[i] = half_second ? red : off;
    } else if (!(view->has & GP_HAS_SHOWN)) {
        lamps[0] = lamps[4] = dim;
    } else if (floor->holds || view->alarms[GP_ALARM_LOW].holds) { /* whatever the digits say */
        lamps[0] = vermilion;
    } else if (view->shown_doubted) {
        lamps[0] = vermilion;
        lamps[4] = sky_blue;
    } else if (!view->monitoring) {
        lamps[0] = lamps[4] = dim;
    } else if (view->shown_mg_dl < 70.0f) {
        lamps[0] = vermilion;
    } else if (view->shown_mg_dl > 180.0f) {
        lamps[4] = sky_blue;
    } else {
        lamps[2] = bluish_green;
    }
}
