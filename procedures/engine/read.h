/* Reading of procedure and plan documents: what the files that read their parts share. Internal to the
 * engine. Every reader adds its faults to findings and goes on, so that a person sees all of them. */
#ifndef ES_ENGINE_READ_H
#define ES_ENGINE_READ_H

#include "procedures/engine/procedure.h"

struct es_reader {
    const struct es_document *doc;
    struct es_findings *findings;
    bool out_of_memory; /* sticky */
};

/* What a text must mean: a value of a role, a difference of such values, a rate, or a plain dimension. */
struct es_want {
    enum es_amount_use use;
    enum es_role role;           /* ES_ROLE_NONE: `dimension` counts */
    enum es_dimension dimension; /* of a value that is no role's: time, frequency */
    bool positive;               /* more than nothing */
};

/* Reads a text into an amount; NULL item: left ES_AMOUNT_NONE. Faults are added. */
void es_read_amount(struct es_reader *r, const cJSON *item, struct es_want want, struct es_amount *out);
void es_amount_free(struct es_amount *amount);

/* First element or member; NULL when there is none, or no array. */
static inline const cJSON *es_first(const cJSON *array)
{
    return array != NULL ? array->child : NULL;
}

struct es_place es_read_place(const struct es_reader *r, const cJSON *item);

/* A copy of a text; NULL and the sticky mark when memory is short. */
char *es_read_copy(struct es_reader *r, const char *text);
/* calloc that sets the sticky mark. count 0 gives NULL without fault. */
void *es_read_array(struct es_reader *r, size_t count, size_t size);
/* An array of `size` bytes an element, each read by `read_one` into its zeroed place; NULL when `array` has
 * none or memory is short. *count: how many there are. */
void *es_read_each(struct es_reader *r, const cJSON *array, size_t size,
                   void (*read_one)(struct es_reader *r, const cJSON *item, void *out), size_t *count);

/* A role by name; ES_ROLE_NONE after a fault. */
enum es_role es_read_role(struct es_reader *r, const cJSON *item);
/* An array of role names. */
void es_read_roles(struct es_reader *r, const cJSON *array, enum es_role **out, size_t *count);
/* An array of texts; *out is NULL-terminated. */
void es_read_texts(struct es_reader *r, const cJSON *array, char ***out, size_t *count);

/* The conditions of "throughout". */
void es_read_conditions(struct es_reader *r, const cJSON *array, struct es_condition **out, size_t *count);
void es_conditions_free(struct es_condition *conditions, size_t count);

/* Names what is wrong with a band's members taken together; `steady`: "within" alone is one. */
void es_check_band(struct es_reader *r, const cJSON *item, enum es_role role, bool steady);

/* What makes a band: "near" with "within", or "above" and/or "below". */
struct es_raw_band {
    const cJSON *near, *within, *above, *below;
};
void es_read_band(struct es_reader *r, enum es_role role, const struct es_raw_band *raw,
                  struct es_condition *out);

void es_read_steps(struct es_reader *r, const cJSON *array, struct es_step **out, size_t *count);
void es_steps_free(struct es_step *steps, size_t count);

void es_read_measurands(struct es_reader *r, const cJSON *array, struct es_measurand **out, size_t *count);
void es_measurands_free(struct es_measurand *measurands, size_t count);

/* Words of "when", in the order of enum es_when, "always" first; NULL-terminated. */
extern const char *const es_when_words[];

#endif
