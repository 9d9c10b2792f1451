/* The parts of the reader of type sheets and what they share. Inside type_sheet*.c only: type_sheet.c reads
 * the head and the whole, type_sheet_quantities.c the numbers that procedures call by name,
 * type_sheet_limits.c the limits. */
#ifndef ES_JUDGEMENT_TYPE_SHEET_READ_H
#define ES_JUDGEMENT_TYPE_SHEET_READ_H

#include "procedures/judgement/type_sheet.h"

#define ES_ROWS(array) (sizeof(array) / sizeof((array)[0]))

struct es_type_reader {
    const struct es_document *doc;
    struct es_findings *findings;
    struct es_type *type;
    bool out_of_memory;
};

/* A quantity's text; adds the finding when it is none. */
bool es_type_read_quantity(struct es_type_reader *r, const cJSON *item, struct es_quantity *out);

/* Members of an object, "note" among them; NULL: none. */
size_t es_type_member_count(const cJSON *object);
bool es_type_is_note(const cJSON *member);

/* The objects "quantities" and "limits"; faults go to the findings. Motion must be known before. */
void es_type_read_quantities(struct es_type_reader *r, const cJSON *object);
void es_type_read_limits(struct es_type_reader *r, const cJSON *object);

#endif
