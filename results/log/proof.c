#include "results/log/proof.h"

#include <inttypes.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "rig/base/document.h"
#include "rig/base/text.h"

#define PROOF  "log-proof/1"
#define GROWTH "log-growth/1"

void es_log_proof_clear(struct es_log_proof *proof)
{
    free(proof->head);
    *proof = (struct es_log_proof){.head = NULL};
}

void es_log_growth_clear(struct es_log_growth *growth)
{
    free(growth->from);
    free(growth->to);
    *growth = (struct es_log_growth){.from = NULL};
}

/* ---- Writing: members sorted, plain ASCII ---- */

static void put_path(struct es_text *t, const struct es_merkle_path *path)
{
    es_text_add(t, "\"path\":[");
    for (size_t i = 0; i < path->count; i++) {
        char hex[ES_HASH_HEX];
        es_hex(path->items[i].bytes, ES_HASH_SIZE, hex);
        es_text_printf(t, "%s\"%s\"", i ? "," : "", hex);
    }
    es_text_char(t, ']');
}

enum es_status es_log_proof_write(const struct es_log_proof *proof, char **out, struct es_error *err)
{
    struct es_text t = {0};
    char hex[ES_HASH_HEX];
    es_hex(proof->leaf.bytes, ES_HASH_SIZE, hex);
    es_text_printf(&t, "{\"endstop\":\"" PROOF "\",\"head\":\"%s\",\"index\":%" PRIu64 ",\"leaf\":\"%s\"",
                   proof->head, proof->index, hex);
    es_text_add(&t, ",\"number\":");
    es_text_json(&t, proof->number);
    es_text_char(&t, ',');
    put_path(&t, &proof->path);
    es_text_char(&t, '}');
    enum es_status st = es_text_take(&t, out, err);
    es_text_free(&t);
    return st;
}

enum es_status es_log_growth_write(const struct es_log_growth *growth, char **out, struct es_error *err)
{
    struct es_text t = {0};
    es_text_printf(&t, "{\"endstop\":\"" GROWTH "\",\"from\":\"%s\",", growth->from);
    put_path(&t, &growth->path);
    es_text_printf(&t, ",\"to\":\"%s\"}", growth->to);
    enum es_status st = es_text_take(&t, out, err);
    es_text_free(&t);
    return st;
}

/* ---- Reading ---- */

struct raw {
    char *format, *head, *leaf, *number, *from, *to;
    double index;
    const cJSON *path;
};

#define TEXT(n, member, most, text)                                                                          \
    {                                                                                                        \
        .name = (n), .kind = ES_FIELD_TEXT, .required = true, .offset = offsetof(struct raw, member),        \
        .min = 1, .max = (most), .meaning = (text)                                                           \
    }

static const struct es_field path_row = {.name = "path",
                                         .kind = ES_FIELD_ARRAY,
                                         .required = true,
                                         .offset = offsetof(struct raw, path),
                                         .min = 0,
                                         .max = ES_MERKLE_PATH_MAX,
                                         .meaning = "hashes of the proof, hex"};

static bool take_path(const struct es_document *doc, const cJSON *array, struct es_findings *findings,
                      struct es_merkle_path *path)
{
    const cJSON *item = NULL;
    path->count = 0;
    cJSON_ArrayForEach(item, array)
    {
        const char *hex = cJSON_GetStringValue(item);
        if (!hex || es_hex_decode(hex, path->items[path->count].bytes, ES_HASH_SIZE, NULL) != ES_OK) {
            es_document_fault(doc, item, findings, NULL, "a hash of 64 hex digits");
            return false;
        }
        path->count++;
    }
    return true;
}

static bool is_format(const struct es_document *doc, const struct raw *raw, const char *format,
                      struct es_findings *findings)
{
    if (strcmp(raw->format, format) == 0) {
        return true;
    }
    es_document_fault(doc, cJSON_GetObjectItemCaseSensitive(es_document_root(doc), "endstop"), findings, NULL,
                      "\"%s\"", format);
    return false;
}

static enum es_status take_proof(const struct es_document *doc, struct raw *raw, struct es_findings *findings,
                                 struct es_log_proof *out, struct es_error *err)
{
    struct es_log_proof p = {.head = NULL};
    const cJSON *root = es_document_root(doc);
    if (!is_format(doc, raw, PROOF, findings) || !take_path(doc, raw->path, findings, &p.path)) {
        return es_findings_status(findings, err);
    }
    if (raw->index != (double)(uint64_t)raw->index) {
        es_document_fault(doc, cJSON_GetObjectItemCaseSensitive(root, "index"), findings, NULL,
                          "a whole number");
    }
    if (es_hex_decode(raw->leaf, p.leaf.bytes, ES_HASH_SIZE, NULL) != ES_OK) {
        es_document_fault(doc, cJSON_GetObjectItemCaseSensitive(root, "leaf"), findings, NULL,
                          "a hash of 64 hex digits");
    }
    enum es_status st = es_findings_status(findings, err);
    if (st != ES_OK) {
        return st;
    }
    p.index = (uint64_t)raw->index;
    (void)snprintf(p.number, sizeof p.number, "%s", raw->number);
    p.head = raw->head;
    raw->head = NULL;
    *out = p;
    return ES_OK;
}

static enum es_status take_growth(const struct es_document *doc, struct raw *raw,
                                  struct es_findings *findings, struct es_log_growth *out,
                                  struct es_error *err)
{
    struct es_log_growth g = {.from = NULL};
    if (!is_format(doc, raw, GROWTH, findings) || !take_path(doc, raw->path, findings, &g.path)) {
        return es_findings_status(findings, err);
    }
    g.from = raw->from;
    g.to = raw->to;
    raw->from = raw->to = NULL;
    *out = g;
    return ES_OK;
}

enum es_status es_log_proof_read(const char *name, const char *text, size_t length,
                                 struct es_findings *findings, struct es_log_proof *out, struct es_error *err)
{
    const struct es_field rows[] = {TEXT("endstop", format, 40, "format"),
                                    TEXT("head", head, ES_LOG_HEAD_MAX - 1, "signed head"),
                                    {.name = "index",
                                     .kind = ES_FIELD_NUMBER,
                                     .required = true,
                                     .offset = offsetof(struct raw, index),
                                     .min = 0,
                                     .max = (double)ES_MERKLE_SIZE_MAX,
                                     .meaning = "place of the leaf, from 0"},
                                    TEXT("leaf", leaf, 64, "leaf hash, hex"),
                                    TEXT("number", number, 63, "the certificate's number"),
                                    path_row};
    const size_t count = sizeof rows / sizeof rows[0];
    struct raw raw = {.format = NULL};
    struct es_document *doc = NULL;
    enum es_status st = es_document_parse(name, text, length, findings, &doc, err);
    if (st == ES_OK) {
        st = es_fields_read(doc, es_document_root(doc), rows, count, &raw, findings)
                 ? take_proof(doc, &raw, findings, out, err)
                 : es_findings_status(findings, err);
        es_fields_free(rows, count, &raw);
    }
    es_document_free(doc);
    return st;
}

enum es_status es_log_growth_read(const char *name, const char *text, size_t length,
                                  struct es_findings *findings, struct es_log_growth *out,
                                  struct es_error *err)
{
    const struct es_field rows[] = {TEXT("endstop", format, 40, "format"),
                                    TEXT("from", from, ES_LOG_HEAD_MAX - 1, "earlier signed head"),
                                    TEXT("to", to, ES_LOG_HEAD_MAX - 1, "later signed head"), path_row};
    const size_t count = sizeof rows / sizeof rows[0];
    struct raw raw = {.format = NULL};
    struct es_document *doc = NULL;
    enum es_status st = es_document_parse(name, text, length, findings, &doc, err);
    if (st == ES_OK) {
        st = es_fields_read(doc, es_document_root(doc), rows, count, &raw, findings)
                 ? take_growth(doc, &raw, findings, out, err)
                 : es_findings_status(findings, err);
        es_fields_free(rows, count, &raw);
    }
    es_document_free(doc);
    return st;
}

/* ---- Checking ---- */

enum es_status es_log_proof_check(const struct es_log_proof *proof, const void *leaf, size_t length,
                                  const struct es_trusted_key *trusted, size_t trusted_count,
                                  struct es_log_head *head, struct es_error *err)
{
    struct es_log_head read;
    struct es_hash hash;
    enum es_status st =
        es_log_head_check(proof->head, strlen(proof->head), trusted, trusted_count, &read, err);
    if (st != ES_OK) {
        return st;
    }
    es_merkle_leaf(leaf, length, &hash);
    if (!es_hash_equal(&hash, &proof->leaf)) {
        return es_fail(err, ES_NOT_VALID,
                       "this proof (of %s) belongs to another certificate, or the certificate was changed",
                       proof->number);
    }
    if (!es_merkle_includes(&hash, proof->index, read.size, &read.root, &proof->path)) {
        return es_fail(err, ES_NOT_VALID, "the proof of %s does not lead to the signed head of size %" PRIu64,
                       proof->number, read.size);
    }
    *head = read;
    return ES_OK;
}

enum es_status es_log_growth_check(const struct es_log_growth *growth, const struct es_trusted_key *trusted,
                                   size_t trusted_count, struct es_log_head *from, struct es_log_head *to,
                                   struct es_error *err)
{
    struct es_log_head early, late;
    enum es_status st =
        es_log_head_check(growth->from, strlen(growth->from), trusted, trusted_count, &early, err);
    if (st == ES_OK) {
        st = es_log_head_check(growth->to, strlen(growth->to), trusted, trusted_count, &late, err);
    }
    if (st != ES_OK) {
        return st;
    }
    if (strcmp(early.log, late.log) != 0) {
        return es_fail(err, ES_NOT_VALID, "the two heads are of different logs: %s and %s", early.log,
                       late.log);
    }
    if (!es_merkle_extends(early.size, &early.root, late.size, &late.root, &growth->path)) {
        return es_fail(err, ES_NOT_VALID,
                       "the log of %" PRIu64 " leaves is not proved to begin with that of %" PRIu64 " leaves",
                       late.size, early.size);
    }
    *from = early;
    *to = late;
    return ES_OK;
}
