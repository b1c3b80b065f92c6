/* Replays a CSV through the monitor, on a desk. Not a medical device: see README.md.
 *
 *     replay FILE
 *
 * The file has a header line with the columns time (RFC 3339 in UTC, or seconds since 1970) and glucose_mg_dl, in any order
 * among others, parted by commas. Prints a line for each reading: what the sensor says, what blood glucose is held to be
 * with its standard deviation, the trend, half an hour ahead, and what rings. Exit code 2 for a file that cannot be read. */
#include "glidepath.h"
#include <errno.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static gp_monitor_288 monitor;
static gp_review review;

/* Days from 1970-01-01 to a date of the Gregorian calendar. */
static long days(long year, long month, long day) {
    long y = month <= 2 ? year - 1 : year, era = y / 400, of_era = y - era * 400;
    long of_year = (153 * (month + (month > 2 ? -3 : 9)) + 2) / 5 + day - 1;
    return era * 146097 + of_era * 365 + of_era / 4 - of_era / 100 + of_year - 719468;
}

static int read_time(const char *text, uint32_t *at) {
    int year, month, day, hour, minute, second, used = 0;
    if (sscanf(text, "%4d-%2d-%2dT%2d:%2d:%2dZ%n", &year, &month, &day, &hour, &minute, &second, &used) == 6 &&
        used > 0 && text[used] == 0) {
        if (year < 1970 || year > 2105 || month < 1 || month > 12 || day < 1 || day > 31 || hour < 0 || hour > 23 ||
            minute < 0 || minute > 59 || second < 0 || second > 60) return 0;
        *at = (uint32_t)(days(year, month, day) * 86400L + hour * 3600L + minute * 60L + second);
        return 1;
    }
    char *end;
    errno = 0;
    unsigned long long seconds = strtoull(text, &end, 10);
    if (end == text || *end != 0 || errno != 0 || text[0] == '-' || seconds > UINT32_MAX) return 0;
    *at = (uint32_t)seconds;
    return 1;
}

/* Cuts a line at its commas, in place. */
static int cut(char *line, char *fields[], int most) {
    int count = 0;
    line[strcspn(line, "\r\n")] = 0;
    for (char *field = line; field && count < most;) {
        char *comma = strchr(field, ',');
        if (comma) *comma++ = 0;
        fields[count++] = field;
        field = comma;
    }
    return count;
}

static int refuse(const char *file, long line, const char *why) {
    fprintf(stderr, "%s, line %ld: %s\n", file, line, why);
    return 2;
}

int main(int count, char **words) {
    char line[512], *fields[32];
    if (count != 2) {
        fprintf(stderr, "usage: %s FILE.csv\n", words[0]);
        return 2;
    }
    if (GP_CHECK() != GP_OK) {
        fprintf(stderr, "%s\n", gp_code_text(GP_CHECK()));
        return 1;
    }
    FILE *file = fopen(words[1], "r");
    if (!file) {
        fprintf(stderr, "%s: %s\n", words[1], strerror(errno));
        return 2;
    }
    if (!fgets(line, sizeof line, file)) return refuse(words[1], 1, "the file is empty");
    int time_column = -1, glucose_column = -1, columns = cut(line, fields, 32);
    for (int i = 0; i < columns; i++) {
        if (strcmp(fields[i], "time") == 0) time_column = i;
        if (strcmp(fields[i], "glucose_mg_dl") == 0) glucose_column = i;
    }
    if (time_column < 0) return refuse(words[1], 1, "no column named time");
    if (glucose_column < 0) return refuse(words[1], 1, "no column named glucose_mg_dl");

    gp_code code = gp_monitor_init(&monitor, sizeof monitor, 288);
    if (code == GP_OK) code = gp_review_init(&review, sizeof review, 300, GP_UNIT_MG_DL);
    if (code != GP_OK) {
        fprintf(stderr, "%s\n", gp_code_text(code));
        return 1;
    }
    puts("time,sensor_mg_dl,plasma_mg_dl,plasma_sd_mg_dl,trend,predicted_30min_mg_dl,alarms");
    for (long number = 2; fgets(line, sizeof line, file); number++) {
        uint32_t at;
        char *end;
        int found = cut(line, fields, 32);
        if (found == 1 && fields[0][0] == 0) continue;
        if (found <= time_column || found <= glucose_column) return refuse(words[1], number, "a column is missing");
        if (!read_time(fields[time_column], &at)) return refuse(words[1], number, "not a time: 2024-05-06T06:30:00Z is one");
        float mg_dl = strtof(fields[glucose_column], &end);
        if (end == fields[glucose_column] || *end != 0) return refuse(words[1], number, "not a number of mg/dL");
        gp_view view;
        code = gp_monitor_push(&monitor, at, mg_dl, GP_STATUS_NORMAL, &view, sizeof view);
        if (code != GP_OK) return refuse(words[1], number, gp_code_text(code));
        gp_review_push(&review, at, mg_dl, GP_STATUS_NORMAL, at); /* what is not later is not counted */
        printf("%s,%g,", fields[time_column], (double)mg_dl);
        if (view.has & GP_HAS_ESTIMATE) {
            printf("%.0f,%.0f,", (double)view.glucose_mg_dl, (double)view.glucose_sd_mg_dl);
        } else {
            printf(",,");
        }
        printf("%s,", gp_trend_text(view.trend));
        if (view.has & GP_HAS_PREDICTED) printf("%.0f", (double)view.in_30_min.mg_dl);
        printf(",");
        const char *between = "";
        for (uint8_t kind = 0; kind < GP_ALARMS; kind++) {
            if (view.alarms[kind].rings) {
                printf("%s%s", between, gp_alarm_text(kind));
                between = "; ";
            }
        }
        printf("\n");
    }
    fclose(file);
    gp_summary summary;
    gp_review_summary(&review, &summary, sizeof summary);
    if (summary.has & GP_SUMMARY_HAS_BY_TIME) {
        fprintf(stderr, "%lu readings: %.1f %% of the time in 70 to 180 mg/dL, %.1f %% under, mean %.0f mg/dL\n",
                (unsigned long)summary.readings, (double)summary.by_time.from_70_to_180,
                (double)(summary.by_time.below_54 + summary.by_time.from_54_to_69), (double)summary.mean_mg_dl);
    }
    return 0;
}
