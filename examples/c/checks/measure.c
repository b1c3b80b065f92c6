/* How deep the stack gets: for one capacity of the monitor, -DREADINGS=288, of the pair, with -DPAIR too, or -DDIRECTION. */
#include "board.h"
#include "glidepath.h"

#define JOIN_(a, b) a##b
#define JOIN(a, b) JOIN_(a, b)

static int failed;

static void number(const char *name, uint32_t used, gp_code code) {
    char text[12];
    int i = 11;
    text[i] = 0;
    text[--i] = '\n';
    do text[--i] = (char)('0' + used % 10); while ((used /= 10) > 0);
    board_print(name);
    board_print(" ");
    board_print(text + i);
    if (code != GP_OK) {
        failed = 1;
        board_print(gp_code_text(code));
        board_print("\n");
    }
}

static void tell(const char *name, gp_code code) {
    number(name, board_stack(), code);
    board_paint();
}

#ifdef DIRECTION

static gp_direction direction;
static gp_direction_view view;
static gp_trend_monitor trend;
static gp_trend_view trend_view;

int check(void) {
    number("ram gp_direction", sizeof direction, GP_OK);
    number("ram gp_trend_monitor", sizeof(gp_trend_monitor), GP_OK);
    number("ram gp_trend_sign", sizeof(gp_trend_sign), GP_OK);
    number("ram gp_review", sizeof(gp_review), GP_OK);
    number("ram gp_accuracy", sizeof(gp_accuracy), GP_OK);
    number("ram gp_view", sizeof(gp_view), GP_OK);
    number("ram gp_settings", sizeof(gp_settings), GP_OK);
    number("ram gp_pair_view", sizeof(gp_pair_view), GP_OK);
    board_paint();
    gp_code code = gp_direction_init(&direction, sizeof direction, NULL);
    for (uint32_t i = 0; i < 600u; i++) {
        code |= gp_direction_reading(&direction, 300u * i, i % 16u < 8u ? 150.0f : 90.0f, i % 40u != 0);
        code |= gp_direction_now(&direction, 300u * i + 60u, &view, sizeof view);
    }
    tell("direction", code);
    code = gp_trend_monitor_init(&trend, sizeof trend, NULL);
    for (uint32_t i = 0; i < 600u; i++) {
        code |= gp_trend_monitor_set_uptime(&trend, 300u * i);
        code |= gp_trend_monitor_push(&trend, 300u * i, i % 16u < 8u ? 150.0f : 60.0f, GP_STATUS_NORMAL, &trend_view, sizeof trend_view);
        code |= gp_trend_monitor_tick(&trend, 300u * i + 60u, &trend_view, sizeof trend_view);
    }
    tell("trend", code);
    return failed;
}

#elif defined(PAIR)

static JOIN(gp_pair_, READINGS) pair;
static gp_settings settings;
static gp_pair_view view;
static uint8_t snapshot[4096 + 16 * READINGS];

int check(void) {
    gp_code code = gp_settings_default(&settings, sizeof settings);
    number("ram", sizeof pair, code);
    board_paint();
    code |= gp_pair_init(&pair, sizeof pair, READINGS);
    tell("init", code);
    code |= gp_pair_init_with(&pair, sizeof pair, READINGS, &settings, &settings, NULL);
    tell("init_with", code);
    code = GP_OK;
    for (uint32_t i = 0; i < READINGS + 20u && i < 320u; i++) {
        float mg_dl = 90.0f + 60.0f * (float)(i % 16u > 7u ? 16u - i % 16u : i % 16u) / 8.0f;
        code |= gp_pair_push(&pair, GP_SIDE_FIRST, 300u * i, mg_dl, GP_STATUS_NORMAL, &view, sizeof view);
        /* they come apart and together again */
        code |= gp_pair_push(&pair, GP_SIDE_SECOND, 300u * i + 30u, i % 64u < 32u ? mg_dl - 5.0f : mg_dl * 0.6f, GP_STATUS_NORMAL,
                             &view, sizeof view);
        code |= gp_pair_tick(&pair, 300u * i + 60u, &view, sizeof view);
    }
    gp_fingerstick outcomes[GP_SIDES];
    code |= gp_pair_fingerstick(&pair, view.fused.newest_at_s + 60u, 100.0f, outcomes, sizeof outcomes);
    code |= gp_pair_acknowledge(&pair);
    tell("push", code);
    size_t length = 0;
    code = gp_pair_save(&pair, snapshot, sizeof snapshot, &length);
    tell("save", code);
    code = gp_pair_restore(&pair, snapshot, length);
    tell("restore", code);
    return failed;
}

#else

static JOIN(gp_monitor_, READINGS) monitor;
static gp_settings settings;
static gp_view view;
static uint8_t snapshot[2560 + 8 * READINGS];

int check(void) {
    gp_code code = gp_settings_default(&settings, sizeof settings);
    number("ram", sizeof monitor, code);
    board_paint();
    code |= gp_monitor_init(&monitor, sizeof monitor, READINGS);
    tell("init", code);
    code |= gp_monitor_init_with(&monitor, sizeof monitor, READINGS, &settings, NULL);
    tell("init_with", code);
    code = GP_OK;
    for (uint32_t i = 0; i < READINGS + 20u && i < 320u; i++) {
        code |= gp_monitor_push(&monitor, 300u * i, 90.0f + 60.0f * (float)(i % 16u > 7u ? 16u - i % 16u : i % 16u) / 8.0f,
                                GP_STATUS_NORMAL, &view, sizeof view);
        code |= gp_monitor_tick(&monitor, 300u * i + 60u, &view, sizeof view);
    }
    gp_fingerstick outcome;
    code |= gp_monitor_fingerstick(&monitor, view.newest_at_s + 60u, 100.0f, &outcome, sizeof outcome);
    code |= gp_monitor_acknowledge(&monitor);
    tell("push", code);
    size_t length = 0;
    code = gp_monitor_save(&monitor, snapshot, sizeof snapshot, &length);
    tell("save", code);
    code = gp_monitor_restore(&monitor, snapshot, length);
    tell("restore", code);
    return failed;
}

#endif
