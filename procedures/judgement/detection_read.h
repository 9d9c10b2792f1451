/* The parts of the reader of tables of detection and what they share. Inside detection_read*.c only:
 * detection_read.c reads causes, checks and plans, detection_read_type.c types and their lines. */
#ifndef ES_JUDGEMENT_DETECTION_READ_H
#define ES_JUDGEMENT_DETECTION_READ_H

#include "procedures/judgement/detection.h"

#define ES_DETECTION_CAUSES_MAX 64
#define ES_DETECTION_COUNT_MAX  1e9
#define ES_ROWS(array)          (sizeof(array) / sizeof((array)[0]))
#define ES_AT(type, member)     .offset = offsetof(type, member)
/* A row: a required text of at least so many characters. */
#define ES_TEXT_ROW(key, at, least)                                                                          \
    {                                                                                                        \
        .name = (key), .kind = ES_FIELD_TEXT, .required = true, .offset = (at), .min = (least), .max = 1000  \
    }

struct es_detection_reader {
    const struct es_document *doc;
    struct es_findings *findings;
    struct es_detection *d;
    bool no_memory;
    bool first; /* format "detection/1": every bin is named, and types have no kind */
};

/* Room for the elements of an array; the array itself was counted by its row. */
void *es_detection_room(struct es_detection_reader *r, size_t count, size_t size);
size_t es_detection_size(const cJSON *array);                                  /* NULL: 0 */
int es_detection_cause(const struct es_detection_reader *r, const char *name); /* -1: none of the table */

/* Adds the type to the plan, which has room; faults go to the findings. Causes must be known before. */
void es_detection_read_type(struct es_detection_reader *r, const cJSON *item, struct es_detection_plan *plan);

#endif
