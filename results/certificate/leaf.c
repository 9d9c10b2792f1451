/* The log's leaf: the file as it was with its first signatures. */
#include <stdlib.h>
#include <string.h>

#include "results/certificate/canonical.h"
#include "results/certificate/certificate.h"
#include "results/certificate/format.h"

static enum es_status parse(const char *bytes, size_t length, struct es_document **doc, struct es_error *err)
{
    struct es_findings findings = {0};
    enum es_status st = es_document_parse("certificate", bytes, length, &findings, doc, err);
    if (st == ES_BAD_INPUT) {
        st = es_findings_status(&findings, err);
    }
    es_findings_free(&findings);
    return st;
}

static const cJSON *signatures_of(const cJSON *root)
{
    const char *format = cJSON_GetStringValue(cJSON_GetObjectItemCaseSensitive(root, "endstop"));
    bool known = cJSON_IsObject(root) && format && strcmp(format, ES_CERTIFICATE_FORMAT) == 0;
    const cJSON *list = cJSON_GetObjectItemCaseSensitive(root, ES_SIGNATURES_MEMBER);
    return known && cJSON_IsArray(list) ? list : NULL;
}

/* The tree without the signatures from index `keep` on, in canonical form. */
static enum es_status cut(const cJSON *root, int keep, char **out, size_t *length, struct es_error *err)
{
    cJSON *copy = cJSON_Duplicate(root, 1); /* a document is immutable */
    if (!copy) {
        return es_fail(err, ES_NO_MEMORY, "no memory for a leaf");
    }
    cJSON *list = cJSON_GetObjectItemCaseSensitive(copy, ES_SIGNATURES_MEMBER);
    while (cJSON_GetArraySize(list) > keep) {
        cJSON_DeleteItemFromArray(list, keep);
    }
    enum es_status st = es_canonical_write(copy, out, length, err);
    cJSON_Delete(copy);
    return st;
}

enum es_status es_certificate_leaf(const char *bytes, size_t length, size_t signatures, char **out,
                                   size_t *out_length, struct es_error *err)
{
    struct es_document *doc = NULL;
    enum es_status st = parse(bytes, length, &doc, err);
    if (st != ES_OK) {
        return st;
    }
    const cJSON *root = es_document_root(doc);
    const cJSON *list = signatures_of(root);
    size_t there = list ? (size_t)cJSON_GetArraySize(list) : 0;
    if (!list) {
        st =
            es_fail(err, ES_BAD_INPUT,
                    "this is not a certificate (\"endstop\": \"" ES_CERTIFICATE_FORMAT "\" with signatures)");
    } else if (signatures < 1 || signatures > there) {
        st = es_fail(err, ES_NOT_FOUND, "the certificate has %zu signatures; there is no leaf with %zu",
                     there, signatures);
    } else {
        st = cut(root, (int)signatures, out, out_length, err);
    }
    es_document_free(doc);
    return st;
}
