/* The archive's rows of one bench, each held against its own bytes. Internal to results/archive. */
#ifndef ES_ARCHIVE_INTEGRITY_ROWS_H
#define ES_ARCHIVE_INTEGRITY_ROWS_H

#include "results/archive/derive.h"
#include "results/archive/integrity.h"

struct es_integrity_row {
    const char *number; /* as its column says */
    const char *bytes;
    size_t length;
    size_t signatures; /* 0: the bytes are no certificate */
};

struct es_integrity_rows {
    struct es_archive *archive;
    const char *log; /* of the bench */
    struct es_integrity_report *report;
    /* What the caller checks of each row; its columns are checked after. */
    enum es_status (*each)(void *self, const struct es_integrity_row *row, struct es_error *err);
    void *self;
};

enum es_status es_integrity_each_row(const struct es_integrity_rows *rows,
                                     struct es_error *err) ES_MUST_CHECK;

/* Adds a finding; `number` NULL: the whole is meant. */
void es_integrity_add(struct es_integrity_report *report, const char *word, const char *number,
                      const char *format, ...) ES_PRINTF(4, 5);

#endif
