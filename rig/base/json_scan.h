/* The strict look at a JSON text before cJSON reads it: internal to rig/base (document.c uses it, tests and
 * the fuzz target too). Follows RFC 8259; beyond it: depth at most 64, no name twice in an object (checked in
 * document.c), no \u0000, no unpaired surrogate, numbers at most 63 characters and within double's range, no
 * byte order mark. */
#ifndef ES_BASE_JSON_SCAN_H
#define ES_BASE_JSON_SCAN_H

#include <stddef.h>
#include <stdint.h>

#include "rig/base/findings.h"

#define ES_JSON_DEPTH 64

/* Where a value stands; marks come in document order, a container before what it holds. */
struct es_json_mark {
    unsigned line, column;
    unsigned name_line, name_column; /* of the member's name; 0 when the value is not a member */
    uint32_t begin, end;             /* bytes of the text */
};

struct es_json_marks {
    struct es_json_mark *items;
    size_t count, capacity;
};

/* Scans `length` bytes (below 4 GiB). Faults go to findings, as many as can be told apart. Returns ES_OK when
 * the text is good (then marks is filled; the caller frees marks->items either way), ES_BAD_INPUT when it is
 * not, ES_NO_MEMORY. */
enum es_status es_json_scan(const char *name, const char *text, size_t length, struct es_findings *findings,
                            struct es_json_marks *marks, struct es_error *err) ES_MUST_CHECK;

#endif
