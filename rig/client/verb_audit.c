#include <inttypes.h>
#include <stdlib.h>
#include <string.h>

#include "results/archive/integrity.h"
#include "rig/base/file.h"
#include "rig/client/trust.h"
#include "rig/client/verb.h"
#include "rig/console/json_writer.h"
#include "rig/console/table.h"

struct arguments {
    struct es_option_list words, keys, key_lists, heads;
    const char *state, *archive;
    bool quick, json;
};

#define TEXT(n, word, member, text) ES_TEXT_OPTION(struct arguments, n, word, member, text)
#define LIST(n, word, member, text)                                                                          \
    {                                                                                                        \
        .name = (n), .value = (word), .kind = ES_OPTION_LIST, .offset = offsetof(struct arguments, member),  \
        .meaning = (text)                                                                                    \
    }
#define FLAG(n, member, text) ES_FLAG_OPTION(struct arguments, n, member, text)

static const struct es_option options[] = {
    TEXT("state", "DIR", state, "the bench's state folder; its own key and those it trusts are trusted"),
    TEXT("archive", "ADDRESS", archive,
         "integrity: look at this archive too; archive: check this one; a file or postgresql://..."),
    LIST("head", "FILE", heads,
         "integrity: a signed head that was kept elsewhere; may be given several times"),
    LIST("key", "FILE", keys, "public key that you trust (PEM or JWK); may be given several times"),
    LIST("keys", "FILE", key_lists,
         "archive: keys with their times as \"endstop key list --json\" writes them; may be given several "
         "times"),
    FLAG("quick", quick, "integrity: leave out the raw recordings"),
    FLAG("json", json, "integrity: print for programs"),
};

static const struct es_command_line line = {
    .program = "endstop audit",
    .summary = "finds what was deleted, altered, moved, added or back-dated; proves what is there",
    .detail =
        "integrity holds every certificate, its seal and its recordings against the bench's log, and the log "
        "against its signed heads. archive checks an archive that several benches share, with nothing but "
        "their "
        "public keys: every certificate, each bench's log against the heads that it signed, and that nothing "
        "is missing. head prints the newest signed head: give it to somebody who keeps it. "
        "proof "
        "prints the proof that a certificate stands in the log, growth the proof that the log only grew "
        "since the "
        "signed head in FILE; check checks either with nothing but a trusted key. Exit status 0: all is as "
        "it was "
        "logged; 1: something is not.",
    .example = "endstop audit integrity --state /var/lib/endstop --head kept-last-year.head",
    .options = options,
    .option_count = sizeof options / sizeof options[0],
    .operands = {.name = "integrity|archive|head|proof NUMBER|growth FILE|check PROOF [CERTIFICATE]",
                 .min = 1,
                 .max = 3,
                 .offset = offsetof(struct arguments, words),
                 .meaning = "what to do"},
};

#define SMALL (1u << 20)
#define LARGE (8u << 20)

struct audit {
    struct arguments a;
    struct es_store *store;
    struct es_trust trust;
    char *heads[ES_OPTION_LIST_MAX];
};

/* A file with one line of text, its end cut off. */
static enum es_status read_line(const char *path, char **out, struct es_error *err)
{
    size_t length = 0;
    enum es_status s = es_file_read(NULL, path, SMALL, out, &length, err);
    if (s == ES_OK)
        (*out)[strcspn(*out, "\r\n")] = '\0';
    return s;
}

/* ---- integrity ---- */

static void tell_json(const struct es_integrity_report *r)
{
    struct es_text t = {0};
    es_json_object(&t, NULL);
    es_json_bool(&t, "sound", r->count == 0);
    es_json_integer(&t, "entries", (long long)r->leaves);
    es_json_integer(&t, "certificates", (long long)r->certificates);
    es_json_integer(&t, "recordings", (long long)r->recordings);
    es_json_integer(&t, "archive_rows", (long long)r->rows);
    if (r->benches > 0)
        es_json_integer(&t, "benches", (long long)r->benches);
    es_json_text(&t, "head", r->head);
    es_json_array(&t, "findings");
    for (size_t i = 0; i < r->count; i++) {
        es_json_object(&t, NULL);
        es_json_text(&t, "finding", r->items[i].word);
        es_json_text(&t, "number", r->items[i].number);
        es_json_text(&t, "text", r->items[i].text);
        es_json_end_object(&t);
    }
    es_json_end_array(&t);
    es_json_end_object(&t);
    printf("%s\n", t.bytes != NULL ? t.bytes : "");
    es_text_free(&t);
}

static enum es_status tell_person(const struct es_integrity_report *r, const struct es_screen *screen,
                                  struct es_error *err)
{
    static const struct es_column columns[] = {
        {.title = "Finding"}, {.title = "Number"}, {.title = "What", .wraps = true, .least = 24}};
    struct es_table *table = es_table_new(columns, 3);
    for (size_t i = 0; i < r->count; i++) {
        const char *cells[] = {r->items[i].word, r->items[i].number, r->items[i].text};
        es_table_row(table, ES_STRONG, cells);
    }
    enum es_status s =
        r->count > 0 ? es_table_print(table, screen->width, 0, screen->colour, stdout, err) : ES_OK;
    es_table_free(table);
    if (r->count > 0)
        putchar('\n');
    if (r->benches > 0) {
        es_verb_say(screen,
                    "%" PRIu64 " bench%s, %" PRIu64 " entries in their logs, %" PRIu64
                    " certificates looked at: %s",
                    r->benches, r->benches == 1 ? "" : "es", r->leaves, r->certificates,
                    r->count > 0 ? "NOT as logged" : "all as logged");
        return s;
    }
    es_verb_say(screen,
                "%" PRIu64 " entries in the log, %" PRIu64 " certificates, %" PRIu64 " recordings, %" PRIu64
                " rows of the archive looked at: %s",
                r->leaves, r->certificates, r->recordings, r->rows,
                r->count > 0 ? "NOT as logged" : "all as logged");
    return s;
}

/* Says what was found, and frees it. */
static enum es_status tell(const struct audit *u, struct es_integrity_report *report,
                           const struct es_screen *screen, int *status, struct es_error *err)
{
    enum es_status s = ES_OK;
    *status = report->count > 0;
    if (u->a.json)
        tell_json(report);
    else
        s = tell_person(report, screen, err);
    es_integrity_free(report);
    return s;
}

static enum es_status integrity(struct audit *u, const struct es_screen *screen, int *status,
                                struct es_error *err)
{
    struct es_archive *archive = NULL;
    struct es_integrity_report report;
    enum es_status s = ES_OK;
    for (size_t i = 0; s == ES_OK && i < u->a.heads.count; i++)
        s = read_line(u->a.heads.items[i], &u->heads[i], err);
    if (s == ES_OK && u->a.archive != NULL)
        s = es_archive_open(u->a.archive, ES_ARCHIVE_READ, &archive, err);
    if (s != ES_OK)
        return s;
    const struct es_integrity_order order = {.store = u->store,
                                             .trusted = u->trust.keys,
                                             .trusted_count = u->trust.count,
                                             .archive = archive,
                                             .kept = (const char *const *)u->heads,
                                             .kept_count = u->a.heads.count,
                                             .skip_recordings = u->a.quick};
    s = es_integrity_check(&order, &report, err);
    if (s == ES_OK)
        s = tell(u, &report, screen, status, err);
    es_archive_close(archive);
    return s;
}

/* ---- archive: all benches at once ---- */

static enum es_status audit_archive(struct audit *u, const struct es_screen *screen, int *status,
                                    struct es_error *err)
{
    struct es_archive *archive = NULL;
    struct es_integrity_report report;
    if (u->a.archive == NULL)
        return es_fail(err, ES_USAGE, "which archive? --archive ADDRESS");
    enum es_status s = es_trust_load_lists(&u->a.key_lists, &u->trust, err);
    if (s == ES_OK && u->trust.count == 0)
        s = es_fail(err, ES_USAGE, "whose certificates? --key FILE (or --keys) for every bench and releaser");
    if (s == ES_OK)
        s = es_archive_open(u->a.archive, ES_ARCHIVE_READ, &archive, err);
    if (s != ES_OK)
        return s;
    s = es_integrity_check_archive(archive, u->trust.keys, u->trust.count, &report, err);
    if (s == ES_OK)
        s = tell(u, &report, screen, status, err);
    es_archive_close(archive);
    return s;
}

/* ---- head, proof, growth ---- */

static enum es_status read_log(struct audit *u, struct es_log **log, struct es_error *err)
{
    char *path = NULL;
    enum es_status s = es_store_log_path(u->store, &path, err);
    if (s == ES_OK)
        s = es_log_read(NULL, path, NULL, log, err);
    free(path);
    if (s == ES_OK && es_log_head(*log) == NULL) {
        es_log_close(*log);
        s = es_fail(err, ES_NOT_FOUND, "the log of certificates is empty");
    }
    return s;
}

static enum es_status print_proof(const struct es_log *log, const char *number, struct es_error *err)
{
    uint64_t index = 0;
    struct es_log_proof proof;
    char *text = NULL;
    if (!es_log_find(log, number, &index))
        return es_fail(err, ES_NOT_FOUND, "there is no certificate %s in the log", number);
    enum es_status s = es_log_prove(log, index, &proof, err);
    if (s == ES_OK) {
        s = es_log_proof_write(&proof, &text, err);
        es_log_proof_clear(&proof);
    }
    if (s == ES_OK)
        printf("%s\n", text);
    free(text);
    return s;
}

static enum es_status print_growth(const struct es_log *log, const char *file, struct es_error *err)
{
    struct es_log_growth growth;
    char *kept = NULL, *text = NULL;
    enum es_status s = read_line(file, &kept, err);
    if (s == ES_OK)
        s = es_log_prove_growth(log, kept, &growth, err);
    if (s == ES_OK) {
        s = es_log_growth_write(&growth, &text, err);
        es_log_growth_clear(&growth);
    }
    if (s == ES_OK)
        printf("%s\n", text);
    free(text);
    free(kept);
    return s;
}

static enum es_status from_log(struct audit *u, const char *what, const char *word, struct es_error *err)
{
    struct es_log *log = NULL;
    enum es_status s = read_log(u, &log, err);
    if (s != ES_OK)
        return s;
    if (strcmp(what, "head") == 0)
        printf("%s\n", es_log_head(log));
    else
        s = strcmp(what, "proof") == 0 ? print_proof(log, word, err) : print_growth(log, word, err);
    es_log_close(log);
    return s;
}

/* ---- check ---- */

static enum es_status check_proof(struct audit *u, const char *text, size_t length,
                                  struct es_findings *findings, struct es_error *err)
{
    struct es_log_proof proof;
    struct es_log_head head;
    char *bytes = NULL;
    size_t size = 0;
    if (u->a.words.count < 3)
        return es_fail(err, ES_USAGE,
                       "which certificate is it the proof of? endstop audit check PROOF CERTIFICATE");
    enum es_status s = es_log_proof_read(u->a.words.items[1], text, length, findings, &proof, err);
    if (s != ES_OK)
        return s;
    s = es_file_read(NULL, u->a.words.items[2], LARGE, &bytes, &size, err);
    if (s == ES_OK)
        s = es_log_proof_check(&proof, bytes, size, u->trust.keys, u->trust.count, &head, err);
    if (s == ES_OK)
        printf("%s is entry %" PRIu64 " of the log of %" PRIu64 " that was signed at %s\n", proof.number,
               proof.index + 1, head.size, head.time);
    free(bytes);
    es_log_proof_clear(&proof);
    return s;
}

static enum es_status check(struct audit *u, struct es_findings *findings, struct es_error *err)
{
    struct es_log_growth growth;
    struct es_log_head from, to;
    char *text = NULL;
    size_t length = 0;
    enum es_status s = es_file_read(NULL, u->a.words.items[1], SMALL, &text, &length, err);
    if (s != ES_OK)
        return s;
    if (strstr(text, "\"log-growth/1\"") == NULL) {
        s = check_proof(u, text, length, findings, err);
    } else {
        s = es_log_growth_read(u->a.words.items[1], text, length, findings, &growth, err);
        if (s == ES_OK) {
            s = es_log_growth_check(&growth, u->trust.keys, u->trust.count, &from, &to, err);
            es_log_growth_clear(&growth);
        }
        if (s == ES_OK)
            printf("the log of %" PRIu64 " entries (%s) begins with all %" PRIu64 " of %s\n", to.size,
                   to.time, from.size, from.time);
    }
    free(text);
    return s;
}

static enum es_status act(struct audit *u, const struct es_screen *screen, int *status,
                          struct es_findings *findings, struct es_error *err)
{
    const char *what = u->a.words.items[0];
    size_t count = u->a.words.count;
    bool is_check = strcmp(what, "check") == 0;
    enum es_status s = es_trust_load(&u->a.keys, u->a.state, &u->trust, err);
    if (s != ES_OK)
        return s;
    if (is_check && count > 1)
        return check(u, findings, err);
    if (strcmp(what, "archive") == 0 && count == 1)
        return audit_archive(u, screen, status, err);
    if (u->a.state == NULL && !is_check)
        return es_fail(err, ES_USAGE, "which bench? --state DIR");
    if (!is_check)
        s = es_store_open(u->a.state, ES_STORE_READ, &u->store, err);
    if (s != ES_OK)
        return s;
    if (strcmp(what, "integrity") == 0 && count == 1)
        return integrity(u, screen, status, err);
    if (strcmp(what, "head") == 0 && count == 1)
        return from_log(u, what, NULL, err);
    if ((strcmp(what, "proof") == 0 || strcmp(what, "growth") == 0) && count == 2)
        return from_log(u, what, u->a.words.items[1], err);
    return es_fail(err, ES_USAGE,
                   "\"%s\" with %zu words more is none of: integrity, archive, head, proof NUMBER, growth "
                   "FILE, check PROOF "
                   "[CERTIFICATE]",
                   what, count - 1);
}

static int run(const struct es_screen *screen, int argc, char **argv)
{
    int status = 0;
    struct es_error err = {0};
    struct es_findings findings = {0};
    struct audit *u = calloc(1, sizeof *u);
    if (u == NULL) {
        es_fail(&err, ES_NO_MEMORY, "not enough memory to audit");
        return es_verb_fail(&es_verb_audit, &err, NULL);
    }
    if (es_verb_begin(&es_verb_audit, screen, argc, argv, &u->a, &status)) {
        enum es_status s = act(u, screen, &status, &findings, &err);
        status =
            s == ES_OK ? es_verb_end(&es_verb_audit, status) : es_verb_fail(&es_verb_audit, &err, &findings);
    }
    es_findings_free(&findings);
    for (size_t i = 0; i < ES_OPTION_LIST_MAX; i++)
        free(u->heads[i]);
    es_trust_clear(&u->trust);
    es_store_close(u->store);
    free(u);
    return status;
}

const struct es_verb es_verb_audit = {.line = &line, .name = "audit", .run = run};
