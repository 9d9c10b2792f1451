/* stop and reset: both end with the station in its safe state. */
#include <string.h>
#include <unistd.h>

#include "rig/client/follow.h"
#include "rig/client/safe_view.h"
#include "rig/client/verb.h"
#include "rig/console/json_writer.h"

struct arguments {
    const char *station, *person, *why, *socket;
    bool json;
};

#define TEXT(n, word, member, text) ES_TEXT_OPTION(struct arguments, n, word, member, text)

static const struct es_option options[] = {
    TEXT("station", "NAME", station, "station of the bench; needed when it has more than one"),
    TEXT("person", "NAME", person, "who asks; else your system user"),
    TEXT("why", "TEXT", why, "the reason, for the record"),
    TEXT("socket", "PATH", socket, "the daemon's socket; else ENDSTOP_SOCKET, else " ES_DEFAULT_SOCKET),
    {.name = "json",
     .kind = ES_OPTION_FLAG,
     .offset = offsetof(struct arguments, json),
     .meaning = "print for programs"},
};

static const struct es_command_line stop_line = {
    .program = "endstop stop",
    .summary = "stops the run at a station; in any case puts it into its safe state",
    .detail = "Waits until the safe state is reached and tells how long it took. It goes by wire and "
              "program: in an "
              "emergency use the bench's emergency stop. Exit status: 0 safe, 3 not proved safe.",
    .example = "endstop stop --station 1",
    .options = options,
    .option_count = sizeof options / sizeof options[0],
};

static const struct es_command_line reset_line = {
    .program = "endstop reset",
    .summary = "says that the cause of an interlock trip has been looked at; the station may run again",
    .detail =
        "Refused while the cause is still there. Look at the bench first. Exit status: 0 ready, 3 refused.",
    .example = "endstop reset --station 1 --person \"A. Fitter\"",
    .options = options,
    .option_count = sizeof options / sizeof options[0],
};

static enum es_status ask(const struct arguments *a, const char *what, struct es_talk *talk,
                          const char *station, struct es_error *err)
{
    struct es_text request = {0};
    struct es_document *reply = NULL;
    es_talk_begin(talk, &request, what);
    es_json_text(&request, "station", station);
    if (a->why != NULL && strcmp(what, "stop") == 0)
        es_json_text(&request, "why", a->why);
    enum es_status s = es_talk_ask(talk, &request, &reply, err);
    es_document_free(reply);
    es_text_free(&request);
    return s;
}

static int tell(const struct es_verb *verb, const struct arguments *a, const struct es_screen *screen,
                const cJSON *last)
{
    const cJSON *safe = es_member(last, "safe");
    bool reached = es_member_true(safe, "reached");
    bool refused = es_member(last, "ok") != NULL && !es_member_true(last, "ok");
    if (a->json) {
        char *text = cJSON_PrintUnformatted(last);
        printf("%s\n", text != NULL ? text : "null");
        cJSON_free(text);
    } else {
        if (refused) {
            struct es_error err;
            es_fail(&err, ES_INTERLOCK, "%s", es_member_text(last, "text"));
            (void)es_verb_fail(verb, &err, NULL);
        }
        if (verb == &es_verb_reset && !refused)
            puts("The station may run again.");
        else if (safe == NULL && !refused)
            puts("Stopped before anything had moved.");
        es_safe_view_print(safe, screen, stdout);
    }
    return es_verb_end(verb, (reached || safe == NULL) && !refused ? 0 : 3);
}

static int carry_out(const struct es_verb *verb, const struct es_screen *screen, int argc, char **argv)
{
    struct arguments a = {0};
    int status;
    if (!es_verb_begin(verb, screen, argc, argv, &a, &status))
        return status;
    struct es_error err = {0};
    struct es_talk *talk = NULL;
    struct es_document *last = NULL;
    const char *station = NULL;
    int signals = -1;
    struct es_progress progress;
    es_progress_start(&progress, screen, true);
    enum es_status s = es_follow_signals(&signals, &err);
    if (s == ES_OK)
        s = es_talk_open(a.socket, a.person, &talk, &err);
    if (s == ES_OK)
        s = es_talk_station(talk, a.station, &station, &err);
    if (s == ES_OK)
        s = ask(&a, verb->name, talk, station, &err);
    struct es_follow follow = {.talk = talk, .station = station, .stopped = true};
    if (s == ES_OK)
        s = es_follow(&follow, &progress, signals, &last, &err);
    status = s == ES_OK ? tell(verb, &a, screen, es_document_root(last)) : es_verb_fail(verb, &err, NULL);
    es_document_free(last);
    es_talk_close(talk);
    if (signals >= 0)
        close(signals);
    return status;
}

static int run_stop(const struct es_screen *screen, int argc, char **argv)
{
    return carry_out(&es_verb_stop, screen, argc, argv);
}

static int run_reset(const struct es_screen *screen, int argc, char **argv)
{
    return carry_out(&es_verb_reset, screen, argc, argv);
}

const struct es_verb es_verb_stop = {.line = &stop_line, .name = "stop", .run = run_stop};
const struct es_verb es_verb_reset = {.line = &reset_line, .name = "reset", .run = run_reset};
