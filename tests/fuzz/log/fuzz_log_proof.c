/* Any bytes as a proof, a proof of growth, and a head. What is read is written back as the same content; none
 * is valid, since nobody is trusted. */
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "results/log/proof.h"

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size);

static void demand(int holds, const char *what)
{
    if (!holds) {
        (void)fprintf(stderr, "does not hold: %s\n", what);
        abort();
    }
}

static void try_proof(const char *text, size_t length, int again)
{
    struct es_findings findings = {0};
    struct es_log_proof proof;
    struct es_log_head head;
    enum es_status st = es_log_proof_read("fuzz", text, length, &findings, &proof, NULL);
    demand(st == ES_OK || es_findings_any(&findings), "a refusal names a fault");
    if (st == ES_OK) {
        char *written = NULL;
        demand(es_log_proof_check(&proof, "", 0, NULL, 0, &head, NULL) != ES_OK, "nobody is trusted");
        demand(es_log_proof_write(&proof, &written, NULL) == ES_OK, "it can be written");
        if (again) {
            try_proof(written, strlen(written), 0);
        }
        free(written);
        es_log_proof_clear(&proof);
    }
    es_findings_free(&findings);
}

static void try_growth(const char *text, size_t length)
{
    struct es_findings findings = {0};
    struct es_log_growth growth;
    struct es_log_head from, to;
    enum es_status st = es_log_growth_read("fuzz", text, length, &findings, &growth, NULL);
    demand(st == ES_OK || es_findings_any(&findings), "a refusal names a fault");
    if (st == ES_OK) {
        demand(es_log_growth_check(&growth, NULL, 0, &from, &to, NULL) != ES_OK, "nobody is trusted");
        es_log_growth_clear(&growth);
    }
    es_findings_free(&findings);
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
    const char *text = (const char *)data;
    struct es_log_head head;
    if (es_log_head_read(text, size, &head, NULL) == ES_OK) {
        demand(memchr(text, 0, size) == NULL, "a head is plain text");
        demand(head.log[0] && head.time[0] && head.kid[0], "a head says all");
        demand(es_log_head_check(text, size, NULL, 0, &head, NULL) == ES_NOT_VALID, "nobody is trusted");
    }
    try_proof(text, size, 1);
    try_growth(text, size);
    return 0;
}
