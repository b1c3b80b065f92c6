// glidepath for C++11 and later: the C face with the sizes filled in. Nothing here allocates or throws; every call gives
// the C code, GP_OK (0) when done. See glidepath.h for what each means.
#ifndef GLIDEPATH_HPP
#define GLIDEPATH_HPP

#include "glidepath.h"

namespace glidepath {

// Memory for a monitor that keeps so many readings.
template <uint32_t Readings> struct MonitorMemory; // 24, 96, 288 or 1440
template <> struct MonitorMemory<24> { typedef gp_monitor_24 type; };
template <> struct MonitorMemory<96> { typedef gp_monitor_96 type; };
template <> struct MonitorMemory<288> { typedef gp_monitor_288 type; };
template <> struct MonitorMemory<1440> { typedef gp_monitor_1440 type; };

// A monitor as shipped; ready() with other settings begins it anew.
template <uint32_t Readings> class Monitor {
public:
    Monitor() : memory_() { gp_monitor_init(&memory_, sizeof memory_, Readings); }

    gp_code ready(const gp_settings &settings, gp_fault *fault = nullptr) {
        return gp_monitor_init_with(&memory_, sizeof memory_, Readings, &settings, fault);
    }
    gp_code set_uptime(uint32_t uptime_s) { return gp_monitor_set_uptime(&memory_, uptime_s); }
    gp_code push(uint32_t at_s, float mg_dl, gp_view &view, uint8_t status = GP_STATUS_NORMAL) {
        return gp_monitor_push(&memory_, at_s, mg_dl, status, &view, sizeof view);
    }
    gp_code tick(uint32_t now_s, gp_view &view) { return gp_monitor_tick(&memory_, now_s, &view, sizeof view); }
    gp_code tick(gp_view &view) { return gp_monitor_tick_without_clock(&memory_, &view, sizeof view); }
    gp_code fingerstick(uint32_t at_s, float mg_dl, gp_fingerstick &outcome) {
        return gp_monitor_fingerstick(&memory_, at_s, mg_dl, &outcome, sizeof outcome);
    }
    gp_code acknowledge() { return gp_monitor_acknowledge(&memory_); }
    gp_code save(uint8_t *bytes, size_t room, size_t &written) {
        return gp_monitor_save(&memory_, bytes, room, &written);
    }
    gp_code restore(const uint8_t *bytes, size_t length) { return gp_monitor_restore(&memory_, bytes, length); }
    void *c() { return &memory_; } // for the rest of the C functions

private:
    typename MonitorMemory<Readings>::type memory_;
};

// Memory for a monitor of two sensors that keeps so many readings of each.
template <uint32_t Readings> struct PairMemory; // 24, 96, 288 or 1440
template <> struct PairMemory<24> { typedef gp_pair_24 type; };
template <> struct PairMemory<96> { typedef gp_pair_96 type; };
template <> struct PairMemory<288> { typedef gp_pair_288 type; };
template <> struct PairMemory<1440> { typedef gp_pair_1440 type; };

enum class Side : uint8_t { First = GP_SIDE_FIRST, Second = GP_SIDE_SECOND };

// A monitor of two sensors worn at once, both as shipped; ready() with other settings begins it anew.
template <uint32_t Readings> class PairMonitor {
public:
    PairMonitor() : memory_() { gp_pair_init(&memory_, sizeof memory_, Readings); }

    gp_code ready(const gp_settings &first, const gp_settings &second, gp_fault *fault = nullptr) {
        return gp_pair_init_with(&memory_, sizeof memory_, Readings, &first, &second, fault);
    }
    gp_code set_uptime(uint32_t uptime_s) { return gp_pair_set_uptime(&memory_, uptime_s); }
    gp_code push(Side side, uint32_t at_s, float mg_dl, gp_pair_view &view, uint8_t status = GP_STATUS_NORMAL) {
        return gp_pair_push(&memory_, static_cast<uint8_t>(side), at_s, mg_dl, status, &view, sizeof view);
    }
    gp_code tick(uint32_t now_s, gp_pair_view &view) { return gp_pair_tick(&memory_, now_s, &view, sizeof view); }
    gp_code tick(gp_pair_view &view) { return gp_pair_tick_without_clock(&memory_, &view, sizeof view); }
    gp_code fingerstick(uint32_t at_s, float mg_dl, gp_fingerstick (&outcomes)[GP_SIDES]) {
        return gp_pair_fingerstick(&memory_, at_s, mg_dl, outcomes, sizeof outcomes);
    }
    gp_code sensor_started(Side side, uint32_t at_s) {
        return gp_pair_sensor_started(&memory_, static_cast<uint8_t>(side), at_s);
    }
    gp_code power_returned() { return gp_pair_power_returned(&memory_); }
    gp_code acknowledge() { return gp_pair_acknowledge(&memory_); }
    gp_code save(uint8_t *bytes, size_t room, size_t &written) { return gp_pair_save(&memory_, bytes, room, &written); }
    gp_code restore(const uint8_t *bytes, size_t length) { return gp_pair_restore(&memory_, bytes, length); }
    void *c() { return &memory_; } // for the rest of the C functions

private:
    typename PairMemory<Readings>::type memory_;
};

// Trend sign and low ahead, with the age and the clocks minded.
class TrendMonitor {
public:
    TrendMonitor() : memory_() { gp_trend_monitor_init(&memory_, sizeof memory_, nullptr); }

    gp_code set_uptime(uint32_t uptime_s) { return gp_trend_monitor_set_uptime(&memory_, uptime_s); }
    gp_code push(uint32_t at_s, float mg_dl, gp_trend_view &view, uint8_t status = GP_STATUS_NORMAL) {
        return gp_trend_monitor_push(&memory_, at_s, mg_dl, status, &view, sizeof view);
    }
    gp_code tick(uint32_t now_s, gp_trend_view &view) {
        return gp_trend_monitor_tick(&memory_, now_s, &view, sizeof view);
    }
    gp_code tick(gp_trend_view &view) { return gp_trend_monitor_tick_without_clock(&memory_, &view, sizeof view); }
    gp_code power_returned() { return gp_trend_monitor_power_returned(&memory_); }

private:
    gp_trend_monitor memory_;
};

// Direction and a low ahead from readings alone.
class Direction {
public:
    Direction() : memory_() { gp_direction_init(&memory_, sizeof memory_, nullptr); }

    gp_code reading(uint32_t at_s, float mg_dl, bool believed = true) {
        return gp_direction_reading(&memory_, at_s, mg_dl, believed);
    }
    // What is not known has no bit in `has`.
    gp_direction_view now(uint32_t now_s) {
        gp_direction_view view = gp_direction_view();
        gp_direction_now(&memory_, now_s, &view, sizeof view);
        return view;
    }
    // "falling", say; "not known" when it is not.
    const char *words(uint32_t now_s) { return gp_trend_text(now(now_s).trend); }

private:
    gp_direction memory_;
};

} // namespace glidepath

#endif
