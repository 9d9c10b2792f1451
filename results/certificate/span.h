/* Canonical JSON looked at where it stands, without a tree: checking a certificate must not cost more than
 * its signature. Internal to results/certificate. Pure. */
#ifndef ES_CERTIFICATE_SPAN_H
#define ES_CERTIFICATE_SPAN_H

#include <stdbool.h>
#include <stddef.h>

/* A value, or a member's name with its quotes, inside bytes that somebody else owns. */
struct es_span {
    const char *at; /* NULL: none */
    size_t length;
};

#define ES_MEMBERS_MAX 64 /* a certificate's top has fewer; those beyond are not found by name */

struct es_members {
    struct es_span names[ES_MEMBERS_MAX], values[ES_MEMBERS_MAX];
    size_t count;
};

/* True when the bytes are exactly one JSON object in the canonical form of RFC 8785 (strict: what
 * rig/base/document.h refuses is refused here too); fills its members. */
bool es_span_scan(const char *bytes, size_t length, struct es_members *root);

/* The member's value, {NULL, 0} when there is none. `name` without quotes, plain ASCII. */
struct es_span es_members_find(const struct es_members *members, const char *name);

/* Members of an object, elements of an array, one after the other: start with *cursor NULL; false after the
 * last. Only for spans out of bytes that es_span_scan accepted. `name` is left alone in arrays. */
bool es_span_next(struct es_span container, const char **cursor, struct es_span *name, struct es_span *value);

/* The members of each object in an array, in one pass: `member` for each, `end` after each element (no member
 * before it: it is no object); stops and gives false when `end` does. */
struct es_span_visitor {
    void *self;
    void (*member)(void *self, struct es_span name, struct es_span value);
    bool (*end)(void *self, size_t index);
};
bool es_span_objects(struct es_span array, const struct es_span_visitor *visitor);

bool es_span_is(struct es_span name, const char *text); /* a string with exactly this plain content */

/* The plain text of a string without escapes, into `out`; false when it is no string, has escapes, or does
 * not fit. */
bool es_span_text(struct es_span value, char *out, size_t size);

#endif
