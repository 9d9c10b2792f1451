#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "rig/base/number.h"
#include "rig/client/bench_attention.h"
#include "rig/client/bench_view.h"
#include "rig/client/role_words.h"
#include "rig/client/safe_view.h"
#include "rig/client/talk.h"
#include "rig/console/display.h"
#include "rig/console/table.h"

static void cell(char out[static ES_NUMBER_SIZE], double value, int decimals)
{
    if (isnan(value))
        out[0] = '\0';
    else
        es_number_round(value, decimals, out);
}

int es_channel_decimals(double resolution)
{
    if (!(resolution > 0))
        return 3;
    int decimals = (int)ceil(-log10(resolution) - 1e-9);
    return decimals < 0 ? 0 : decimals > 6 ? 6 : decimals;
}

static void channel_row(struct es_table *table, const cJSON *channel)
{
    const char *state = es_member_text(channel, "state"), *unit = es_member_text(channel, "unit");
    const cJSON *calibration = es_member(channel, "calibration");
    bool overdue = es_member_true(calibration, "overdue"), good = es_channel_is_good(channel);
    double value = es_member_number(channel, "value");
    char number[ES_NUMBER_SIZE], rate[ES_NUMBER_SIZE], age[ES_NUMBER_SIZE], due[64] = "", word[48];
    cell(number, value, es_channel_decimals(es_member_number(channel, "resolution")));
    cell(rate, es_member_number(channel, "rate"), 0);
    cell(age, es_member_number(channel, "age"), 1);
    if (calibration != NULL)
        snprintf(due, sizeof due, "%s%s", overdue ? "OVERDUE " : "", es_member_text(calibration, "due"));
    bool never_written = es_member_true(channel, "output") && age[0] == '\0';
    snprintf(word, sizeof word, "%s%s", good ? "" : "! ", never_written ? "not written" : state);
    const char *role = es_member_text(channel, "role"), *in_words = es_role_state_word(role, value);
    bool plain_number = strcmp(unit, "1") == 0 || in_words != NULL;
    const char *cells[] = {
        role, in_words != NULL ? in_words : number,         plain_number ? "" : unit,
        word, es_member_true(channel, "output") ? "" : age, es_member_true(channel, "output") ? "" : rate,
        due};
    es_table_row(table, good && !overdue ? ES_PLAIN : ES_STRONG, cells);
}

static void channel_group(struct es_table *table, const cJSON *station, const char *title, bool outputs)
{
    bool titled = false;
    const cJSON *channel;
    cJSON_ArrayForEach(channel, es_member(station, "channels"))
    {
        if (es_member_true(channel, "output") != outputs)
            continue;
        if (!titled)
            es_table_heading(table, title);
        titled = true;
        channel_row(table, channel);
    }
}

static void visible_line(const char *text, const struct es_screen *screen, size_t hang, FILE *to)
{
    struct es_text clean = {0};
    es_text_visible(&clean, text, strlen(text));
    fprintf(to, "%*s", (int)hang, "");
    es_display_wrap(clean.bytes != NULL ? clean.bytes : "", hang, screen->width, to);
    es_text_free(&clean);
}

static enum es_status print_station(const cJSON *station, const struct es_screen *screen, FILE *to,
                                    struct es_error *err)
{
    static const struct es_column columns[] = {
        {.title = "Channel", .wraps = true, .least = 24},
        {.title = "Value", .align = ES_ALIGN_RIGHT},
        {.title = "", .gap = 1},
        {.title = "State"},
        {.title = "Age s", .spare = 1, .align = ES_ALIGN_RIGHT, .named = true},
        {.title = "Per s", .spare = 2, .align = ES_ALIGN_RIGHT, .named = true},
        {.title = "Calibration due", .spare = 3, .named = true},
    };
    struct es_table *table = es_table_new(columns, sizeof columns / sizeof columns[0]);
    char heading[400];
    const cJSON *run = es_member(station, "run");
    snprintf(heading, sizeof heading, "Station %s: %s, interlock %s%s%s", es_member_text(station, "name"),
             es_member_text(station, "doing"), es_member_text(station, "interlock"),
             run != NULL ? ", serial " : "", es_member_text(run, "serial"));
    fputc('\n', to);
    visible_line(heading, screen, 0, to);
    if (es_member_text(station, "cause")[0] != '\0')
        visible_line(es_member_text(station, "cause"), screen, 2, to);
    if (!es_member_true(es_member(station, "safe"), "reached"))
        es_safe_view_print(es_member(station, "safe"), screen, to);
    fputc('\n', to);
    channel_group(table, station, "Measured", false);
    channel_group(table, station, "Commanded", true);
    enum es_status s = es_table_print(table, screen->width, 0, screen->colour, to, err);
    es_table_free(table);
    return s;
}

static enum es_status print_buses(const cJSON *root, const struct es_screen *screen, FILE *to,
                                  struct es_error *err)
{
    static const struct es_column columns[] = {
        {.title = "Bus", .wraps = true},
        {.title = "State"},
        {.title = "Scans/s", .spare = 2, .align = ES_ALIGN_RIGHT, .named = true},
        {.title = "Time-outs", .align = ES_ALIGN_RIGHT, .named = true},
        {.title = "Hang-ups", .align = ES_ALIGN_RIGHT, .named = true},
        {.title = "Garbled", .align = ES_ALIGN_RIGHT, .named = true},
        {.title = "Late ms", .spare = 1, .align = ES_ALIGN_RIGHT, .named = true},
    };
    struct es_table *table = es_table_new(columns, sizeof columns / sizeof columns[0]);
    const cJSON *bus;
    fputc('\n', to);
    cJSON_ArrayForEach(bus, es_member(root, "buses"))
    {
        bool well = strcmp(es_member_text(bus, "state"), "trusted") == 0;
        char state[48], rate[ES_NUMBER_SIZE], timeouts[ES_NUMBER_SIZE], hangups[ES_NUMBER_SIZE];
        char garbled[ES_NUMBER_SIZE], late[ES_NUMBER_SIZE];
        snprintf(state, sizeof state, "%s%s", well ? "" : "! ", es_member_text(bus, "state"));
        cell(rate, es_member_number(bus, "scan rate"), 0);
        cell(timeouts, es_member_number(bus, "time-outs"), 0);
        cell(hangups, es_member_number(bus, "hang-ups"), 0);
        cell(garbled, es_member_number(bus, "garbled"), 0);
        cell(late, 1000 * es_member_number(bus, "worst lateness"), 1);
        const char *cells[] = {es_member_text(bus, "name"), state, rate, timeouts, hangups, garbled, late};
        es_table_row(table, well ? ES_PLAIN : ES_STRONG, cells);
        if (!well && es_member_text(bus, "text")[0] != '\0')
            es_table_note(table, 2, es_member_text(bus, "text"));
    }
    enum es_status s = es_table_print(table, screen->width, 0, screen->colour, to, err);
    es_table_free(table);
    return s;
}

static enum es_status print_instruments(const cJSON *root, const struct es_screen *screen, FILE *to,
                                        struct es_error *err)
{
    static const struct es_column columns[] = {
        {.title = "Instrument", .wraps = true},
        {.title = "Bus", .wraps = true},
        {.title = "State"},
        {.title = "Says of itself", .wraps = true, .least = 12},
    };
    struct es_table *table = es_table_new(columns, sizeof columns / sizeof columns[0]);
    const cJSON *instrument;
    cJSON_ArrayForEach(instrument, es_member(root, "instruments"))
    {
        bool well = strcmp(es_member_text(instrument, "state"), "answers") == 0;
        char state[48];
        snprintf(state, sizeof state, "%s%s", well ? "" : "! ", es_member_text(instrument, "state"));
        const char *cells[] = {es_member_text(instrument, "name"), es_member_text(instrument, "bus"), state,
                               es_member_text(instrument, "identity")};
        es_table_row(table, well ? ES_PLAIN : ES_STRONG, cells);
        if (!well && es_member_text(instrument, "text")[0] != '\0')
            es_table_note(table, 2, es_member_text(instrument, "text"));
    }
    fputc('\n', to);
    enum es_status s = es_table_print(table, screen->width, 0, screen->colour, to, err);
    es_table_free(table);
    return s;
}

enum es_status es_bench_view_print(const cJSON *root, const struct es_screen *screen, const char *today,
                                   FILE *to, struct es_error *err)
{
    char title[400];
    snprintf(title, sizeof title, "Bench %s%s", es_member_text(root, "bench"),
             es_member_true(root, "virtual") ? " (VIRTUAL: no real unit is tested)" : "");
    visible_line(title, screen, 0, to);
    enum es_status s = es_bench_attention_print(root, screen, today, to, err);
    const cJSON *station;
    cJSON_ArrayForEach(station, es_member(root, "stations"))
    {
        if (s == ES_OK)
            s = print_station(station, screen, to, err);
    }
    if (s == ES_OK)
        s = print_buses(root, screen, to, err);
    if (s == ES_OK)
        s = print_instruments(root, screen, to, err);
    return s;
}
