/* glidepath for C and C++: glucose signal processing for small hardware.
 *
 * Not a medical device. Not for treatment decisions. Confirm with a fingerstick when symptoms and reading disagree, and
 * follow your care team and local rules.
 *
 * Memory. All memory is yours; the library allocates nothing and has no variables of its own. An object lives in memory
 * of its type, which you may copy with memcpy or an assignment, as a whole. Objects know nothing of each other. Calls on
 * one object must not run at the same time (from an interrupt, say); calls on different ones may.
 *
 * Errors. Every function that can refuse returns a gp_code; GP_OK is 0. A refused call changes no object and writes no
 * result; it never crashes on null pointers, misaligned memory, numbers out of range, or memory that was never
 * initialised, as long as it was written at all (zeroed, say: static memory is). What cannot be checked is yours:
 * a pointer that is not null points to memory as large as its type or the size beside it, and memory of two arguments does
 * not overlap.
 *
 * Units. Glucose is mg/dL, rates are mg/dL/min, times are whole seconds. A time is an unsigned count since an epoch of
 * your choosing; settings by time of day need it to be 1970-01-01T00:00Z. Flags are 0 or 1.
 *
 * Check once at the start that header and library fit:  if (GP_CHECK() != GP_OK) ...
 */
#ifndef GLIDEPATH_H
#define GLIDEPATH_H

#include <stddef.h>
#include <stdint.h>

#ifdef __cplusplus
extern "C" {
#endif

/* --- version and codes ------------------------------------------------------------------------------------------- */

/* Changes with any size, offset, number or meaning below. */
#define GP_VERSION 1u

typedef int32_t gp_code;

enum {
    GP_OK = 0,
    GP_ERROR_NULL = 1,                /* a pointer is null */
    GP_ERROR_SIZE = 2,                /* a size is not that of the type, or memory is too small */
    GP_ERROR_ALIGNMENT = 3,           /* memory is not aligned for its type */
    GP_ERROR_VERSION = 4,             /* header and library are of different versions */
    GP_ERROR_NOT_READY = 5,           /* not initialised, or another kind of object */
    GP_ERROR_NOT_FINITE = 6,          /* not a finite number */
    GP_ERROR_OUT_OF_RANGE = 7,
    GP_ERROR_INCONSISTENT = 8,        /* at odds with another setting */
    GP_ERROR_NUMBER = 9,              /* a number that the enumeration does not have */
    GP_ERROR_BUFFER_TOO_SMALL = 10,
    GP_ERROR_SNAPSHOT_INCOMPLETE = 11,
    GP_ERROR_SNAPSHOT_VERSION = 12,
    GP_ERROR_SNAPSHOT_CHECKSUM = 13,
    GP_ERROR_SNAPSHOT_STATE = 14,     /* whole, but no state of a monitor */
    GP_ERROR_PAYLOAD_SHORT = 15,
    GP_ERROR_PAYLOAD_LONG = 16,
    GP_ERROR_PAYLOAD_SIZE = 17,       /* the size field is wrong */
    GP_ERROR_PAYLOAD_FLAG = 18,       /* a reserved flag */
    GP_ERROR_PAYLOAD_VALUE = 19,      /* a reserved value */
    GP_ERROR_PAYLOAD_DATE = 20,
    GP_ERROR_PAYLOAD_CRC = 21,
    GP_ERROR_NOT_LATER = 22,          /* not later than the reading before */
    GP_ERROR_FAULT = 23,              /* the sensor reports a fault: the value means nothing */
    GP_ERROR_NO_PAIR = 24,            /* no usable reading near enough */
    GP_ERROR_OTHER = 25
};

/* What a code means, in a few words; never null. */
const char *gp_code_text(gp_code code);

/* The library's GP_VERSION. */
uint32_t gp_version(void);

/* GP_ERROR_VERSION or GP_ERROR_SIZE when the library was built with another header. Use GP_CHECK(). */
gp_code gp_check(uint32_t version, uint32_t layout);

/* --- numbers: none is ever given another meaning ------------------------------------------------------------------ */

/* What the sensor says of a reading. */
enum {
    GP_STATUS_NORMAL = 0,
    GP_STATUS_BELOW_RANGE = 1, /* the value is the low end of the sensor's range */
    GP_STATUS_ABOVE_RANGE = 2,
    GP_STATUS_WARM_UP = 3,
    GP_STATUS_DOUBTFUL = 4,
    GP_STATUS_FAULT = 5
};

enum {
    GP_TREND_NOT_KNOWN = 0, /* stale, or too uncertain to say */
    GP_TREND_FALLING_FAST = 1,
    GP_TREND_FALLING = 2,
    GP_TREND_STEADY = 3,
    GP_TREND_RISING = 4,
    GP_TREND_RISING_FAST = 5
};

/* What became of a reading. */
enum {
    GP_VERDICT_NONE = 0, /* there was no reading: a tick */
    GP_VERDICT_ACCEPTED = 1,
    GP_VERDICT_LATE = 2,
    GP_VERDICT_DUPLICATE = 3,
    GP_VERDICT_BAD_TIME = 4,
    GP_VERDICT_CLOCK_SET = 5,
    GP_VERDICT_OUT_OF_RANGE = 6,
    GP_VERDICT_WARM_UP = 7,
    GP_VERDICT_FAULT = 8,
    GP_VERDICT_JUMP = 9,
    GP_VERDICT_STUCK = 10,
    GP_VERDICT_PRESSURE = 11
};

/* How far the sensor is believed. */
enum { GP_GRADE_UNUSABLE = 0, GP_GRADE_POOR = 1, GP_GRADE_FAIR = 2, GP_GRADE_GOOD = 3 };

/* Why it is believed less: bit 1 << reason of gp_view.reasons. */
enum {
    GP_REASON_WARM_UP = 0,
    GP_REASON_FIRST_DAY = 1,
    GP_REASON_PAST_END = 2,
    GP_REASON_NOISE = 3,
    GP_REASON_JUMP = 4,
    GP_REASON_STUCK = 5,
    GP_REASON_GAP = 6,
    GP_REASON_PRESSURE = 7,
    GP_REASON_FINGERSTICKS = 8,
    GP_REASON_DRIFT = 9,
    GP_REASON_SECOND_SENSOR = 10,
    GP_REASON_SENSOR_STATUS = 11
};

/* Kinds of alarm, the gravest first. The floor, 55 mg/dL, cannot be changed or switched off. */
enum {
    GP_ALARM_FLOOR = 0,
    GP_ALARM_LOW = 1,
    GP_ALARM_LOW_AHEAD = 2,
    GP_ALARM_STEEP_FALL = 3,
    GP_ALARM_NO_DATA = 4,
    GP_ALARM_HIGH = 5,
    GP_ALARM_STEEP_RISE = 6,
    GP_ALARM_DOUBT = 7,
    GP_ALARM_WEAR_END = 8,
    GP_ALARMS = 9,       /* how many */
    GP_ALARM_NONE = 255
};

/* Priorities of IEC 60601-1-8. */
enum { GP_PRIORITY_LOW = 0, GP_PRIORITY_MEDIUM = 1, GP_PRIORITY_HIGH = 2 };

/* Why an alarm rang last. */
enum { GP_CAUSE_NEW = 0, GP_CAUSE_REPEATED = 1, GP_CAUSE_ESCALATED = 2, GP_CAUSE_WORSE = 3 };

/* What gp_alarm.value is, and its unit. */
enum {
    GP_TRIGGER_UNKNOWN = 0,
    GP_TRIGGER_SENSOR = 1,       /* mg/dL */
    GP_TRIGGER_UNCALIBRATED = 2, /* mg/dL */
    GP_TRIGGER_BELOW_RANGE = 3,  /* mg/dL */
    GP_TRIGGER_ESTIMATE = 4,     /* mg/dL */
    GP_TRIGGER_UNPLACED = 5,     /* mg/dL, of a reading whose time cannot be placed */
    GP_TRIGGER_PROBABILITY = 6,
    GP_TRIGGER_RATE = 7,         /* mg/dL/min */
    GP_TRIGGER_SILENCE = 8,      /* s */
    GP_TRIGGER_WEAR_LEFT = 9,    /* s */
    GP_TRIGGER_DOUBT = 10
};

/* Beyond the sensor's range only the range's end is known. */
enum { GP_BOUND_NONE = 0, GP_BOUND_AT_MOST = 1, GP_BOUND_AT_LEAST = 2 };

/* What became of a fingerstick. */
enum {
    GP_FINGERSTICK_USED = 0,
    GP_FINGERSTICK_HELD = 1,     /* taken in as far as it may be: measure again */
    GP_FINGERSTICK_DOWNWEIGHTED = 2, /* counted for less: measure again */
    GP_FINGERSTICK_AHEAD = 3,    /* this and those below: not used */
    GP_FINGERSTICK_TOO_OLD = 4,
    GP_FINGERSTICK_NO_READING = 5,
    GP_FINGERSTICK_OUT_OF_ORDER = 6,
    GP_FINGERSTICK_OUT_OF_RANGE = 7,
    GP_FINGERSTICK_NOT_A_NUMBER = 8,
    GP_FINGERSTICK_OTHER = 9
};

/* Which of two sensors worn at once. */
enum { GP_SIDE_FIRST = 0, GP_SIDE_SECOND = 1, GP_SIDES = 2 };

/* How two sensors go together now. */
enum {
    GP_PAIR_NEITHER = 0,     /* neither has a believed reading of the last 20 minutes */
    GP_PAIR_ONLY_FIRST = 1,  /* only this one has */
    GP_PAIR_ONLY_SECOND = 2,
    GP_PAIR_TOGETHER = 3,    /* both have, and differ by no more than is usual for them */
    GP_PAIR_APART = 4,       /* they differ by more, for ten minutes or longer, and nothing tells which errs */
    GP_PAIR_FIRST_SUSPECT = 5,  /* they differ by more, and this one errs, as far as can be told */
    GP_PAIR_SECOND_SUSPECT = 6
};

/* Each number in words; "" for a number that is none. */
const char *gp_status_text(uint8_t status);
const char *gp_trend_text(uint8_t trend);
const char *gp_verdict_text(uint8_t verdict);
const char *gp_grade_text(uint8_t grade);
const char *gp_reason_text(uint8_t reason);
const char *gp_alarm_text(uint8_t alarm);  /* a sentence, to show or speak */
const char *gp_alarm_title(uint8_t alarm); /* at most ten characters */
const char *gp_priority_text(uint8_t priority);
const char *gp_cause_text(uint8_t cause);
const char *gp_fingerstick_text(uint8_t outcome);
const char *gp_side_text(uint8_t side);
const char *gp_pair_text(uint8_t agreement);

/* --- settings ----------------------------------------------------------------------------------------------------- */

/* Person and sensor. GP_MODEL_PEOPLE is fitted to recorded people, with the correction fitted beside it.
 * GP_MODEL_PLAIN is the plain linear filter. Times count to the second. */
enum { GP_MODEL_PEOPLE = 0, GP_MODEL_PLAIN = 1 };

typedef struct gp_model {
    float lag_min;           /* 0.5 to 30 min */
    float rate_time_min;     /* 1.2 lag_min to 1000 min */
    float process_noise;     /* 0.0001 to 10 (mg/dL/min)^2/min */
    float coloured_sd;       /* 0 to 60 mg/dL */
    float coloured_time_min; /* 1 to 1000 min */
    float white_sd;          /* 0.1 to 60 mg/dL */
    uint8_t kind;
    uint8_t reserved[3];
} gp_model;

/* How far the calibration may wander, and how cautious it is. */
typedef struct gp_drift {
    float gain_sd;         /* 0.001 to 0.5 */
    float gain_time_min;   /* 60 to 259200 min */
    float offset_sd;       /* 0.1 to 40 mg/dL */
    float offset_time_min; /* 60 to 259200 min */
    float scatter;         /* 0.02 to 0.3, as a share of glucose */
    float caution;         /* 0.5 to 10 */
} gp_drift;

/* The edges of the trend's classes. */
typedef struct gp_bands {
    float moderate;      /* 0.1 to 10 mg/dL/min: steady within it */
    float fast;          /* above moderate, to 10 mg/dL/min */
    float margin;        /* 0 to half of moderate: against flicker */
    float widest_sd;     /* 0.1 to 10 mg/dL/min: not known above it */
    float missing_costs; /* 0.05 to 20: how many times as much as crying wolf */
} gp_bands;

/* How readings are judged. */
typedef struct gp_quality {
    float least_mg_dl;       /* 0 to 30 */
    float greatest_mg_dl;    /* 200 to 2000 */
    float jump_sd;           /* 2 to 10 */
    float pressure_share;    /* 0.05 to 0.5 */
    float noisy_scale;       /* 1 to 16 */
    int32_t gap_s;           /* 60 to 21600 */
    int32_t pressure_hold_s; /* 0 to 3600 */
    int32_t stuck_span_s;    /* 0 to 21600 */
    int32_t warm_up_s;       /* 0 to 86400 */
    int32_t first_day_s;     /* warm_up_s to 172800 */
    int32_t wear_s;          /* 3600 to 34560000 */
    uint16_t night_from_min; /* 0 to 1439, minute of the day */
    uint16_t night_to_min;   /* 0 to 1439 */
    uint8_t stuck_readings;  /* 3 to 100 */
    uint8_t reserved[3];
} gp_quality;

/* One alarm. The range of its limit: gp_alarm_limits. Its units: mg/dL for FLOOR, LOW and HIGH, a probability for LOW_AHEAD,
 * mg/dL/min for STEEP_FALL and STEEP_RISE, minutes for NO_DATA and WEAR_END, none (0) for DOUBT. */
typedef struct gp_rule {
    float limit;
    float hysteresis;   /* 0 to 60, in the limit's unit; 0 to 0.5 for LOW_AHEAD */
    int32_t delay_s;    /* 0 to 86400; LOW: to 1800 */
    int32_t repeat_s;   /* 0 (never) to 86400; LOW: 60 to 1800 */
    int32_t quiet_s;    /* after being acknowledged; 0 to 86400; LOW: to 1800 */
    int32_t escalate_s; /* 0 (never) to 86400 */
    uint8_t on;         /* 0 or 1 */
    uint8_t priority;
    uint8_t reserved[2];
} gp_rule;

typedef struct gp_alarm_settings {
    gp_rule rules[GP_ALARMS]; /* by kind; rules[GP_ALARM_FLOOR] must stay as shipped */
    float recovering;         /* 0.2 to 5 mg/dL/min back: no new alarm */
    int32_t pressure_hold_s;  /* 0 to 1800: how much later LOW rings under suspected pressure */
} gp_alarm_settings;

#define GP_PROFILES 4
#define GP_SLOTS 8

/* When a profile of alarm settings holds, by the clock on the wall; the first that fits, else profile 0. */
typedef struct gp_slot {
    uint8_t days;      /* bit 0 Monday to bit 6 Sunday: the day on which it begins */
    uint8_t profile;   /* 0 to profiles - 1 */
    uint16_t from_min; /* 0 to 1439, minute of the day */
    uint16_t to_min;   /* 0 to 1439; not after from_min: the next day */
} gp_slot;

typedef struct gp_settings {
    uint32_t version; /* filled in by gp_settings_default, with all others */
    uint32_t size;
    gp_model model;
    gp_drift drift;
    gp_bands bands;
    gp_quality quality;
    uint8_t personal; /* 1: the forecast learns in what this person differs */
    uint8_t profiles; /* 1 to GP_PROFILES: how many of alarms[] are used */
    uint8_t slots;    /* 0 to GP_SLOTS: how many of slot[] are used */
    uint8_t reserved;
    gp_alarm_settings alarms[GP_PROFILES];
    gp_slot slot[GP_SLOTS];
} gp_settings;

/* The name of a refused parameter, ended by a zero. */
typedef struct gp_fault {
    char parameter[24];
} gp_fault;

typedef struct gp_limits {
    float least;
    float greatest;
    float as_shipped;
} gp_limits;

/* As shipped. size is sizeof *settings. */
gp_code gp_settings_default(gp_settings *settings, size_t size);

/* Whether a monitor would take these; fault may be null. */
gp_code gp_settings_check(const gp_settings *settings, gp_fault *fault);

/* The range of an alarm's limit. */
gp_code gp_alarm_limits(uint8_t alarm, gp_limits *limits, size_t size);

/* The trend's classes as shipped. */
gp_code gp_bands_default(gp_bands *bands);

/* --- objects: sizes differ with the width of a pointer ------------------------------------------------------------ */

#if UINTPTR_MAX > 0xffffffffu
#define GP_WORDS_(narrow, wide) (wide)
#else
#define GP_WORDS_(narrow, wide) (narrow)
#endif

/* Monitors that keep 24, 96, 288 or 1440 readings: two, eight and 24 hours at one in five minutes, a day at one a minute. */
typedef struct gp_monitor_24 { uint64_t words[GP_WORDS_(360, 362)]; } gp_monitor_24;
typedef struct gp_monitor_96 { uint64_t words[GP_WORDS_(414, 416)]; } gp_monitor_96;
typedef struct gp_monitor_288 { uint64_t words[GP_WORDS_(558, 560)]; } gp_monitor_288;
typedef struct gp_monitor_1440 { uint64_t words[GP_WORDS_(1422, 1424)]; } gp_monitor_1440;

/* Monitors of two sensors worn at once, that keep so many readings of each. */
typedef struct gp_pair_24 { uint64_t words[GP_WORDS_(544, 548)]; } gp_pair_24;
typedef struct gp_pair_96 { uint64_t words[GP_WORDS_(652, 656)]; } gp_pair_96;
typedef struct gp_pair_288 { uint64_t words[GP_WORDS_(940, 944)]; } gp_pair_288;
typedef struct gp_pair_1440 { uint64_t words[GP_WORDS_(2668, 2672)]; } gp_pair_1440;

/* Direction and a low ahead from readings alone. */
typedef struct gp_direction { uint64_t words[GP_WORDS_(60, 60)]; } gp_direction;

/* Trend sign and low ahead, with age and clock minded. */
typedef struct gp_trend_monitor { uint64_t words[GP_WORDS_(66, 66)]; } gp_trend_monitor;

/* The trend of any rate. */
typedef struct gp_trend_sign { uint64_t words[GP_WORDS_(6, 6)]; } gp_trend_sign;

/* Weeks of readings. */
typedef struct gp_review { uint64_t words[GP_WORDS_(1024, 1024)]; } gp_review;

/* A sensor against fingersticks. */
typedef struct gp_accuracy { uint64_t words[GP_WORDS_(18, 18)]; } gp_accuracy;

/* --- the answers -------------------------------------------------------------------------------------------------- */

/* What the sensor will read; half of what comes, and 95 % of it, lies within the half widths. */
typedef struct gp_predicted {
    float mg_dl;
    float sd_mg_dl;
    float half_width_50_mg_dl;
    float half_width_95_mg_dl;
} gp_predicted;

/* One kind of alarm. */
typedef struct gp_alarm {
    uint32_t at_s;         /* when it rang last, or since when it holds */
    float value;           /* that caused it; see trigger */
    uint8_t holds;         /* 0: none of the rest means anything */
    uint8_t rings;         /* now */
    uint8_t acknowledged; /* acknowledged or snoozed */
    uint8_t priority;
    uint8_t cause;
    uint8_t trigger;
    uint8_t reserved[2];
} gp_alarm;

/* Bits of gp_view.has and gp_direction_view.has: what is not known is 0. */
#define GP_HAS_SHOWN 0x001u
#define GP_HAS_ESTIMATE 0x002u
#define GP_HAS_DIRECTION 0x004u
#define GP_HAS_PREDICTED 0x008u
#define GP_HAS_LOW_PROBABILITY 0x010u
#define GP_HAS_LOW_AHEAD 0x020u
#define GP_HAS_MINUTES_TO_LOW 0x040u
#define GP_HAS_CALIBRATION_SD 0x080u
#define GP_HAS_NEWEST 0x100u
#define GP_HAS_AGE 0x200u
#define GP_HAS_BOUND 0x400u
#define GP_HAS_TRIGGER 0x800u

/* The answers at one moment. */
typedef struct gp_view {
    uint32_t has;
    uint32_t at_s;                 /* the moment they hold for */
    float shown_mg_dl;             /* SHOWN: the value to show as the present one */
    int32_t shown_age_s;           /* SHOWN */
    uint16_t shown_whole_mg_dl;    /* SHOWN: rounded, for display */
    uint16_t shown_tenths_mmol_l;  /* SHOWN: 61 is 6.1 mmol/L */
    uint8_t shown_bound;           /* GP_BOUND_...: only the end of the sensor's range is known */
    uint8_t shown_doubted;         /* 1: mark it as doubted */
    uint8_t monitoring;            /* 1: silence means that all is well */
    uint8_t verdict;               /* on the reading pushed */
    uint8_t trend;                 /* GP_TREND_... */
    uint8_t grade;                 /* GP_GRADE_... */
    uint16_t reasons;              /* bits 1 << GP_REASON_... */
    uint8_t bound;                 /* BOUND: of the newest believed reading */
    uint8_t estimate_doubted;      /* ESTIMATE: the sensor's own value, in doubt */
    uint8_t most_urgent;           /* the most urgent alarm not acknowledged or snoozed, or GP_ALARM_NONE */
    uint8_t rings_first;           /* the gravest that rings now, or GP_ALARM_NONE */
    float bound_mg_dl;             /* BOUND */
    float glucose_mg_dl;           /* ESTIMATE: plasma glucose */
    float glucose_sd_mg_dl;        /* ESTIMATE */
    float rate_mg_dl_min;          /* ESTIMATE */
    float rate_sd_mg_dl_min;       /* ESTIMATE */
    float calibration_sd_mg_dl;    /* CALIBRATION_SD */
    float direction_mg_dl_min;     /* DIRECTION: the rate to expect over 20 minutes */
    float direction_sd_mg_dl_min;  /* DIRECTION */
    gp_predicted in_15_min;        /* PREDICTED */
    gp_predicted in_30_min;        /* PREDICTED */
    gp_predicted in_60_min;        /* PREDICTED */
    float low_probability;         /* LOW_PROBABILITY: of a reading under 70 mg/dL within half an hour */
    float low_ahead;               /* LOW_AHEAD: what the low-ahead alarm compares with its limit */
    float minutes_to_low;          /* MINUTES_TO_LOW: 70 mg/dL at the expected course, within the hour */
    uint32_t newest_at_s;          /* NEWEST: the newest believed reading */
    float newest_mg_dl;            /* NEWEST: calibrated */
    int32_t age_s;                 /* AGE: how long ago it was measured */
    gp_alarm alarms[GP_ALARMS];    /* by kind */
} gp_view;

/* --- the monitor: readings in, answers out ------------------------------------------------------------------------ */

/* The monitor's functions take any of the gp_monitor_... types. */

/* A monitor that knows nothing yet, with the settings as shipped. size: sizeof the memory. readings: 24, 96, 288 or 1440, as
 * the memory's type says.
 *     static gp_monitor_288 monitor;
 *     gp_code code = gp_monitor_init(&monitor, sizeof monitor, 288);
 */
gp_code gp_monitor_init(void *memory, size_t size, uint32_t readings);

/* With settings of your own, which take more flash. fault may be null. */
gp_code gp_monitor_init_with(void *memory, size_t size, uint32_t readings, const gp_settings *settings, gp_fault *fault);

/* A reading: 0 to 2000 mg/dL. view_size is sizeof *view. */
gp_code gp_monitor_push(void *monitor, uint32_t at_s, float mg_dl, uint8_t status, gp_view *view, size_t view_size);

/* About once a minute when nothing arrives, so that silence is noticed. now_s is the clock on the wall. */
gp_code gp_monitor_tick(void *monitor, uint32_t now_s, gp_view *view, size_t view_size);

/* The same while nobody has set a clock. */
gp_code gp_monitor_tick_without_clock(void *monitor, gp_view *view, size_t view_size);

/* The device's own seconds since it was switched on, to be told before each other call if it has them; may wrap. Ages,
 * delays and snoozes are then right whatever the clocks do. */
gp_code gp_monitor_set_uptime(void *monitor, uint32_t uptime_s);

typedef struct gp_fingerstick {
    uint8_t has_expected; /* 1: the three below mean something */
    uint8_t outcome;      /* GP_FINGERSTICK_... */
    uint8_t fused;        /* 1: the estimate took it in */
    uint8_t reserved;
    float expected_mg_dl; /* what the monitor held glucose to be */
    float expected_sd_mg_dl;
    float deviations;     /* how far the fingerstick lies above that */
} gp_fingerstick;

/* A fingerstick within 15 min before and 2 min after the present moment. */
gp_code gp_monitor_fingerstick(void *monitor, uint32_t at_s, float mg_dl, gp_fingerstick *outcome, size_t outcome_size);

/* A new sensor was started. */
gp_code gp_monitor_sensor_started(void *monitor, uint32_t at_s);

/* The power was away, and the monitor was kept. gp_monitor_restore has done so. */
gp_code gp_monitor_power_returned(void *monitor);

/* Forgets everything but the settings. */
gp_code gp_monitor_restart(void *monitor);

/* The zone, seconds east of UTC, -86400 to 86400, for settings by time of day; none: profile 0 holds all day. */
gp_code gp_monitor_set_utc_offset(void *monitor, int32_t offset_s);
gp_code gp_monitor_clear_utc_offset(void *monitor);

/* Takes notice of all alarms that hold. */
gp_code gp_monitor_acknowledge(void *monitor);

/* Silences one kind of alarm; granted_s is how long it will be, for each has a longest. */
gp_code gp_monitor_snooze(void *monitor, uint8_t alarm, int32_t span_s, int32_t *granted_s);

/* Other alarm settings from now on; nothing else of settings counts. fault may be null. */
gp_code gp_monitor_set_alarms(void *monitor, const gp_settings *settings, gp_fault *fault);

typedef struct gp_reading {
    uint32_t at_s;
    float mg_dl;
    uint8_t status;
    uint8_t reserved[3];
} gp_reading;

/* The newest readings kept, as many as count, oldest first. */
gp_code gp_monitor_history(void *monitor, gp_reading *readings, size_t count, size_t *written);

typedef struct gp_wear {
    int32_t worn_s;
    int32_t left_s; /* negative past the planned end */
    int32_t warm_up_left_s;
    int32_t lost_s; /* the sum of its gaps */
    uint32_t readings;
    uint32_t errors;
    uint32_t day; /* 1 for the first 24 hours */
    uint8_t known; /* 0: its start is not known, and all is 0 */
    uint8_t reserved[3];
} gp_wear;

gp_code gp_monitor_wear(void *monitor, gp_wear *wear, size_t size);

typedef struct gp_calibration {
    float gain;
    float offset_mg_dl;
    uint16_t used; /* fingersticks */
    uint16_t refused;
} gp_calibration;

gp_code gp_monitor_calibration(void *monitor, gp_calibration *calibration, size_t size);

/* Bytes that a snapshot of a monitor with so many readings never exceeds. */
size_t gp_snapshot_bytes_needed(uint32_t readings);

/* The monitor's whole state to bytes. After GP_ERROR_BUFFER_TOO_SMALL the buffer's content is of no use. Keep the last snapshot until
 * the next one is written. */
gp_code gp_monitor_save(void *monitor, uint8_t *bytes, size_t room, size_t *written);

/* And back, into a monitor that was initialised; of any capacity: the newest readings are kept. Settings are not
 * in a snapshot: those of the monitor, its alarms and the zone stay. Nothing is shown as present before the next reading.
 * Bytes after the snapshot are left alone. A snapshot of another version of the library is refused: start anew. */
gp_code gp_monitor_restore(void *monitor, const uint8_t *bytes, size_t length);

/* --- the pair: two sensors that one person wears at once ------------------------------------------------------------ */

/* Bits of gp_side_view.has: GP_HAS_NEWEST, AGE, PREDICTED. */
typedef struct gp_side_view {
    uint32_t has;
    uint32_t newest_at_s;   /* NEWEST: the newest believed reading, by the clock that stamps this sensor's */
    float newest_mg_dl;     /* NEWEST: calibrated */
    int32_t age_s;          /* AGE: how long ago it was measured */
    float weight;           /* 0 to 1: how much of fused is this sensor's; both together 1, or 0 when neither reads */
    float offset_mg_dl;     /* how far this sensor is taken to read above glucose */
    gp_predicted in_15_min; /* PREDICTED: what this sensor will read, by its own past and what the other tells */
    gp_predicted in_30_min; /* PREDICTED */
    gp_predicted in_60_min; /* PREDICTED */
    uint16_t reasons;       /* bits 1 << GP_REASON_...: why this sensor is believed less */
    uint8_t grade;          /* GP_GRADE_... */
    uint8_t reserved;
} gp_side_view;

typedef struct gp_pair_view {
    gp_view fused;                  /* what the two say as one: all that a display, a voice or an alarm needs, as of one sensor */
    gp_side_view sides[GP_SIDES];   /* what each says by itself */
    uint8_t agreement;              /* GP_PAIR_...: gp_pair_text has the words */
    uint8_t reserved[3];
} gp_pair_view;

/* The pair's functions take any of the gp_pair_... types, and are each as the function of gp_monitor of the same name, for both
 * sensors or for one side (GP_SIDE_...). What they say as one is plasma glucose, each sensor weighed by what it has earned
 * against fingersticks, against the other and against its own past. Alarms: low and floor go by the lower of the two,
 * whatever the other reads; no data rings when neither reads.
 *
 * Two sensors that agree can both be wrong, and which one errs is a guess from the past: agreement proves nothing, and is no
 * reason to leave out a fingerstick.
 *
 * Call gp_pair_set_uptime before each other call if the device counts its own seconds, else gp_pair_tick about once a minute: two
 * sensors whose clocks disagree cannot tell the time to each other. */
gp_code gp_pair_init(void *memory, size_t size, uint32_t readings);

/* Model, drift, forecast and quality are each sensor's own; bands and alarms are those of first. Neither may be null, both may
 * be the same; fault may be null. */
gp_code gp_pair_init_with(void *memory, size_t size, uint32_t readings, const gp_settings *first, const gp_settings *second,
                          gp_fault *fault);

/* A reading of one sensor: 0 to 2000 mg/dL. */
gp_code gp_pair_push(void *pair, uint8_t side, uint32_t at_s, float mg_dl, uint8_t status, gp_pair_view *view,
                     size_t view_size);
gp_code gp_pair_tick(void *pair, uint32_t now_s, gp_pair_view *view, size_t view_size);
gp_code gp_pair_tick_without_clock(void *pair, gp_pair_view *view, size_t view_size);
gp_code gp_pair_set_uptime(void *pair, uint32_t uptime_s);

/* For both. outcomes: an array of GP_SIDES, by side; outcomes_size: sizeof the whole array. */
gp_code gp_pair_fingerstick(void *pair, uint32_t at_s, float mg_dl, gp_fingerstick *outcomes, size_t outcomes_size);

/* A new sensor was started on one side; the other one, and what was learned of it and of the person, stay. */
gp_code gp_pair_sensor_started(void *pair, uint8_t side, uint32_t at_s);
gp_code gp_pair_power_returned(void *pair);
gp_code gp_pair_restart(void *pair);
gp_code gp_pair_set_utc_offset(void *pair, int32_t offset_s);
gp_code gp_pair_clear_utc_offset(void *pair);
gp_code gp_pair_acknowledge(void *pair);
gp_code gp_pair_snooze(void *pair, uint8_t alarm, int32_t span_s, int32_t *granted_s);
gp_code gp_pair_set_alarms(void *pair, const gp_settings *settings, gp_fault *fault);
gp_code gp_pair_history(void *pair, uint8_t side, gp_reading *readings, size_t count, size_t *written);
gp_code gp_pair_wear(void *pair, uint8_t side, gp_wear *wear, size_t size);

/* A snapshot of a pair is none of one sensor, nor the other way round. */
size_t gp_pair_snapshot_bytes_needed(uint32_t readings);
gp_code gp_pair_save(void *pair, uint8_t *bytes, size_t room, size_t *written);
gp_code gp_pair_restore(void *pair, const uint8_t *bytes, size_t length);

/* --- the middle way: trend sign and low ahead, with the age, the clocks and the floor minded ------------------------ */

typedef struct gp_trend_view {
    uint32_t has;                 /* GP_HAS_SHOWN, LOW_AHEAD, TRIGGER */
    float shown_mg_dl;            /* SHOWN: the sensor's value to show as the present one; none after 20 minutes */
    int32_t shown_age_s;          /* SHOWN */
    uint16_t shown_whole_mg_dl;   /* SHOWN: rounded, for display */
    uint16_t shown_tenths_mmol_l; /* SHOWN: 61 is 6.1 mmol/L */
    uint8_t shown_bound;          /* GP_BOUND_... */
    uint8_t shown_doubted;        /* 1: mark it as doubted */
    uint8_t monitoring;           /* 1: no warning means that all is well */
    uint8_t trend;                /* GP_TREND_... */
    uint8_t warning;              /* GP_ALARM_FLOOR, LOW, LOW_AHEAD, NO_DATA, the worst that holds; or GP_ALARM_NONE */
    uint8_t reserved[3];
    float low_ahead;              /* LOW_AHEAD: the probability of a low */
    float trigger_mg_dl;          /* TRIGGER: the value that the warning goes by: show it with it, whatever its age */
} gp_trend_view;

/* It leaves out, and only a gp_monitor has: the judge of readings, calibration, the estimate, what is learned of the person,
 * alarms with delays, repeats and snooze (ring as long as there is a warning), snapshots. bands may be null: as shipped. */
gp_code gp_trend_monitor_init(void *memory, size_t size, const gp_bands *bands);

/* Each as the function of gp_monitor of the same name. */
gp_code gp_trend_monitor_set_uptime(void *monitor, uint32_t uptime_s);
gp_code gp_trend_monitor_push(void *monitor, uint32_t at_s, float mg_dl, uint8_t status, gp_trend_view *view, size_t view_size);
gp_code gp_trend_monitor_tick(void *monitor, uint32_t now_s, gp_trend_view *view, size_t view_size);
gp_code gp_trend_monitor_tick_without_clock(void *monitor, gp_trend_view *view, size_t view_size);
gp_code gp_trend_monitor_power_returned(void *monitor);

/* --- direction and a low ahead from readings alone, for firmware that has the rest --------------------------------- */

typedef struct gp_direction_view {
    uint32_t has;                 /* GP_HAS_DIRECTION, PREDICTED, LOW_PROBABILITY, LOW_AHEAD, MINUTES_TO_LOW */
    uint8_t trend;                /* GP_TREND_... */
    uint8_t reserved[3];
    float direction_mg_dl_min;    /* as in gp_view, this and the rest */
    float direction_sd_mg_dl_min;
    gp_predicted in_30_min;
    float low_probability;
    float low_ahead;
    float minutes_to_low;
} gp_direction_view;

/* bands may be null: as shipped. */
gp_code gp_direction_init(void *memory, size_t size, const gp_bands *bands);

/* A reading, by seconds that never go back; believed 0 for one that you doubt: no slope runs through it. */
gp_code gp_direction_reading(void *direction, uint32_t at_s, float mg_dl, uint8_t believed);

/* Where glucose goes: known ten minutes after the first reading, and until 17 minutes after the last. */
gp_code gp_direction_now(void *direction, uint32_t now_s, gp_direction_view *view, size_t view_size);

/* bands may be null: as shipped. */
gp_code gp_trend_sign_init(void *memory, size_t size, const gp_bands *bands);

/* The trend of a rate, -100 to 100, whose standard deviation is sd (0 if it has none). */
gp_code gp_trend_sign_step(void *sign, float rate_mg_dl_min, float sd_mg_dl_min, uint8_t *trend);

/* --- Bluetooth SIG glucose payloads ------------------------------------------------------------------------------- */

/* In which order a CGM Measurement's annunciation octets come is not settled; choose when you know. */
enum { GP_ORDER_UNSETTLED = 0, GP_ORDER_STATUS_FIRST = 1, GP_ORDER_WARNING_FIRST = 2 };

typedef struct gp_cgm_sensor {
    uint32_t session_start_s;
    float least_mg_dl; /* the sensor's range */
    float greatest_mg_dl;
    uint8_t crc;       /* 1: the sensor supports end-to-end CRC */
    uint8_t order;     /* GP_ORDER_... */
    uint8_t reserved[2];
} gp_cgm_sensor;

#define GP_CGM_HAS_READING 1u
#define GP_CGM_HAS_TREND 2u
#define GP_CGM_HAS_QUALITY 4u

typedef struct gp_cgm {
    uint32_t has;
    uint32_t at_s;          /* READING: for gp_monitor_push, with mg_dl and status */
    float mg_dl;            /* READING */
    float trend_mg_dl_min;  /* TREND: the sensor's own */
    float quality_percent;  /* QUALITY: the sensor's own */
    uint32_t annunciation;  /* octets status, calibration and temperature, warning; the lowest first */
    uint16_t offset_min;
    uint8_t status;         /* READING */
    uint8_t order_in_doubt; /* 1: the orders disagree about a fault */
} gp_cgm;

/* CGM Measurement, 0x2AA7: the first record of a notification, which may carry several; used is its length. */
gp_code gp_cgm_decode(const uint8_t *bytes, size_t length, const gp_cgm_sensor *sensor, gp_cgm *cgm, size_t cgm_size,
                      size_t *used);

typedef struct gp_cgm_status {
    uint32_t annunciation;
    uint16_t offset_min;
    uint8_t status;
    uint8_t reserved;
} gp_cgm_status;

/* CGM Status, 0x2AA9. */
gp_code gp_cgm_status_decode(const uint8_t *bytes, size_t length, uint8_t crc, gp_cgm_status *status, size_t size);

#define GP_SESSION_HAS_UTC 1u
#define GP_SESSION_HAS_OFFSET 2u

typedef struct gp_session_start {
    uint32_t has;
    uint32_t utc_s;   /* UTC: seconds since 1970-01-01T00:00Z */
    int32_t offset_s; /* OFFSET: of the zone, east positive */
} gp_session_start;

/* CGM Session Start Time, 0x2AAA. */
gp_code gp_session_start_decode(const uint8_t *bytes, size_t length, uint8_t crc, gp_session_start *start, size_t size);

#define GP_METER_HAS_FINGERSTICK 1u /* blood of a person, with time and value: for gp_monitor_fingerstick */
#define GP_METER_HAS_TIME 2u
#define GP_METER_HAS_VALUE 4u
#define GP_METER_HAS_STATUS 8u

typedef struct gp_meter {
    uint32_t has;
    uint32_t at_s;           /* TIME: by the meter's clock, as if it were UTC */
    float mg_dl;             /* VALUE */
    uint16_t sequence;
    uint16_t status;         /* STATUS: as sent */
    uint8_t sample_type;     /* the specification's numbers; 0: none */
    uint8_t sample_location;
    uint8_t context_follows;
    uint8_t reserved;
} gp_meter;

/* Glucose Measurement, 0x2A18: one result of a fingerstick meter. */
gp_code gp_meter_decode(const uint8_t *bytes, size_t length, gp_meter *meter, size_t size);

/* --- looking back: time in range ---------------------------------------------------------------------------------- */

/* The unit the readings arrive in, by whose rounding limits are compared. */
enum { GP_UNIT_MG_DL = 0, GP_UNIT_MMOL_L = 1 };

/* Percent. */
typedef struct gp_ranges {
    float below_54;
    float from_54_to_69;
    float from_70_to_180;
    float from_181_to_250;
    float above_250;
} gp_ranges;

#define GP_SUMMARY_HAS_MEAN 0x01u
#define GP_SUMMARY_HAS_SD 0x02u
#define GP_SUMMARY_HAS_CV 0x04u
#define GP_SUMMARY_HAS_GMI 0x08u
#define GP_SUMMARY_HAS_BY_TIME 0x10u
#define GP_SUMMARY_HAS_BY_READINGS 0x20u
#define GP_SUMMARY_HAS_ACTIVE 0x40u
#define GP_SUMMARY_HAS_GRI 0x80u

typedef struct gp_summary {
    uint32_t has;
    uint32_t readings;
    uint32_t whole_days;
    float days;
    float active_percent;  /* of the time that the sensor gave readings */
    float mean_mg_dl;
    float sd_mg_dl;
    float cv_percent;      /* coefficient of variation */
    float gmi_percent;     /* glucose management indicator */
    float gri;             /* glycemia risk index */
    gp_ranges by_time;
    gp_ranges by_readings;
    uint8_t suffices;      /* 1: fourteen days, 70 % of the time */
    uint8_t reserved[3];
} gp_summary;

/* For a sensor that reads every interval_s, 10 to 3600. */
gp_code gp_review_init(void *memory, size_t size, int32_t interval_s, uint8_t unit);

/* A reading later than the one before; local_s is its time by the clock on the wall, seconds since a midnight. */
gp_code gp_review_push(void *review, uint32_t at_s, float mg_dl, uint8_t status, uint32_t local_s);

gp_code gp_review_summary(void *review, gp_summary *summary, size_t size);

/* --- looking back: a sensor against fingersticks ------------------------------------------------------------------ */

#define GP_AGREEMENT_HAS_MARD 1u /* and all others but sd */
#define GP_AGREEMENT_HAS_SD 2u

typedef struct gp_agreement {
    uint32_t has;
    uint32_t pairs;
    float mard_percent; /* mean absolute relative difference */
    float bias_mg_dl;   /* sensor minus reference */
    float mad_mg_dl;
    float rmse_mg_dl;
    float sd_mg_dl;
    float within_15_15_percent; /* within 15 mg/dL of a reference under 100, else within 15 % */
    float within_20_20_percent;
    float within_30_30_percent;
    float within_40_40_percent;
} gp_agreement;

gp_code gp_accuracy_init(void *memory, size_t size);

/* A pair of values of the same time. */
gp_code gp_accuracy_push(void *accuracy, float sensor_mg_dl, float reference_mg_dl);

/* A fingerstick, paired with the nearest of readings (in order of time) at most window_s, 0 to 3600, away. */
gp_code gp_accuracy_fingerstick(void *accuracy, const gp_reading *readings, size_t count, uint32_t at_s, float mg_dl,
                                int32_t window_s);

gp_code gp_accuracy_result(void *accuracy, gp_agreement *agreement, size_t size);

/* --- whether header and library fit ------------------------------------------------------------------------------- */

#define GP_FOLD_(sum, type) ((sum) * 31u + (uint32_t)sizeof(type))
#define GP_LAYOUT                                                                                                      \
    GP_FOLD_(GP_FOLD_(GP_FOLD_(GP_FOLD_(GP_FOLD_(GP_FOLD_(GP_FOLD_(GP_FOLD_(GP_FOLD_(GP_FOLD_(GP_FOLD_(GP_FOLD_(GP_FOLD_(0u, \
    gp_view), gp_settings), gp_fingerstick), gp_direction_view), gp_trend_view), gp_cgm), gp_meter), gp_summary), gp_agreement),   \
    gp_reading), gp_wear), gp_pair_view), size_t)
#define GP_CHECK() gp_check(GP_VERSION, GP_LAYOUT)

#ifdef __cplusplus
}
#endif

#endif
