#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "rig/base/clock.h"
#include "rig/base/number.h"
#include "rig/client/bench_attention.h"
#include "rig/client/bench_view.h"
#include "rig/client/talk.h"
#include "rig/client/verb.h"
#include "rig/console/json_writer.h"
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
        "What needs attention stands on top, worst first. Exit status: 0 all is well; 1 a bus or an "
        "instrument "
        "does not answer, a channel is not good, a calibration is overdue, or an interlock has tripped.",
    .example = "endstop bench --station 1",
    .options = options,
    .option_count = sizeof options / sizeof options[0],
};

static void cell(char out[static ES_NUMBER_SIZE], double value, int decimals)
{
    if (isnan(value))
        out[0] = '\0';
    else
        es_number_round(value, decimals, out);
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
                 es_channel_decimals(es_member_number(channel, "resolution")));
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
    int faults = 0;
    char now[32];
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
        es_clock_wall_text(now);
        s = es_bench_view_print(es_document_root(reply), screen, now, stdout, &err);
    }
    if (s == ES_OK)
        faults = es_bench_attention_faults(es_document_root(reply));
    status = s == ES_OK ? es_verb_end(&es_verb_bench, faults > 0 ? 1 : 0)
                        : es_verb_fail(&es_verb_bench, &err, NULL);
    es_document_free(reply);
    es_text_free(&request);
    es_talk_close(talk);
    return status;
}

const struct es_verb es_verb_bench = {.line = &line, .name = "bench", .run = run};
