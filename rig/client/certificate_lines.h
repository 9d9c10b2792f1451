/* The lines of a certificate or record as tables. Reads the JSON form of docs/certificate.md; what is missing
 * is left out. Tables are the caller's to free, NULL when memory is short. */
#ifndef ES_CLIENT_CERTIFICATE_LINES_H
#define ES_CLIENT_CERTIFICATE_LINES_H

#include <cjson/cJSON.h>
#include <stdbool.h>
#include <stddef.h>

#include "rig/console/table.h"

struct es_line_counts {
    int decide; /* lines that decide; each is one of the five below */
    int passed, conditional, conditional_failed, failed, untested;
    int inform, inform_outside; /* lines that only inform; those of them that miss their limit */
};

void es_lines_count(const cJSON *root, struct es_line_counts *counts);

/* Word and shape of a verdict; colour comes on top of them, never instead. */
void es_verdict_text(const char *verdict, bool utf8, char *out, size_t size);

/* Title of a procedure by its name; the name when it has none. Borrowed. */
const char *es_procedure_title(const cJSON *root, const char *name);

/* The lines that decide and did not pass, worst first, with by how much they miss; at most `most`, *more
 * tells how many there are beside. Those of a procedure that were not tested for one reason share one line.
 * After them, as far as `most` lets, the lines that passed with a risk of 0.1 % or more. */
struct es_table *es_lines_missed(const cJSON *root, bool utf8, size_t most, size_t *more);

/* A line a measurand, under its procedure; one line for a procedure that was left out as a whole. */
struct es_table *es_lines_judged(const cJSON *root, bool utf8);

/* Of a record: values without limits and verdicts. No rows: nothing was measured. */
struct es_table *es_lines_measured(const cJSON *root, bool utf8);

#endif
