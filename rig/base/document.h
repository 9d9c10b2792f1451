/* A JSON document read by cJSON, with the position of every value kept, so that each fault can be told
 * as file:line:column. Before cJSON sees the text it is checked against RFC 8259 strictly: valid UTF-8, no
 * duplicate member names, no control characters in strings, depth at most 64.
 * A document is immutable after reading and may be read from several threads. */
#ifndef ES_BASE_DOCUMENT_H
#define ES_BASE_DOCUMENT_H

#include <cjson/cJSON.h>
#include <stddef.h>

#include "rig/base/error.h"
#include "rig/base/findings.h"
#include "rig/base/quantity.h"

struct es_document; /* owns text, tree and positions */

/* Largest document accepted, bytes. */
#define ES_DOCUMENT_MAX (4u << 20)

/* Reads a file, "-" for standard input. Faults of the text go to `findings` (and ES_BAD_INPUT is
 * returned); a file that cannot be read is ES_NOT_FOUND, ES_REFUSED (permission) or ES_IO in err. */
enum es_status es_document_load(const char *path, struct es_findings *findings, struct es_document **out,
                                struct es_error *err) ES_MUST_CHECK;

/* Same from memory; `name` stands in for the file in messages. The text is copied. */
enum es_status es_document_parse(const char *name, const char *text, size_t length,
                                 struct es_findings *findings, struct es_document **out,
                                 struct es_error *err) ES_MUST_CHECK;

void es_document_free(struct es_document *doc); /* NULL allowed */

const cJSON *es_document_root(const struct es_document *doc);
const char *es_document_name(const struct es_document *doc);
const char *es_document_text(const struct es_document *doc, size_t *length);

/* SHA-256 (lower-case hex, 65 bytes with terminator) of the bytes as read. */
void es_document_digest(const struct es_document *doc, char out[static 65]);

/* Position of a value (for a member: of its value; es_document_name_at: of its name). */
void es_document_at(const struct es_document *doc, const cJSON *item, unsigned *line, unsigned *column);
void es_document_name_at(const struct es_document *doc, const cJSON *member, unsigned *line,
                         unsigned *column);

/* Adds a finding at `item`'s value. found NULL: the value itself, shortened, is shown. */
void es_document_fault(const struct es_document *doc, const cJSON *item, struct es_findings *findings,
                       const char *found, const char *expected_format, ...) ES_PRINTF(5, 6);
/* The same with what to do next; `advice` is a sentence, or NULL. */
void es_document_fault_advice(const struct es_document *doc, const cJSON *item, struct es_findings *findings,
                              const char *found, const char *advice, const char *expected_format, ...)
    ES_PRINTF(6, 7);

/* ---- One row an option: the reader works from the table; reference pages and schemas can be held against
 * it. ---- */

enum es_field_kind {
    ES_FIELD_TEXT,     /* char *, allocated; min/max = length in characters */
    ES_FIELD_BOOL,     /* bool */
    ES_FIELD_INTEGER,  /* long; min..max */
    ES_FIELD_NUMBER,   /* double, plain JSON number; min..max */
    ES_FIELD_QUANTITY, /* double, coherent, from text with unit; min..max coherent; dimension */
    ES_FIELD_CHOICE,   /* int, index into choices (NULL-terminated list of words) */
    ES_FIELD_OBJECT,   /* const cJSON *, borrowed; the caller reads it */
    ES_FIELD_ARRAY,    /* const cJSON *, borrowed; min..max = number of elements */
    ES_FIELD_ANY       /* const cJSON *, borrowed */
};

struct es_field {
    const char *name;
    enum es_field_kind kind;
    bool required;
    size_t offset;               /* of the target in the destination struct */
    enum es_dimension dimension; /* ES_FIELD_QUANTITY */
    double min, max;             /* both 0: no bound */
    const char *fallback;        /* as written in the file; NULL: target left as it is */
    const char *const *choices;  /* ES_FIELD_CHOICE */
    const char *meaning;         /* one line for the reference page */
};

/* Reads `object` into `destination` by the rows. Unknown members, wrong kinds, wrong dimensions, values
 * out of range and missing required members each become a finding (with the nearest known name as
 * advice). Returns true when this object gave no finding. Text targets must start as NULL; free them
 * with es_fields_free. The member "note" (text) is allowed everywhere and ignored. */
bool es_fields_read(const struct es_document *doc, const cJSON *object, const struct es_field *rows,
                    size_t count, void *destination, struct es_findings *findings);

void es_fields_free(const struct es_field *rows, size_t count, void *destination);

#endif
