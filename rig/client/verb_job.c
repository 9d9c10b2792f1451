#include <stdlib.h>
#include <string.h>

#include "results/certificate/content.h"
#include "results/store/jobs.h"
#include "results/store/signed.h"
#include "rig/base/clock.h"
#include "rig/client/verb.h"
#include "rig/console/json_writer.h"
#include "rig/console/table.h"

struct arguments {
    const struct es_screen *screen;
    struct es_option_list words;
    const char *state, *person, *serial, *tag, *type, *lot, *supplier, *customer, *contact, *reference,
        *reason, *condition, *received, *text, *certificate;
    bool no_fault, json;
    char now[32];
};

#define TEXT(n, word, member, text) ES_TEXT_OPTION(struct arguments, n, word, member, text)
#define FLAG(n, member, text)       ES_FLAG_OPTION(struct arguments, n, member, text)

static const struct es_option options[] = {
    TEXT("state", "DIR", state, "the bench's state folder"),
    TEXT("person", "NAME", person, "who does it; else your system user"),
    TEXT("serial", "SERIAL", serial, "open: serial number of the unit"),
    TEXT("received", "DATE", received, "open: date of receipt, \"2026-02-01\"; else today"),
    TEXT("type", "NAME", type, "open: type sheet of the unit"),
    TEXT("tag", "TAG", tag, "open: the customer's name for the unit's place"),
    TEXT("lot", "TEXT", lot, "open: the delivery or lot that it came with"),
    TEXT("supplier", "NAME", supplier, "open: who supplied it"),
    TEXT("customer", "NAME", customer, "open: who the unit belongs to"),
    TEXT("contact", "TEXT", contact, "open: where the customer is reached"),
    TEXT("reference", "TEXT", reference, "open: the customer's order or complaint"),
    TEXT("reason", "TEXT", reason, "open: why it came"),
    TEXT("condition", "TEXT", condition, "open: in which condition it came"),
    TEXT("certificate", "NUMBER", certificate, "run: certificate of a test in this job"),
    TEXT("text", "TEXT", text, "found, parts, note, deliver: what to write down"),
    FLAG("no-fault", no_fault, "found: no fault was found, which is a result too"),
    FLAG("json", json, "show, list: print for programs"),
};

static const struct es_command_line line = {
    .program = "endstop job",
    .summary = "keeps one unit's visit, from arrival to delivery",
    .detail =
        "open takes the unit in and gives the job its number. run adds a test by its certificate, found what "
        "was found, parts what was replaced, note anything else; release is for a second person, when there "
        "is a result as left and something (or no fault) was found; deliver ends the job. Each is a line "
        "with "
        "who and when, and days may lie between them.",
    .example = "endstop job open --serial 4711 --customer \"Example Quarry\" --state /var/lib/endstop",
    .options = options,
    .option_count = sizeof options / sizeof options[0],
    .operands = {.name = "open|run|found|parts|note|release|deliver|show|list [JOB]",
                 .min = 1,
                 .max = 2,
                 .offset = offsetof(struct arguments, words),
                 .meaning = "what to do; all but open and list take the job's number"},
};

static enum es_status open_job(const struct arguments *a, struct es_store *store, struct es_error *err)
{
    char number[ES_STORE_NUMBER_MAX], today[16];
    (void)snprintf(today, sizeof today, "%.10s", a->now);
    const struct es_job_unit unit = {.serial = a->serial,
                                     .tag = a->tag,
                                     .type = a->type,
                                     .lot = a->lot,
                                     .supplier = a->supplier,
                                     .customer = a->customer,
                                     .customer_contact = a->contact,
                                     .customer_reference = a->reference,
                                     .reason = a->reason,
                                     .condition = a->condition,
                                     .received = a->received != NULL ? a->received : today};
    enum es_status s = es_job_open(store, &unit, a->person, a->now, number, err);
    if (s == ES_OK)
        puts(number);
    return s;
}

/* A test of this job: its certificate must be of this unit. */
static enum es_status add_run(const struct arguments *a, struct es_store *store, const char *number,
                              struct es_error *err)
{
    char *bytes = NULL;
    size_t length = 0;
    struct es_findings findings = {0};
    struct es_document *doc = NULL;
    struct es_content c = {0};
    struct es_job job = {0};
    if (a->certificate == NULL)
        return es_fail(err, ES_USAGE, "--certificate NUMBER is missing");
    enum es_status s = es_job_read(store, number, &job, err);
    if (s == ES_OK)
        s = es_store_certificate(store, a->certificate, &bytes, &length, err);
    if (s == ES_OK)
        s = es_document_parse(a->certificate, bytes, length, &findings, &doc, err);
    if (s == ES_OK)
        s = es_content_read(es_document_root(doc), &c, err);
    if (s == ES_OK && strcmp(c.serial, job.unit.serial) != 0)
        s = es_fail(err, ES_REFUSED, "certificate %s is of unit %s, and job %s of unit %s", a->certificate,
                    c.serial, number, job.unit.serial);
    if (s == ES_OK) {
        const struct es_job_change change = {.what = "run",
                                             .who = a->person,
                                             .when = a->now,
                                             .certificate = a->certificate,
                                             .state = c.state,
                                             .verdict = c.record ? "not completed" : c.verdict,
                                             .ran_by = c.person};
        s = es_job_add(store, number, &change, err);
    }
    es_content_free(&c);
    es_document_free(doc);
    es_findings_free(&findings);
    es_job_free(&job);
    free(bytes);
    return s;
}

static enum es_status add(const struct arguments *a, struct es_store *store, const char *number,
                          const char *what, struct es_error *err)
{
    bool found = strcmp(what, "found") == 0;
    const struct es_job_change change = {.what = what,
                                         .who = a->person,
                                         .when = a->now,
                                         .text = found && a->no_fault ? ES_JOB_NO_FAULT : a->text};
    return es_job_add(store, number, &change, err);
}

/* ---- Showing ---- */

static void show_json(const struct es_job *job)
{
    struct es_text out = {0};
    es_json_object(&out, NULL);
    es_json_text(&out, "number", job->number);
    es_json_text(&out, "stage", job->stage);
    es_json_array(&out, "lines");
    for (size_t i = 0; i < job->lines.count; i++) {
        size_t length;
        const char *text = es_document_text(job->lines.items[i], &length);
        es_json_raw(&out, NULL, text, length);
    }
    es_json_end_array(&out);
    es_json_end_object(&out);
    printf("%s\n", out.bytes != NULL ? out.bytes : "");
    es_text_free(&out);
}

static void fact(const char *name, const char *text)
{
    struct es_text clean = {0};
    if (text == NULL)
        return;
    es_text_visible(&clean, text, strlen(text));
    printf("  %-12s%s\n", name, clean.bytes != NULL ? clean.bytes : "");
    es_text_free(&clean);
}

static enum es_status show_job(const struct arguments *a, struct es_store *store, const char *number,
                               struct es_error *err)
{
    struct es_job job = {0};
    enum es_status s = es_job_read(store, number, &job, err);
    if (s != ES_OK)
        return s;
    if (a->json) {
        show_json(&job);
    } else {
        printf("%s: %s\n", job.number, job.stage);
        const struct {
            const char *name, *text;
        } facts[] = {{"Serial", job.unit.serial},
                     {"Type", job.unit.type},
                     {"Tag", job.unit.tag},
                     {"Lot", job.unit.lot},
                     {"Supplier", job.unit.supplier},
                     {"Customer", job.unit.customer},
                     {"Contact", job.unit.customer_contact},
                     {"Reference", job.unit.customer_reference},
                     {"Received", job.unit.received},
                     {"Condition", job.unit.condition},
                     {"Reason", job.unit.reason},
                     {"As found", job.as_found},
                     {"", job.as_found_verdict},
                     {"Found", job.found},
                     {"Parts", job.parts},
                     {"As left", job.as_left},
                     {"", job.as_left_verdict},
                     {"Released by", job.released_by},
                     {"", job.released},
                     {"Delivered", job.delivered}};
        for (size_t i = 0; i < sizeof facts / sizeof facts[0]; i++)
            fact(facts[i].name, facts[i].text);
    }
    es_job_free(&job);
    return ES_OK;
}

static enum es_status list_jobs(const struct arguments *a, struct es_store *store, struct es_error *err)
{
    static const struct es_column columns[] = {{.title = "Job"},      {.title = "Stage"},
                                               {.title = "Serial"},   {.title = "Customer", .wraps = true},
                                               {.title = "Received"}, {.title = "Found", .wraps = true}};
    struct es_table *table = es_table_new(columns, 6);
    struct es_jobs jobs = {0};
    enum es_status s = es_job_list(store, &jobs, err);
    for (size_t i = 0; i < jobs.count && s == ES_OK; i++) {
        struct es_job job = {0};
        s = es_job_read(store, jobs.numbers[i], &job, err);
        if (s != ES_OK)
            break;
        if (a->json) {
            show_json(&job);
        } else {
            const char *cells[] = {job.number,        job.stage,         job.unit.serial,
                                   job.unit.customer, job.unit.received, job.found};
            for (size_t k = 0; k < 6; k++)
                cells[k] = cells[k] != NULL ? cells[k] : "";
            es_table_row(table, job.delivered != NULL ? ES_PLAIN : ES_STRONG, cells);
        }
        es_job_free(&job);
    }
    if (s == ES_OK && !a->json)
        s = es_table_print(table, a->screen->width, 0, a->screen->colour, stdout, err);
    es_jobs_free(&jobs);
    es_table_free(table);
    return s;
}

static enum es_status act(const struct arguments *a, struct es_store *store, struct es_error *err)
{
    static const struct {
        const char *word, *what;
    } adds[] = {{"found", "found"},
                {"parts", "parts"},
                {"note", "note"},
                {"release", "released"},
                {"deliver", "delivered"}};
    const char *word = a->words.items[0];
    const char *number = a->words.count == 2 ? a->words.items[1] : NULL;
    bool alone = strcmp(word, "open") == 0 || strcmp(word, "list") == 0;
    if (alone == (number != NULL))
        return es_fail(err, ES_USAGE, alone ? "%s takes no number" : "%s needs the job's number", word);
    if (alone)
        return word[0] == 'o' ? open_job(a, store, err) : list_jobs(a, store, err);
    if (strcmp(word, "show") == 0)
        return show_job(a, store, number, err);
    if (strcmp(word, "run") == 0)
        return add_run(a, store, number, err);
    for (size_t i = 0; i < sizeof adds / sizeof adds[0]; i++)
        if (strcmp(word, adds[i].word) == 0)
            return add(a, store, number, adds[i].what, err);
    return es_fail(err, ES_USAGE,
                   "\"%s\" is none of open, run, found, parts, note, release, deliver, show, list", word);
}

static int run(const struct es_screen *screen, int argc, char **argv)
{
    struct arguments a = {.screen = screen};
    int status;
    if (!es_verb_begin(&es_verb_job, screen, argc, argv, &a, &status))
        return status;
    struct es_error err = {0};
    struct es_store *store = NULL;
    char user[64];
    if (a.person == NULL) {
        es_verb_user(user);
        a.person = user;
    }
    es_clock_wall_text(a.now);
    enum es_status s = a.state != NULL
                           ? es_store_open(a.state, ES_STORE_READ, &store, &err)
                           : es_fail(&err, ES_USAGE, "name the bench's state folder by --state DIR");
    if (s == ES_OK)
        s = act(&a, store, &err);
    es_store_close(store);
    return s == ES_OK ? es_verb_end(&es_verb_job, 0) : es_verb_fail(&es_verb_job, &err, NULL);
}

const struct es_verb es_verb_job = {.line = &line, .name = "job", .run = run};
