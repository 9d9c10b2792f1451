#include "rig/client/certificate_acts.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "results/certificate/content.h"
#include "results/store/key_register.h"
#include "results/store/signed.h"
#include "rig/base/clock.h"
#include "rig/base/text.h"
#include "rig/bench/recording_file.h"
#include "rig/client/passphrase.h"
#include "rig/client/recording_csv.h"
#include "rig/client/sealing.h"
#include "rig/console/table.h"

/* ---- Reading ---- */

struct opened {
    struct es_store *store;
    char *bytes;
    size_t length, signatures;
    struct es_findings findings;
    struct es_document *doc;
    struct es_content content;
};

static enum es_status open_certificate(const struct es_certificate_act *a, struct opened *o,
                                       struct es_error *err)
{
    *o = (struct opened){0};
    if (a->state == NULL)
        return es_fail(err, ES_USAGE, "name the bench's state folder by --state DIR");
    enum es_status s = es_store_open(a->state, ES_STORE_READ, &o->store, err);
    if (s == ES_OK)
        s = es_store_latest(o->store, a->number, &o->bytes, &o->length, &o->signatures, err);
    if (s == ES_OK)
        s = es_document_parse(a->number, o->bytes, o->length, &o->findings, &o->doc, err);
    if (s == ES_BAD_INPUT)
        s = es_findings_status(&o->findings, err);
    return s == ES_OK ? es_content_read(es_document_root(o->doc), &o->content, err) : s;
}

static void close_certificate(struct opened *o)
{
    es_content_free(&o->content);
    es_document_free(o->doc);
    es_findings_free(&o->findings);
    free(o->bytes);
    es_store_close(o->store);
}

/* ---- Release and void ---- */

static enum es_status check_trust(struct opened *o, const char *number, const char *role,
                                  const struct es_key *key, struct es_error *err)
{
    struct es_store_trust trust = {0};
    struct es_certificate_report report = {0};
    char now[32];
    enum es_status s = es_store_trust(o->store, &trust, err);
    if (s == ES_OK)
        s = es_certificate_verify(number, o->bytes, o->length, trust.items, trust.count, &report, err);
    if (s == ES_OK)
        s = es_certificate_status(&report, err);
    es_store_trust_free(&trust);
    if (s != ES_OK)
        return s;
    es_clock_wall_text(now);
    s = es_store_key_check(o->store, es_key_public(key), role, now, err);
    return s == ES_NOT_FOUND ? es_fail(err, ES_REFUSED,
                                       "key %s does not stand in the bench's book of keys, so that its "
                                       "signature would not count: endstop key trust",
                                       es_key_public(key)->thumbprint)
                             : s;
}

static enum es_status check_person(const struct opened *o, const struct es_certificate_act *a, bool is_void,
                                   struct es_error *err)
{
    if (is_void)
        return ES_OK;
    if (o->content.record)
        return es_fail(err, ES_REFUSED,
                       "%s is the record of a run that was not completed; it is not released", a->number);
    if (strcmp(o->content.person, a->name) == 0)
        return es_fail(err, ES_REFUSED, "%s ran this test and cannot release it: it takes a second person",
                       a->name);
    return ES_OK;
}

/* Signs, enters it in the log, and only then says so. */
static enum es_status sign(struct opened *o, const struct es_certificate_act *a, const char *role,
                           const struct es_key *key, struct es_error *err)
{
    char now[32];
    char *bytes = NULL;
    size_t length = 0, signatures = 0;
    struct es_sealing *sealing = NULL;
    struct es_error why;
    bool is_void = strcmp(role, ES_ROLE_OF_VOID) == 0;
    const struct es_sealing_order order = {.state = a->state,
                                           .socket = a->socket,
                                           .person = a->name,
                                           .bench_passphrase_file = a->bench_passphrase_file};
    enum es_status s = es_sealing_open(&order, &sealing, err);
    if (s != ES_OK)
        return s;
    es_clock_wall_text(now);
    const struct es_signing signing = {
        .role = role, .when = now, .name = a->name, .reason = is_void ? a->reason : NULL};
    s = es_store_sign(o->store, a->number, key, &signing, &bytes, &length, &signatures, err);
    free(bytes);
    if (s == ES_OK && es_sealing_do(sealing, a->number, signatures, &why) != ES_OK)
        s = es_fail(
            err, why.status,
            "%s was signed, and that is durable; it is not in the log yet, so do not rely on it: %s. The "
            "daemon enters it when it starts",
            a->number, why.text);
    es_sealing_close(sealing);
    if (s == ES_OK)
        printf("%s: %s by %s on %s, key %s; in the log\n", a->number, is_void ? "void" : "released", a->name,
               now, es_key_public(key)->thumbprint);
    return s;
}

enum es_status es_certificate_countersign(const struct es_certificate_act *a, bool is_void,
                                          struct es_error *err)
{
    struct opened o = {0};
    struct es_key *key = NULL;
    const char *role = is_void ? ES_ROLE_OF_VOID : ES_ROLE_OF_RELEASE;
    struct es_passphrase_source source = {.file = a->passphrase_file};
    struct es_passphrase passphrase = es_passphrase_from(&source);
    if (a->key == NULL || a->name == NULL)
        return es_fail(err, ES_USAGE, "--key FILE and --name NAME are needed: who signs, with which key");
    if (is_void && a->reason == NULL)
        return es_fail(err, ES_USAGE, "--reason TEXT is missing: everyone who checks is told why");
    enum es_status s = open_certificate(a, &o, err);
    if (s == ES_OK)
        s = check_person(&o, a, is_void, err);
    if (s == ES_OK)
        s = es_key_load_with(a->key, &passphrase, &key, err);
    if (s == ES_OK)
        s = check_trust(&o, a->number, role, key, err);
    if (s == ES_OK)
        s = sign(&o, a, role, key, err);
    es_key_free(key);
    close_certificate(&o);
    return s;
}

/* ---- Export ---- */

static enum es_status put(const char *folder, const char *name, const char *bytes, size_t length,
                          struct es_error *err)
{
    struct es_text path = {0};
    es_text_printf(&path, "%s/%s", folder, name);
    enum es_status s = es_text_status(&path, err);
    if (s == ES_OK)
        s = es_file_write(NULL, path.bytes, ES_FILE_REPLACE, 0644, bytes, length, err);
    es_text_free(&path);
    return s;
}

static enum es_status copy(const char *state, const char *to, const char *name, struct es_error *err)
{
    struct es_text path = {0};
    char *bytes = NULL;
    size_t length = 0;
    es_text_printf(&path, "%s/recordings/%s", state, name);
    enum es_status s = es_text_status(&path, err);
    if (s == ES_OK)
        s = es_file_read(NULL, path.bytes, 512u << 20, &bytes, &length, err);
    if (s == ES_OK)
        s = put(to, name, bytes, length, err);
    free(bytes);
    es_text_free(&path);
    return s;
}

static enum es_status copy_document(const char *state, const char *to, const char *digest,
                                    struct es_error *err)
{
    char name[80];
    if (digest[0] == '\0')
        return ES_OK; /* an older certificate: nobody kept it */
    (void)snprintf(name, sizeof name, "%.64s.json", digest);
    return copy(state, to, name, err);
}

static enum es_status copy_recordings(const struct es_content *c, const char *state, const char *to,
                                      struct es_error *err)
{
    enum es_status s = ES_OK;
    for (size_t i = 0; s == ES_OK && i < c->recording_count; i++) {
        char name[96];
        es_recording_file_name(c->recordings[i].sha256, name);
        s = copy(state, to, name, err);
    }
    if (s != ES_OK || c->inputs_sha256[0] == '\0')
        return s;
    s = copy_document(state, to, c->inputs_sha256, err);
    if (s == ES_OK)
        s = copy_document(state, to, c->plan.sha256, err);
    if (s == ES_OK)
        s = copy_document(state, to, c->type_sheet.sha256, err);
    for (size_t i = 0; s == ES_OK && i < c->procedure_count; i++)
        s = copy_document(state, to, c->procedures[i].d.sha256, err);
    return s;
}

/* The proof that it stands in the log; one that is not sealed yet has none. */
static enum es_status copy_seal(struct opened *o, const struct es_certificate_act *a, struct es_error *err)
{
    char name[ES_STORE_NUMBER_MAX + 16];
    char *path = NULL, *bytes = NULL;
    size_t length = 0;
    (void)snprintf(name, sizeof name, "%s.seal.json", a->number);
    enum es_status s = es_store_seal_path(o->store, a->number, o->signatures, &path, err);
    if (s == ES_OK)
        s = es_file_read(NULL, path, 1 << 20, &bytes, &length, err);
    if (s == ES_OK)
        s = put(a->to, name, bytes, length, err);
    free(bytes);
    free(path);
    return s == ES_NOT_FOUND ? ES_OK : s;
}

static enum es_status write_papers(struct opened *o, const struct es_certificate_act *a, struct es_error *err)
{
    struct es_store_trust trust = {0};
    char name[ES_STORE_NUMBER_MAX + 16];
    char *list = NULL;
    (void)snprintf(name, sizeof name, "%s.json", a->number);
    enum es_status s = put(a->to, name, o->bytes, o->length, err);
    if (s == ES_OK)
        s = copy_seal(o, a, err);
    if (s == ES_OK)
        s = es_store_trust(o->store, &trust, err);
    if (s == ES_OK)
        s = es_key_list_write(&trust, &list, err);
    if (s == ES_OK)
        s = put(a->to, "keys.json", list, strlen(list), err);
    free(list);
    es_store_trust_free(&trust);
    return s;
}

enum es_status es_certificate_export(const struct es_certificate_act *a, struct es_error *err)
{
    struct opened o = {0};
    struct es_text recordings = {0};
    if (a->to == NULL)
        return es_fail(err, ES_USAGE, "--to DIR is missing: the folder to write to");
    es_text_printf(&recordings, "%s/recordings", a->to);
    enum es_status s = es_text_status(&recordings, err);
    if (s == ES_OK)
        s = open_certificate(a, &o, err);
    if (s == ES_OK)
        s = es_folder_make(NULL, recordings.bytes, 0755, err);
    if (s == ES_OK)
        s = write_papers(&o, a, err);
    if (s == ES_OK)
        s = copy_recordings(&o.content, a->state, recordings.bytes, err);
    if (s == ES_OK)
        printf("%s: %zu recordings and what it takes to derive the values again are in %s; check there:\n"
               "endstop verify --recompute --recordings %s/recordings --keys %s/keys.json %s/%s.json\n",
               a->number, o.content.recording_count, a->to, a->to, a->to, a->to, a->number);
    close_certificate(&o);
    es_text_free(&recordings);
    return s;
}

/* ---- Recordings ---- */

static enum es_status list_recordings(const struct es_content *c, struct es_error *err)
{
    static const struct es_column columns[] = {
        {.title = "Recording", .wraps = true}, {.title = "Procedure", .wraps = true}, {.title = "SHA-256"}};
    struct es_table *table = es_table_new(columns, 3);
    for (size_t i = 0; i < c->recording_count; i++) {
        const char *cells[] = {c->recordings[i].name, c->recordings[i].procedure, c->recordings[i].sha256};
        es_table_row(table, ES_PLAIN, cells);
    }
    enum es_status s = es_table_print(table, 160, 0, false, stdout, err);
    es_table_free(table);
    return s;
}

static enum es_status write_csv(const struct es_certificate_act *a, const struct es_content *c,
                                struct es_error *err)
{
    const struct es_content_recording *wanted = NULL;
    for (size_t i = 0; i < c->recording_count; i++)
        if (strcmp(c->recordings[i].name, a->recording) == 0 ||
            strncmp(c->recordings[i].sha256, a->recording, strlen(a->recording)) == 0)
            wanted = &c->recordings[i];
    if (wanted == NULL)
        return es_fail(err, ES_NOT_FOUND, "%s has no recording \"%s\"; without a name they are listed",
                       a->number, a->recording);
    char name[96];
    struct es_text path = {0};
    struct es_trace *trace = NULL;
    es_recording_file_name(wanted->sha256, name);
    es_text_printf(&path, "%s/recordings/%s", a->state, name);
    enum es_status s = es_text_status(&path, err);
    if (s == ES_OK)
        s = es_recording_read(NULL, path.bytes, wanted->sha256, &trace, err);
    if (s == ES_OK)
        s = es_recording_csv(trace, stdout, err);
    es_trace_free(trace);
    es_text_free(&path);
    return s;
}

enum es_status es_certificate_recordings(const struct es_certificate_act *a, struct es_error *err)
{
    struct opened o = {0};
    enum es_status s = open_certificate(a, &o, err);
    if (s == ES_OK)
        s = a->recording != NULL ? write_csv(a, &o.content, err) : list_recordings(&o.content, err);
    close_certificate(&o);
    return s;
}
