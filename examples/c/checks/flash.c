/* What the linker keeps: -DDIRECTION, -DTREND, -DPAIR, -DMONITOR, with -DSETTINGS or -DSNAPSHOT too. Only linked, or run to see that it is whole. */
#include "board.h"
#include "glidepath.h"

static union {
    gp_direction direction;
    gp_trend_monitor trend;
    gp_monitor_24 monitor;
    gp_pair_24 pair;
} memory;
static volatile uint32_t at;
static volatile float mg_dl = 100.0f;

int check(void) {
    gp_code code;
#ifdef DIRECTION
    gp_direction_view direction;
    code = gp_direction_init(&memory.direction, sizeof memory.direction, NULL);
    code |= gp_direction_reading(&memory.direction, at, mg_dl, 1);
    code |= gp_direction_now(&memory.direction, at, &direction, sizeof direction);
#endif
#ifdef TREND
    gp_trend_view trend;
    code = gp_trend_monitor_init(&memory.trend, sizeof memory.trend, NULL);
    code |= gp_trend_monitor_push(&memory.trend, at, mg_dl, GP_STATUS_NORMAL, &trend, sizeof trend);
    code |= gp_trend_monitor_tick(&memory.trend, at, &trend, sizeof trend);
#endif
#ifdef MONITOR
    gp_view view;
    code = gp_monitor_init(&memory.monitor, sizeof memory.monitor, 24);
    code |= gp_monitor_push(&memory.monitor, at, mg_dl, GP_STATUS_NORMAL, &view, sizeof view);
    code |= gp_monitor_tick(&memory.monitor, at, &view, sizeof view);
    code |= gp_monitor_acknowledge(&memory.monitor);
#endif
#ifdef PAIR
    gp_pair_view both;
    code = gp_pair_init(&memory.pair, sizeof memory.pair, 24);
    code |= gp_pair_push(&memory.pair, GP_SIDE_FIRST, at, mg_dl, GP_STATUS_NORMAL, &both, sizeof both);
    code |= gp_pair_push(&memory.pair, GP_SIDE_SECOND, at, mg_dl, GP_STATUS_NORMAL, &both, sizeof both);
    code |= gp_pair_tick(&memory.pair, at, &both, sizeof both);
    code |= gp_pair_acknowledge(&memory.pair);
#endif
#ifdef SETTINGS
    static gp_settings settings;
    code |= gp_settings_default(&settings, sizeof settings);
    settings.alarms[0].rules[GP_ALARM_LOW].limit = mg_dl - 25.0f;
    code |= gp_monitor_init_with(&memory.monitor, sizeof memory.monitor, 24, &settings, NULL);
#endif
#ifdef PAIR_SNAPSHOT
    static uint8_t bytes[4096];
    size_t length;
    code |= gp_pair_save(&memory.pair, bytes, sizeof bytes, &length);
    code |= gp_pair_restore(&memory.pair, bytes, length);
#endif
#ifdef SNAPSHOT
    static uint8_t bytes[4096];
    size_t length;
    code |= gp_monitor_save(&memory.monitor, bytes, sizeof bytes, &length);
    code |= gp_monitor_restore(&memory.monitor, bytes, length);
#endif
    return code;
}
