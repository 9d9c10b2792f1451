/* Any bytes as a log file: it is read, refused, or read up to its damage; what was read proves itself. */
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "results/log/log.h"

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size);

static void demand(int holds, const char *what)
{
    if (!holds) {
        (void)fprintf(stderr, "does not hold: %s\n", what);
        abort();
    }
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
    struct es_log *log = NULL;
    struct es_text faults = {0};
    enum es_status st = es_log_parse("fuzz", (const char *)data, size, NULL, &log, NULL);
    demand(st == ES_OK || st == ES_NOT_VALID, "a log is read or damaged");
    es_log_close(log);
    log = NULL;
    demand(es_log_parse("fuzz", (const char *)data, size, &faults, &log, NULL) == ES_OK,
           "damage is survived");
    demand((faults.length > 0) == (st == ES_NOT_VALID), "both ways of reading agree");
    demand(es_log_unfinished(log) <= size, "what is left out lies in the file");
    if (es_log_size(log) > 0) {
        struct es_log_growth growth;
        struct es_log_proof proof;
        demand(es_log_head(log) != NULL, "leaves have a head");
        demand(es_log_prove_growth(log, es_log_head(log), &growth, NULL) == ES_OK, "it begins with itself");
        es_log_growth_clear(&growth);
        demand(es_log_prove(log, es_log_size(log) - 1, &proof, NULL) == ES_OK, "its last leaf is in it");
        es_log_proof_clear(&proof);
    }
    es_log_close(log);
    es_text_free(&faults);
    return 0;
}
