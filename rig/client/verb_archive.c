#include <inttypes.h>
#include <stdlib.h>
#include <string.h>

#include "results/archive/outbox.h"
#include "rig/client/archive_answer.h"
#include "rig/client/archive_sampling.h"

struct arguments {
    struct es_option_list words;
    const char *state, *archive, *since, *serial, *type, *procedure, *measurand, *tested, *by, *svg;
    const char *aql, *level, *good, *bad;
    long within;
    bool json, csv;
};

#define TEXT(n, word, member, text) ES_TEXT_OPTION(struct arguments, n, word, member, text)
#define FLAG(n, member, text)       ES_FLAG_OPTION(struct arguments, n, member, text)

static const struct es_option options[] = {
    TEXT("state", "DIR", state,
         "the bench's state folder: fill sends from here; its archive.db is the archive"),
    TEXT("archive", "ADDRESS", archive, "another archive: a file, or postgresql://..."),
    TEXT("since", "DATE", since, "only certificates issued at or after, \"2026-03\" or \"2026-03-01T08:00\""),
    TEXT("serial", "SERIAL", serial, "only this unit"),
    TEXT("type", "NAME", type, "only units of this type sheet"),
    TEXT("procedure", "NAME", procedure, "only values that this procedure measured"),
    TEXT("measurand", "NAME", measurand, "history: only this one"),
    TEXT("tested", "STATE", tested, "chart, repeatability: only tests \"as found\", or only \"as left\""),
    TEXT("by", "WORD", by,
         "no-fault, failures: type, customer, lot, supplier, plan, reason or month; failures also measurand "
         "(else) or cause; repeatability: day (else), person, station or bench"),
    {.name = "within",
     .value = "DAYS",
     .kind = ES_OPTION_INTEGER,
     .offset = offsetof(struct arguments, within),
     .min = 1,
     .max = 3650,
     .meaning = "repeatability: tests of a unit in one state at most so many days apart are repeats; 7"},
    TEXT("aql", "PERCENT", aql, "sampling: the acceptance quality limit after ISO 2859-1"),
    TEXT("level", "I|II|III", level, "sampling: the inspection level; II"),
    TEXT("good", "PERCENT", good, "sampling: a plan of one's own that accepts such lots 95 times in 100"),
    TEXT("bad", "PERCENT", bad, "sampling: and such lots at most 10 times in 100"),
    TEXT("svg", "FILE", svg,
         "draw the answer: history of one measurand, pairs MEASURAND, no-fault, failures, chart, sampling; "
         "\"-\" is standard output"),
    FLAG("json", json, "print for programs"),
    FLAG("csv", csv, "print as CSV"),
};

static const struct es_command_line line = {
    .program = "endstop archive",
    .summary = "answers questions over many certificates; fills the archive",
    .detail =
        "fill sends the certificates that the archive lacks, each exactly once. find lists certificates; "
        "history gives every measured value of a unit with E_n against the visit before (|E_n| above 1: they "
        "disagree); pairs puts as found beside as left, their verdicts or the values of a measurand; "
        "no-fault "
        "tells the share of units that passed as found; failures counts what failed; touched lists the "
        "certificates that an instrument has a part in; chart is an individuals chart of a measurand with "
        "its "
        "run rules; repeatability says from repeated tests how well the bench repeats itself; sampling tells "
        "how many units of a lot to test.",
    .example = "endstop archive history EX-000123 --state /var/lib/endstop",
    .options = options,
    .option_count = sizeof options / sizeof options[0],
    .operands = {.name = "fill|find|history SERIAL|pairs [MEASURAND]|no-fault|failures|touched "
                         "INSTRUMENT|chart MEASURAND|repeatability MEASURAND|sampling LOT",
                 .min = 1,
                 .max = 2,
                 .offset = offsetof(struct arguments, words),
                 .meaning = "what to do"},
};

static enum es_status open_archive(const struct arguments *a, enum es_archive_mode mode,
                                   struct es_archive **out, struct es_error *err)
{
    struct es_text path = {0};
    if (a->archive != NULL)
        return es_archive_open(a->archive, mode, out, err);
    if (a->state == NULL)
        return es_fail(err, ES_USAGE, "which archive? --state DIR or --archive ADDRESS");
    es_text_printf(&path, "%s/archive.db", a->state);
    enum es_status s = es_text_status(&path, err);
    if (s == ES_OK)
        s = es_archive_open(path.bytes, mode, out, err);
    es_text_free(&path);
    return s;
}

static enum es_status fill(const struct arguments *a, struct es_archive *archive, struct es_error *err)
{
    struct es_store *store = NULL;
    struct es_outbox_report r;
    if (a->state == NULL)
        return es_fail(err, ES_USAGE, "fill sends from a state folder: --state DIR");
    enum es_status s = es_store_open(a->state, ES_STORE_READ, &store, err);
    if (s == ES_OK)
        s = es_outbox_send(store, archive, NULL, NULL, &r, err);
    es_store_close(store);
    if (s != ES_OK)
        return s;
    if (a->json)
        printf("{\"logged\":%" PRIu64 ",\"sent\":%" PRIu64 ",\"new\":%" PRIu64 ",\"left_out\":%" PRIu64 "}\n",
               r.logged, r.sent, r.fresh, r.left_out);
    else
        printf("%" PRIu64 " entries in the log; %" PRIu64 " sent to %s, %" PRIu64 " of them new to it\n",
               r.logged, r.sent, archive->name, r.fresh);
    return r.left_out > 0 ? es_fail(err, ES_NOT_VALID, "%" PRIu64 " left out: %s", r.left_out, r.fault)
                          : ES_OK;
}

/* ---- Answers ---- */

enum subject { NONE, MAYBE_MEASURAND, MEASURAND, SERIAL, INSTRUMENT };

static const struct {
    const char *word;
    enum es_question_kind kind;
    enum subject subject; /* what the word after it is */
} questions[] = {{"find", ES_ASK_FIND, NONE},
                 {"history", ES_ASK_HISTORY, SERIAL},
                 {"pairs", ES_ASK_PAIRS, MAYBE_MEASURAND},
                 {"no-fault", ES_ASK_NO_FAULT, NONE},
                 {"failures", ES_ASK_FAILURES, NONE},
                 {"touched", ES_ASK_TOUCHED, INSTRUMENT},
                 {"chart", ES_ASK_CHART, MEASURAND},
                 {"repeatability", ES_ASK_REPEATABILITY, MEASURAND}};

#define QUESTION_COUNT (sizeof questions / sizeof questions[0])
#define QUESTION_WORDS                                                                                       \
    "fill, find, history, pairs, no-fault, failures, touched, chart, repeatability, sampling"

static enum es_status ask(const struct arguments *a, size_t which, struct es_archive *archive,
                          const struct es_screen *screen, struct es_error *err)
{
    const char *word = a->words.count > 1 ? a->words.items[1] : NULL;
    enum subject subject = questions[which].subject;
    struct es_answer answer;
    const struct es_question q = {
        .kind = questions[which].kind,
        .serial = subject == SERIAL ? word : a->serial,
        .instrument = subject == INSTRUMENT ? word : NULL,
        .measurand = subject == MEASURAND || subject == MAYBE_MEASURAND ? word : a->measurand,
        .type = a->type,
        .procedure = a->procedure,
        .since = a->since,
        .tested = a->tested,
        .by = a->by,
        .within = (int)a->within};
    enum es_status s = es_question_ask(archive, &q, &answer, err);
    if (s == ES_OK && a->svg != NULL)
        s = es_answer_plot(&q, &answer, a->svg, err);
    bool drawn_only = a->svg != NULL && strcmp(a->svg, "-") == 0;
    if (s == ES_OK && !drawn_only)
        s = a->json  ? es_answer_json(&answer, err)
            : a->csv ? es_answer_csv(&answer, err)
                     : es_answer_print(&answer, screen, err);
    es_answer_free(&answer);
    return s;
}

static enum es_status sample(const struct arguments *a, const struct es_screen *screen, struct es_error *err)
{
    const struct es_sampling_order order = {.lot = a->words.count > 1 ? a->words.items[1] : NULL,
                                            .aql = a->aql,
                                            .level = a->level,
                                            .good = a->good,
                                            .bad = a->bad,
                                            .svg = a->svg,
                                            .json = a->json,
                                            .csv = a->csv};
    return order.lot != NULL ? es_sampling_tell(&order, screen, err)
                             : es_fail(err, ES_USAGE, "how many units has the lot?");
}

static enum es_status check_words(const char *what, size_t which, bool another, struct es_error *err)
{
    bool filling = strcmp(what, "fill") == 0;
    if (!filling && which == QUESTION_COUNT)
        return es_fail(err, ES_USAGE, "\"%s\" is none of: " QUESTION_WORDS, what);
    enum subject subject = filling ? NONE : questions[which].subject;
    if (another && subject == NONE)
        return es_fail(err, ES_USAGE, "\"%s\" takes no word after it", what);
    if (!another && subject != NONE && subject != MAYBE_MEASURAND)
        return es_fail(err, ES_USAGE, "\"%s\" of which %s?", what,
                       subject == SERIAL       ? "serial number"
                       : subject == INSTRUMENT ? "instrument: its identity, name or calibration's number"
                                               : "measurand");
    return ES_OK;
}

static enum es_status act(const struct arguments *a, const struct es_screen *screen, struct es_error *err)
{
    const char *what = a->words.items[0];
    bool filling = strcmp(what, "fill") == 0;
    size_t which = 0;
    while (which < QUESTION_COUNT && strcmp(what, questions[which].word) != 0)
        which++;
    if (strcmp(what, "sampling") == 0)
        return sample(a, screen, err);
    enum es_status s = check_words(what, which, a->words.count > 1, err);
    if (s == ES_OK)
        s = es_verb_check_since(a->since, err);
    struct es_archive *archive = NULL;
    if (s == ES_OK)
        s = open_archive(a, filling ? ES_ARCHIVE_WRITE : ES_ARCHIVE_READ, &archive, err);
    if (s != ES_OK)
        return s;
    s = filling ? fill(a, archive, err) : ask(a, which, archive, screen, err);
    es_archive_close(archive);
    return s;
}

static int run(const struct es_screen *screen, int argc, char **argv)
{
    struct arguments a = {0};
    struct es_error err = {0};
    int status;
    if (!es_verb_begin(&es_verb_archive, screen, argc, argv, &a, &status))
        return status;
    return act(&a, screen, &err) == ES_OK ? es_verb_end(&es_verb_archive, 0)
                                          : es_verb_fail(&es_verb_archive, &err, NULL);
}

const struct es_verb es_verb_archive = {.line = &line, .name = "archive", .run = run};
