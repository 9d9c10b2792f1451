#include <math.h>
#include <stdio.h>
#include <string.h>
#include <time.h>

#include "rig/base/clock.h"
#include "rig/base/role.h"
#include "rig/client/bench_attention.h"
#include "rig/client/talk.h"
#include "rig/console/display.h"

#define SOON       30 /* days */
#define ONE_BY_ONE 3  /* channels of one instrument that are named; more are counted */

struct list {
    const struct es_screen *screen;
    struct es_text text;
    int faults, others;
};

static void add(struct list *l, bool fault, const char *format, ...) ES_PRINTF(3, 4);

static void add(struct list *l, bool fault, const char *format, ...)
{
    va_list args;
    va_start(args, format);
    es_text_vprintf(&l->text, format, args);
    va_end(args);
    es_text_char(&l->text, '\n');
    l->faults += fault;
    l->others += !fault;
}

bool es_channel_is_good(const cJSON *channel)
{
    bool never_written = es_member_true(channel, "output") && isnan(es_member_number(channel, "age"));
    return never_written || strcmp(es_member_text(channel, "state"), "good") == 0;
}

static const char *colon(const char *text)
{
    return text[0] != '\0' ? ": " : "";
}

static void look_at_safety(struct list *l, const cJSON *station)
{
    const char *name = es_member_text(station, "name"), *cause = es_member_text(station, "cause");
    const cJSON *safe = es_member(station, "safe"), *channel;
    const char *sentence = es_member_text(safe, "sentence"); /* "": the sequence is under way */
    if (safe != NULL && !es_member_true(safe, "reached"))
        add(l, true, "station %s: its safe state is not proved%s%s", name,
            sentence[0] != '\0' ? ": " : "; the bench is on its way to it", sentence);
    if (es_member_true(safe, "late"))
        add(l, true, "station %s: its safe state came late: %.2f s after the cause, %.2f s are allowed", name,
            es_member_number(safe, "seconds"), es_member_number(safe, "allowed"));
    if (strcmp(es_member_text(station, "interlock"), "tripped") == 0)
        add(l, true, "station %s: the interlock has tripped%s%s", name, colon(cause), cause);
    cJSON_ArrayForEach(channel, es_member(station, "channels"))
    {
        enum es_role role = es_role_find(es_member_text(channel, "role"));
        if (es_member_number(channel, "value") != 0)
            continue;
        if (role == ES_ROLE_EMERGENCY_STOP)
            add(l, false, "station %s: the emergency stop is pressed, or its circuit is broken", name);
        else if (role == ES_ROLE_GUARD)
            add(l, false, "station %s: the guard is open", name);
    }
}

static void look_at_states(struct list *l, const cJSON *items, const char *what, const char *well)
{
    const cJSON *item;
    cJSON_ArrayForEach(item, items)
    {
        const char *text = es_member_text(item, "text"), *state = es_member_text(item, "state");
        if (strcmp(state, well) != 0)
            add(l, true, "%s \"%s\": %s%s%s", what, es_member_text(item, "name"), state, colon(text), text);
    }
}

static bool is_bad(const cJSON *channel, const cJSON *like)
{
    return !es_channel_is_good(channel) &&
           strcmp(es_member_text(channel, "instrument"), es_member_text(like, "instrument")) == 0 &&
           strcmp(es_member_text(channel, "state"), es_member_text(like, "state")) == 0;
}

/* Channels that are not good; those of one instrument together when they are many. */
static void look_at_channels(struct list *l, const cJSON *station)
{
    const char *name = es_member_text(station, "name");
    const cJSON *channel, *other;
    cJSON_ArrayForEach(channel, es_member(station, "channels"))
    {
        int count = 0;
        bool first = true;
        if (es_channel_is_good(channel))
            continue;
        cJSON_ArrayForEach(other, es_member(station, "channels"))
        {
            first = first && (other == channel || count > 0 || !is_bad(other, channel));
            count += is_bad(other, channel);
        }
        if (count <= ONE_BY_ONE)
            add(l, true, "station %s: %s is %s", name, es_member_text(channel, "role"),
                es_member_text(channel, "state"));
        else if (first)
            add(l, true, "station %s: %d channels of \"%s\" are %s", name, count,
                es_member_text(channel, "instrument"), es_member_text(channel, "state"));
    }
}

/* Days since 1970; false for what is no date. */
static bool day_number(const char *text, long *out)
{
    int year, month, day;
    char date[11]; /* the day of a time of day, too */
    (void)snprintf(date, sizeof date, "%s", text);
    if (!es_date_parse(date, &year, &month, &day))
        return false;
    struct tm tm = {.tm_year = year - 1900, .tm_mon = month - 1, .tm_mday = day};
    *out = (long)(timegm(&tm) / 86400);
    return true;
}

static void look_at_calibrations(struct list *l, const cJSON *station, const char *today, bool overdue)
{
    const char *name = es_member_text(station, "name");
    const cJSON *channel;
    long now = 0, due = 0;
    cJSON_ArrayForEach(channel, es_member(station, "channels"))
    {
        const cJSON *calibration = es_member(channel, "calibration");
        const char *date = es_member_text(calibration, "due"), *role = es_member_text(channel, "role");
        bool late = es_member_true(calibration, "overdue");
        if (overdue && late)
            add(l, true, "station %s: %s: calibration overdue since %s", name, role, date);
        if (overdue || late || !day_number(today, &now) || !day_number(date, &due) || due - now > SOON)
            continue;
        add(l, false, "station %s: %s: calibration due on %s, in %ld day%s", name, role, date, due - now,
            due - now == 1 ? "" : "s");
    }
}

static void look(struct list *l, const cJSON *root, const char *today)
{
    const cJSON *stations = es_member(root, "stations"), *station;
    cJSON_ArrayForEach(station, stations)
    {
        look_at_safety(l, station);
    }
    look_at_states(l, es_member(root, "buses"), "bus", "trusted");
    look_at_states(l, es_member(root, "instruments"), "instrument", "answers");
    cJSON_ArrayForEach(station, stations)
    {
        look_at_channels(l, station);
    }
    for (int overdue = 1; overdue >= 0; overdue--) {
        cJSON_ArrayForEach(station, stations)
        {
            look_at_calibrations(l, station, today, overdue == 1);
        }
    }
}

static void print_list(const struct list *l, FILE *to)
{
    fprintf(to, "%sNeeds attention:%s\n", l->screen->colour ? "\033[1m" : "",
            l->screen->colour ? "\033[0m" : "");
    for (const char *line = l->text.bytes; *line != '\0';) {
        size_t length = strcspn(line, "\n");
        struct es_text clean = {0};
        es_text_visible(&clean, line, length);
        fputs("  ! ", to);
        es_display_wrap(clean.bytes != NULL ? clean.bytes : "", 4, l->screen->width, to);
        es_text_free(&clean);
        line += length + (line[length] == '\n');
    }
}

enum es_status es_bench_attention_print(const cJSON *root, const struct es_screen *screen, const char *today,
                                        FILE *to, struct es_error *err)
{
    struct list l = {.screen = screen};
    look(&l, root, today);
    enum es_status s = es_text_status(&l.text, err);
    if (s == ES_OK && l.text.length > 0)
        print_list(&l, to);
    else if (s == ES_OK)
        fputs("Everything answers, nothing is overdue.\n", to);
    es_text_free(&l.text);
    return s;
}

int es_bench_attention_faults(const cJSON *root)
{
    struct list l = {0};
    look(&l, root, "");
    es_text_free(&l.text);
    return l.faults;
}
