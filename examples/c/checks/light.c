/* The bedside light through an invented night: in range, silence, high, low, very low, acknowledged, and then
 * silence: a very low value is not forgotten. */
#include "../examples/light/light.h"
#include "board.h"

static gp_monitor_24 monitor;
static gp_view view;

static void show(const char *when) {
    lamp lamps[5];
    char text[8];
    light_of(&view, 1, lamps);
    for (int i = 0; i < 5; i++) {
        const lamp *l = &lamps[4 - i]; /* the highest first */
        text[i] = (char)(l->red == 255 ? 'R' : l->red == 213 ? 'v' : l->blue == 115 ? 'g' : l->blue == 233 ? 'b' :
                         l->red == 24 ? 'w' : '.');
    }
    text[5] = '\n';
    text[6] = 0;
    board_print(when);
    board_print(" ");
    board_print(text);
}

int check(void) {
    uint32_t at = 1700000000u;
    gp_code code = gp_monitor_init(&monitor, sizeof monitor, 24);
    code |= gp_monitor_tick(&monitor, at, &view, sizeof view);
    show("nothing yet");
    static const struct { int from, to; const char *name; } legs[] = {
        {100, 140, "in range"}, {140, 240, "high"}, {240, 66, "low"}, {66, 50, "very low"},
    };
    for (int leg = 0; leg < 4; leg++) {
        for (int i = 0; i <= 12; i++, at += 300u) {
            float mg_dl = (float)(legs[leg].from + (legs[leg].to - legs[leg].from) * i / 12);
            code |= gp_monitor_push(&monitor, at, mg_dl, GP_STATUS_NORMAL, &view, sizeof view);
        }
        show(legs[leg].name);
        if (leg == 0) {
            at += 3600u;
            code |= gp_monitor_tick(&monitor, at, &view, sizeof view);
            show("silence");
        }
    }
    code |= gp_monitor_acknowledge(&monitor);
    code |= gp_monitor_tick(&monitor, at - 240u, &view, sizeof view);
    show("acknowledged");
    code |= gp_monitor_tick(&monitor, at + 7200u, &view, sizeof view);
    show("nobody came");
    return code;
}
