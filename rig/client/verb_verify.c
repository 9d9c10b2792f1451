#include <stdlib.h>
#include <string.h>

#include "rig/base/file.h"
#include "rig/client/recompute.h"
#include "rig/client/trust.h"
#include "rig/client/verb.h"
#include "rig/client/verify_seal.h"
#include "rig/client/verify_view.h"
#include "rig/console/json_writer.h"
#include "rig/console/table.h"

struct arguments {
    struct es_option_list files, keys, lists;
    const char *state, *recordings, *archive;
    bool json, quiet, recompute;
};

static const struct es_option options[] = {
    {.name = "key",
     .value = "FILE",
     .kind = ES_OPTION_LIST,
     .offset = offsetof(struct arguments, keys),
     .meaning = "public key that you trust (PEM or JWK); may be given several times"},
    {.name = "keys",
     .value = "FILE",
     .kind = ES_OPTION_LIST,
     .offset = offsetof(struct arguments, lists),
     .meaning = "list of keys with their times and revocations, as \"endstop key list --json\" writes it"},
    {.name = "state",
     .value = "DIR",
     .kind = ES_OPTION_TEXT,
     .offset = offsetof(struct arguments, state),
     .meaning = "state folder of a bench: the keys that it has and trusts are trusted, and it is asked what "
                "happened to the certificate since"},
    {.name = "archive",
     .value = "ADDRESS",
     .kind = ES_OPTION_TEXT,
     .offset = offsetof(struct arguments, archive),
     .meaning = "ask this archive too whether the certificate is in force"},
    {.name = "recompute",
     .kind = ES_OPTION_FLAG,
     .offset = offsetof(struct arguments, recompute),
     .meaning = "also derive every measured value again from the recordings"},
    {.name = "recordings",
     .value = "DIR",
     .kind = ES_OPTION_TEXT,
     .offset = offsetof(struct arguments, recordings),
     .meaning = "where recordings and inputs lie; else recordings/ of the state folder, or beside the "
                "certificate's folder"},
    {.name = "quiet",
     .kind = ES_OPTION_FLAG,
     .offset = offsetof(struct arguments, quiet),
     .meaning = "print nothing about certificates that are valid"},
    {.name = "json",
     .kind = ES_OPTION_FLAG,
     .offset = offsetof(struct arguments, json),
     .meaning = "print for programs"},
};

static const struct es_command_line line = {
    .program = "endstop verify",
    .summary = "checks certificates: unaltered, signed by a key that you trust, values as recorded",
    .detail = "Needs no daemon and no bench. For NUMBER.json the seal NUMBER.seal.json beside it is checked "
              "too: that the certificate stands in the bench's log. What was not checked is said. Without a "
              "trusted key it tells who signed, which proves "
              "nothing: anyone "
              "can make a key. Exit status 0: all are valid; 1: at least one is not; 2: not a certificate, "
              "or a file that cannot be read. Several files get a line each.",
    .example = "endstop verify certificate.json --key bench.pub.pem",
    .options = options,
    .option_count = sizeof options / sizeof options[0],
    .operands = {.name = "FILE",
                 .min = 1,
                 .max = ES_OPTION_LIST_MAX,
                 .offset = offsetof(struct arguments, files),
                 .meaning = "certificate; \"-\" is standard input"},
};

#define LARGEST (8u << 20)

/* Several files: a line each, and what came of all of them. */
struct summary {
    struct es_table *table; /* NULL: one file, told at length */
    size_t shared;          /* bytes of the folder that all files lie in: left out */
    size_t valid, others;
};

/* Length of the folder that all names begin with, its '/' included. */
static size_t shared_folder(const struct es_option_list *files)
{
    size_t length = 0;
    for (size_t n = 0; files->items[0][n] != '\0'; n++) {
        for (size_t i = 1; i < files->count; i++)
            if (files->items[i][n] != files->items[0][n])
                return length;
        if (files->items[0][n] == '/')
            length = n + 1;
    }
    return length;
}

static enum es_status print_summary(const struct arguments *a, const struct summary *summary,
                                    const struct es_screen *screen, struct es_error *err)
{
    enum es_status s = ES_OK;
    if (es_table_rows(summary->table) > 0) {
        s = es_table_print(summary->table, screen->width, 0, screen->colour, stdout, err);
        putchar('\n');
    }
    if (!a->quiet || summary->others > 0)
        printf("%zu files: %zu valid, %zu not%s\n", summary->valid + summary->others, summary->valid,
               summary->others, summary->others > 0 ? "; one given alone is told at length" : "");
    return s;
}

/* `beside`: NULL where the signature does not hold already. */
static void tell(const struct arguments *a, const char *file, const struct es_certificate_report *report,
                 const struct es_verify_beside *beside, const cJSON *root, struct summary *summary,
                 struct es_text *json)
{
    bool valid = report->finding == ES_CERTIFICATE_VALID && (beside == NULL || !es_beside_fails(beside));
    if (a->json) {
        es_verify_json(file, report, json);
        if (beside != NULL)
            es_beside_json(beside, json);
        es_json_end_object(json);
    } else if (valid && a->quiet) {
        return;
    } else if (summary->table == NULL) {
        es_verify_print(file, report, root);
        if (beside != NULL)
            es_beside_print(beside, stdout);
    } else if (report->finding == ES_CERTIFICATE_VALID && !valid) {
        const char *const cells[] = {file + summary->shared, "NOT VALID",
                                     beside->seal.state == ES_BESIDE_FAILS  ? beside->seal.text
                                     : beside->log.state == ES_BESIDE_FAILS ? beside->log.text
                                                                            : beside->archive.text};
        es_table_row(summary->table, ES_STRONG, cells);
    } else {
        es_verify_row(summary->table, file + summary->shared, report, root);
    }
}

/* What a valid certificate says; NULL without memory. */
static struct es_document *read_valid(const char *file, const char *bytes, size_t length,
                                      const struct es_certificate_report *report)
{
    struct es_findings findings = {0};
    struct es_document *doc = NULL;
    if (report->finding == ES_CERTIFICATE_VALID &&
        es_document_parse(file, bytes, length, &findings, &doc, NULL) != ES_OK)
        doc = NULL;
    es_findings_free(&findings);
    return doc;
}

/* The folder of recordings for a certificate's file; to be freed by es_text_free. */
static void recordings_folder(const struct arguments *a, const char *file, struct es_text *out)
{
    const char *slash = strrchr(file, '/');
    if (a->recordings != NULL)
        es_text_add(out, a->recordings);
    else if (a->state != NULL)
        es_text_printf(out, "%s/recordings", a->state);
    else
        es_text_printf(out, "%.*s../recordings", slash != NULL ? (int)(slash - file + 1) : 0, file);
}

/* Derives the values of a valid certificate again; tells, and gives the exit status. */
static int recompute(const struct arguments *a, const char *file, const cJSON *root)
{
    struct es_error err = {0};
    struct es_content content = {0};
    struct es_recomputed r = {0};
    struct es_text folder = {0};
    recordings_folder(a, file, &folder);
    enum es_status s = es_text_status(&folder, &err);
    if (s == ES_OK)
        s = es_content_read(root, &content, &err);
    if (s == ES_OK)
        s = es_recompute(&content, folder.bytes, &r, &err);
    int status = s == ES_OK ? (r.faults > 0 ? 1 : 0) : es_verb_fail(&es_verb_verify, &err, NULL);
    if (s == ES_OK)
        es_verify_recomputed(file, &r, a->quiet || a->json ? stderr : stdout, a->quiet);
    es_text_free(&r.text);
    es_text_free(&folder);
    es_content_free(&content);
    return status;
}

/* A certificate whose signature holds: what lies beside it, and its values. Gives the exit status. */
static int look_further(const struct arguments *a, const struct es_beside_order *order,
                        const struct es_certificate_report *report, const cJSON *root,
                        struct summary *summary, struct es_text *json)
{
    struct es_error err = {0};
    struct es_verify_beside beside = {0};
    if (es_verify_beside(order, &beside, &err) != ES_OK)
        return es_verb_fail(&es_verb_verify, &err, NULL);
    tell(a, order->file, report, &beside, root, summary, json);
    if (es_beside_fails(&beside))
        return 1;
    return a->recompute ? recompute(a, order->file, root) : 0;
}

/* What was found of one file, told; gives the exit status. */
static int judge_one(const struct arguments *a, const char *file, const char *bytes, size_t length,
                     const struct es_trust *trust, const struct es_certificate_report *report,
                     struct summary *summary, struct es_text *json)
{
    struct es_error err = {0};
    int status = es_exit_status(es_certificate_status(report, &err));
    struct es_document *doc = read_valid(file, bytes, length, report);
    const cJSON *root = doc != NULL ? es_document_root(doc) : NULL;
    const char *serial =
        cJSON_GetStringValue(cJSON_GetObjectItem(cJSON_GetObjectItem(root, "unit"), "serial"));
    const char *number = cJSON_GetStringValue(cJSON_GetObjectItem(root, "number"));
    const struct es_beside_order order = {.file = file,
                                          .bytes = bytes,
                                          .length = length,
                                          .number = number != NULL ? number : "",
                                          .serial = serial != NULL ? serial : "",
                                          .trust = trust,
                                          .state = a->state,
                                          .archive = a->archive};
    if (status == 0 && root != NULL)
        status = look_further(a, &order, report, root, summary, json);
    else
        tell(a, file, report, NULL, root, summary, json);
    es_document_free(doc);
    return status;
}

/* One file; *worst takes the worst exit status so far. */
static void verify_one(const struct arguments *a, const char *file, const struct es_trust *trust,
                       struct summary *summary, struct es_text *json, int *worst)
{
    struct es_error err = {0};
    char *bytes = NULL;
    size_t length = 0;
    int status;
    struct es_certificate_report *report = calloc(1, sizeof *report);
    enum es_status s = report != NULL ? es_file_read(NULL, file, LARGEST, &bytes, &length, &err)
                                      : es_fail(&err, ES_NO_MEMORY, "not enough memory to check");
    if (s == ES_OK)
        s = es_certificate_verify(file, bytes, length, trust->keys, trust->count, report, &err);
    if (s == ES_OK) {
        status = judge_one(a, file, bytes, length, trust, report, summary, json);
    } else {
        status = es_verb_fail(&es_verb_verify, &err, NULL);
        const char *cells[] = {file + summary->shared, "NOT READ", "see above"};
        if (summary->table != NULL)
            es_table_row(summary->table, ES_STRONG, cells);
    }
    summary->valid += status == 0;
    summary->others += status != 0;
    if (status > *worst)
        *worst = status;
    free(report);
    free(bytes);
}

/* All files; returns the worst exit status. */
static int verify_all(const struct arguments *a, const struct es_screen *screen, const struct es_trust *trust)
{
    struct es_error err = {0};
    struct es_text json = {0};
    struct summary summary = {0};
    int status = 0;
    if (a->json)
        es_json_array(&json, NULL);
    else if (a->files.count > 1) {
        summary.table = es_table_new(es_verify_columns, ES_VERIFY_COLUMNS);
        summary.shared = shared_folder(&a->files);
    }
    for (size_t i = 0; i < a->files.count; i++)
        verify_one(a, a->files.items[i], trust, &summary, &json, &status);
    enum es_status s = ES_OK;
    if (a->json) {
        es_json_end_array(&json);
        s = es_text_status(&json, &err);
        if (s == ES_OK)
            printf("%s\n", json.bytes);
    } else if (summary.table != NULL) {
        s = print_summary(a, &summary, screen, &err);
    }
    if (s != ES_OK)
        status = es_verb_fail(&es_verb_verify, &err, NULL);
    es_table_free(summary.table);
    es_text_free(&json);
    return status;
}

static int run(const struct es_screen *screen, int argc, char **argv)
{
    struct arguments a = {0};
    int status;
    if (!es_verb_begin(&es_verb_verify, screen, argc, argv, &a, &status))
        return status;
    struct es_error err = {0};
    struct es_trust *trust = calloc(1, sizeof *trust);
    enum es_status s = trust != NULL ? es_trust_load_lists(&a.lists, trust, &err)
                                     : es_fail(&err, ES_NO_MEMORY, "not enough memory to check");
    if (s == ES_OK)
        s = es_trust_load(&a.keys, a.state, trust, &err);
    if (s != ES_OK) {
        if (trust != NULL)
            es_trust_clear(trust);
        free(trust);
        return es_verb_fail(&es_verb_verify, &err, NULL);
    }
    status = verify_all(&a, screen, trust);
    es_trust_clear(trust);
    free(trust);
    return es_verb_end(&es_verb_verify, status);
}

const struct es_verb es_verb_verify = {.line = &line, .name = "verify", .run = run};
