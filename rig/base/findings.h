/* All the faults found in one document, collected so that a person sees every one of them at once.
 * Owner: the caller. One thread at a time. */
#ifndef ES_BASE_FINDINGS_H
#define ES_BASE_FINDINGS_H

#include <stddef.h>
#include <stdio.h>

#include "rig/base/error.h"

struct es_finding {
    char *file;      /* as given by the user */
    unsigned line;   /* from 1; 0 when the whole file is meant */
    unsigned column; /* from 1, in characters (UTF-8), 0 as above */
    char *found;     /* what stands there */
    char *expected;  /* what should stand there */
    char *advice;    /* what to do next; "" when it follows from the rest */
};

struct es_findings {
    struct es_finding *items;
    size_t count;
    size_t capacity;
    bool out_of_memory; /* sticky: at least one finding could not be kept */
};

void es_findings_free(struct es_findings *f); /* frees the items, leaves *f empty and reusable */

/* Adds one. Never fails visibly: sets out_of_memory. `expected` and `advice` may be NULL for "". */
void es_findings_add(struct es_findings *f, const char *file, unsigned line, unsigned column,
                     const char *found, const char *expected, const char *advice);

bool es_findings_any(const struct es_findings *f); /* count > 0 or out_of_memory */

/* "FILE:LINE:COLUMN: found X; expected Y. ADVICE" one a line, in order of file and position. */
void es_findings_print(const struct es_findings *f, FILE *to);

/* ES_OK when there are none, else ES_BAD_INPUT with a one-line summary ("bench.json: 3 faults, the first
 * at 4:7: found ...") in err. */
enum es_status es_findings_status(const struct es_findings *f, struct es_error *err) ES_MUST_CHECK;

#endif
