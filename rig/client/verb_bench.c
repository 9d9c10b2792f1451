#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "rig/client/safe_view.h"
#include "rig/client/talk.h"
#include "rig/client/verb.h"
#include "rig/console/display.h"
#include "rig/console/json_writer.h"
#include "rig/console/number.h"
#include "rig/console/table.h"

struct arguments {
    const char *station, *socket;
    bool json, csv;
};

static const struct es_option options[] = {
    {.name = "station",
     .value = "NAME",
     .kind = ES_OPTION_TEXT,
     .offset = offsetof(struct arguments, station),
     .meaning = "only this station"},
    {.name = "socket",
     .value = "PATH",
     .kind = ES_OPTION_TEXT,
     .offset = offsetof(struct arguments, socket),
     .meaning = "the daemon's socket; else ENDSTOP_SOCKET, else " ES_DEFAULT_SOCKET},
    {.name = "json",
     .kind = ES_OPTION_FLAG,
     .offset = offsetof(struct arguments, json),
     .meaning = "print for programs"},
    {.name = "csv",
     .kind = ES_OPTION_FLAG,
     .offset = offsetof(struct arguments, csv),
     .meaning = "print the channels as CSV"},
};

static const struct es_command_line line = {
    .program = "endstop bench",
    .summary = "shows the bench as it is now: stations, channels, buses, calibrations due",
    .detail =
        "Exit status: 0 all is well; 1 a bus is down, a channel is not good, or a calibration is overdue.",
    .example = "endstop bench --station 1",
    .options = options,
    .option_count = sizeof options / sizeof options[0],
};

/* Looks over everything and counts what is not well. */
struct look {
    const struct es_screen *screen;
    int faults;
};

static void cell(char out[static ES_NUMBER_SIZE], double value, int decimals)
{
    if (isnan(value))
        out[0] = '\0';
    else
        es_number_round(value, decimals, out);
}

/* Decimals that the channel's resolution bears. */
static int decimals_of(double resolution)
{
    if (!(resolution > 0))
        return 3;
    int decimals = (int)ceil(-log10(resolution) - 1e-9);
    return decimals < 0 ? 0 : decimals > 6 ? 6 : decimals;
}

/* A state as the trade says it; NULL for what is no state. */
static const char *state_word(const char *role, double value)
{
    static const struct {
        const char *part, *off, *on;
    } words[] = {
        {"valve", "shut", "open"},         {"emergency stop", "PRESSED", "healthy"},
        {"guard", "OPEN", "closed"},       {"shaft coupling", "free", "coupled"},
        {"auxiliary supply", "off", "on"},
    };
    if (isnan(value))
        return NULL;
    for (size_t i = 0; i < sizeof words / sizeof words[0]; i++)
        if (strstr(role, words[i].part) != NULL)
            return value != 0 ? words[i].on : words[i].off;
    return NULL;
}

static void channel_row(struct look *look, struct es_table *table, const cJSON *channel)
{
    const char *state = es_member_text(channel, "state");
    bool output = es_member_true(channel, "output");
    const cJSON *calibration = es_member(channel, "calibration");
    bool overdue = es_member_true(calibration, "overdue");
    double value = es_member_number(channel, "value");
    char text[ES_NUMBER_SIZE], rate[ES_NUMBER_SIZE], due[64] = "", age[ES_NUMBER_SIZE];
    const char *unit = es_member_text(channel, "unit");
    cell(text, value, decimals_of(es_member_number(channel, "resolution")));
    cell(rate, es_member_number(channel, "rate"), 0);
    cell(age, es_member_number(channel, "age"), 1);
    if (calibration != NULL)
        snprintf(due, sizeof due, "%s%s", overdue ? "OVERDUE " : "", es_member_text(calibration, "due"));
    bool never_written = output && isnan(es_member_number(channel, "age"));
    bool good = strcmp(state, "good") == 0 || never_written;
    look->faults += !good + overdue;
    char word[40];
    snprintf(word, sizeof word, "%s%s", good ? "" : "! ", never_written ? "not written" : state);
    const char *role = es_member_text(channel, "role"), *as_word = state_word(role, value);
    const char *cells[] = {role,
                           output ? "out" : "in",
                           as_word != NULL ? as_word : text,
                           strcmp(unit, "1") == 0 ? "" : unit,
                           word,
                           age,
                           rate,
                           due};
    es_table_row(table, good && !overdue ? ES_PLAIN : ES_STRONG, cells);
}

static enum es_status print_station(struct look *look, const cJSON *station, struct es_error *err)
{
    static const struct es_column columns[] = {
        {.title = "Channel", .wraps = true, .least = 12},
        {.title = ""},
        {.title = "Value", .align = ES_ALIGN_RIGHT},
        {.title = "", .gap = 1},
        {.title = "State"},
        {.title = "Age s", .align = ES_ALIGN_RIGHT},
        {.title = "per s", .align = ES_ALIGN_RIGHT},
        {.title = "Calibration due"},
    };
    struct es_table *table = es_table_new(columns, sizeof columns / sizeof columns[0]);
    char heading[400];
    const cJSON *run = es_member(station, "run");
    snprintf(heading, sizeof heading, "Station %s: %s, interlock %s%s%s", es_member_text(station, "name"),
             es_member_text(station, "doing"), es_member_text(station, "interlock"),
             run != NULL ? ", serial " : "", es_member_text(run, "serial"));
    es_table_heading(table, heading);
    if (es_member_text(station, "cause")[0] != '\0')
        es_table_note(table, 2, es_member_text(station, "cause"));
    const cJSON *channel;
    cJSON_ArrayForEach(channel, es_member(station, "channels"))
    {
        channel_row(look, table, channel);
    }
    enum es_status s = es_table_print(table, look->screen->width, 0, look->screen->colour, stdout, err);
    es_table_free(table);
    return s;
}

static enum es_status print_buses(struct look *look, const cJSON *root, struct es_error *err)
{
    static const struct es_column columns[] = {
        {.title = "Bus", .wraps = true},
        {.title = "State"},
        {.title = "Scans/s", .align = ES_ALIGN_RIGHT},
        {.title = "Time-outs", .align = ES_ALIGN_RIGHT},
        {.title = "Hang-ups", .align = ES_ALIGN_RIGHT},
        {.title = "Garbled", .align = ES_ALIGN_RIGHT},
        {.title = "Late ms", .align = ES_ALIGN_RIGHT},
    };
    struct es_table *table = es_table_new(columns, sizeof columns / sizeof columns[0]);
    const cJSON *bus;
    cJSON_ArrayForEach(bus, es_member(root, "buses"))
    {
        bool well = strcmp(es_member_text(bus, "state"), "trusted") == 0;
        look->faults += !well;
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
    enum es_status s = es_table_print(table, look->screen->width, 0, look->screen->colour, stdout, err);
    es_table_free(table);
    return s;
}

static enum es_status print_instruments(struct look *look, const cJSON *root, struct es_error *err)
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
        look->faults += !well;
        char state[48];
        snprintf(state, sizeof state, "%s%s", well ? "" : "! ", es_member_text(instrument, "state"));
        const char *cells[] = {es_member_text(instrument, "name"), es_member_text(instrument, "bus"), state,
                               es_member_text(instrument, "identity")};
        es_table_row(table, well ? ES_PLAIN : ES_STRONG, cells);
        if (!well && es_member_text(instrument, "text")[0] != '\0')
            es_table_note(table, 2, es_member_text(instrument, "text"));
    }
    putchar('\n');
    enum es_status s = es_table_print(table, look->screen->width, 0, look->screen->colour, stdout, err);
    es_table_free(table);
    return s;
}

static void print_csv(const cJSON *root)
{
    static const char *const head[] = {"station", "channel", "direction",  "value", "unit",       "state",
                                       "age s",   "rate Hz", "instrument", "due",   "calibration"};
    es_csv_row(stdout, head, sizeof head / sizeof head[0]);
    const cJSON *station, *channel;
    cJSON_ArrayForEach(station, es_member(root, "stations"))
    {
        cJSON_ArrayForEach(channel, es_member(station, "channels"))
        {
            char value[ES_NUMBER_SIZE], age[ES_NUMBER_SIZE], rate[ES_NUMBER_SIZE];
            cell(value, es_member_number(channel, "value"),
                 decimals_of(es_member_number(channel, "resolution")));
            cell(age, es_member_number(channel, "age"), 3);
            cell(rate, es_member_number(channel, "rate"), 1);
            const cJSON *calibration = es_member(channel, "calibration");
            const char *cells[] = {es_member_text(station, "name"),
                                   es_member_text(channel, "role"),
                                   es_member_true(channel, "output") ? "out" : "in",
                                   value,
                                   es_member_text(channel, "unit"),
                                   es_member_text(channel, "state"),
                                   age,
                                   rate,
                                   es_member_text(channel, "instrument"),
                                   es_member_text(calibration, "due"),
                                   es_member_text(calibration, "number")};
            es_csv_row(stdout, cells, sizeof cells / sizeof cells[0]);
        }
    }
}

static enum es_status print_table(struct look *look, const cJSON *root, struct es_error *err)
{
    struct es_text name = {0};
    es_text_visible(&name, es_member_text(root, "bench"), strlen(es_member_text(root, "bench")));
    printf("Bench %s%s\n\n", name.bytes != NULL ? name.bytes : "",
           es_member_true(root, "virtual") ? " (VIRTUAL: no real unit is tested)" : "");
    es_text_free(&name);
    enum es_status s = print_buses(look, root, err);
    if (s == ES_OK)
        s = print_instruments(look, root, err);
    const cJSON *station;
    cJSON_ArrayForEach(station, es_member(root, "stations"))
    {
        if (s == ES_OK)
            s = print_station(look, station, err);
        if (!es_member_true(es_member(station, "safe"), "reached"))
            es_safe_view_print(es_member(station, "safe"), look->screen, stdout);
    }
    return s;
}

static int run(const struct es_screen *screen, int argc, char **argv)
{
    struct arguments a = {0};
    int status;
    if (!es_verb_begin(&es_verb_bench, screen, argc, argv, &a, &status))
        return status;
    struct es_error err = {0};
    struct es_talk *talk = NULL;
    struct es_text request = {0};
    struct es_document *reply = NULL;
    struct look look = {.screen = screen};
    enum es_status s = ES_OK;
    if (a.json && a.csv)
        s = es_fail(&err, ES_USAGE, "--json and --csv exclude each other");
    if (s == ES_OK)
        s = es_talk_open(a.socket, NULL, &talk, &err);
    if (s == ES_OK) {
        es_talk_begin(talk, &request, "bench");
        if (a.station != NULL)
            es_json_text(&request, "station", a.station);
        s = es_talk_ask(talk, &request, &reply, &err);
    }
    if (s == ES_OK && a.json) {
        size_t length;
        const char *text = es_document_text(reply, &length);
        printf("%.*s\n", (int)length, text);
    } else if (s == ES_OK && a.csv) {
        print_csv(es_document_root(reply));
    } else if (s == ES_OK) {
        s = print_table(&look, es_document_root(reply), &err);
    }
    status = s == ES_OK ? es_verb_end(&es_verb_bench, look.faults > 0 ? 1 : 0)
                        : es_verb_fail(&es_verb_bench, &err, NULL);
    es_document_free(reply);
    es_text_free(&request);
    es_talk_close(talk);
    return status;
}

const struct es_verb es_verb_bench = {.line = &line, .name = "bench", .run = run};
