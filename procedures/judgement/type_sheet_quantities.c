/* The numbers of a type sheet that procedures call by name. */
#include <stdlib.h>
#include <string.h>

#include "procedures/judgement/type_sheet_read.h"

/* Quantities whose meaning shipped procedures rely on. Travel is a length or an angle by the motion. */
static const struct known_quantity {
    const char *name;
    enum es_dimension dimension; /* ES_DIM_COUNT: that of travel */
    bool any_sign;               /* else more than nothing */
} known_quantities[] = {
    {.name = "nominal supply", .dimension = ES_DIM_PRESSURE},
    {.name = "minimum supply", .dimension = ES_DIM_PRESSURE},
    {.name = "maximum supply", .dimension = ES_DIM_PRESSURE},
    {.name = "loop low", .dimension = ES_DIM_CURRENT},
    {.name = "loop high", .dimension = ES_DIM_CURRENT},
    {.name = "sweep low", .dimension = ES_DIM_ANGLE, .any_sign = true},
    {.name = "sweep high", .dimension = ES_DIM_ANGLE, .any_sign = true},
    {.name = "full travel", .dimension = ES_DIM_COUNT},
    {.name = "travel tolerance", .dimension = ES_DIM_COUNT},
};

/* Pairs that must rise, or a procedure would do something else than its text says. */
static const struct order {
    const char *less, *more;
    bool may_be_equal;
} orders[] = {
    {"minimum supply", "nominal supply", true}, {"nominal supply", "maximum supply", true},
    {"minimum supply", "maximum supply", true}, {"loop low", "loop high", false},
    {"sweep low", "sweep high", false},
};

size_t es_type_member_count(const cJSON *object)
{
    size_t n = 0;
    for (const cJSON *m = object ? object->child : NULL; m; m = m->next) {
        n++;
    }
    return n;
}

bool es_type_is_note(const cJSON *member)
{
    return strcmp(member->string, "note") == 0;
}

/* A quantity's text; adds the finding when it is none. */
bool es_type_read_quantity(struct es_type_reader *r, const cJSON *item, struct es_quantity *out)
{
    if (!cJSON_IsString(item)) {
        es_document_fault(r->doc, item, r->findings, NULL, "a quantity as text, such as \"4.0 bar\"");
        return false;
    }
    if (es_quantity_parse(item->valuestring, out, NULL) != ES_OK) {
        es_document_fault(r->doc, item, r->findings, NULL,
                          "a number and a known unit, such as \"4.0 bar\" or \"2.5 Nl/h\"; a pure number as "
                          "\"12\"");
        return false;
    }
    return true;
}

/* A quantity whose meaning is known must have its dimension and sign; adds the finding. */
static bool fits_what_is_known(struct es_type_reader *r, const cJSON *m, const struct es_quantity *q)
{
    const struct known_quantity *known = NULL;
    for (size_t i = 0; i < ES_ROWS(known_quantities); i++) {
        if (strcmp(known_quantities[i].name, m->string) == 0) {
            known = &known_quantities[i];
        }
    }
    if (!known) {
        return true;
    }
    const enum es_dimension travel = r->type->motion == ES_LINEAR ? ES_DIM_LENGTH : ES_DIM_ANGLE;
    const enum es_dimension wanted = known->dimension == ES_DIM_COUNT ? travel : known->dimension;
    if (wanted != q->unit->dimension) {
        char units[200];
        es_unit_names(wanted, units, sizeof units);
        es_document_fault(r->doc, m, r->findings, NULL, "%s, in one of: %s", es_dimension_name(wanted),
                          units);
        return false;
    }
    if (!known->any_sign && q->value <= 0) {
        es_document_fault(r->doc, m, r->findings, NULL, "more than nothing");
        return false;
    }
    return true;
}

static void take_quantities(struct es_type_reader *r, const cJSON *object)
{
    struct es_type *type = r->type;
    type->quantities = calloc(es_type_member_count(object) + 1, sizeof *type->quantities);
    if (!type->quantities) {
        r->out_of_memory = true;
        return;
    }
    for (const cJSON *m = object->child; m; m = m->next) {
        struct es_quantity q;
        if (es_type_is_note(m) || !es_type_read_quantity(r, m, &q) || !fits_what_is_known(r, m, &q)) {
            continue;
        }
        struct es_type_quantity *made = &type->quantities[type->quantity_count];
        made->written = q;
        made->name = strdup(m->string);
        if (!made->name) {
            r->out_of_memory = true;
            return;
        }
        type->quantity_count++;
    }
}

static void check_orders(struct es_type_reader *r, const cJSON *object)
{
    for (size_t i = 0; i < ES_ROWS(orders); i++) {
        const struct es_type_quantity *less = es_type_quantity(r->type, orders[i].less);
        const struct es_type_quantity *more = es_type_quantity(r->type, orders[i].more);
        if (!less || !more || less->written.value < more->written.value ||
            (orders[i].may_be_equal && less->written.value == more->written.value)) {
            continue;
        }
        es_document_fault(r->doc, cJSON_GetObjectItemCaseSensitive(object, orders[i].more), r->findings, NULL,
                          "\"%s\" %s \"%s\"", orders[i].more, orders[i].may_be_equal ? "not below" : "above",
                          orders[i].less);
    }
    static const struct {
        const char *name;
        size_t offset;
        const char *ceiling;
    } under[] = {{"maximum supply", offsetof(struct es_type, highest_supply), "supply pressure"},
                 {"nominal supply", offsetof(struct es_type, highest_supply), "supply pressure"},
                 {"loop high", offsetof(struct es_type, highest_loop), "loop current"}};
    for (size_t i = 0; i < ES_ROWS(under); i++) {
        const struct es_type_quantity *q = es_type_quantity(r->type, under[i].name);
        double ceiling = *(const double *)(const void *)((const char *)r->type + under[i].offset);
        if (q && ceiling > 0 && q->written.value > ceiling) {
            es_document_fault(r->doc, cJSON_GetObjectItemCaseSensitive(object, under[i].name), r->findings,
                              NULL, "at most the ceiling \"%s\"", under[i].ceiling);
        }
    }
}

void es_type_read_quantities(struct es_type_reader *r, const cJSON *object)
{
    take_quantities(r, object);
    check_orders(r, object);
}
