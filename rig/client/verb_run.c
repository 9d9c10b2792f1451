#include <math.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "rig/client/before_view.h"
#include "rig/client/certificate_view.h"
#include "rig/client/follow.h"
#include "rig/client/safe_view.h"
#include "rig/client/verb.h"
#include "rig/console/json_writer.h"

struct arguments {
    const char *plan, *type, *serial, *station, *tag, *customer, *reason, *parts, *person, *confirm, *overdue,
        *socket, *job, *lot, *supplier, *reference, *replaces, *because;
    bool as_found, ignore_gates, json, csv, quiet, rejoin;
    long seed;
};

#define TEXT(n, word, member, text) ES_TEXT_OPTION(struct arguments, n, word, member, text)
#define FLAG(n, member, text)       ES_FLAG_OPTION(struct arguments, n, member, text)

static const struct es_option options[] = {
    TEXT("plan", "NAME", plan, "test plan in the daemon's library: \"after-relay-swap\""),
    TEXT("type", "NAME", type, "type sheet of the unit: \"linear-single-acting\""),
    TEXT("serial", "SERIAL", serial, "serial number of the unit"),
    TEXT("station", "NAME", station, "station of the bench; needed when it has more than one"),
    TEXT(
        "job", "NUMBER", job,
        "the unit's visit (\"endstop job\"): gives customer, tag and reason, and takes the certificate down"),
    TEXT("tag", "TAG", tag, "the customer's name for the unit's place"),
    TEXT("customer", "NAME", customer, "who the unit belongs to"),
    TEXT("reference", "TEXT", reference, "the customer's order or complaint"),
    TEXT("lot", "TEXT", lot, "the delivery or lot that the unit came with"),
    TEXT("supplier", "NAME", supplier, "who supplied the unit"),
    TEXT("reason", "TEXT", reason, "why it is tested"),
    TEXT("parts-replaced", "TEXT", parts, "what was replaced before this run"),
    FLAG("as-found", as_found, "the unit is as it came, before any adjustment or repair; else as left"),
    TEXT("replaces", "NUMBER", replaces,
         "the new certificate corrects this one of the same unit, which stays as it is; needs --because"),
    TEXT("because", "TEXT", because, "why it is replaced: everyone who reads the new one is told"),
    TEXT("person", "NAME", person, "who runs it; else your system user"),
    TEXT(
        "confirm-cautions", "NAME", confirm,
        "run unattended: NAME has read the cautions (\"endstop explain\" prints them) and confirms them; the "
        "certificate carries it"),
    FLAG("ignore-gates", ignore_gates, "also run what a failed procedure would hold back"),
    TEXT("overdue-reason", "TEXT", overdue,
         "run although a calibration is overdue: why; the certificate carries it"),
    {.name = "seed",
     .value = "NUMBER",
     .kind = ES_OPTION_INTEGER,
     .offset = offsetof(struct arguments, seed),
     .min = 1,
     .max = 2147483647.0,
     .meaning = "seed of the measures that draw random numbers; else a fresh one"},
    FLAG("rejoin", rejoin, "take up a run that is under way, after a lost connection"),
    TEXT("socket", "PATH", socket, "the daemon's socket; else ENDSTOP_SOCKET, else " ES_DEFAULT_SOCKET),
    FLAG("quiet", quiet, "no progress, only questions and the result"),
    FLAG("json", json, "print the result for programs"),
    FLAG("csv", csv, "print the result's lines as CSV"),
};

static const struct es_command_line line = {
    .program = "endstop run",
    .summary = "runs a test plan on a unit and prints the result",
    .detail =
        "Before anything moves the cautions are shown and must be confirmed. Progress goes to standard "
        "error, the "
        "result to standard output. Ctrl-C stops the run and waits until the station is in its safe state; a "
        "second one leaves. This program is no safety device: use the bench's emergency stop in an "
        "emergency.",
    .example = "endstop run --plan after-relay-swap --type linear-single-acting --serial 4711",
    .options = options,
    .option_count = sizeof options / sizeof options[0],
};

#define TEXT_MOST 200 /* bytes that the daemon takes of a name */

static enum es_status check_text(const char *option, const char *text, struct es_error *err)
{
    char what[40];
    if (text != NULL && strlen(text) > TEXT_MOST)
        return es_fail(err, ES_USAGE, "--%s has %zu bytes; at most %d are taken", option, strlen(text),
                       TEXT_MOST);
    (void)snprintf(what, sizeof what, "--%s", option);
    return text != NULL ? es_text_check_line(what, text, err) : ES_OK;
}

static enum es_status check_texts(const struct arguments *a, struct es_error *err)
{
    const struct {
        const char *option, *text;
    } texts[] = {{"serial", a->serial},
                 {"tag", a->tag},
                 {"customer", a->customer},
                 {"reference", a->reference},
                 {"lot", a->lot},
                 {"supplier", a->supplier},
                 {"job", a->job},
                 {"person", a->person},
                 {"confirm-cautions", a->confirm}};
    enum es_status s = ES_OK;
    for (size_t i = 0; s == ES_OK && i < sizeof texts / sizeof texts[0]; i++)
        s = check_text(texts[i].option, texts[i].text, err);
    return s;
}

static enum es_status check_arguments(const struct arguments *a, struct es_error *err)
{
    if (a->json && a->csv)
        return es_fail(err, ES_USAGE, "--json and --csv exclude each other");
    if (a->rejoin)
        return ES_OK;
    if (a->plan == NULL)
        return es_fail(err, ES_USAGE, "--plan NAME is missing");
    if (a->type == NULL)
        return es_fail(err, ES_USAGE, "--type NAME is missing");
    if (a->serial == NULL)
        return es_fail(err, ES_USAGE, "--serial SERIAL is missing");
    if ((a->replaces != NULL) != (a->because != NULL))
        return es_fail(
            err, ES_USAGE,
            "--replaces NUMBER and --because TEXT belong together: which certificate is corrected, "
            "and why");
    if (a->person != NULL && a->confirm != NULL)
        return es_fail(err, ES_USAGE, "--confirm-cautions already names who runs it; leave --person out");
    return check_texts(a, err);
}

static void member(struct es_text *request, const char *name, const char *value)
{
    if (value != NULL)
        es_json_text(request, name, value);
}

static enum es_status ask_run(const struct arguments *a, struct es_talk *talk, const char *station,
                              struct es_error *err)
{
    struct es_text request = {0};
    struct es_document *reply = NULL;
    es_talk_begin(talk, &request, "run");
    es_json_text(&request, "station", station);
    es_json_text(&request, "plan", a->plan);
    es_json_text(&request, "type", a->type);
    es_json_text(&request, "serial", a->serial);
    member(&request, "tag", a->tag);
    member(&request, "customer", a->customer);
    member(&request, "reason", a->reason);
    member(&request, "parts replaced", a->parts);
    member(&request, "overdue reason", a->overdue);
    member(&request, "job", a->job);
    member(&request, "lot", a->lot);
    member(&request, "supplier", a->supplier);
    member(&request, "customer reference", a->reference);
    member(&request, "replaces", a->replaces);
    member(&request, "replaces because", a->because);
    es_json_text(&request, "state", a->as_found ? "as found" : "as left");
    es_json_bool(&request, "unattended", a->confirm != NULL);
    es_json_bool(&request, "ignore gates", a->ignore_gates);
    if (a->seed > 0)
        es_json_integer(&request, "seed", a->seed);
    enum es_status s = es_talk_ask(talk, &request, &reply, err);
    es_document_free(reply);
    es_text_free(&request);
    return s;
}

static enum es_status ask_watch(struct es_talk *talk, const char *station, struct es_error *err)
{
    struct es_text request = {0};
    struct es_document *reply = NULL;
    es_talk_begin(talk, &request, "bench");
    es_json_text(&request, "station", station);
    enum es_status s = es_talk_ask(talk, &request, &reply, err);
    if (s != ES_OK)
        goto free_request;
    const cJSON *entry = cJSON_GetArrayItem(es_member(es_document_root(reply), "stations"), 0);
    double first = es_member_number(es_member(entry, "run"), "first");
    es_document_free(reply);
    reply = NULL;
    if (isnan(first)) {
        s = es_fail(err, ES_NOT_FOUND,
                    "no run is under way at station %s; \"endstop certificate list\" lists what came "
                    "of earlier ones",
                    station);
        goto free_request;
    }
    es_talk_begin(talk, &request, "watch");
    es_json_text(&request, "station", station);
    es_json_integer(&request, "from", (long long)first);
    es_json_bool(&request, "attend", true);
    s = es_talk_ask(talk, &request, &reply, err);
    es_document_free(reply);
free_request:
    es_text_free(&request);
    return s;
}

/* The result before it beside it, as the job has it. */
static enum es_status show_before(struct es_talk *talk, const cJSON *root, const struct es_screen *screen,
                                  struct es_error *err)
{
    const char *number = es_before_number(root);
    struct es_text request = {0};
    struct es_document *reply = NULL;
    if (number == NULL)
        return ES_OK;
    es_talk_begin(talk, &request, "certificate");
    es_json_text(&request, "number", number);
    enum es_status s = es_talk_ask(talk, &request, &reply, err);
    es_text_free(&request);
    if (s == ES_OK) {
        const char *text = es_member_text(es_document_root(reply), "certificate");
        s = es_before_print(text, strlen(text), root, screen, stdout, err);
    }
    es_document_free(reply);
    return s;
}

/* The certificate of the last event, or NULL when there is none. */
static enum es_status fetch(struct es_talk *talk, const cJSON *ended, struct es_document **reply,
                            struct es_document **certificate, struct es_error *err)
{
    struct es_text request = {0};
    struct es_findings findings = {0};
    es_talk_begin(talk, &request, "certificate");
    es_json_text(&request, "number", es_member_text(ended, "number"));
    enum es_status s = es_talk_ask(talk, &request, reply, err);
    es_text_free(&request);
    if (s == ES_OK) {
        const char *text = es_member_text(es_document_root(*reply), "certificate");
        s = es_document_parse(es_member_text(ended, "number"), text, strlen(text), &findings, certificate,
                              err);
    }
    es_findings_free(&findings);
    return s;
}

static void print_json(const cJSON *ended, const struct es_document *certificate)
{
    char *text = cJSON_PrintUnformatted(ended);
    printf("{\"result\":%s", text != NULL ? text : "null");
    if (certificate != NULL) {
        size_t length;
        const char *bytes = es_document_text(certificate, &length);
        printf(",\"certificate\":%.*s", (int)length, bytes);
    }
    printf("}\n");
    cJSON_free(text);
}

/* Nothing moved: what was wrong with the files or the bench. */
static int print_refusal(const cJSON *ended)
{
    const cJSON *finding;
    struct es_findings findings = {0};
    cJSON_ArrayForEach(finding, es_member(ended, "findings"))
    {
        es_findings_add(&findings, es_member_text(finding, "file"),
                        (unsigned)es_member_number(finding, "line"),
                        (unsigned)es_member_number(finding, "column"), es_member_text(finding, "found"),
                        es_member_text(finding, "expected"), es_member_text(finding, "advice"));
    }
    struct es_error err;
    es_fail(&err, es_status_of_word(es_member_text(ended, "status")), "%s", es_member_text(ended, "text"));
    int status = es_verb_fail(&es_verb_run, &err, &findings);
    fputs("endstop run: nothing was moved\n", stderr);
    es_findings_free(&findings);
    return status;
}

static int print_result(const struct arguments *a, const struct es_screen *screen, struct es_talk *talk,
                        const cJSON *ended)
{
    const char *result = es_member_text(ended, "result");
    if (strcmp(result, "refused") == 0) {
        if (a->json)
            print_json(ended, NULL);
        return print_refusal(ended);
    }
    struct es_error err = {0};
    struct es_document *reply = NULL, *certificate = NULL;
    int status = 3;
    if (strcmp(result, "failed") == 0) {
        es_fail(&err, ES_IO, "the run's result could not be written down: %s", es_member_text(ended, "text"));
        status = es_verb_fail(&es_verb_run, &err, NULL);
        if (a->json)
            print_json(ended, NULL);
    } else if (fetch(talk, ended, &reply, &certificate, &err) != ES_OK) {
        (void)es_verb_fail(&es_verb_run, &err, NULL);
    } else {
        const cJSON *root = es_document_root(certificate);
        status = es_certificate_view_exit(root);
        if (a->json)
            print_json(ended, certificate);
        else if (a->csv)
            es_certificate_view_csv(root, stdout);
        else if (es_certificate_view_print(root, screen, stdout, &err) != ES_OK ||
                 show_before(talk, root, screen, &err) != ES_OK)
            status = es_verb_fail(&es_verb_run, &err, NULL);
    }
    es_safe_view_print(es_member(ended, "safe"), screen, a->json || a->csv ? stderr : stdout);
    if (certificate != NULL && !a->json && !a->csv &&
        es_certificate_view_again(es_document_root(certificate), screen, 4, stdout, &err) != ES_OK)
        status = es_verb_fail(&es_verb_run, &err, NULL);
    es_document_free(certificate);
    es_document_free(reply);
    return es_verb_end(&es_verb_run, status);
}

static int carry_out(const struct arguments *a, const struct es_screen *screen, int signals)
{
    struct es_error err = {0};
    struct es_talk *talk = NULL;
    struct es_document *last = NULL;
    const char *station = NULL;
    struct es_progress progress;
    es_progress_start(&progress, screen, a->quiet);
    enum es_status s = es_talk_open(a->socket, a->confirm != NULL ? a->confirm : a->person, &talk, &err);
    if (s == ES_OK)
        s = es_talk_station(talk, a->station, &station, &err);
    if (s == ES_OK)
        s = a->rejoin ? ask_watch(talk, station, &err) : ask_run(a, talk, station, &err);
    struct es_follow follow = {.talk = talk, .station = station, .answers = true};
    if (s == ES_OK) {
        s = es_follow(&follow, &progress, signals, &last, &err);
        if (s == ES_HANGUP)
            (void)es_error_context(
                &err, s, "the run was lost sight of; take it up again with \"endstop run --rejoin\"");
    }
    int status = s == ES_OK ? print_result(a, screen, talk, es_document_root(last))
                            : es_verb_fail(&es_verb_run, &err, NULL);
    es_document_free(last);
    es_talk_close(talk);
    return status;
}

static int run(const struct es_screen *screen, int argc, char **argv)
{
    struct arguments a = {0};
    int status;
    if (!es_verb_begin(&es_verb_run, screen, argc, argv, &a, &status))
        return status;
    struct es_error err = {0};
    int signals = -1;
    enum es_status s = check_arguments(&a, &err);
    if (s == ES_OK)
        s = es_follow_signals(&signals, &err);
    if (s != ES_OK)
        return es_verb_fail(&es_verb_run, &err, NULL);
    status = carry_out(&a, screen, signals);
    close(signals);
    return status;
}

const struct es_verb es_verb_run = {.line = &line, .name = "run", .run = run};
