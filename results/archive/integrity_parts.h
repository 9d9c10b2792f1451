/* The parts of the check of integrity. Internal to results/archive. */
#ifndef ES_ARCHIVE_INTEGRITY_PARTS_H
#define ES_ARCHIVE_INTEGRITY_PARTS_H

#include "results/archive/integrity.h"
#include "results/certificate/content.h"
#include "rig/base/text.h"

struct es_integrity {
    const struct es_integrity_order *order;
    struct es_integrity_report *report;
    struct es_log *log;
};

void es_integrity_found(struct es_integrity *i, const char *word, const char *number, const char *format, ...)
    ES_PRINTF(4, 5);

/* Every logged certificate's file, its seal and recordings; files that were never logged. */
enum es_status es_integrity_files(struct es_integrity *i, struct es_error *err) ES_MUST_CHECK;
/* The books of keys, jobs and repairs, held against their own log (results/store/books.h). */
enum es_status es_integrity_books(struct es_integrity *i, struct es_error *err) ES_MUST_CHECK;
/* Raw recordings that a certificate names, and the documents that lie beside them. */
enum es_status es_integrity_recordings(struct es_integrity *i, const struct es_content *content,
                                       struct es_error *err) ES_MUST_CHECK;
/* The archive's rows and heads of this bench. */
enum es_status es_integrity_archive(struct es_integrity *i, struct es_error *err) ES_MUST_CHECK;

#endif
