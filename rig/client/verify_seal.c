#include "rig/client/verify_seal.h"

#include <inttypes.h>
#include <stdarg.h>
#include <stdlib.h>
#include <string.h>

#include "results/archive/questions.h"
#include "results/log/log.h"
#include "results/store/replaced.h"
#include "results/store/signed.h"
#include "rig/console/json_writer.h"

#define SMALL (1u << 20)

static void say(struct es_beside_answer *a, enum es_beside state, const char *format, ...) ES_PRINTF(3, 4);

static void say(struct es_beside_answer *a, enum es_beside state, const char *format, ...)
{
    va_list args;
    va_start(args, format);
    a->state = state;
    (void)vsnprintf(a->text, sizeof a->text, format, args);
    va_end(args);
}

/* ---- The seal ---- */

/* "X.json" -> "X.seal.json"; false when the file has no such name. */
static bool seal_name(const char *file, struct es_text *out)
{
    size_t length = strlen(file);
    if (strcmp(file, "-") == 0 || length < 6 || strcmp(file + length - 5, ".json") != 0)
        return false;
    es_text_printf(out, "%.*s.seal.json", (int)(length - 5), file);
    return true;
}

static enum es_status check_seal(const struct es_beside_order *o, const char *text, size_t length,
                                 struct es_beside_answer *a)
{
    struct es_findings findings = {0};
    struct es_log_proof proof = {.head = NULL};
    struct es_log_head head;
    struct es_error why = {0};
    enum es_status s = es_log_proof_read("seal", text, length, &findings, &proof, &why);
    if (s == ES_OK)
        s = es_log_proof_check(&proof, o->bytes, o->length, o->trust->keys, o->trust->count, &head, &why);
    if (s == ES_OK && strcmp(proof.number, o->number) != 0)
        s = es_fail(&why, ES_NOT_VALID, "it is of certificate %s", proof.number);
    if (s == ES_OK)
        say(a, ES_BESIDE_HOLDS,
            "the seal beside it holds: entry %" PRIu64 " of the bench's log since %s, signed head of %" PRIu64
            " entries",
            proof.index + 1, head.time, head.size);
    else if (s != ES_NO_MEMORY)
        say(a, ES_BESIDE_FAILS, "the seal beside it does not hold: %.300s", why.text);
    es_log_proof_clear(&proof);
    es_findings_free(&findings);
    return s == ES_NO_MEMORY ? s : ES_OK;
}

static enum es_status look_at_seal(const struct es_beside_order *o, struct es_beside_answer *a,
                                   struct es_error *err)
{
    struct es_text path = {0};
    struct es_error why;
    char *text = NULL;
    size_t length = 0;
    if (!seal_name(o->file, &path)) {
        say(a, ES_BESIDE_NOT_ASKED,
            "no seal looked for (the file's name does not end in .json): nothing is said on whether it "
            "stands "
            "in the bench's log");
        return ES_OK;
    }
    enum es_status s = es_text_status(&path, err);
    if (s != ES_OK)
        return s;
    s = es_file_read(NULL, path.bytes, SMALL, &text, &length, &why);
    const char *slash = strrchr(path.bytes, '/');
    if (s == ES_NOT_FOUND)
        say(a, ES_BESIDE_NOT_ASKED,
            "no seal: %.100s is not there, so that nothing is said on whether it stands in the bench's log",
            slash != NULL ? slash + 1 : path.bytes);
    else if (s == ES_NO_MEMORY || (s == ES_OK && check_seal(o, text, length, a) == ES_NO_MEMORY))
        s = es_fail(err, ES_NO_MEMORY, "not enough memory to check a seal");
    else if (s != ES_OK)
        say(a, ES_BESIDE_FAILS, "the seal beside it cannot be read: %.300s", why.text);
    free(text);
    es_text_free(&path);
    return s == ES_NO_MEMORY ? s : ES_OK;
}

/* ---- The bench's log and folder ---- */

static const struct es_log_leaf *find_leaf(const struct es_log *log, const struct es_hash *hash, uint64_t *at)
{
    for (*at = 0; *at < es_log_size(log); ++*at)
        if (es_hash_equal(&es_log_leaf(log, *at)->hash, hash))
            return es_log_leaf(log, *at);
    return NULL;
}

/* What the last signature of the newest file says, where that is not this file. */
static void tell_later(struct es_store *store, const char *number, size_t version, uint64_t at,
                       const struct es_beside_order *o, struct es_beside_answer *a)
{
    char *bytes = NULL;
    size_t length = 0;
    struct es_certificate_report *r = calloc(1, sizeof *r);
    struct es_error why;
    if (r != NULL && es_store_latest(store, number, &bytes, &length, NULL, &why) == ES_OK &&
        es_certificate_verify(number, bytes, length, o->trust->keys, o->trust->count, r, &why) == ES_OK &&
        r->signature_count > version) {
        const struct es_certificate_signature *s = &r->signatures[r->signature_count - 1];
        bool is_void = r->finding == ES_CERTIFICATE_VOID;
        say(a, is_void ? ES_BESIDE_FAILS : ES_BESIDE_HOLDS,
            "entry %" PRIu64 " of the bench's log; since then signed as \"%s\" by %s on %s%s%s: a later file "
            "stands in the folder",
            at + 1, s->role, s->name, s->time, is_void ? ", reason: " : "", is_void ? s->reason : "");
    }
    free(bytes);
    free(r);
}

static enum es_status look_into_log(const struct es_beside_order *o, struct es_store *store,
                                    const struct es_log *log, struct es_beside_answer *a,
                                    struct es_error *err)
{
    struct es_hash hash;
    uint64_t at;
    char by[ES_STORE_NUMBER_MAX];
    es_merkle_leaf(o->bytes, o->length, &hash);
    const struct es_log_leaf *leaf = find_leaf(log, &hash, &at);
    if (leaf == NULL || strcmp(leaf->number, o->number) != 0) {
        say(a, ES_BESIDE_FAILS,
            "not in the bench's log in %.200s: this file was never issued there, or not "
            "entered yet",
            o->state);
        return ES_OK;
    }
    say(a, ES_BESIDE_HOLDS, "entry %" PRIu64 " of the bench's log; nothing was signed or replaced since",
        at + 1);
    tell_later(store, o->number, leaf->version, at, o, a);
    enum es_status s = es_store_replaced_by(store, o->number, by, err);
    if (s == ES_OK)
        say(a, ES_BESIDE_FAILS, "entry %" PRIu64 " of the bench's log; replaced by %s", at + 1, by);
    return s == ES_NOT_FOUND ? ES_OK : s;
}

static enum es_status look_into_state(const struct es_beside_order *o, struct es_beside_answer *a,
                                      struct es_error *err)
{
    struct es_store *store = NULL;
    struct es_log *log = NULL;
    char *path = NULL;
    if (o->state == NULL) {
        say(a, ES_BESIDE_NOT_ASKED,
            "not asked of the bench (--state DIR): whether it was made void or replaced since");
        return ES_OK;
    }
    enum es_status s = es_store_open(o->state, ES_STORE_READ, &store, err);
    if (s == ES_OK)
        s = es_store_log_path(store, &path, err);
    if (s == ES_OK)
        s = es_log_read(NULL, path, NULL, &log, err);
    if (s == ES_OK) {
        s = look_into_log(o, store, log, a, err);
    } else if (s == ES_NOT_FOUND) {
        say(a, ES_BESIDE_NOT_ASKED, "the state folder has no log to look into");
        s = ES_OK;
    } else if (s == ES_NOT_VALID) {
        say(a, ES_BESIDE_FAILS, "the bench's log cannot be relied upon (endstop audit integrity): %.250s",
            err->text);
        s = ES_OK;
    }
    es_log_close(log);
    free(path);
    es_store_close(store);
    return s;
}

/* ---- The archive ---- */

static size_t column_of(const struct es_answer *answer, const char *name)
{
    for (size_t i = 0; i < answer->column_count; i++)
        if (strcmp(answer->columns[i].name, name) == 0)
            return i;
    return answer->column_count;
}

static void tell_row(const struct es_beside_order *o, const struct es_answer *answer,
                     struct es_beside_answer *a)
{
    size_t number = column_of(answer, "number"), force = column_of(answer, "out_of_force");
    for (size_t i = 0; number < answer->column_count && i < answer->rows; i++) {
        char *const *row = answer->cells + i * answer->column_count;
        const char *out = force < answer->column_count && row[force] != NULL ? row[force] : "";
        if (row[number] == NULL || strcmp(row[number], o->number) != 0)
            continue;
        if (out[0] != '\0')
            say(a, ES_BESIDE_FAILS, "the archive has it, and says that it is out of force: %.200s", out);
        else
            say(a, ES_BESIDE_HOLDS, "the archive has it, in force");
        return;
    }
    say(a, ES_BESIDE_FAILS, "the archive does not have it: it was not sent there yet, or never issued");
}

static enum es_status look_into_archive(const struct es_beside_order *o, struct es_beside_answer *a,
                                        struct es_error *err)
{
    struct es_archive *archive = NULL;
    struct es_answer answer = {0};
    if (o->archive == NULL) {
        say(a, ES_BESIDE_NOT_ASKED, "not asked of an archive (--archive ADDRESS)");
        return ES_OK;
    }
    const struct es_question question = {.kind = ES_ASK_FIND, .serial = o->serial};
    enum es_status s = es_archive_open(o->archive, ES_ARCHIVE_READ, &archive, err);
    if (s == ES_OK)
        s = es_question_ask(archive, &question, &answer, err);
    if (s == ES_OK)
        tell_row(o, &answer, a);
    es_answer_free(&answer);
    es_archive_close(archive);
    return s;
}

/* ---- All of it ---- */

enum es_status es_verify_beside(const struct es_beside_order *order, struct es_verify_beside *out,
                                struct es_error *err)
{
    enum es_status s = look_at_seal(order, &out->seal, err);
    if (s == ES_OK)
        s = look_into_state(order, &out->log, err);
    return s == ES_OK ? look_into_archive(order, &out->archive, err) : s;
}

bool es_beside_fails(const struct es_verify_beside *b)
{
    return b->seal.state == ES_BESIDE_FAILS || b->log.state == ES_BESIDE_FAILS ||
           b->archive.state == ES_BESIDE_FAILS;
}

static void print_one(const char *name, const struct es_beside_answer *a, FILE *to)
{
    struct es_text clean = {0};
    es_text_visible(&clean, a->text, strlen(a->text));
    fprintf(to, "  %s: %s%s\n", name, a->state == ES_BESIDE_FAILS ? "NOT AS IT SHOULD BE: " : "",
            clean.bytes != NULL ? clean.bytes : "");
    es_text_free(&clean);
}

void es_beside_print(const struct es_verify_beside *b, FILE *to)
{
    print_one("seal", &b->seal, to);
    print_one("bench", &b->log, to);
    print_one("archive", &b->archive, to);
}

void es_beside_json(const struct es_verify_beside *b, struct es_text *out)
{
    static const char *const words[] = {"not checked", "holds", "fails"};
    const struct {
        const char *name;
        const struct es_beside_answer *a;
    } all[] = {{"seal", &b->seal}, {"bench", &b->log}, {"archive", &b->archive}};
    for (size_t i = 0; i < sizeof all / sizeof all[0]; i++) {
        es_json_object(out, all[i].name);
        es_json_text(out, "answer", words[all[i].a->state]);
        es_json_text(out, "text", all[i].a->text);
        es_json_end_object(out);
    }
}
