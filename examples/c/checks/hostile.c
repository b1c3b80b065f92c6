/* Every function with arguments that are wrong: each has to give a code, change no object and write no result. Memory is
 * taken from the heap in exact sizes, so that an address sanitizer sees a step beyond. */
#include "board.h"
#include "glidepath.h"
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static int checks, failed;
static const char *called[128];
static int calls;

static void calls_function(const char *name) {
    for (int i = 0; i < calls; i++) {
        if (strcmp(called[i], name) == 0) return;
    }
    called[calls++] = name;
}

/* What must not change: objects and results. */
static struct { const void *memory; void *copy; size_t size; } kept[16];
static int keeps;

static void keep(const void *memory, size_t size) {
    kept[keeps].memory = memory;
    kept[keeps].copy = malloc(size);
    kept[keeps].size = size;
    memcpy(kept[keeps].copy, memory, size);
    keeps++;
}

static void release(void) {
    while (keeps > 0) free(kept[--keeps].copy);
}

static void judge(gp_code got, gp_code want, const char *call, int line) {
    checks++;
    if (got != want) {
        failed++;
        printf("line %d: %s gave \"%s\", not \"%s\"\n", line, call, gp_code_text(got), gp_code_text(want));
    }
    for (int i = 0; want != GP_OK && i < keeps; i++) {
        if (memcmp(kept[i].memory, kept[i].copy, kept[i].size) != 0) {
            failed++;
            printf("line %d: a refused %s changed something\n", line, call);
        }
    }
}
#define GIVES(want, function, ...) (calls_function(#function), judge(function(__VA_ARGS__), want, #function, __LINE__))

static void *taken[128];
static int takes;

static void *take(size_t size, int byte) { /* zeroed with 0, else garbage */
    void *memory = malloc(size);
    memset(memory, byte, size);
    return taken[takes++] = memory;
}

static void texts(void) {
    /* each enumeration has as many texts as numbers, and none beyond */
    static const struct { const char *(*text)(uint8_t); const char *name; int count; } all[] = {
        {gp_status_text, "gp_status_text", 6}, {gp_trend_text, "gp_trend_text", 6},
        {gp_verdict_text, "gp_verdict_text", 12}, {gp_grade_text, "gp_grade_text", 4},
        {gp_reason_text, "gp_reason_text", 12}, {gp_alarm_text, "gp_alarm_text", GP_ALARMS},
        {gp_alarm_title, "gp_alarm_title", GP_ALARMS}, {gp_priority_text, "gp_priority_text", 3},
        {gp_cause_text, "gp_cause_text", 4}, {gp_fingerstick_text, "gp_fingerstick_text", 10},
        {gp_side_text, "gp_side_text", GP_SIDES}, {gp_pair_text, "gp_pair_text", 7},
    };
    for (size_t k = 0; k < sizeof all / sizeof all[0]; k++) {
        calls_function(all[k].name);
        for (int number = 0; number < 256; number++) {
            const char *text = all[k].text((uint8_t)number);
            size_t length = strlen(text);
            checks++;
            if ((number < all[k].count) != (length > 0) || length > 100) {
                failed++;
                printf("%s(%d) is \"%s\"\n", all[k].name, number, text);
            }
        }
    }
    calls_function("gp_code_text");
    for (gp_code code = -3; code < 40; code++) {
        int none = strcmp(gp_code_text(code), "no code of this library") == 0;
        checks++;
        if (none != (code < 0 || code > GP_ERROR_OTHER)) {
            failed++;
            printf("code %d has a wrong text\n", (int)code);
        }
    }
    calls_function("gp_version");
    checks++;
    if (gp_version() != GP_VERSION) failed++;
    GIVES(GP_OK, gp_check, GP_VERSION, GP_LAYOUT);
    GIVES(GP_ERROR_VERSION, gp_check, GP_VERSION + 1u, GP_LAYOUT);
    GIVES(GP_ERROR_SIZE, gp_check, GP_VERSION, GP_LAYOUT ^ 1u);
}

/* One field of settings at a value; what the check must give. */
#define SETTING(want, place, value)                                                                                    \
    do {                                                                                                               \
        *s = shipped;                                                                                                  \
        s->place = (value);                                                                                            \
        GIVES(want, gp_settings_check, s, &fault);                                                                     \
    } while (0)
#define RANGE(place, low, below, high, above)                                                                          \
    do {                                                                                                               \
        SETTING(GP_OK, place, low);                                                                                    \
        SETTING(GP_ERROR_OUT_OF_RANGE, place, below);                                                                  \
        SETTING(GP_OK, place, high);                                                                                   \
        SETTING(GP_ERROR_OUT_OF_RANGE, place, above);                                                                  \
    } while (0)
#define REAL(place, low, below, high, above)                                                                           \
    do {                                                                                                               \
        RANGE(place, low, below, high, above);                                                                         \
        SETTING(GP_ERROR_NOT_FINITE, place, NAN);                                                                      \
        SETTING(GP_ERROR_NOT_FINITE, place, INFINITY);                                                                 \
    } while (0)

static void settings(void) {
    gp_settings *s = take(sizeof *s, 0x5a);
    gp_fault fault;
    memset(&fault, 0x5a, sizeof fault);
    keep(s, sizeof *s);
    GIVES(GP_ERROR_NULL, gp_settings_default, NULL, sizeof *s);
    GIVES(GP_ERROR_SIZE, gp_settings_default, s, sizeof *s - 1);
    GIVES(GP_ERROR_SIZE, gp_settings_default, s, 0);
    GIVES(GP_ERROR_VERSION, gp_settings_check, s, &fault);
    release();
    GIVES(GP_OK, gp_settings_default, s, sizeof *s);
    GIVES(GP_OK, gp_settings_check, s, NULL);
    GIVES(GP_ERROR_NULL, gp_settings_check, NULL, &fault);
    GIVES(GP_ERROR_ALIGNMENT, gp_settings_check, (const gp_settings *)(const void *)((const char *)s + 1), &fault);
    const gp_settings shipped = *s;
    SETTING(GP_ERROR_VERSION, version, GP_VERSION + 1u);
    SETTING(GP_ERROR_SIZE, size, sizeof *s - 4);

    /* the ranges that the header states */
    REAL(model.lag_min, 0.5f, 0.49f, 12.4f, 30.1f);
    REAL(model.coloured_sd, 0.0f, -0.1f, 60.0f, 60.1f);
    REAL(model.coloured_time_min, 1.0f, 0.99f, 1000.0f, 1001.0f);
    REAL(model.white_sd, 0.1f, 0.09f, 60.0f, 60.1f);
    REAL(model.rate_time_min, 1.0f, 0.99f, 1000.0f, 1001.0f);
    REAL(model.process_noise, 0.0001f, 0.00009f, 10.0f, 10.1f);
    SETTING(GP_ERROR_INCONSISTENT, model.lag_min, 13.0f); /* over rate_time_min / 1.2 */
    SETTING(GP_OK, model.kind, GP_MODEL_PLAIN);
    SETTING(GP_ERROR_NUMBER, model.kind, 2);
    REAL(drift.gain_sd, 0.001f, 0.0009f, 0.5f, 0.51f);
    REAL(drift.gain_time_min, 60.0f, 59.0f, 259200.0f, 259300.0f);
    REAL(drift.offset_sd, 0.1f, 0.09f, 40.0f, 41.0f);
    REAL(drift.offset_time_min, 60.0f, 59.0f, 259200.0f, 259300.0f);
    REAL(drift.scatter, 0.02f, 0.019f, 0.3f, 0.31f);
    REAL(drift.caution, 0.5f, 0.49f, 10.0f, 10.1f);
    REAL(bands.moderate, 0.2f, 0.09f, 1.9f, 10.1f);
    REAL(bands.fast, 1.1f, 0.09f, 10.0f, 10.1f);
    SETTING(GP_ERROR_INCONSISTENT, bands.fast, 1.0f);
    REAL(bands.margin, 0.0f, -0.01f, 0.5f, 0.51f);
    REAL(bands.widest_sd, 0.1f, 0.09f, 10.0f, 10.1f);
    REAL(bands.missing_costs, 0.05f, 0.049f, 20.0f, 20.1f);
    REAL(quality.least_mg_dl, 0.0f, -1.0f, 30.0f, 31.0f);
    REAL(quality.greatest_mg_dl, 200.0f, 199.0f, 2000.0f, 2001.0f);
    REAL(quality.jump_sd, 2.0f, 1.9f, 10.0f, 10.1f);
    REAL(quality.pressure_share, 0.05f, 0.04f, 0.5f, 0.51f);
    REAL(quality.noisy_scale, 1.0f, 0.9f, 16.0f, 16.1f);
    RANGE(quality.gap_s, 60, 59, 21600, 21601);
    RANGE(quality.pressure_hold_s, 0, -1, 3600, 3601);
    RANGE(quality.stuck_span_s, 0, -1, 21600, 21601);
    RANGE(quality.first_day_s, 3600, -1, 172800, 172801);
    SETTING(GP_OK, quality.warm_up_s, 86400);
    SETTING(GP_ERROR_OUT_OF_RANGE, quality.warm_up_s, 86401);
    SETTING(GP_ERROR_INCONSISTENT, quality.first_day_s, 3599);
    RANGE(quality.wear_s, 3600, 3599, 34560000, 34560001);
    SETTING(GP_OK, quality.night_from_min, 1439);
    SETTING(GP_ERROR_OUT_OF_RANGE, quality.night_from_min, 1440);
    SETTING(GP_OK, quality.night_to_min, 1439);
    SETTING(GP_ERROR_OUT_OF_RANGE, quality.night_to_min, 65535);
    RANGE(quality.stuck_readings, 3, 2, 100, 101);
    SETTING(GP_OK, personal, 0);
    SETTING(GP_ERROR_NUMBER, personal, 2);
    RANGE(profiles, 1, 0, 4, 5);
    SETTING(GP_OK, slots, 8);
    SETTING(GP_ERROR_OUT_OF_RANGE, slots, 9);
    REAL(alarms[0].recovering, 0.2f, 0.19f, 5.0f, 5.1f);
    RANGE(alarms[0].pressure_hold_s, 0, -1, 1800, 1801);
    for (uint8_t kind = GP_ALARM_LOW; kind < GP_ALARMS; kind++) {
        gp_limits limits;
        GIVES(GP_OK, gp_alarm_limits, kind, &limits, sizeof limits);
        float widest = kind == GP_ALARM_LOW_AHEAD ? 0.5f : 60.0f;
        float step = (limits.greatest - limits.least) / 100.0f + 0.01f;
        *s = shipped;
        if (kind == GP_ALARM_LOW) s->alarms[0].rules[GP_ALARM_HIGH].limit = 400.0f;
        if (kind == GP_ALARM_HIGH) s->alarms[0].rules[GP_ALARM_LOW].limit = 60.0f;
        const gp_settings apart = *s;
        const float limit[4] = {limits.least, limits.least - step, limits.greatest, limits.greatest + step};
        for (int i = 0; i < 4; i++) {
            *s = apart;
            s->alarms[0].rules[kind].limit = limit[i];
            GIVES(i % 2 == 0 ? GP_OK : GP_ERROR_OUT_OF_RANGE, gp_settings_check, s, &fault);
        }
        SETTING(GP_ERROR_NOT_FINITE, alarms[0].rules[kind].limit, NAN);
        SETTING(GP_OK, alarms[0].rules[kind].hysteresis, 0.0f);
        SETTING(GP_ERROR_OUT_OF_RANGE, alarms[0].rules[kind].hysteresis, -0.1f);
        SETTING(GP_ERROR_OUT_OF_RANGE, alarms[0].rules[kind].hysteresis, widest * 1.01f);
        SETTING(GP_ERROR_NOT_FINITE, alarms[0].rules[kind].hysteresis, INFINITY);
        int32_t most = kind == GP_ALARM_LOW ? 1800 : 86400, least = kind == GP_ALARM_LOW ? 60 : 0;
        RANGE(alarms[0].rules[kind].delay_s, 0, -1, most, most + 1);
        RANGE(alarms[0].rules[kind].repeat_s, least, least - 1, most, most + 1);
        RANGE(alarms[0].rules[kind].quiet_s, 0, -1, most, most + 1);
        RANGE(alarms[0].rules[kind].escalate_s, 0, -1, 86400, 86401);
        SETTING(GP_OK, alarms[0].rules[kind].on, 0);
        SETTING(GP_ERROR_NUMBER, alarms[0].rules[kind].on, 255);
        SETTING(GP_OK, alarms[0].rules[kind].priority, GP_PRIORITY_HIGH);
        SETTING(GP_ERROR_NUMBER, alarms[0].rules[kind].priority, 3);
    }
    SETTING(GP_ERROR_OUT_OF_RANGE, alarms[0].rules[GP_ALARM_FLOOR].limit, 50.0f);
    SETTING(GP_ERROR_OUT_OF_RANGE, alarms[0].rules[GP_ALARM_FLOOR].on, 0);
    *s = shipped;
    s->alarms[0].rules[GP_ALARM_LOW].limit = s->alarms[0].rules[GP_ALARM_HIGH].limit = 120.0f;
    GIVES(GP_ERROR_INCONSISTENT, gp_settings_check, s, &fault);
    checks++;
    if (strcmp(fault.parameter, "high") != 0) {
        failed++;
        printf("the fault names \"%s\", not high\n", fault.parameter);
    }
    SETTING(GP_OK, alarms[1].rules[GP_ALARM_LOW].limit, 9.0f); /* not used */
    *s = shipped;
    s->profiles = 2;
    s->alarms[1].rules[GP_ALARM_LOW].limit = 9.0f;
    GIVES(GP_ERROR_OUT_OF_RANGE, gp_settings_check, s, &fault);
    const gp_slot wrong[] = {{0x80, 0, 0, 0}, {1, 1, 0, 0}, {1, 0, 1440, 0}, {1, 0, 0, 1440}, {1, 255, 0, 0}};
    for (size_t i = 0; i < sizeof wrong / sizeof wrong[0]; i++) {
        *s = shipped;
        s->slots = 1;
        s->slot[0] = wrong[i];
        GIVES(GP_ERROR_OUT_OF_RANGE, gp_settings_check, s, &fault);
    }
    gp_limits limits;
    memset(&limits, 0x5a, sizeof limits);
    keep(&limits, sizeof limits);
    GIVES(GP_ERROR_NUMBER, gp_alarm_limits, GP_ALARMS, &limits, sizeof limits);
    GIVES(GP_ERROR_NUMBER, gp_alarm_limits, GP_ALARM_NONE, &limits, sizeof limits);
    GIVES(GP_ERROR_NULL, gp_alarm_limits, GP_ALARM_LOW, NULL, sizeof limits);
    GIVES(GP_ERROR_SIZE, gp_alarm_limits, GP_ALARM_LOW, &limits, 4);
    release();
    gp_bands bands;
    GIVES(GP_ERROR_NULL, gp_bands_default, NULL);
    GIVES(GP_OK, gp_bands_default, &bands);
}

/* Each call that takes a monitor, on memory that is none. */
static void on_no_monitor(gp_code want, void *monitor) {
    static gp_view view;
    static gp_settings s;
    static gp_reading readings[4];
    static uint8_t bytes[16];
    gp_fingerstick outcome;
    gp_wear wear;
    gp_calibration calibration;
    size_t count;
    int32_t granted;
    memset(&view, 0x5a, sizeof view);
    memset(&outcome, 0x5a, sizeof outcome);
    memset(&wear, 0x5a, sizeof wear);
    memset(&calibration, 0x5a, sizeof calibration);
    memset(readings, 0x5a, sizeof readings);
    memset(bytes, 0x5a, sizeof bytes);
    count = 7;
    granted = 7;
    gp_settings_default(&s, sizeof s);
    keep(&view, sizeof view);
    keep(&outcome, sizeof outcome);
    keep(&wear, sizeof wear);
    keep(&calibration, sizeof calibration);
    keep(readings, sizeof readings);
    keep(bytes, sizeof bytes);
    keep(&count, sizeof count);
    keep(&granted, sizeof granted);
    GIVES(want, gp_monitor_push, monitor, 0, 100.0f, 0, &view, sizeof view);
    GIVES(want, gp_monitor_tick, monitor, 0, &view, sizeof view);
    GIVES(want, gp_monitor_tick_without_clock, monitor, &view, sizeof view);
    GIVES(want, gp_monitor_set_uptime, monitor, 0);
    GIVES(want, gp_monitor_fingerstick, monitor, 0, 100.0f, &outcome, sizeof outcome);
    GIVES(want, gp_monitor_sensor_started, monitor, 0);
    GIVES(want, gp_monitor_power_returned, monitor);
    GIVES(want, gp_monitor_restart, monitor);
    GIVES(want, gp_monitor_set_utc_offset, monitor, 0);
    GIVES(want, gp_monitor_clear_utc_offset, monitor);
    GIVES(want, gp_monitor_acknowledge, monitor);
    GIVES(want, gp_monitor_snooze, monitor, GP_ALARM_LOW, 60, &granted);
    GIVES(want, gp_monitor_set_alarms, monitor, &s, NULL);
    GIVES(want, gp_monitor_history, monitor, readings, 4, &count);
    GIVES(want, gp_monitor_wear, monitor, &wear, sizeof wear);
    GIVES(want, gp_monitor_calibration, monitor, &calibration, sizeof calibration);
    GIVES(want, gp_monitor_save, monitor, bytes, sizeof bytes, &count);
    GIVES(want, gp_monitor_restore, monitor, bytes, sizeof bytes);
    release();
}

#define CAPACITIES 4
static const struct { uint32_t readings; size_t size; } capacities[CAPACITIES] = {
    {24, sizeof(gp_monitor_24)}, {96, sizeof(gp_monitor_96)}, {288, sizeof(gp_monitor_288)}, {1440, sizeof(gp_monitor_1440)},
};

/* A snapshot's last four bytes: the CRC-32 of IEEE 802.3 of all before them. */
static void seal(uint8_t *bytes, size_t length) {
    uint32_t crc = UINT32_MAX;
    for (size_t i = 0; i < length - 4; i++) {
        crc ^= bytes[i];
        for (int bit = 0; bit < 8; bit++) crc = (crc >> 1) ^ (0xedb88320u & (0u - (crc & 1u)));
    }
    for (size_t i = 0; i < 4; i++) bytes[length - 4 + i] = (uint8_t)(~crc >> (8 * i));
}

static void one_monitor(uint32_t capacity, size_t size) {
    void *monitor = take(size, 0);
    gp_settings *s = take(sizeof *s, 0);
    gp_fault fault;
    on_no_monitor(GP_ERROR_NOT_READY, monitor);
    memset(monitor, 0x5a, size);
    on_no_monitor(GP_ERROR_NOT_READY, monitor);
    memset(monitor, 0xff, size);
    on_no_monitor(GP_ERROR_NOT_READY, monitor);
    keep(monitor, size);
    GIVES(GP_ERROR_NULL, gp_monitor_init, NULL, size, capacity);
    GIVES(GP_ERROR_ALIGNMENT, gp_monitor_init, (char *)monitor + 1, size - 8, capacity);
    GIVES(GP_ERROR_SIZE, gp_monitor_init, monitor, 0, capacity);
    GIVES(GP_ERROR_SIZE, gp_monitor_init, monitor, size / 2, capacity);
    GIVES(GP_ERROR_NUMBER, gp_monitor_init, monitor, size, capacity + 1);
    GIVES(GP_ERROR_NUMBER, gp_monitor_init, monitor, size, 0);
    GIVES(GP_ERROR_NUMBER, gp_monitor_init, monitor, size, UINT32_MAX);
    GIVES(GP_ERROR_NULL, gp_monitor_init_with, NULL, size, capacity, s, NULL);
    GIVES(GP_ERROR_NULL, gp_monitor_init_with, monitor, size, capacity, NULL, &fault);
    GIVES(GP_ERROR_ALIGNMENT, gp_monitor_init_with, (char *)monitor + 1, size - 8, capacity, s, NULL);
    GIVES(GP_ERROR_SIZE, gp_monitor_init_with, monitor, size / 2, capacity, s, NULL);
    GIVES(GP_ERROR_NUMBER, gp_monitor_init_with, monitor, size, capacity + 1, s, NULL);
    GIVES(GP_ERROR_VERSION, gp_monitor_init_with, monitor, size, capacity, s, &fault);
    gp_settings_default(s, sizeof *s);
    s->quality.jump_sd = 100.0f;
    GIVES(GP_ERROR_OUT_OF_RANGE, gp_monitor_init_with, monitor, size, capacity, s, NULL);
    GIVES(GP_ERROR_OUT_OF_RANGE, gp_monitor_init_with, monitor, size, capacity, s, &fault);
    checks++;
    if (strcmp(fault.parameter, "jump_sd") != 0) failed++;
    release();
    if (capacity < 1440) { /* a larger one does not fit */
        keep(monitor, size);
        GIVES(GP_ERROR_SIZE, gp_monitor_init, monitor, size, 1440);
        release();
    }
    gp_settings_default(s, sizeof *s);
    GIVES(GP_OK, gp_monitor_init_with, monitor, size, capacity, s, &fault);
    on_no_monitor(GP_ERROR_NULL, NULL);
    on_no_monitor(GP_ERROR_ALIGNMENT, (char *)monitor + 1);

    gp_view *view = take(sizeof *view, 0x5a);
    gp_fingerstick *outcome = take(sizeof *outcome, 0x5a);
    gp_wear *wear = take(sizeof *wear, 0x5a);
    gp_calibration *calibration = take(sizeof *calibration, 0x5a);
    gp_reading *readings = take(4 * sizeof *readings, 0x5a);
    size_t *count = take(sizeof *count, 0x5a);
    int32_t *granted = take(sizeof *granted, 0x5a);
    size_t room = gp_snapshot_bytes_needed(capacity);
    uint8_t *bytes = take(room, 0x5a);
    for (uint32_t i = 0; i < 30; i++) {
        GIVES(GP_OK, gp_monitor_push, monitor, 300 * i, 120.0f, GP_STATUS_NORMAL, view, sizeof *view);
    }
    keep(monitor, size);
    keep(view, sizeof *view);
    keep(outcome, sizeof *outcome);
    keep(wear, sizeof *wear);
    keep(calibration, sizeof *calibration);
    keep(readings, 4 * sizeof *readings);
    keep(count, sizeof *count);
    keep(granted, sizeof *granted);
    static const float wrong[] = {-1.0f, 2000.1f, -0.001f, 1e30f};
    for (size_t i = 0; i < 4; i++) {
        GIVES(GP_ERROR_OUT_OF_RANGE, gp_monitor_push, monitor, 9300, wrong[i], 0, view, sizeof *view);
        GIVES(GP_ERROR_OUT_OF_RANGE, gp_monitor_fingerstick, monitor, 9000, wrong[i], outcome, sizeof *outcome);
    }
    GIVES(GP_ERROR_NOT_FINITE, gp_monitor_push, monitor, 9300, NAN, 0, view, sizeof *view);
    GIVES(GP_ERROR_NOT_FINITE, gp_monitor_push, monitor, 9300, -INFINITY, 0, view, sizeof *view);
    GIVES(GP_ERROR_NUMBER, gp_monitor_push, monitor, 9300, 100.0f, 6, view, sizeof *view);
    GIVES(GP_ERROR_NUMBER, gp_monitor_push, monitor, 9300, 100.0f, 255, view, sizeof *view);
    GIVES(GP_ERROR_NULL, gp_monitor_push, monitor, 9300, 100.0f, 0, NULL, sizeof *view);
    GIVES(GP_ERROR_SIZE, gp_monitor_push, monitor, 9300, 100.0f, 0, view, sizeof *view - 4);
    GIVES(GP_ERROR_SIZE, gp_monitor_push, monitor, 9300, 100.0f, 0, view, sizeof *view + 4);
    GIVES(GP_ERROR_NULL, gp_monitor_tick, monitor, 9300, NULL, sizeof *view);
    GIVES(GP_ERROR_SIZE, gp_monitor_tick, monitor, 9300, view, 0);
    GIVES(GP_ERROR_NULL, gp_monitor_tick_without_clock, monitor, NULL, sizeof *view);
    GIVES(GP_ERROR_SIZE, gp_monitor_tick_without_clock, monitor, view, SIZE_MAX);
    GIVES(GP_ERROR_NOT_FINITE, gp_monitor_fingerstick, monitor, 9000, NAN, outcome, sizeof *outcome);
    GIVES(GP_ERROR_NULL, gp_monitor_fingerstick, monitor, 9000, 100.0f, NULL, sizeof *outcome);
    GIVES(GP_ERROR_SIZE, gp_monitor_fingerstick, monitor, 9000, 100.0f, outcome, 1);
    GIVES(GP_ERROR_OUT_OF_RANGE, gp_monitor_set_utc_offset, monitor, 86401);
    GIVES(GP_ERROR_OUT_OF_RANGE, gp_monitor_set_utc_offset, monitor, INT32_MIN);
    GIVES(GP_ERROR_NUMBER, gp_monitor_snooze, monitor, GP_ALARMS, 60, granted);
    GIVES(GP_ERROR_NULL, gp_monitor_snooze, monitor, GP_ALARM_LOW, 60, NULL);
    GIVES(GP_ERROR_NULL, gp_monitor_set_alarms, monitor, NULL, &fault);
    s->alarms[0].rules[GP_ALARM_LOW].limit = 3.9f; /* mmol/L by mistake */
    GIVES(GP_ERROR_OUT_OF_RANGE, gp_monitor_set_alarms, monitor, s, &fault);
    s->size = 0;
    GIVES(GP_ERROR_SIZE, gp_monitor_set_alarms, monitor, s, &fault);
    GIVES(GP_ERROR_NULL, gp_monitor_history, monitor, NULL, 4, count);
    GIVES(GP_ERROR_NULL, gp_monitor_history, monitor, readings, 4, NULL);
    GIVES(GP_ERROR_SIZE, gp_monitor_history, monitor, readings, SIZE_MAX, count);
    GIVES(GP_ERROR_SIZE, gp_monitor_history, monitor, readings, SIZE_MAX / sizeof *readings, count);
    GIVES(GP_ERROR_NULL, gp_monitor_wear, monitor, NULL, sizeof *wear);
    GIVES(GP_ERROR_SIZE, gp_monitor_wear, monitor, wear, 4);
    GIVES(GP_ERROR_NULL, gp_monitor_calibration, monitor, NULL, sizeof *calibration);
    GIVES(GP_ERROR_SIZE, gp_monitor_calibration, monitor, calibration, 4);
    GIVES(GP_ERROR_NULL, gp_monitor_save, monitor, NULL, room, count);
    GIVES(GP_ERROR_NULL, gp_monitor_save, monitor, bytes, room, NULL);
    GIVES(GP_ERROR_SIZE, gp_monitor_save, monitor, bytes, SIZE_MAX, count);
    for (size_t small = 0; small < 200; small += 13) {
        GIVES(GP_ERROR_BUFFER_TOO_SMALL, gp_monitor_save, monitor, bytes, small, count);
    }
    release();
    GIVES(GP_OK, gp_monitor_history, monitor, readings, 4, count);
    checks++;
    if (*count != 4 || readings[3].at_s != 8700 || readings[0].at_s != 7800) failed++;
    GIVES(GP_OK, gp_monitor_save, monitor, bytes, room, count);
    size_t length = *count;
    checks++;
    if (length < 100 || length > room) {
        failed++;
        return;
    }

    /* a snapshot cut anywhere, or with any byte changed, is refused as a whole */
    uint8_t *cut = take(length, 0);
    memcpy(cut, bytes, length);
    keep(monitor, size);
    GIVES(GP_ERROR_NULL, gp_monitor_restore, monitor, NULL, length);
    GIVES(GP_ERROR_SIZE, gp_monitor_restore, monitor, cut, SIZE_MAX);
    for (size_t i = 0; i < length; i += 1 + length / 60) {
        uint8_t *part = malloc(i ? i : 1);
        memcpy(part, cut, i);
        GIVES(GP_ERROR_SNAPSHOT_INCOMPLETE, gp_monitor_restore, monitor, part, i);
        free(part);
        cut[i] ^= 0x10;
        calls_function("gp_monitor_restore");
        gp_code code = gp_monitor_restore(monitor, cut, length);
        judge(code, code == GP_OK ? GP_ERROR_SNAPSHOT_CHECKSUM : code, "gp_monitor_restore", __LINE__);
        cut[i] ^= 0x10;
    }
    cut[4] ^= 1;
    GIVES(GP_ERROR_SNAPSHOT_VERSION, gp_monitor_restore, monitor, cut, length);
    cut[4] ^= 1;
    cut[length / 2] ^= 1;
    GIVES(GP_ERROR_SNAPSHOT_CHECKSUM, gp_monitor_restore, monitor, cut, length);
    cut[length / 2] ^= 1;
    /* whole by its checksum, and nonsense: not one byte of it may reach the monitor */
    size_t refused = 0;
    for (size_t i = 10; i + 4 < length; i++) {
        uint8_t was = cut[i];
        cut[i] = 0xff;
        seal(cut, length);
        gp_code code = gp_monitor_restore(monitor, cut, length);
        if (code == GP_OK) { /* such a state may be: a clock, say */
            memcpy(monitor, kept[0].copy, size);
        } else {
            judge(code, GP_ERROR_SNAPSHOT_STATE, "gp_monitor_restore", __LINE__);
            refused++;
        }
        cut[i] = was;
    }
    memset(cut + 10, 0xff, length - 14);
    seal(cut, length);
    GIVES(GP_ERROR_SNAPSHOT_STATE, gp_monitor_restore, monitor, cut, length);
    memcpy(cut, bytes, length);
    checks++;
    if (refused < 40) failed++;
    release();
    GIVES(GP_OK, gp_monitor_restore, monitor, cut, length);

    /* numbers that are allowed, however odd */
    static const uint32_t odd[] = {0, 1, UINT32_MAX, 0x80000000u, 9000, 0x7fffffffu, 9001, 4000000000u};
    for (uint32_t i = 0; i < 2000; i++) {
        uint32_t at = odd[i * 7u % 8u] + i % 3u * 300u;
        GIVES(GP_OK, gp_monitor_set_uptime, monitor, odd[i % 8u]);
        GIVES(GP_OK, gp_monitor_push, monitor, at, (float)(i * 37u % 2001u), (uint8_t)(i % 6u), view, sizeof *view);
        GIVES(GP_OK, gp_monitor_tick, monitor, odd[i * 3u % 8u], view, sizeof *view);
        GIVES(GP_OK, gp_monitor_tick_without_clock, monitor, view, sizeof *view);
        GIVES(GP_OK, gp_monitor_fingerstick, monitor, odd[i * 5u % 8u], (float)(i % 601u), outcome, sizeof *outcome);
        GIVES(GP_OK, gp_monitor_snooze, monitor, (uint8_t)(i % GP_ALARMS), (int32_t)odd[i % 8u], granted);
        GIVES(GP_OK, gp_monitor_acknowledge, monitor);
        GIVES(GP_OK, gp_monitor_set_utc_offset, monitor, (int32_t)(i % 2u ? 86400 : -86400));
        if (i % 100u == 50u) GIVES(GP_OK, gp_monitor_sensor_started, monitor, odd[i / 100u % 8u]);
        if (i % 200u == 70u) GIVES(GP_OK, gp_monitor_power_returned, monitor);
        if (i % 500u == 90u) GIVES(GP_OK, gp_monitor_restart, monitor);
    }
    GIVES(GP_OK, gp_monitor_clear_utc_offset, monitor);
    GIVES(GP_OK, gp_monitor_wear, monitor, wear, sizeof *wear);
    GIVES(GP_OK, gp_monitor_calibration, monitor, calibration, sizeof *calibration);
}

static void directions(void) {
    gp_direction *direction = take(sizeof *direction, 0);
    gp_trend_sign *sign = take(sizeof *sign, 0x5a);
    gp_direction_view *view = take(sizeof *view, 0x5a);
    uint8_t *trend = take(1, 0x5a);
    gp_bands bands;
    gp_bands_default(&bands);
    keep(view, sizeof *view);
    keep(trend, 1);
    keep(direction, sizeof *direction);
    keep(sign, sizeof *sign);
    GIVES(GP_ERROR_NOT_READY, gp_direction_reading, direction, 0, 100.0f, 1);
    GIVES(GP_ERROR_NOT_READY, gp_direction_now, direction, 0, view, sizeof *view);
    GIVES(GP_ERROR_NOT_READY, gp_trend_sign_step, sign, 1.0f, 0.1f, trend);
    GIVES(GP_ERROR_NULL, gp_direction_init, NULL, sizeof *direction, NULL);
    GIVES(GP_ERROR_SIZE, gp_direction_init, direction, 64, NULL);
    GIVES(GP_ERROR_ALIGNMENT, gp_direction_init, (char *)direction + 1, sizeof *direction - 1, NULL);
    GIVES(GP_ERROR_NULL, gp_trend_sign_init, NULL, sizeof *sign, NULL);
    GIVES(GP_ERROR_SIZE, gp_trend_sign_init, sign, 8, NULL);
    GIVES(GP_ERROR_ALIGNMENT, gp_trend_sign_init, sign, sizeof *sign, (gp_bands *)(void *)((char *)&bands + 1));
    bands.fast = 0.5f;
    GIVES(GP_ERROR_INCONSISTENT, gp_direction_init, direction, sizeof *direction, &bands);
    GIVES(GP_ERROR_INCONSISTENT, gp_trend_sign_init, sign, sizeof *sign, &bands);
    bands.fast = NAN;
    GIVES(GP_ERROR_NOT_FINITE, gp_trend_sign_init, sign, sizeof *sign, &bands);
    release();
    gp_bands_default(&bands);
    GIVES(GP_OK, gp_direction_init, direction, sizeof *direction, &bands);
    GIVES(GP_OK, gp_trend_sign_init, sign, sizeof *sign, &bands);
    keep(view, sizeof *view);
    keep(trend, 1);
    keep(direction, sizeof *direction);
    keep(sign, sizeof *sign);
    GIVES(GP_ERROR_NOT_READY, gp_direction_reading, sign, 0, 100.0f, 1); /* another kind of object */
    GIVES(GP_ERROR_NULL, gp_direction_reading, NULL, 0, 100.0f, 1);
    GIVES(GP_ERROR_NOT_FINITE, gp_direction_reading, direction, 0, NAN, 1);
    GIVES(GP_ERROR_OUT_OF_RANGE, gp_direction_reading, direction, 0, -5.0f, 1);
    GIVES(GP_ERROR_NUMBER, gp_direction_reading, direction, 0, 100.0f, 2);
    GIVES(GP_ERROR_NULL, gp_direction_now, NULL, 0, view, sizeof *view);
    GIVES(GP_ERROR_NULL, gp_direction_now, direction, 0, NULL, sizeof *view);
    GIVES(GP_ERROR_SIZE, gp_direction_now, direction, 0, view, sizeof *view - 1);
    GIVES(GP_ERROR_NULL, gp_trend_sign_step, NULL, 1.0f, 0.1f, trend);
    GIVES(GP_ERROR_NULL, gp_trend_sign_step, sign, 1.0f, 0.1f, NULL);
    GIVES(GP_ERROR_NOT_FINITE, gp_trend_sign_step, sign, NAN, 0.1f, trend);
    GIVES(GP_ERROR_NOT_FINITE, gp_trend_sign_step, sign, 1.0f, INFINITY, trend);
    GIVES(GP_ERROR_OUT_OF_RANGE, gp_trend_sign_step, sign, 101.0f, 0.1f, trend);
    GIVES(GP_ERROR_OUT_OF_RANGE, gp_trend_sign_step, sign, 1.0f, -0.1f, trend);
    release();
    for (uint32_t i = 0; i < 1000; i++) {
        GIVES(GP_OK, gp_direction_reading, direction, i * 2654435761u, (float)(i % 2001u), (uint8_t)(i % 2u));
        GIVES(GP_OK, gp_direction_now, direction, i * 40503u, view, sizeof *view);
        GIVES(GP_OK, gp_trend_sign_step, sign, (float)(i % 201u) - 100.0f, (float)i, trend);
    }
}

static void trend_monitors(void) {
    gp_trend_monitor *trend = take(sizeof *trend, 0);
    gp_trend_view *view = take(sizeof *view, 0x5a);
    gp_bands bands;
    gp_bands_default(&bands);
    bands.fast = 0.5f;
    keep(trend, sizeof *trend);
    keep(view, sizeof *view);
    for (int garbage = 0; garbage < 3; garbage++) {
        void *none = garbage < 2 ? (void *)trend : NULL;
        gp_code want = garbage < 2 ? GP_ERROR_NOT_READY : GP_ERROR_NULL;
        if (garbage == 1) {
            release();
            memset(trend, 0xa5, sizeof *trend);
            keep(trend, sizeof *trend);
            keep(view, sizeof *view);
        }
        GIVES(want, gp_trend_monitor_set_uptime, none, 0);
        GIVES(want, gp_trend_monitor_power_returned, none);
        GIVES(want, gp_trend_monitor_push, none, 0, 100.0f, 0, view, sizeof *view);
        GIVES(want, gp_trend_monitor_tick, none, 0, view, sizeof *view);
        GIVES(want, gp_trend_monitor_tick_without_clock, none, view, sizeof *view);
    }
    GIVES(GP_ERROR_NULL, gp_trend_monitor_init, NULL, sizeof *trend, NULL);
    GIVES(GP_ERROR_SIZE, gp_trend_monitor_init, trend, 64, NULL);
    GIVES(GP_ERROR_ALIGNMENT, gp_trend_monitor_init, (char *)trend + 1, sizeof *trend - 1, NULL);
    GIVES(GP_ERROR_INCONSISTENT, gp_trend_monitor_init, trend, sizeof *trend, &bands);
    release();
    GIVES(GP_OK, gp_trend_monitor_init, trend, sizeof *trend, NULL);
    keep(trend, sizeof *trend);
    keep(view, sizeof *view);
    GIVES(GP_ERROR_NULL, gp_trend_monitor_push, trend, 0, 100.0f, 0, NULL, sizeof *view);
    GIVES(GP_ERROR_SIZE, gp_trend_monitor_push, trend, 0, 100.0f, 0, view, sizeof *view + 4);
    GIVES(GP_ERROR_NOT_FINITE, gp_trend_monitor_push, trend, 0, NAN, 0, view, sizeof *view);
    GIVES(GP_ERROR_OUT_OF_RANGE, gp_trend_monitor_push, trend, 0, 2001.0f, 0, view, sizeof *view);
    GIVES(GP_ERROR_NUMBER, gp_trend_monitor_push, trend, 0, 100.0f, 6, view, sizeof *view);
    GIVES(GP_ERROR_SIZE, gp_trend_monitor_tick, trend, 0, view, 0);
    GIVES(GP_ERROR_NULL, gp_trend_monitor_tick_without_clock, trend, NULL, sizeof *view);
    release();
    for (uint32_t i = 0; i < 2000; i++) {
        GIVES(GP_OK, gp_trend_monitor_set_uptime, trend, i * 2654435761u);
        GIVES(GP_OK, gp_trend_monitor_push, trend, i * 40503u, (float)(i % 2001u), (uint8_t)(i % 6u), view, sizeof *view);
        GIVES(GP_OK, gp_trend_monitor_tick, trend, i * 69069u, view, sizeof *view);
        GIVES(GP_OK, gp_trend_monitor_tick_without_clock, trend, view, sizeof *view);
        if (i % 300u == 70u) GIVES(GP_OK, gp_trend_monitor_power_returned, trend);
    }
}

/* Each call that takes a pair, on memory that is none. */
static void on_no_pair(gp_code want, void *pair) {
    static gp_pair_view view;
    static gp_settings s;
    static gp_reading readings[4];
    static uint8_t bytes[16];
    gp_fingerstick outcomes[GP_SIDES];
    gp_wear wear;
    size_t count = 7;
    int32_t granted = 7;
    memset(&view, 0x5a, sizeof view);
    memset(outcomes, 0x5a, sizeof outcomes);
    memset(&wear, 0x5a, sizeof wear);
    memset(readings, 0x5a, sizeof readings);
    gp_settings_default(&s, sizeof s);
    keep(&view, sizeof view);
    keep(outcomes, sizeof outcomes);
    keep(&wear, sizeof wear);
    keep(readings, sizeof readings);
    memset(bytes, 0x5a, sizeof bytes);
    keep(bytes, sizeof bytes);
    keep(&count, sizeof count);
    keep(&granted, sizeof granted);
    GIVES(want, gp_pair_push, pair, GP_SIDE_FIRST, 0, 100.0f, 0, &view, sizeof view);
    GIVES(want, gp_pair_tick, pair, 0, &view, sizeof view);
    GIVES(want, gp_pair_tick_without_clock, pair, &view, sizeof view);
    GIVES(want, gp_pair_set_uptime, pair, 0);
    GIVES(want, gp_pair_fingerstick, pair, 0, 100.0f, outcomes, sizeof outcomes);
    GIVES(want, gp_pair_sensor_started, pair, GP_SIDE_SECOND, 0);
    GIVES(want, gp_pair_power_returned, pair);
    GIVES(want, gp_pair_restart, pair);
    GIVES(want, gp_pair_set_utc_offset, pair, 0);
    GIVES(want, gp_pair_clear_utc_offset, pair);
    GIVES(want, gp_pair_acknowledge, pair);
    GIVES(want, gp_pair_snooze, pair, GP_ALARM_LOW, 60, &granted);
    GIVES(want, gp_pair_set_alarms, pair, &s, NULL);
    GIVES(want, gp_pair_history, pair, GP_SIDE_FIRST, readings, 4, &count);
    GIVES(want, gp_pair_wear, pair, GP_SIDE_FIRST, &wear, sizeof wear);
    GIVES(want, gp_pair_save, pair, bytes, sizeof bytes, &count);
    GIVES(want, gp_pair_restore, pair, bytes, sizeof bytes);
    release();
}

static void one_pair(uint32_t capacity, size_t size) {
    void *pair = take(size, 0);
    gp_settings *s = take(sizeof *s, 0), *other = take(sizeof *other, 0);
    gp_fault fault;
    on_no_pair(GP_ERROR_NOT_READY, pair);
    memset(pair, 0xa5, size);
    on_no_pair(GP_ERROR_NOT_READY, pair);
    keep(pair, size);
    GIVES(GP_ERROR_NULL, gp_pair_init, NULL, size, capacity);
    GIVES(GP_ERROR_ALIGNMENT, gp_pair_init, (char *)pair + 1, size - 8, capacity);
    GIVES(GP_ERROR_SIZE, gp_pair_init, pair, size / 2, capacity);
    GIVES(GP_ERROR_NUMBER, gp_pair_init, pair, size, capacity - 1);
    GIVES(GP_ERROR_NULL, gp_pair_init_with, NULL, size, capacity, s, s, NULL);
    GIVES(GP_ERROR_VERSION, gp_pair_init_with, pair, size, capacity, s, s, &fault);
    gp_settings_default(s, sizeof *s);
    gp_settings_default(other, sizeof *other);
    GIVES(GP_ERROR_NULL, gp_pair_init_with, pair, size, capacity, NULL, s, &fault);
    GIVES(GP_ERROR_NULL, gp_pair_init_with, pair, size, capacity, s, NULL, &fault);
    GIVES(GP_ERROR_ALIGNMENT, gp_pair_init_with, (char *)pair + 1, size - 8, capacity, s, s, NULL);
    GIVES(GP_ERROR_SIZE, gp_pair_init_with, pair, size / 2, capacity, s, s, NULL);
    GIVES(GP_ERROR_NUMBER, gp_pair_init_with, pair, size, capacity + 1, s, s, NULL);
    other->quality.jump_sd = 100.0f;
    GIVES(GP_ERROR_OUT_OF_RANGE, gp_pair_init_with, pair, size, capacity, s, other, NULL);
    memset(&fault, 0, sizeof fault);
    GIVES(GP_ERROR_OUT_OF_RANGE, gp_pair_init_with, pair, size, capacity, other, s, &fault);
    checks++;
    if (strcmp(fault.parameter, "jump_sd") != 0) failed++;
    other->size = 0;
    GIVES(GP_ERROR_SIZE, gp_pair_init_with, pair, size, capacity, s, other, &fault);
    release();
    GIVES(GP_OK, gp_monitor_init, pair, size, 24); /* a monitor of one sensor is none of two ... */
    on_no_pair(GP_ERROR_NOT_READY, pair);
    GIVES(GP_OK, gp_pair_init_with, pair, size, capacity, s, s, NULL);
    on_no_monitor(GP_ERROR_NOT_READY, pair); /* ... nor the other way round */
    on_no_pair(GP_ERROR_NULL, NULL);
    on_no_pair(GP_ERROR_ALIGNMENT, (char *)pair + 1);

    gp_pair_view *view = take(sizeof *view, 0x5a);
    gp_fingerstick *outcomes = take(GP_SIDES * sizeof *outcomes, 0x5a);
    gp_wear *wear = take(sizeof *wear, 0x5a);
    gp_reading *readings = take(4 * sizeof *readings, 0x5a);
    size_t *count = take(sizeof *count, 0x5a);
    int32_t *granted = take(sizeof *granted, 0x5a);
    const size_t room = GP_SIDES * sizeof *outcomes;
    for (uint32_t i = 0; i < 30; i++) {
        GIVES(GP_OK, gp_pair_push, pair, GP_SIDE_FIRST, 300 * i, 120.0f, GP_STATUS_NORMAL, view, sizeof *view);
        GIVES(GP_OK, gp_pair_push, pair, GP_SIDE_SECOND, 300 * i, 110.0f, GP_STATUS_NORMAL, view, sizeof *view);
    }
    keep(pair, size);
    keep(view, sizeof *view);
    keep(outcomes, room);
    keep(wear, sizeof *wear);
    keep(readings, 4 * sizeof *readings);
    keep(count, sizeof *count);
    keep(granted, sizeof *granted);
    static const float wrong[] = {-1.0f, 2000.1f, -0.001f, 1e30f};
    static const uint8_t sides[] = {GP_SIDES, 7, 255};
    for (size_t i = 0; i < 4; i++) {
        GIVES(GP_ERROR_OUT_OF_RANGE, gp_pair_push, pair, GP_SIDE_SECOND, 9300, wrong[i], 0, view, sizeof *view);
        GIVES(GP_ERROR_OUT_OF_RANGE, gp_pair_fingerstick, pair, 9000, wrong[i], outcomes, room);
    }
    for (size_t i = 0; i < 3; i++) {
        GIVES(GP_ERROR_NUMBER, gp_pair_push, pair, sides[i], 9300, 100.0f, 0, view, sizeof *view);
        GIVES(GP_ERROR_NUMBER, gp_pair_sensor_started, pair, sides[i], 9300);
        GIVES(GP_ERROR_NUMBER, gp_pair_history, pair, sides[i], readings, 4, count);
        GIVES(GP_ERROR_NUMBER, gp_pair_wear, pair, sides[i], wear, sizeof *wear);
    }
    GIVES(GP_ERROR_NOT_FINITE, gp_pair_push, pair, GP_SIDE_FIRST, 9300, NAN, 0, view, sizeof *view);
    GIVES(GP_ERROR_NUMBER, gp_pair_push, pair, GP_SIDE_FIRST, 9300, 100.0f, 6, view, sizeof *view);
    GIVES(GP_ERROR_NULL, gp_pair_push, pair, GP_SIDE_FIRST, 9300, 100.0f, 0, NULL, sizeof *view);
    GIVES(GP_ERROR_ALIGNMENT, gp_pair_push, pair, GP_SIDE_FIRST, 9300, 100.0f, 0, (gp_pair_view *)(void *)((char *)view + 1),
          sizeof *view);
    GIVES(GP_ERROR_SIZE, gp_pair_push, pair, GP_SIDE_FIRST, 9300, 100.0f, 0, view, sizeof(gp_view));
    GIVES(GP_ERROR_SIZE, gp_pair_tick, pair, 9300, view, sizeof *view + 4);
    GIVES(GP_ERROR_NULL, gp_pair_tick, pair, 9300, NULL, sizeof *view);
    GIVES(GP_ERROR_NULL, gp_pair_tick_without_clock, pair, NULL, sizeof *view);
    GIVES(GP_ERROR_SIZE, gp_pair_tick_without_clock, pair, view, 0);
    GIVES(GP_ERROR_NOT_FINITE, gp_pair_fingerstick, pair, 9000, NAN, outcomes, room);
    GIVES(GP_ERROR_NULL, gp_pair_fingerstick, pair, 9000, 100.0f, NULL, room);
    GIVES(GP_ERROR_SIZE, gp_pair_fingerstick, pair, 9000, 100.0f, outcomes, sizeof *outcomes); /* one where two are asked for */
    GIVES(GP_ERROR_OUT_OF_RANGE, gp_pair_set_utc_offset, pair, -86401);
    GIVES(GP_ERROR_OUT_OF_RANGE, gp_pair_set_utc_offset, pair, INT32_MAX);
    GIVES(GP_ERROR_NUMBER, gp_pair_snooze, pair, GP_ALARMS, 60, granted);
    GIVES(GP_ERROR_NULL, gp_pair_snooze, pair, GP_ALARM_LOW, 60, NULL);
    GIVES(GP_ERROR_NULL, gp_pair_set_alarms, pair, NULL, &fault);
    s->alarms[0].rules[GP_ALARM_LOW].limit = 3.9f; /* mmol/L by mistake */
    GIVES(GP_ERROR_OUT_OF_RANGE, gp_pair_set_alarms, pair, s, &fault);
    GIVES(GP_ERROR_NULL, gp_pair_history, pair, GP_SIDE_FIRST, NULL, 4, count);
    GIVES(GP_ERROR_NULL, gp_pair_history, pair, GP_SIDE_FIRST, readings, 4, NULL);
    GIVES(GP_ERROR_SIZE, gp_pair_history, pair, GP_SIDE_FIRST, readings, SIZE_MAX, count);
    GIVES(GP_ERROR_NULL, gp_pair_wear, pair, GP_SIDE_SECOND, NULL, sizeof *wear);
    GIVES(GP_ERROR_SIZE, gp_pair_wear, pair, GP_SIDE_SECOND, wear, 4);
    release();
    GIVES(GP_OK, gp_pair_history, pair, GP_SIDE_SECOND, readings, 4, count);
    checks++;
    if (*count != 4 || readings[3].at_s != 8700 || readings[3].mg_dl != 110.0f) failed++;
    const size_t whole = gp_pair_snapshot_bytes_needed(capacity);
    calls_function("gp_pair_snapshot_bytes_needed");
    checks++;
    if (gp_pair_snapshot_bytes_needed(UINT32_MAX) < whole || whole <= gp_snapshot_bytes_needed(capacity)) failed++;
    uint8_t *bytes = take(whole, 0x5a);
    keep(pair, size);
    keep(count, sizeof *count);
    GIVES(GP_ERROR_NULL, gp_pair_save, pair, NULL, whole, count);
    GIVES(GP_ERROR_NULL, gp_pair_save, pair, bytes, whole, NULL);
    GIVES(GP_ERROR_SIZE, gp_pair_save, pair, bytes, SIZE_MAX, count);
    for (size_t small = 0; small < 200; small += 13) GIVES(GP_ERROR_BUFFER_TOO_SMALL, gp_pair_save, pair, bytes, small, count);
    release();
    GIVES(GP_OK, gp_pair_save, pair, bytes, whole, count);
    const size_t length = *count;
    gp_monitor_24 *one = take(sizeof *one, 0);
    GIVES(GP_OK, gp_monitor_init, one, sizeof *one, 24);
    keep(pair, size);
    keep(one, sizeof *one);
    GIVES(GP_ERROR_NULL, gp_pair_restore, pair, NULL, length);
    GIVES(GP_ERROR_SNAPSHOT_INCOMPLETE, gp_monitor_restore, one, bytes, length); /* of another kind */
    for (size_t i = 0; i < length; i += 1 + length / 60) {
        uint8_t *part = malloc(i ? i : 1);
        memcpy(part, bytes, i);
        GIVES(GP_ERROR_SNAPSHOT_INCOMPLETE, gp_pair_restore, pair, part, i);
        free(part);
        bytes[i] ^= 0x10;
        gp_code code = gp_pair_restore(pair, bytes, length);
        judge(code, code == GP_OK ? GP_ERROR_SNAPSHOT_CHECKSUM : code, "gp_pair_restore", __LINE__);
        bytes[i] ^= 0x10;
    }
    /* whole by its checksum, and nonsense: not one byte of it may reach the pair */
    for (size_t i = 10; i + 4 < length; i += 3) {
        uint8_t was = bytes[i];
        bytes[i] = 0xff;
        seal(bytes, length);
        gp_code code = gp_pair_restore(pair, bytes, length);
        if (code == GP_OK) {
            memcpy(pair, kept[0].copy, size);
        } else {
            judge(code, GP_ERROR_SNAPSHOT_STATE, "gp_pair_restore", __LINE__);
        }
        bytes[i] = was;
    }
    release();
    /* anything goes, as long as it is a number */
    for (uint32_t i = 0; i < 1500; i++) {
        GIVES(GP_OK, gp_pair_set_uptime, pair, i * 2654435761u);
        GIVES(GP_OK, gp_pair_push, pair, (uint8_t)(i % 3u % 2u), i * 40503u, (float)(i * 31u % 2001u), (uint8_t)(i % 6u), view,
              sizeof *view);
        GIVES(GP_OK, gp_pair_fingerstick, pair, i * 40503u, (float)(i * 17u % 2001u), outcomes, room);
        GIVES(GP_OK, gp_pair_tick, pair, i * 69069u, view, sizeof *view);
        checks++;
        if (view->agreement > GP_PAIR_SECOND_SUSPECT || !(view->sides[0].weight >= 0.0f && view->sides[0].weight <= 1.0f)) failed++;
        if (i % 300u == 70u) GIVES(GP_OK, gp_pair_power_returned, pair);
        if (i % 400u == 90u) GIVES(GP_OK, gp_pair_sensor_started, pair, (uint8_t)(i % 2u), UINT32_MAX);
    }
}

static void pairs(void) {
    static const struct { uint32_t readings; size_t size; } sizes[CAPACITIES] = {
        {24, sizeof(gp_pair_24)}, {96, sizeof(gp_pair_96)}, {288, sizeof(gp_pair_288)}, {1440, sizeof(gp_pair_1440)},
    };
    for (int i = 0; i < CAPACITIES; i++) one_pair(sizes[i].readings, sizes[i].size);
}

static void payloads(void) {
    gp_cgm_sensor sensor = {0, 40.0f, 400.0f, 0, GP_ORDER_UNSETTLED, {0, 0}};
    gp_cgm *cgm = take(sizeof *cgm, 0x5a);
    gp_cgm_status *status = take(sizeof *status, 0x5a);
    gp_session_start *start = take(sizeof *start, 0x5a);
    gp_meter *meter = take(sizeof *meter, 0x5a);
    size_t *used = take(sizeof *used, 0x5a);
    const uint8_t whole[] = {6, 0, 0x68, 0, 10, 0};
    uint8_t *bytes = take(sizeof whole, 0);
    memcpy(bytes, whole, sizeof whole);
    keep(cgm, sizeof *cgm);
    keep(status, sizeof *status);
    keep(start, sizeof *start);
    keep(meter, sizeof *meter);
    keep(used, sizeof *used);
    GIVES(GP_ERROR_NULL, gp_cgm_decode, NULL, 6, &sensor, cgm, sizeof *cgm, used);
    GIVES(GP_ERROR_NULL, gp_cgm_decode, bytes, 6, NULL, cgm, sizeof *cgm, used);
    GIVES(GP_ERROR_NULL, gp_cgm_decode, bytes, 6, &sensor, NULL, sizeof *cgm, used);
    GIVES(GP_ERROR_NULL, gp_cgm_decode, bytes, 6, &sensor, cgm, sizeof *cgm, NULL);
    GIVES(GP_ERROR_SIZE, gp_cgm_decode, bytes, 6, &sensor, cgm, sizeof *cgm - 1, used);
    GIVES(GP_ERROR_SIZE, gp_cgm_decode, bytes, SIZE_MAX, &sensor, cgm, sizeof *cgm, used);
    for (size_t length = 0; length < 6; length++) {
        GIVES(GP_ERROR_PAYLOAD_SHORT, gp_cgm_decode, bytes, length, &sensor, cgm, sizeof *cgm, used);
    }
    sensor.crc = 2;
    GIVES(GP_ERROR_NUMBER, gp_cgm_decode, bytes, 6, &sensor, cgm, sizeof *cgm, used);
    sensor.crc = 0;
    sensor.order = 3;
    GIVES(GP_ERROR_NUMBER, gp_cgm_decode, bytes, 6, &sensor, cgm, sizeof *cgm, used);
    sensor.order = 0;
    sensor.least_mg_dl = 401.0f;
    GIVES(GP_ERROR_INCONSISTENT, gp_cgm_decode, bytes, 6, &sensor, cgm, sizeof *cgm, used);
    sensor.least_mg_dl = NAN;
    GIVES(GP_ERROR_NOT_FINITE, gp_cgm_decode, bytes, 6, &sensor, cgm, sizeof *cgm, used);
    sensor.least_mg_dl = 40.0f;
    GIVES(GP_ERROR_NULL, gp_cgm_status_decode, NULL, 5, 0, status, sizeof *status);
    GIVES(GP_ERROR_NULL, gp_cgm_status_decode, bytes, 5, 0, NULL, sizeof *status);
    GIVES(GP_ERROR_SIZE, gp_cgm_status_decode, bytes, 5, 0, status, 0);
    GIVES(GP_ERROR_NUMBER, gp_cgm_status_decode, bytes, 5, 9, status, sizeof *status);
    GIVES(GP_ERROR_PAYLOAD_LONG, gp_cgm_status_decode, bytes, 6, 0, status, sizeof *status);
    GIVES(GP_ERROR_PAYLOAD_SHORT, gp_cgm_status_decode, bytes, 4, 0, status, sizeof *status);
    GIVES(GP_ERROR_NULL, gp_session_start_decode, NULL, 9, 0, start, sizeof *start);
    GIVES(GP_ERROR_NULL, gp_session_start_decode, bytes, 6, 0, NULL, sizeof *start);
    GIVES(GP_ERROR_SIZE, gp_session_start_decode, bytes, 6, 0, start, 1);
    GIVES(GP_ERROR_NUMBER, gp_session_start_decode, bytes, 6, 2, start, sizeof *start);
    GIVES(GP_ERROR_NULL, gp_meter_decode, NULL, 6, meter, sizeof *meter);
    GIVES(GP_ERROR_NULL, gp_meter_decode, bytes, 6, NULL, sizeof *meter);
    GIVES(GP_ERROR_SIZE, gp_meter_decode, bytes, 6, meter, 1);
    GIVES(GP_ERROR_PAYLOAD_SHORT, gp_meter_decode, bytes, 0, meter, sizeof *meter);
    release();
    GIVES(GP_OK, gp_cgm_decode, bytes, 6, &sensor, cgm, sizeof *cgm, used);
    checks++;
    if (*used != 6 || cgm->mg_dl != 104.0f || cgm->at_s != 600) failed++;
    /* any bytes: a code and no step beyond */
    uint32_t x = 1;
    calls_function("gp_cgm_decode");
    for (int i = 0; i < 20000; i++) {
        size_t length = (size_t)(x >> 20 & 31u);
        uint8_t *any = malloc(length ? length : 1);
        for (size_t k = 0; k < length; k++) {
            x = x * 1664525u + 1013904223u;
            any[k] = k == 0 && i % 2 ? (uint8_t)length : (uint8_t)(x >> 24);
        }
        sensor.crc = (uint8_t)(i / 2 % 2);
        checks += 4;
        failed += gp_cgm_decode(any, length, &sensor, cgm, sizeof *cgm, used) == GP_OK && *used > length;
        (void)gp_cgm_status_decode(any, length, sensor.crc, status, sizeof *status);
        (void)gp_session_start_decode(any, length, sensor.crc, start, sizeof *start);
        (void)gp_meter_decode(any, length, meter, sizeof *meter);
        free(any);
        x = x * 1664525u + 1013904223u;
    }
}

static void looking_back(void) {
    gp_review *review = take(sizeof *review, 0);
    gp_summary *summary = take(sizeof *summary, 0x5a);
    gp_accuracy *accuracy = take(sizeof *accuracy, 0);
    gp_agreement *agreement = take(sizeof *agreement, 0x5a);
    gp_reading *readings = take(2 * sizeof *readings, 0);
    readings[0].mg_dl = readings[1].mg_dl = 100.0f;
    readings[1].at_s = 300;
    keep(review, sizeof *review);
    keep(summary, sizeof *summary);
    keep(accuracy, sizeof *accuracy);
    keep(agreement, sizeof *agreement);
    GIVES(GP_ERROR_NOT_READY, gp_review_push, review, 0, 100.0f, 0, 0);
    GIVES(GP_ERROR_NOT_READY, gp_review_summary, review, summary, sizeof *summary);
    GIVES(GP_ERROR_NOT_READY, gp_accuracy_push, accuracy, 100.0f, 100.0f);
    GIVES(GP_ERROR_NOT_READY, gp_accuracy_fingerstick, accuracy, readings, 2, 0, 100.0f, 300);
    GIVES(GP_ERROR_NOT_READY, gp_accuracy_result, accuracy, agreement, sizeof *agreement);
    GIVES(GP_ERROR_NULL, gp_review_init, NULL, sizeof *review, 300, GP_UNIT_MG_DL);
    GIVES(GP_ERROR_SIZE, gp_review_init, review, 100, 300, GP_UNIT_MG_DL);
    GIVES(GP_ERROR_OUT_OF_RANGE, gp_review_init, review, sizeof *review, 9, GP_UNIT_MG_DL);
    GIVES(GP_ERROR_OUT_OF_RANGE, gp_review_init, review, sizeof *review, 3601, GP_UNIT_MG_DL);
    GIVES(GP_ERROR_NUMBER, gp_review_init, review, sizeof *review, 300, 2);
    GIVES(GP_ERROR_NULL, gp_accuracy_init, NULL, sizeof *accuracy);
    GIVES(GP_ERROR_SIZE, gp_accuracy_init, accuracy, 8);
    GIVES(GP_ERROR_ALIGNMENT, gp_accuracy_init, (char *)accuracy + 1, sizeof *accuracy - 1);
    release();
    GIVES(GP_OK, gp_review_init, review, sizeof *review, 300, GP_UNIT_MMOL_L);
    GIVES(GP_OK, gp_accuracy_init, accuracy, sizeof *accuracy);
    GIVES(GP_OK, gp_review_push, review, 600, 100.0f, 0, 600);
    keep(review, sizeof *review);
    keep(summary, sizeof *summary);
    keep(accuracy, sizeof *accuracy);
    keep(agreement, sizeof *agreement);
    GIVES(GP_ERROR_NULL, gp_review_push, NULL, 900, 100.0f, 0, 900);
    GIVES(GP_ERROR_NOT_FINITE, gp_review_push, review, 900, NAN, 0, 900);
    GIVES(GP_ERROR_NUMBER, gp_review_push, review, 900, 100.0f, 6, 900);
    GIVES(GP_ERROR_NOT_LATER, gp_review_push, review, 600, 100.0f, 0, 900);
    GIVES(GP_ERROR_FAULT, gp_review_push, review, 900, 100.0f, GP_STATUS_FAULT, 900);
    GIVES(GP_ERROR_NULL, gp_review_summary, NULL, summary, sizeof *summary);
    GIVES(GP_ERROR_NULL, gp_review_summary, review, NULL, sizeof *summary);
    GIVES(GP_ERROR_SIZE, gp_review_summary, review, summary, 1);
    GIVES(GP_ERROR_NULL, gp_accuracy_push, NULL, 100.0f, 100.0f);
    GIVES(GP_ERROR_NOT_FINITE, gp_accuracy_push, accuracy, NAN, 100.0f);
    GIVES(GP_ERROR_OUT_OF_RANGE, gp_accuracy_push, accuracy, 100.0f, 2001.0f);
    GIVES(GP_ERROR_OUT_OF_RANGE, gp_accuracy_push, accuracy, 100.0f, 0.0f);
    GIVES(GP_ERROR_NULL, gp_accuracy_fingerstick, NULL, readings, 2, 0, 100.0f, 300);
    GIVES(GP_ERROR_NULL, gp_accuracy_fingerstick, accuracy, NULL, 2, 0, 100.0f, 300);
    GIVES(GP_ERROR_SIZE, gp_accuracy_fingerstick, accuracy, readings, SIZE_MAX, 0, 100.0f, 300);
    GIVES(GP_ERROR_OUT_OF_RANGE, gp_accuracy_fingerstick, accuracy, readings, 2, 0, 100.0f, 3601);
    GIVES(GP_ERROR_OUT_OF_RANGE, gp_accuracy_fingerstick, accuracy, readings, 2, 0, 100.0f, -1);
    GIVES(GP_ERROR_NO_PAIR, gp_accuracy_fingerstick, accuracy, readings, 2, 1000, 100.0f, 300);
    GIVES(GP_ERROR_NO_PAIR, gp_accuracy_fingerstick, accuracy, readings, 0, 0, 100.0f, 300);
    readings[1].status = 77;
    GIVES(GP_ERROR_NUMBER, gp_accuracy_fingerstick, accuracy, readings, 2, 200, 100.0f, 300);
    readings[1].status = GP_STATUS_WARM_UP;
    GIVES(GP_ERROR_NO_PAIR, gp_accuracy_fingerstick, accuracy, readings, 2, 290, 100.0f, 300);
    GIVES(GP_ERROR_NULL, gp_accuracy_result, NULL, agreement, sizeof *agreement);
    GIVES(GP_ERROR_NULL, gp_accuracy_result, accuracy, NULL, sizeof *agreement);
    GIVES(GP_ERROR_SIZE, gp_accuracy_result, accuracy, agreement, 1);
    release();
    GIVES(GP_OK, gp_accuracy_fingerstick, accuracy, readings, 2, 20, 80.0f, 300);
    GIVES(GP_OK, gp_accuracy_result, accuracy, agreement, sizeof *agreement);
    checks++;
    if (agreement->pairs != 1 || agreement->mard_percent != 25.0f) failed++;
    for (uint32_t i = 0; i < 3000; i++) {
        GIVES(GP_OK, gp_review_push, review, 1200u + i * 1431u, (float)(i * 31u % 2001u), (uint8_t)(i % 5u),
              i * 2654435761u);
    }
    GIVES(GP_OK, gp_review_summary, review, summary, sizeof *summary);
}

int check(void) {
    texts();
    settings();
    calls_function("gp_snapshot_bytes_needed");
    checks++;
    if (gp_snapshot_bytes_needed(UINT32_MAX) < gp_snapshot_bytes_needed(1440)) failed++;
    for (int i = 0; i < CAPACITIES; i++) {
        one_monitor(capacities[i].readings, capacities[i].size);
    }
    directions();
    trend_monitors();
    pairs();
    payloads();
    looking_back();
    while (takes > 0) free(taken[--takes]);
    for (int i = 0; i < calls; i++) printf("called %s\n", called[i]);
    printf("checks %d\n", checks);
    return failed != 0;
}
