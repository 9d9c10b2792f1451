#include <inttypes.h>
#include <stdlib.h>
#include <string.h>

#include "results/archive/outbox.h"
#include "results/archive/questions.h"
#include "rig/client/verb.h"
#include "rig/console/json_writer.h"
#include "rig/console/table.h"

struct arguments {
    struct es_option_list words;
    const char *state, *archive, *since, *serial, *type, *by;
    bool json, csv;
};

#define TEXT(n, word, member, text) ES_TEXT_OPTION(struct arguments, n, word, member, text)
#define FLAG(n, member, text)       ES_FLAG_OPTION(struct arguments, n, member, text)

static const struct es_option options[] = {
    TEXT("state", "DIR", state,
         "the bench's state folder: fill sends from here; its archive.db is the archive"),
    TEXT("archive", "ADDRESS", archive, "another archive: a file, or postgresql://..."),
    TEXT("since", "DATE", since, "only certificates issued at or after, \"2026-03\" or \"2026-03-01T08:00\""),
    TEXT("serial", "SERIAL", serial, "find, chart: only this unit"),
    TEXT("type", "NAME", type, "chart: only units of this type sheet"),
    TEXT("by", "WORD", by,
         "no-fault, failures: type, customer, lot, supplier, plan, reason or month; failures also measurand "
         "(else) "
         "or cause"),
    FLAG("json", json, "print for programs"),
    FLAG("csv", csv, "print as CSV"),
};

static const struct es_command_line line = {
    .program = "endstop archive",
    .summary = "answers questions over many certificates; fills the archive",
    .detail =
        "fill sends the certificates that the archive lacks, each exactly once. find lists certificates; "
        "history "
        "gives every measured value of a unit with E_n against the visit before (|E_n| above 1: they "
        "disagree); "
        "pairs puts as found beside as left; no-fault tells the share of units that passed as found; "
        "failures "
        "counts what failed; touched lists the certificates that an instrument has a part in; chart is an "
        "individuals chart of a measurand with its run rules.",
    .example = "endstop archive history EX-000123 --state /var/lib/endstop",
    .options = options,
    .option_count = sizeof options / sizeof options[0],
    .operands = {.name =
                     "fill|find|history SERIAL|pairs|no-fault|failures|touched INSTRUMENT|chart MEASURAND",
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

static void print_json(const struct es_answer *answer)
{
    struct es_text t = {0};
    es_json_array(&t, NULL);
    for (size_t r = 0; r < answer->rows; r++) {
        es_json_object(&t, NULL);
        for (size_t c = 0; c < answer->column_count; c++) {
            const char *cell = answer->cells[r * answer->column_count + c];
            if (!answer->columns[c].number)
                es_json_text(&t, answer->columns[c].name, cell);
            else if (cell[0] == '\0')
                es_json_text(&t, answer->columns[c].name, NULL);
            else
                es_json_raw(&t, answer->columns[c].name, cell, strlen(cell));
        }
        es_json_end_object(&t);
    }
    es_json_end_array(&t);
    printf("%s\n", t.bytes != NULL ? t.bytes : "");
    es_text_free(&t);
}

static void print_csv(const struct es_answer *answer)
{
    const char *names[32];
    for (size_t c = 0; c < answer->column_count; c++)
        names[c] = answer->columns[c].name;
    es_csv_row(stdout, names, answer->column_count);
    for (size_t r = 0; r < answer->rows; r++)
        es_csv_row(stdout, (const char *const *)answer->cells + r * answer->column_count,
                   answer->column_count);
}

/* Columns in which nothing stands, and the bench's identity, are left to programs. */
static enum es_status print_table(const struct es_answer *answer, const struct es_screen *screen,
                                  struct es_error *err)
{
    struct es_column columns[32];
    size_t shown[32], count = 0;
    for (size_t c = 0; c < answer->column_count; c++) {
        bool any = false;
        for (size_t r = 0; r < answer->rows; r++)
            any = any || answer->cells[r * answer->column_count + c][0] != '\0';
        if (!any || strcmp(answer->columns[c].name, "bench") == 0)
            continue;
        columns[count] =
            (struct es_column){.title = answer->columns[c].name,
                               .align = answer->columns[c].number ? ES_ALIGN_RIGHT : ES_ALIGN_LEFT,
                               .wraps = !answer->columns[c].number,
                               .least = 8};
        shown[count++] = c;
    }
    if (answer->rows == 0) {
        puts("nothing in the archive answers this");
        return ES_OK;
    }
    struct es_table *table = es_table_new(columns, count);
    for (size_t r = 0; r < answer->rows; r++) {
        const char *cells[32];
        for (size_t i = 0; i < count; i++)
            cells[i] = answer->cells[r * answer->column_count + shown[i]];
        es_table_row(table, ES_PLAIN, cells);
    }
    enum es_status s = es_table_print(table, screen->width, 0, screen->colour, stdout, err);
    es_table_free(table);
    return s;
}

static const struct {
    const char *word;
    enum es_question_kind kind;
    bool subject;
} questions[] = {{"find", ES_ASK_FIND, false},         {"history", ES_ASK_HISTORY, true},
                 {"pairs", ES_ASK_PAIRS, false},       {"no-fault", ES_ASK_NO_FAULT, false},
                 {"failures", ES_ASK_FAILURES, false}, {"touched", ES_ASK_TOUCHED, true},
                 {"chart", ES_ASK_CHART, true}};

#define QUESTION_COUNT (sizeof questions / sizeof questions[0])

static enum es_status ask(const struct arguments *a, size_t which, struct es_archive *archive,
                          const struct es_screen *screen, struct es_error *err)
{
    const char *subject = a->words.count > 1 ? a->words.items[1] : NULL;
    struct es_answer answer;
    struct es_question q = {.kind = questions[which].kind,
                            .subject = subject,
                            .serial = a->serial,
                            .type = a->type,
                            .since = a->since,
                            .by = a->by};
    if (q.kind == ES_ASK_HISTORY)
        q.serial = subject;
    enum es_status s = es_question_ask(archive, &q, &answer, err);
    if (s == ES_OK && a->json)
        print_json(&answer);
    else if (s == ES_OK && a->csv)
        print_csv(&answer);
    else if (s == ES_OK)
        s = print_table(&answer, screen, err);
    es_answer_free(&answer);
    return s;
}

static enum es_status act(const struct arguments *a, const struct es_screen *screen, struct es_error *err)
{
    const char *what = a->words.items[0];
    bool filling = strcmp(what, "fill") == 0;
    size_t which = 0;
    while (which < QUESTION_COUNT && strcmp(what, questions[which].word) != 0)
        which++;
    if (!filling && which == QUESTION_COUNT)
        return es_fail(err, ES_USAGE,
                       "\"%s\" is none of: fill, find, history, pairs, no-fault, failures, touched, chart",
                       what);
    if ((a->words.count > 1) != (!filling && questions[which].subject))
        return es_fail(err, ES_USAGE,
                       a->words.count > 1 ? "\"%s\" takes no word after it" : "\"%s\" of what?", what);
    struct es_archive *archive = NULL;
    enum es_status s = open_archive(a, filling ? ES_ARCHIVE_WRITE : ES_ARCHIVE_READ, &archive, err);
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
