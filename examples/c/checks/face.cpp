// Every function of glidepath.hpp, by what it must answer; the C functions under it have their own checks.
#include "glidepath.hpp"
extern "C" {
#include "board.h"
}

static int failed = 0;

static void want(bool holds, const char *what) {
    if (holds) return;
    failed++;
    board_print(what);
    board_print("\n");
}
#define WANT(what) want(what, #what)

template <uint32_t Readings> static void one() {
    static glidepath::Monitor<Readings> monitor;
    static glidepath::Monitor<24> other;
    static gp_settings settings;
    static uint8_t bytes[16384];
    static gp_view view;
    gp_fault fault;
    WANT(gp_settings_default(&settings, sizeof settings) == GP_OK);
    settings.alarms[0].rules[GP_ALARM_LOW].limit = 75.0f;
    WANT(monitor.ready(settings) == GP_OK);
    for (uint32_t k = 0; k < 10; k++) {
        WANT(monitor.set_uptime(300 * k) == GP_OK);
        WANT(monitor.push(300 * k, 140.0f - 8.0f * static_cast<float>(k), view) == GP_OK);
    }
    WANT(view.verdict == GP_VERDICT_ACCEPTED && view.alarms[GP_ALARM_LOW].holds == 1);
    WANT(monitor.set_uptime(3000) == GP_OK);
    WANT(monitor.push(3000, 68.0f, view, GP_STATUS_FAULT) == GP_OK && view.verdict == GP_VERDICT_FAULT);
    gp_fingerstick outcome;
    WANT(monitor.fingerstick(3010, 70.0f, outcome) == GP_OK && outcome.outcome == GP_FINGERSTICK_USED);
    WANT(monitor.acknowledge() == GP_OK && monitor.set_uptime(3060) == GP_OK && monitor.tick(3060, view) == GP_OK);
    WANT(view.alarms[GP_ALARM_LOW].acknowledged == 1);
    WANT(view.at_s == 3060);
    WANT(monitor.set_uptime(3060 + 1200) == GP_OK && monitor.tick(view) == GP_OK && view.age_s > 1200); // its own seconds tell
    size_t length = 0;
    WANT(monitor.save(bytes, sizeof bytes, length) == GP_OK && length > 100);
    WANT(other.restore(bytes, length) == GP_OK && other.tick(view) == GP_OK && !(view.has & GP_HAS_SHOWN));
    size_t count = 0;
    gp_reading readings[24];
    WANT(gp_monitor_history(other.c(), readings, 24, &count) == GP_OK && count == 10);
    settings.quality.jump_sd = 99.0f;
    WANT(monitor.ready(settings, &fault) == GP_ERROR_OUT_OF_RANGE && fault.parameter[0] == 'j');
}

template <uint32_t Readings> static void two() {
    using glidepath::Side;
    static glidepath::PairMonitor<Readings> pair;
    static gp_settings first, second;
    static gp_pair_view view;
    gp_fault fault;
    WANT(gp_settings_default(&first, sizeof first) == GP_OK && gp_settings_default(&second, sizeof second) == GP_OK);
    second.quality.jump_sd = 99.0f;
    WANT(pair.ready(first, second, &fault) == GP_ERROR_OUT_OF_RANGE && fault.parameter[0] == 'j');
    WANT(pair.ready(second, first) == GP_ERROR_OUT_OF_RANGE);
    second = first;
    first.alarms[0].rules[GP_ALARM_LOW].limit = 75.0f;
    WANT(pair.ready(first, second) == GP_OK);
    for (uint32_t k = 0; k < 10; k++) {
        WANT(pair.set_uptime(300 * k) == GP_OK);
        WANT(pair.push(Side::First, 300 * k, 150.0f - 8.0f * static_cast<float>(k), view) == GP_OK);
        WANT(view.agreement == (k ? GP_PAIR_TOGETHER : GP_PAIR_ONLY_FIRST));
        WANT(pair.push(Side::Second, 300 * k, 146.0f - 8.0f * static_cast<float>(k), view) == GP_OK);
    }
    WANT(view.agreement == GP_PAIR_TOGETHER && view.fused.alarms[GP_ALARM_LOW].holds == 1); // by the lower one: 74
    WANT(view.sides[GP_SIDE_FIRST].newest_mg_dl == 78.0f && view.sides[GP_SIDE_SECOND].newest_mg_dl == 74.0f);
    WANT(pair.push(Side::Second, 2750, 68.0f, view, GP_STATUS_FAULT) == GP_OK && view.fused.verdict == GP_VERDICT_FAULT);
    gp_fingerstick outcomes[GP_SIDES];
    WANT(pair.fingerstick(2710, 76.0f, outcomes) == GP_OK && outcomes[0].outcome == GP_FINGERSTICK_USED);
    WANT(outcomes[1].outcome == GP_FINGERSTICK_USED && outcomes[0].expected_mg_dl > outcomes[1].expected_mg_dl);
    WANT(pair.acknowledge() == GP_OK && pair.set_uptime(2760) == GP_OK && pair.tick(2760, view) == GP_OK);
    WANT(view.fused.alarms[GP_ALARM_LOW].acknowledged == 1 && view.fused.at_s == 2760);
    WANT(pair.sensor_started(Side::Second, 2760) == GP_OK && pair.tick(2761, view) == GP_OK);
    WANT(view.agreement == GP_PAIR_ONLY_FIRST && !(view.sides[GP_SIDE_SECOND].has & GP_HAS_NEWEST));
    static uint8_t bytes[20480];
    static glidepath::PairMonitor<24> other;
    size_t length = 0;
    WANT(pair.save(bytes, sizeof bytes, length) == GP_OK && length > 200);
    WANT(other.restore(bytes, length) == GP_OK && other.tick(view) == GP_OK && view.agreement == GP_PAIR_NEITHER);
    WANT(pair.power_returned() == GP_OK && pair.tick(view) == GP_OK && view.agreement == GP_PAIR_NEITHER);
    size_t count = 0;
    gp_reading readings[24];
    WANT(gp_pair_history(other.c(), GP_SIDE_SECOND, readings, 24, &count) == GP_OK && count == 10);
    WANT(readings[9].mg_dl == 74.0f);
}

extern "C" int check(void) {
    one<24>();
    one<96>();
    one<288>();
    one<1440>();
    two<24>();
    two<96>();
    two<288>();
    two<1440>();
    glidepath::TrendMonitor trend;
    gp_trend_view seen;
    for (uint32_t k = 0; k < 7; k++) {
        WANT(trend.set_uptime(300 * k) == GP_OK);
        WANT(trend.push(300 * k, 118.0f - 8.0f * static_cast<float>(k), seen) == GP_OK);
    }
    WANT(seen.trend == GP_TREND_FALLING && seen.warning == GP_ALARM_LOW && seen.trigger_mg_dl == 70.0f && seen.monitoring == 1);
    WANT(trend.set_uptime(1860) == GP_OK && trend.tick(1860, seen) == GP_OK && seen.shown_age_s == 60);
    WANT(trend.push(1861, 90.0f, seen, GP_STATUS_FAULT) == GP_OK && seen.warning == GP_ALARM_LOW);
    WANT(trend.set_uptime(3600) == GP_OK && trend.tick(seen) == GP_OK && !(seen.has & GP_HAS_SHOWN) && seen.monitoring == 0);
    WANT(trend.power_returned() == GP_OK && trend.tick(seen) == GP_OK && seen.trend == GP_TREND_NOT_KNOWN);
    glidepath::Direction sure, doubting;
    for (uint32_t k = 0; k < 6; k++) {
        const float mg_dl = 180.0f - 12.0f * static_cast<float>(k);
        WANT(sure.reading(300 * k, mg_dl) == GP_OK && doubting.reading(300 * k, mg_dl, k < 1) == GP_OK);
    }
    WANT(sure.now(1500).trend == GP_TREND_FALLING_FAST || sure.now(1500).trend == GP_TREND_FALLING);
    WANT(sure.words(1500)[0] == 'f' && (sure.now(1500).has & GP_HAS_DIRECTION));
    WANT(doubting.words(1500)[0] == 'n' && !(doubting.now(1500).has & GP_HAS_DIRECTION));
    return failed;
}
