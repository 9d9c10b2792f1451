/* What the archive's columns say, read from a certificate's bytes. Internal to results/archive. */
#ifndef ES_ARCHIVE_DERIVE_H
#define ES_ARCHIVE_DERIVE_H

#include "results/archive/archive.h"
#include "results/certificate/content.h"
#include "rig/base/document.h"
#include "rig/base/text.h"

struct es_derived {
    struct es_document *doc;
    struct es_content content;
    char payload[65], digest[65]; /* SHA-256 of the content without signatures, and of the file */
    size_t signatures;
    const char *lot, *supplier;
    bool out_of_force;               /* a void signature stands in it */
    const char *released, *releaser; /* time and person of the first release; "" */
};

enum es_status es_derive(const char *bytes, size_t length, struct es_derived *out,
                         struct es_error *err) ES_MUST_CHECK;
void es_derived_clear(struct es_derived *d);

/* Fills the columns that came after version 1 of the schema, lines, instruments and causes of row `id`. */
enum es_status es_derive_rows(struct es_database *db, int64_t id, const struct es_derived *d,
                              struct es_error *err) ES_MUST_CHECK;

/* Cells of the rows of `causes`, in order, each ended by 0x1F: for comparing. */
void es_derive_causes(const struct es_derived *d, struct es_text *out);

#endif
