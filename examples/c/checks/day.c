/* Three invented days through every part of the library; prints hashes of the bits of every answer. checks/day.rs prints
 * the same lines from the library itself. The readings are those of tests/three_days. */
#include "board.h"
#include "glidepath.h"

static uint32_t hash;

static void word(uint32_t value) {
    for (int i = 0; i < 4; i++) {
        hash = (hash ^ (value >> (8 * i) & 0xffu)) * 16777619u; /* FNV-1a */
    }
}

static void real(float value) {
    union { float real; uint32_t bits; } as;
    as.real = value;
    word(as.bits);
}

static void words(const char *text) {
    for (; *text; text++) word((uint32_t)(unsigned char)*text);
}

static void known(uint32_t has, uint32_t bit) { word(has & bit ? 1u : 0u); }

static void line(const char *name) {
    char digits[10];
    for (int i = 0; i < 8; i++) digits[i] = "0123456789abcdef"[hash >> (28 - 4 * i) & 15u];
    digits[8] = '\n';
    digits[9] = 0;
    board_print(name);
    board_print(" ");
    board_print(digits);
    hash = 2166136261u;
}

static int failed;

static void want(gp_code code, gp_code wanted) {
    if (code != wanted) {
        failed++;
        board_print("unexpected: ");
        board_print(gp_code_text(code));
        board_print("\n");
    }
}
#define OK(call) want(call, GP_OK)

static void predicted(uint32_t has, const gp_predicted *p) {
    known(has, GP_HAS_PREDICTED);
    real(p->mg_dl);
    real(p->sd_mg_dl);
    real(p->half_width_50_mg_dl);
    real(p->half_width_95_mg_dl);
}

static void one(uint32_t has, uint32_t bit, float value) {
    known(has, bit);
    real(value);
}

static void view_bits(const gp_view *v) {
    word(v->at_s);
    known(v->has, GP_HAS_SHOWN);
    real(v->shown_mg_dl);
    word((uint32_t)v->shown_age_s);
    word(v->shown_whole_mg_dl);
    word(v->shown_tenths_mmol_l);
    word(v->shown_bound);
    word(v->shown_doubted);
    word(v->monitoring);
    words(gp_verdict_text(v->verdict));
    words(gp_trend_text(v->trend));
    words(gp_grade_text(v->grade));
    for (uint8_t reason = 0; reason < 12; reason++) {
        if (v->reasons >> reason & 1) words(gp_reason_text(reason));
    }
    known(v->has, GP_HAS_BOUND);
    word(v->bound);
    real(v->bound_mg_dl);
    known(v->has, GP_HAS_ESTIMATE);
    real(v->glucose_mg_dl);
    real(v->glucose_sd_mg_dl);
    real(v->rate_mg_dl_min);
    real(v->rate_sd_mg_dl_min);
    word(v->estimate_doubted);
    one(v->has, GP_HAS_CALIBRATION_SD, v->calibration_sd_mg_dl);
    known(v->has, GP_HAS_DIRECTION);
    real(v->direction_mg_dl_min);
    real(v->direction_sd_mg_dl_min);
    predicted(v->has, &v->in_15_min);
    predicted(v->has, &v->in_30_min);
    predicted(v->has, &v->in_60_min);
    one(v->has, GP_HAS_LOW_PROBABILITY, v->low_probability);
    one(v->has, GP_HAS_LOW_AHEAD, v->low_ahead);
    one(v->has, GP_HAS_MINUTES_TO_LOW, v->minutes_to_low);
    known(v->has, GP_HAS_NEWEST);
    word(v->newest_at_s);
    real(v->newest_mg_dl);
    known(v->has, GP_HAS_AGE);
    word((uint32_t)v->age_s);
    for (uint8_t kind = 0; kind < GP_ALARMS; kind++) {
        const gp_alarm *alarm = &v->alarms[kind];
        if (!alarm->holds) continue;
        words(gp_alarm_text(kind));
        words(gp_alarm_title(kind));
        word(alarm->at_s);
        word(alarm->rings);
        word(alarm->acknowledged);
        words(gp_priority_text(alarm->priority));
        words(gp_cause_text(alarm->cause));
        word(alarm->trigger);
        real(alarm->value);
    }
    words(v->most_urgent == GP_ALARM_NONE ? "-" : gp_alarm_text(v->most_urgent));
    words(v->rings_first == GP_ALARM_NONE ? "-" : gp_alarm_text(v->rings_first));
}

#define READINGS 864
#define START 1700000000u

static int16_t values[READINGS];

static void make_values(void) {
    static const int shifts[3] = {0, 15, -10};
    uint32_t x = 12345;
    for (int day = 0; day < 3; day++) {
        for (int i = 0; i < 288; i++) {
            int phase = i % 72;
            int triangle = phase < 36 ? 60 + 200 * phase / 36 : 260 - 200 * (phase - 36) / 36;
            x = (1103515245u * x + 12345u) & 0x7fffffffu;
            values[288 * day + i] = (int16_t)(triangle + (int)((x >> 16) % 21u) - 10 + shifts[day]);
        }
    }
}

static gp_monitor_288 monitor;
static gp_settings settings;
static gp_view view;
static uint8_t snapshot[8192];
static gp_reading readings[300];

static uint8_t status_of(int i) {
    return i % 101 == 100 ? GP_STATUS_DOUBTFUL : values[i] < 55 ? GP_STATUS_BELOW_RANGE : GP_STATUS_NORMAL;
}

static uint32_t time_of(int i) { return START + 300u * (uint32_t)i; }

static void stick_bits(const gp_fingerstick *outcome) {
    words(gp_fingerstick_text(outcome->outcome));
    word(outcome->fused);
    word(outcome->has_expected);
    real(outcome->expected_mg_dl);
    real(outcome->expected_sd_mg_dl);
    real(outcome->deviations);
}

static void fingerstick(uint32_t at, float mg_dl) {
    gp_fingerstick outcome;
    OK(gp_monitor_fingerstick(&monitor, at, mg_dl, &outcome, sizeof outcome));
    stick_bits(&outcome);
}

static void through_the_monitor(void) {
    OK(gp_settings_default(&settings, sizeof settings));
    settings.profiles = 2;
    settings.alarms[1].rules[GP_ALARM_LOW].limit = 80.0f;
    settings.alarms[1].rules[GP_ALARM_STEEP_FALL].on = 1;
    settings.slots = 1;
    settings.slot[0].days = 0x7f;
    settings.slot[0].profile = 1;
    settings.slot[0].from_min = 22 * 60;
    settings.slot[0].to_min = 7 * 60;
    settings.quality.pressure_share = 0.15f;
    settings.bands.missing_costs = 1.5f;
    OK(gp_settings_check(&settings, NULL));
    OK(gp_monitor_init_with(&monitor, sizeof monitor, 288, &settings, NULL));
    OK(gp_monitor_set_utc_offset(&monitor, 3600));
    for (int i = 0; i < READINGS; i++) {
        uint32_t at = time_of(i);
        if (i == 288) line("day 1");
        if (i == 576) line("day 2");
        if (i % 97 >= 90 && i % 97 < 94) { /* lost */
            OK(gp_monitor_tick(&monitor, at, &view, sizeof view));
            view_bits(&view);
            continue;
        }
        OK(gp_monitor_set_uptime(&monitor, at - START));
        OK(gp_monitor_push(&monitor, at, (float)values[i], status_of(i), &view, sizeof view));
        view_bits(&view);
        if (i % 7 == 3) {
            OK(gp_monitor_set_uptime(&monitor, at - START + 120u));
            OK(gp_monitor_tick(&monitor, at + 120u, &view, sizeof view));
            view_bits(&view);
        }
        if (i % 48 == 20) fingerstick(at + 60u, (float)values[i] * 1.0625f + 3.0f);
        if (i % 60 == 30) OK(gp_monitor_acknowledge(&monitor));
        if (i == 310) {
            int32_t granted;
            OK(gp_monitor_snooze(&monitor, GP_ALARM_LOW, 7200, &granted));
            word((uint32_t)granted);
        }
        if (i == 400) {
            size_t length;
            OK(gp_monitor_save(&monitor, snapshot, sizeof snapshot, &length));
            word((uint32_t)length);
            for (size_t k = 0; k < length; k++) word(snapshot[k]);
            OK(gp_monitor_restart(&monitor));
            OK(gp_monitor_restore(&monitor, snapshot, length));
            OK(gp_monitor_tick_without_clock(&monitor, &view, sizeof view));
            view_bits(&view);
        }
        if (i == 500) OK(gp_monitor_sensor_started(&monitor, at));
        if (i == 600) OK(gp_monitor_clear_utc_offset(&monitor));
        if (i == 700) {
            settings.alarms[0].rules[GP_ALARM_HIGH].limit = 200.0f;
            OK(gp_monitor_set_alarms(&monitor, &settings, NULL));
            OK(gp_monitor_power_returned(&monitor));
        }
    }
    line("day 3");
    size_t count;
    OK(gp_monitor_history(&monitor, readings, 200, &count));
    word((uint32_t)count);
    for (size_t k = 0; k < count; k++) {
        word(readings[k].at_s);
        real(readings[k].mg_dl);
        words(gp_status_text(readings[k].status));
    }
    line("history");
    gp_wear wear;
    OK(gp_monitor_wear(&monitor, &wear, sizeof wear));
    word(wear.known);
    word((uint32_t)wear.worn_s);
    word((uint32_t)wear.left_s);
    word((uint32_t)wear.warm_up_left_s);
    word((uint32_t)wear.lost_s);
    word(wear.readings);
    word(wear.errors);
    word(wear.day);
    gp_calibration calibration;
    OK(gp_monitor_calibration(&monitor, &calibration, sizeof calibration));
    real(calibration.gain);
    real(calibration.offset_mg_dl);
    word(calibration.used);
    word(calibration.refused);
    line("sensor");
}

/* Two sensors of the same invented person. The second reads a little lower and 100 s later; for a while it stands still, the first
 * one reads far too low, one of them is silent, and both are. */
static int first_of(int i) { return i >= 400 && i < 430 ? values[i] * 5 / 8 : values[i]; }

static int second_of(int i) {
    if (i >= 200 && i < 230) return values[200];
    return values[i] * 15 / 16 + 6 + (int)(((uint32_t)i * 2654435761u >> 16) % 13u) - 6;
}

static int first_is_lost(int i) { return i >= 640 && i < 700; }
static int second_is_lost(int i) { return i >= 600 && i < 660; }

static gp_pair_288 pair;
static gp_pair_view both;

static void pair_bits(void) {
    view_bits(&both.fused);
    words(gp_pair_text(both.agreement));
    for (uint8_t side = 0; side < GP_SIDES; side++) {
        const gp_side_view *s = &both.sides[side];
        words(gp_side_text(side));
        known(s->has, GP_HAS_NEWEST);
        word(s->newest_at_s);
        real(s->newest_mg_dl);
        known(s->has, GP_HAS_AGE);
        word((uint32_t)s->age_s);
        real(s->weight);
        real(s->offset_mg_dl);
        predicted(s->has, &s->in_15_min);
        predicted(s->has, &s->in_30_min);
        predicted(s->has, &s->in_60_min);
        words(gp_grade_text(s->grade));
        for (uint8_t reason = 0; reason < 12; reason++) {
            if (s->reasons >> reason & 1) words(gp_reason_text(reason));
        }
    }
}

static void through_the_pair(void) {
    static gp_settings second;
    OK(gp_settings_default(&settings, sizeof settings));
    settings.alarms[0].rules[GP_ALARM_HIGH].limit = 240.0f;
    settings.bands.missing_costs = 1.5f;
    OK(gp_settings_default(&second, sizeof second));
    second.quality.pressure_share = 0.15f;
    OK(gp_pair_init_with(&pair, sizeof pair, 288, &settings, &second, NULL));
    OK(gp_pair_set_utc_offset(&pair, 3600));
    for (int i = 0; i < READINGS; i++) {
        uint32_t at = time_of(i);
        if (i == 432) line("pair 1");
        OK(gp_pair_set_uptime(&pair, at - START));
        if (first_is_lost(i)) {
            OK(gp_pair_tick(&pair, at, &both, sizeof both));
        } else {
            OK(gp_pair_push(&pair, GP_SIDE_FIRST, at, (float)first_of(i), status_of(i), &both, sizeof both));
        }
        pair_bits();
        OK(gp_pair_set_uptime(&pair, at - START + 100u));
        if (!second_is_lost(i)) {
            OK(gp_pair_push(&pair, GP_SIDE_SECOND, at + 100u, (float)second_of(i), GP_STATUS_NORMAL, &both, sizeof both));
            pair_bits();
        }
        if (i % 96 == 20) {
            gp_fingerstick outcomes[GP_SIDES];
            OK(gp_pair_fingerstick(&pair, at + 110u, (float)values[i] * 1.0625f + 3.0f, outcomes, sizeof outcomes));
            stick_bits(&outcomes[0]);
            stick_bits(&outcomes[1]);
        }
        if (i % 60 == 30) OK(gp_pair_acknowledge(&pair));
        if (i == 310) {
            int32_t granted;
            OK(gp_pair_snooze(&pair, GP_ALARM_LOW, 7200, &granted));
            word((uint32_t)granted);
        }
        if (i == 500) OK(gp_pair_sensor_started(&pair, GP_SIDE_SECOND, at));
        if (i == 560) OK(gp_pair_clear_utc_offset(&pair));
        if (i == 580) {
            OK(gp_pair_power_returned(&pair));
            OK(gp_pair_tick_without_clock(&pair, &both, sizeof both));
            pair_bits();
        }
        if (i == 680) {
            size_t length;
            OK(gp_pair_save(&pair, snapshot, sizeof snapshot, &length));
            word((uint32_t)length);
            for (size_t k = 0; k < length; k++) word(snapshot[k]);
            OK(gp_pair_restart(&pair));
            OK(gp_pair_restore(&pair, snapshot, length));
            OK(gp_pair_tick_without_clock(&pair, &both, sizeof both));
            pair_bits();
        }
        if (i == 720) {
            settings.alarms[0].rules[GP_ALARM_HIGH].limit = 200.0f;
            OK(gp_pair_set_alarms(&pair, &settings, NULL));
        }
    }
    line("pair 2");
    for (uint8_t side = 0; side < GP_SIDES; side++) {
        size_t count;
        OK(gp_pair_history(&pair, side, readings, 100, &count));
        word((uint32_t)count);
        for (size_t k = 0; k < count; k++) {
            word(readings[k].at_s);
            real(readings[k].mg_dl);
        }
        gp_wear wear;
        OK(gp_pair_wear(&pair, side, &wear, sizeof wear));
        word(wear.known);
        word((uint32_t)wear.worn_s);
        word(wear.readings);
    }
    OK(gp_pair_restart(&pair));
    OK(gp_pair_tick(&pair, time_of(READINGS), &both, sizeof both));
    pair_bits();
    line("pair 3");
}

static void trend_bits(const gp_trend_view *v) {
    known(v->has, GP_HAS_SHOWN);
    real(v->shown_mg_dl);
    word((uint32_t)v->shown_age_s);
    word(v->shown_whole_mg_dl);
    word(v->shown_tenths_mmol_l);
    word(v->shown_bound);
    word(v->shown_doubted);
    word(v->monitoring);
    words(gp_trend_text(v->trend));
    words(v->warning == GP_ALARM_NONE ? "-" : gp_alarm_text(v->warning));
    one(v->has, GP_HAS_LOW_AHEAD, v->low_ahead);
    one(v->has, GP_HAS_TRIGGER, v->trigger_mg_dl);
}

static void trend_and_low_ahead(void) {
    static gp_trend_monitor trend;
    gp_trend_view v;
    OK(gp_trend_monitor_init(&trend, sizeof trend, NULL));
    OK(gp_trend_monitor_tick_without_clock(&trend, &v, sizeof v));
    trend_bits(&v);
    for (int i = 0; i < READINGS; i++) {
        if (i < 300) OK(gp_trend_monitor_set_uptime(&trend, time_of(i) - START));
        if (i % 97 >= 90) {
            OK(gp_trend_monitor_tick(&trend, time_of(i), &v, sizeof v));
        } else {
            OK(gp_trend_monitor_push(&trend, time_of(i), (float)values[i], status_of(i), &v, sizeof v));
        }
        trend_bits(&v);
        if (i == 500) {
            OK(gp_trend_monitor_power_returned(&trend));
            OK(gp_trend_monitor_tick_without_clock(&trend, &v, sizeof v));
            trend_bits(&v);
        }
    }
    line("trend");
}

static void direction_alone(void) {
    static gp_direction direction;
    static gp_trend_sign sign;
    gp_direction_view d;
    OK(gp_direction_init(&direction, sizeof direction, NULL));
    OK(gp_trend_sign_init(&sign, sizeof sign, NULL));
    for (int i = 0; i < 288; i++) {
        OK(gp_direction_reading(&direction, time_of(i), (float)values[i], i % 50 != 49));
        OK(gp_direction_now(&direction, time_of(i) + 60u, &d, sizeof d));
        words(gp_trend_text(d.trend));
        known(d.has, GP_HAS_DIRECTION);
        real(d.direction_mg_dl_min);
        real(d.direction_sd_mg_dl_min);
        predicted(d.has, &d.in_30_min);
        one(d.has, GP_HAS_LOW_PROBABILITY, d.low_probability);
        one(d.has, GP_HAS_LOW_AHEAD, d.low_ahead);
        one(d.has, GP_HAS_MINUTES_TO_LOW, d.minutes_to_low);
        uint8_t trend;
        OK(gp_trend_sign_step(&sign, (float)(values[i] - 160) / 40.0f, 0.25f, &trend));
        words(gp_trend_text(trend));
    }
    line("direction");
}

static void payloads(void) {
    /* made by hand from the specification's layout; checks/day.rs decodes the same bytes */
    static const uint8_t cgm[] = {14, 0xe3, 0x6c, 0x00, 0x05, 0x00, 0x00, 0x04, 0x40, 0xec, 0x0f, 0x5f, 0x00, 0x00};
    static const uint8_t plain[] = {6, 0x00, 0x68, 0x00, 0x0a, 0x00};
    static const uint8_t status[] = {0x0a, 0x00, 0x08, 0x00, 0x00};
    static const uint8_t start[] = {0xe7, 0x07, 11, 14, 22, 13, 20, 4, 0};
    static const uint8_t meter[] = {0x03, 0x07, 0x00, 0xe7, 0x07, 11, 14, 22, 13, 20, 0x3c, 0x00, 0x78, 0xb0, 0x11};
    gp_cgm_sensor sensor = {START, 40.0f, 400.0f, 0, GP_ORDER_STATUS_FIRST, {0, 0}};
    const uint8_t *records[2] = {cgm, plain};
    const size_t lengths[2] = {sizeof cgm - 1, sizeof plain};
    for (int i = 0; i < 2; i++) {
        gp_cgm decoded;
        size_t used = 0;
        gp_code code = gp_cgm_decode(records[i], lengths[i], &sensor, &decoded, sizeof decoded, &used);
        words(gp_code_text(code));
        if (code != GP_OK) continue;
        word((uint32_t)used);
        known(decoded.has, GP_CGM_HAS_READING);
        word(decoded.at_s);
        real(decoded.mg_dl);
        words(gp_status_text(decoded.status));
        one(decoded.has, GP_CGM_HAS_TREND, decoded.trend_mg_dl_min);
        one(decoded.has, GP_CGM_HAS_QUALITY, decoded.quality_percent);
        word(decoded.annunciation);
        word(decoded.offset_min);
        word(decoded.order_in_doubt);
    }
    gp_cgm_status decoded_status;
    OK(gp_cgm_status_decode(status, sizeof status, 0, &decoded_status, sizeof decoded_status));
    word(decoded_status.offset_min);
    word(decoded_status.annunciation);
    words(gp_status_text(decoded_status.status));
    gp_session_start decoded_start;
    OK(gp_session_start_decode(start, sizeof start, 0, &decoded_start, sizeof decoded_start));
    known(decoded_start.has, GP_SESSION_HAS_UTC);
    word(decoded_start.utc_s);
    known(decoded_start.has, GP_SESSION_HAS_OFFSET);
    word((uint32_t)decoded_start.offset_s);
    gp_meter decoded_meter;
    OK(gp_meter_decode(meter, sizeof meter, &decoded_meter, sizeof decoded_meter));
    known(decoded_meter.has, GP_METER_HAS_FINGERSTICK);
    known(decoded_meter.has, GP_METER_HAS_TIME);
    word(decoded_meter.at_s);
    known(decoded_meter.has, GP_METER_HAS_VALUE);
    real(decoded_meter.mg_dl);
    word(decoded_meter.sequence);
    word(decoded_meter.sample_type);
    word(decoded_meter.sample_location);
    line("payloads");
}

static void ranges(const gp_ranges *r) {
    real(r->below_54);
    real(r->from_54_to_69);
    real(r->from_70_to_180);
    real(r->from_181_to_250);
    real(r->above_250);
}

static void looking_back(void) {
    static gp_review review;
    static gp_accuracy accuracy;
    OK(gp_review_init(&review, sizeof review, 300, GP_UNIT_MG_DL));
    for (int i = 0; i < READINGS; i++) {
        OK(gp_review_push(&review, time_of(i), (float)values[i], status_of(i), 300u * (uint32_t)i));
    }
    gp_summary s;
    OK(gp_review_summary(&review, &s, sizeof s));
    word(s.readings);
    word(s.whole_days);
    real(s.days);
    one(s.has, GP_SUMMARY_HAS_ACTIVE, s.active_percent);
    one(s.has, GP_SUMMARY_HAS_MEAN, s.mean_mg_dl);
    one(s.has, GP_SUMMARY_HAS_SD, s.sd_mg_dl);
    one(s.has, GP_SUMMARY_HAS_CV, s.cv_percent);
    one(s.has, GP_SUMMARY_HAS_GMI, s.gmi_percent);
    one(s.has, GP_SUMMARY_HAS_GRI, s.gri);
    known(s.has, GP_SUMMARY_HAS_BY_TIME);
    ranges(&s.by_time);
    known(s.has, GP_SUMMARY_HAS_BY_READINGS);
    ranges(&s.by_readings);
    word(s.suffices);
    line("review");
    for (int i = 0; i < 288; i++) {
        readings[i].at_s = time_of(i);
        readings[i].mg_dl = (float)values[i];
        readings[i].status = status_of(i);
    }
    OK(gp_accuracy_init(&accuracy, sizeof accuracy));
    for (int i = 0; i < 288; i += 12) {
        words(gp_code_text(gp_accuracy_fingerstick(&accuracy, readings, 288, time_of(i) + 100u,
                                                   (float)values[i] * 0.9375f + 5.0f, 120)));
    }
    OK(gp_accuracy_push(&accuracy, 110.0f, 100.0f));
    gp_agreement a;
    OK(gp_accuracy_result(&accuracy, &a, sizeof a));
    word(a.pairs);
    one(a.has, GP_AGREEMENT_HAS_MARD, a.mard_percent);
    real(a.bias_mg_dl);
    real(a.mad_mg_dl);
    real(a.rmse_mg_dl);
    one(a.has, GP_AGREEMENT_HAS_SD, a.sd_mg_dl);
    real(a.within_15_15_percent);
    real(a.within_20_20_percent);
    real(a.within_30_30_percent);
    real(a.within_40_40_percent);
    line("accuracy");
}

int check(void) {
    hash = 2166136261u;
    OK(GP_CHECK());
    make_values();
    through_the_monitor();
    through_the_pair();
    trend_and_low_ahead();
    direction_alone();
    payloads();
    looking_back();
    return failed;
}
