/* What a check of certificates found, for people and for programs. */
#ifndef ES_CLIENT_VERIFY_VIEW_H
#define ES_CLIENT_VERIFY_VIEW_H

#include <cjson/cJSON.h>
#include <stdio.h>

#include "results/certificate/certificate.h"
#include "rig/base/text.h"
#include "rig/console/table.h"

#define ES_VERIFY_COLUMNS 3
extern const struct es_column es_verify_columns[ES_VERIFY_COLUMNS];

/* Opens an object with what was found; the caller may add members, and closes it. */
void es_verify_json(const char *file, const struct es_certificate_report *r, struct es_text *out);

/* One file at length, on standard output. `root`: the certificate's, NULL where it cannot be read. */
void es_verify_print(const char *file, const struct es_certificate_report *r, const cJSON *root);

/* One file in one line. */
void es_verify_row(struct es_table *table, const char *file, const struct es_certificate_report *r,
                   const cJSON *root);

struct es_recomputed;
/* What came of deriving the values again; with `quiet` only what is wrong. */
void es_verify_recomputed(const char *file, const struct es_recomputed *r, FILE *to, bool quiet);

#endif
