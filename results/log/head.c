#include "results/log/head.h"

#include <inttypes.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "rig/base/document.h"
#include "rig/base/text.h"

#define FORMAT "log-head/1"
#define TYPE   "endstop-log-head"

/* Members stand sorted and hold plain ASCII: this is the canonical form. */
static void put_header(struct es_text *t, const char *kid)
{
    es_text_printf(t, "{\"alg\":\"EdDSA\",\"kid\":\"%s\",\"typ\":\"" TYPE "\"}", kid);
}

static void put_payload(struct es_text *t, const struct es_log_head *head)
{
    char root[ES_HASH_HEX];
    es_hex(head->root.bytes, ES_HASH_SIZE, root);
    es_text_printf(
        t, "{\"endstop\":\"" FORMAT "\",\"log\":\"%s\",\"root\":\"%s\",\"size\":%" PRIu64 ",\"time\":\"%s\"}",
        head->log, root, head->size, head->time);
}

/* base64url(header) "." base64url(payload) */
static void put_input(struct es_text *t, const struct es_log_head *head, const char *kid)
{
    struct es_text part = {0};
    put_header(&part, kid);
    es_text_base64url(t, part.bytes ? part.bytes : "", part.length);
    t->out_of_memory = t->out_of_memory || part.out_of_memory;
    es_text_reset(&part);
    put_payload(&part, head);
    es_text_char(t, '.');
    es_text_base64url(t, part.bytes ? part.bytes : "", part.length);
    t->out_of_memory = t->out_of_memory || part.out_of_memory;
    es_text_free(&part);
}

enum es_status es_log_head_sign(const struct es_log_head *head, const struct es_key *key, char **out,
                                struct es_error *err)
{
    unsigned char signature[ES_SIGNATURE_SIZE];
    struct es_text text = {0};
    put_input(&text, head, es_key_public(key)->thumbprint);
    enum es_status st = es_text_status(&text, err);
    if (st == ES_OK) {
        st = es_key_sign(key, text.bytes, text.length, signature, err);
    }
    if (st == ES_OK) {
        es_text_char(&text, '.');
        es_text_base64url(&text, signature, sizeof signature);
        st = es_text_take(&text, out, err);
    }
    es_text_free(&text);
    return st;
}

/* ---- Reading ---- */

static enum es_status no_head(struct es_error *err)
{
    return es_fail(err, ES_BAD_INPUT, "this is not a signed head of a log (" FORMAT ")");
}

static bool is_text_of(const char *text, size_t most, const char *allowed)
{
    return text && text[0] && strlen(text) <= most && strspn(text, allowed) == strlen(text);
}

static bool take_payload(const cJSON *root, struct es_log_head *head)
{
    const char *log = cJSON_GetStringValue(cJSON_GetObjectItemCaseSensitive(root, "log"));
    const char *hash = cJSON_GetStringValue(cJSON_GetObjectItemCaseSensitive(root, "root"));
    const char *time = cJSON_GetStringValue(cJSON_GetObjectItemCaseSensitive(root, "time"));
    const cJSON *size = cJSON_GetObjectItemCaseSensitive(root, "size");
    if (!is_text_of(log, ES_LOG_ID_SIZE - 1, "0123456789abcdef") ||
        !is_text_of(time, sizeof head->time - 1, "0123456789-:.TZ") || !hash ||
        strlen(hash) != ES_HASH_HEX - 1 || !cJSON_IsNumber(size) || size->valuedouble < 0 ||
        size->valuedouble > (double)ES_MERKLE_SIZE_MAX ||
        es_hex_decode(hash, head->root.bytes, ES_HASH_SIZE, NULL) != ES_OK) {
        return false;
    }
    head->size = (uint64_t)size->valuedouble;
    (void)snprintf(head->log, sizeof head->log, "%s", log);
    (void)snprintf(head->time, sizeof head->time, "%s", time);
    return true;
}

static bool take_header(const cJSON *root, struct es_log_head *head)
{
    static const char allowed[] = "ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789-_";
    const char *kid = cJSON_GetStringValue(cJSON_GetObjectItemCaseSensitive(root, "kid"));
    if (!is_text_of(kid, sizeof head->kid - 1, allowed)) {
        return false;
    }
    (void)snprintf(head->kid, sizeof head->kid, "%s", kid);
    return true;
}

/* One base64url part as a JSON document, handed to `take`. */
static enum es_status read_part(const char *text, size_t length,
                                bool (*take)(const cJSON *root, struct es_log_head *head),
                                struct es_log_head *head, struct es_error *err)
{
    char bytes[ES_LOG_HEAD_MAX];
    size_t written = 0;
    if (es_base64url_decode(text, length, bytes, sizeof bytes, &written, NULL) != ES_OK) {
        return no_head(err);
    }
    struct es_findings findings = {0};
    struct es_document *doc = NULL;
    enum es_status st = es_document_parse("head", bytes, written, &findings, &doc, err);
    es_findings_free(&findings);
    if (st == ES_OK && !take(es_document_root(doc), head)) {
        st = ES_BAD_INPUT;
    }
    es_document_free(doc);
    return st == ES_BAD_INPUT ? no_head(err) : st;
}

/* *input: length of what is signed. */
static enum es_status read_text(const char *text, size_t length, struct es_log_head *head, size_t *input,
                                unsigned char signature[static ES_SIGNATURE_SIZE], struct es_error *err)
{
    const char *first = length < ES_LOG_HEAD_MAX ? memchr(text, '.', length) : NULL;
    const char *second = first ? memchr(first + 1, '.', (size_t)(text + length - first - 1)) : NULL;
    size_t written = 0;
    if (!second) {
        return no_head(err);
    }
    *input = (size_t)(second - text);
    if (es_base64url_decode(second + 1, length - *input - 1, signature, ES_SIGNATURE_SIZE, &written, NULL) !=
            ES_OK ||
        written != ES_SIGNATURE_SIZE) {
        return no_head(err);
    }
    enum es_status st = read_part(text, (size_t)(first - text), take_header, head, err);
    if (st == ES_OK) {
        st = read_part(first + 1, (size_t)(second - first - 1), take_payload, head, err);
    }
    if (st != ES_OK) {
        return st;
    }
    struct es_text again = {0}; /* one content has one text: unknown members, spaces, large digits end here */
    put_input(&again, head, head->kid);
    st = es_text_status(&again, err);
    if (st == ES_OK && (again.length != *input || memcmp(again.bytes, text, *input) != 0)) {
        st = no_head(err);
    }
    es_text_free(&again);
    return st;
}

enum es_status es_log_head_read(const char *text, size_t length, struct es_log_head *out,
                                struct es_error *err)
{
    struct es_log_head head = {0};
    unsigned char signature[ES_SIGNATURE_SIZE];
    size_t input = 0;
    enum es_status st = read_text(text, length, &head, &input, signature, err);
    if (st == ES_OK) {
        *out = head;
    }
    return st;
}

/* `roles` is a list of words with blanks between; NULL: anything. */
static bool is_for_bench(const char *roles)
{
    size_t n = sizeof ES_ROLE_OF_BENCH - 1;
    for (const char *at = roles; at && (at = strstr(at, ES_ROLE_OF_BENCH)); at += n) {
        if ((at == roles || at[-1] == ' ') && (at[n] == 0 || at[n] == ' ')) {
            return true;
        }
    }
    return !roles;
}

static enum es_status check_signer(const struct es_log_head *head, const struct es_trusted_key *signer,
                                   struct es_error *err)
{
    const char *why = NULL;
    if (!signer) {
        why = "is not among those trusted";
    } else if (!is_for_bench(signer->roles)) {
        why = "is not trusted as a bench's key";
    } else if (signer->revoked && strcmp(head->time, signer->revoked) >= 0) {
        why = "was revoked before that";
    } else if (signer->until && strcmp(head->time, signer->until) >= 0) {
        why = "had been replaced by then";
    } else if (signer->from && strcmp(head->time, signer->from) < 0) {
        why = "was not made yet then";
    }
    return why ? es_fail(err, ES_NOT_VALID,
                         "the log's head of size %" PRIu64 " is signed at %s by the key %s, which %s",
                         head->size, head->time, head->kid, why)
               : ES_OK;
}

enum es_status es_log_head_check(const char *text, size_t length, const struct es_trusted_key *trusted,
                                 size_t trusted_count, struct es_log_head *out, struct es_error *err)
{
    struct es_log_head head = {0};
    unsigned char signature[ES_SIGNATURE_SIZE];
    size_t input = 0;
    enum es_status st = read_text(text, length, &head, &input, signature, err);
    if (st != ES_OK) {
        return st;
    }
    const struct es_trusted_key *signer = NULL;
    for (size_t i = 0; i < trusted_count && !signer; i++) {
        signer = strcmp(trusted[i].key.thumbprint, head.kid) == 0 ? &trusted[i] : NULL;
    }
    st = check_signer(&head, signer, err);
    if (st == ES_OK && !es_public_key_verify(&signer->key, text, input, signature)) {
        st = es_fail(err, ES_NOT_VALID, "the signature of the log's head of size %" PRIu64 " does not hold",
                     head.size);
    }
    if (st == ES_OK) {
        *out = head;
    }
    return st;
}
