/* Conditions that a recording counts on, and what makes a band whole. */
#include <stdlib.h>

#include "procedures/engine/read.h"

struct raw_condition {
    const cJSON *role;
    struct es_raw_band band;
};

#define ANY(label, need, member, text)                                                                       \
    {                                                                                                        \
        .name = (label), .kind = ES_FIELD_ANY, .required = (need),                                           \
        .offset = offsetof(struct raw_condition, member), .meaning = (text)                                  \
    }

static const struct es_field rows[] = {
    ANY("role", true, role, "the channel"), ANY("near", false, band.near, "middle of the band, or state"),
    ANY("within", false, band.within, "half width of the band"),
    ANY("above", false, band.above, "least value"), ANY("below", false, band.below, "greatest value")};

void es_check_band(struct es_reader *r, const cJSON *item, enum es_role role, bool steady)
{
    const bool near = cJSON_HasObjectItem(item, "near"), within = cJSON_HasObjectItem(item, "within");
    const bool sides = cJSON_HasObjectItem(item, "above") || cJSON_HasObjectItem(item, "below");
    const bool is_state = role != ES_ROLE_NONE && es_role_info(role)->is_state;

    if (near && sides)
        es_document_fault(r->doc, item, r->findings, "\"near\" with \"above\" or \"below\"",
                          "either \"near\" and \"within\", or \"above\" and/or \"below\"");
    else if (near && !within && !is_state)
        es_document_fault(r->doc, item, r->findings, "\"near\" without \"within\"", "how near: \"within\"");
    else if (!near && !sides && !(within && steady))
        es_document_fault(r->doc, item, r->findings, "no condition",
                          "\"near\" and \"within\", or \"above\" and/or \"below\"%s",
                          steady ? ", or \"within\" alone (steady)" : "");
}

void es_read_band(struct es_reader *r, enum es_role role, const struct es_raw_band *raw,
                  struct es_condition *out)
{
    const struct es_want value = {ES_AMOUNT_VALUE, role, ES_DIM_COUNT, false};
    const struct es_want difference = {ES_AMOUNT_DIFFERENCE, role, ES_DIM_COUNT, true};

    es_read_amount(r, raw->near, value, &out->near);
    es_read_amount(r, raw->above, value, &out->above);
    es_read_amount(r, raw->below, value, &out->below);
    es_read_amount(r, raw->within, difference, &out->within);
}

static void read_condition(struct es_reader *r, const cJSON *item, void *into)
{
    struct es_condition *out = into;
    struct raw_condition raw = {0};

    out->role = ES_ROLE_NONE;
    out->place = es_read_place(r, item);
    if (!cJSON_IsObject(item)) {
        es_document_fault(r->doc, item, r->findings, NULL, "a condition: an object with \"role\"");
        return;
    }
    /* Also after a fault: what could be read is checked further, so that all faults are told at once. */
    (void)es_fields_read(r->doc, item, rows, sizeof rows / sizeof rows[0], &raw, r->findings);
    out->role = es_read_role(r, raw.role);
    es_check_band(r, item, out->role, false);
    if (out->role != ES_ROLE_NONE)
        es_read_band(r, out->role, &raw.band, out);
}

void es_read_conditions(struct es_reader *r, const cJSON *array, struct es_condition **out, size_t *count)
{
    *out = es_read_each(r, array, sizeof **out, read_condition, count);
}

void es_conditions_free(struct es_condition *conditions, size_t count)
{
    for (size_t i = 0; i < count; i++) {
        es_amount_free(&conditions[i].near);
        es_amount_free(&conditions[i].within);
        es_amount_free(&conditions[i].above);
        es_amount_free(&conditions[i].below);
    }
    free(conditions);
}
