#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "rig/base/nearest.h"
#include "rig/base/text.h"
#include "rig/base/unit_hint.h"
#include "rig/base/unit_spelling.h"
#include "rig/client/measure_order.h"
#include "rig/client/measure_settings.h"

/* "name=rest" -> copies; ES_USAGE without '='. */
static enum es_status split(const char *option, const char *text, char **name, const char **rest,
                            struct es_error *err)
{
    const char *equals = strchr(text, '=');
    if (equals == NULL || equals == text || equals[1] == '\0')
        return es_fail(err, ES_USAGE, "--%s \"%s\": wanted NAME=VALUE", option, text);
    *name = strndup(text, (size_t)(equals - text));
    *rest = equals + 1;
    return *name != NULL ? ES_OK : es_fail(err, ES_NO_MEMORY, "not enough memory to measure");
}

static enum es_status find_role(const char *option, const char *name, enum es_role *role,
                                struct es_error *err)
{
    *role = es_role_find(name);
    if (*role != ES_ROLE_NONE)
        return ES_OK;
    struct es_nearest near = {.word = name};
    for (int r = 0; r < ES_ROLE_COUNT; r++)
        es_nearest_offer(&near, es_role_info((enum es_role)r)->name);
    if (near.best != NULL)
        return es_fail(err, ES_USAGE, "--%s: unknown channel \"%s\"; did you mean \"%s\"?", option, name,
                       near.best);
    return es_fail(err, ES_USAGE, "--%s: unknown channel \"%s\"", option, name);
}

static enum es_status unknown_unit(const char *unit, size_t length, struct es_error *err)
{
    char written[64], hint[ES_UNIT_HINT_SIZE];
    (void)snprintf(written, sizeof written, "%.*s", (int)(length < 60 ? length : 60), unit);
    es_unit_hint(written, ES_DIM_COUNT, hint);
    return es_fail(err, ES_USAGE, "--column: unknown unit \"%s\"%s", written, hint);
}

/* "COLUMN [UNIT]" at the end of a column option. */
static enum es_status take_column(struct es_csv_column *column, const char *text, char **name,
                                  struct es_error *err)
{
    size_t length = strlen(text);
    const char *open = strrchr(text, '[');
    if (open != NULL && length > 1 && text[length - 1] == ']') {
        size_t unit_length = (size_t)(text + length - 1 - (open + 1));
        enum es_unit_state state;
        column->unit = es_unit_find_spelled(open + 1, unit_length, &state);
        if (column->unit != NULL && state == ES_UNIT_ABSOLUTE && column->role != ES_ROLE_AMBIENT_PRESSURE)
            return es_fail(err, ES_USAGE,
                           "--column \"%s\": pressures are gauge, unless their name says absolute", text);
        if (column->unit == NULL)
            return unknown_unit(open + 1, unit_length, err);
        length = (size_t)(open - text);
        while (length > 0 && text[length - 1] == ' ')
            length--;
    }
    *name = strndup(text, length);
    if (*name == NULL)
        return es_fail(err, ES_NO_MEMORY, "not enough memory to measure");
    column->column = *name;
    return ES_OK;
}

static enum es_status add_column(struct es_measure_order *o, const char *text, struct es_error *err)
{
    struct es_csv_column *column = &o->columns[o->column_count];
    *column = (struct es_csv_column){.role = ES_ROLE_NONE, .u = {.dof = INFINITY}};
    char *name = NULL;
    const char *rest = NULL;
    enum es_status s = split("column", text, &name, &rest, err);
    if (s != ES_OK)
        return s;
    if (strcmp(name, "time") == 0)
        column->is_time = true;
    else
        s = find_role("column", name, &column->role, err);
    free(name);
    if (s == ES_OK)
        s = take_column(column, rest, &o->column_names[o->column_count], err);
    if (s == ES_OK)
        o->column_count++;
    return s;
}

/* The column of a channel; one that no --column names is the one that is named like the channel. */
static enum es_status column_of(struct es_measure_order *o, enum es_role role, struct es_csv_column **out,
                                struct es_error *err)
{
    for (size_t i = 0; i < o->column_count; i++)
        if (o->columns[i].role == role && !o->columns[i].is_time) {
            *out = &o->columns[i];
            return ES_OK;
        }
    if (o->column_count == ES_CSV_MAX_COLUMNS)
        return es_fail(err, ES_USAGE, "--uncertainty: more than %d columns", ES_CSV_MAX_COLUMNS);
    char *name = strdup(es_role_info(role)->name);
    if (name == NULL)
        return es_fail(err, ES_NO_MEMORY, "not enough memory to measure");
    *out = &o->columns[o->column_count];
    **out = (struct es_csv_column){.column = name, .role = role, .u = {.dof = INFINITY}};
    o->column_names[o->column_count++] = name;
    return ES_OK;
}

static enum es_status add_uncertainty(struct es_measure_order *o, const char *text, struct es_error *err)
{
    char *name = NULL;
    const char *rest = NULL;
    enum es_role role;
    struct es_quantity quantity;
    struct es_csv_column *column = NULL;
    enum es_status s = split("uncertainty", text, &name, &rest, err);
    if (s == ES_OK)
        s = find_role("uncertainty", name, &role, err);
    free(name);
    if (s == ES_OK)
        s = es_quantity_parse(rest, &quantity, err);
    if (s != ES_OK)
        return s;
    double offset = es_from_unit_difference(es_to_unit(quantity.value, quantity.unit), quantity.unit);
    if (quantity.unit->dimension != es_role_info(role)->dimension &&
        quantity.unit->dimension != es_role_info(role)->other_dimension)
        return es_fail(err, ES_USAGE, "--uncertainty \"%s\": the unit does not fit the channel", text);
    if (!(offset >= 0))
        return es_fail(err, ES_USAGE, "--uncertainty \"%s\": must not be negative", text);
    s = column_of(o, role, &column, err);
    if (s == ES_OK && column->u.offset > 0)
        return es_fail(err, ES_USAGE, "--uncertainty \"%s\": that of this channel is given twice", text);
    if (s == ES_OK)
        column->u.offset = offset;
    return s;
}

static enum es_status add_fact(struct es_measure_order *o, const char *text, struct es_error *err)
{
    if (o->fact_count == ES_ORDER_FACTS)
        return es_fail(err, ES_USAGE, "--fact can be given at most %d times", ES_ORDER_FACTS);
    struct es_fact *fact = &o->facts[o->fact_count];
    char *value = NULL, *spread = NULL;
    const char *rest = NULL;
    struct es_quantity quantity, U = {0};
    enum es_status s = split("fact", text, &o->fact_names[o->fact_count], &rest, err);
    if (s != ES_OK)
        return s;
    const char *sign = strstr(rest, "+-");
    size_t length = sign != NULL ? (size_t)(sign - rest) : strlen(rest);
    while (length > 0 && rest[length - 1] == ' ')
        length--;
    value = strndup(rest, length);
    spread = strdup(sign != NULL ? sign + 2 + strspn(sign + 2, " ") : "");
    if (value == NULL || spread == NULL)
        s = es_fail(err, ES_NO_MEMORY, "not enough memory to measure");
    if (s == ES_OK)
        s = es_quantity_parse(value, &quantity, err);
    if (s == ES_OK && sign != NULL)
        s = es_quantity_parse_as(spread, quantity.unit->dimension, &U, err);
    double expanded =
        s == ES_OK && sign != NULL ? es_from_unit_difference(es_to_unit(U.value, U.unit), U.unit) : 0;
    if (s == ES_OK && expanded < 0)
        s = es_fail(err, ES_USAGE, "--fact \"%s\": its uncertainty must not be negative", text);
    for (size_t i = 0; s == ES_OK && i < o->fact_count; i++)
        if (strcmp(o->facts[i].name, o->fact_names[o->fact_count]) == 0)
            s = es_fail(err, ES_USAGE, "--fact \"%s\": this fact is given twice", text);
    if (s == ES_OK) {
        *fact = (struct es_fact){.name = o->fact_names[o->fact_count],
                                 .dimension = quantity.unit->dimension,
                                 .value = quantity.value,
                                 .u = expanded / 2,
                                 .dof = INFINITY};
        o->fact_count++;
    } else {
        free(o->fact_names[o->fact_count]);
        o->fact_names[o->fact_count] = NULL;
    }
    free(value);
    free(spread);
    return s;
}

enum es_status es_measure_order_find(const char *name, const struct es_measure **out, struct es_error *err)
{
    *out = es_measure_find(name);
    if (*out != NULL)
        return ES_OK;
    size_t count;
    const struct es_measure *const *list = es_measure_list(&count);
    struct es_nearest near = {.word = name};
    for (size_t i = 0; i < count; i++)
        es_nearest_offer(&near, list[i]->name);
    if (near.best != NULL)
        return es_fail(err, ES_NOT_FOUND, "unknown measure \"%s\"; did you mean \"%s\"?", name, near.best);
    return es_fail(err, ES_NOT_FOUND, "unknown measure \"%s\"; \"endstop measure --list\" lists them", name);
}

enum es_status es_measure_order_read(const char *measure, const struct es_option_list *columns,
                                     const struct es_option_list *uncertainties,
                                     const struct es_option_list *sets, const struct es_option_list *facts,
                                     struct es_measure_order *order, struct es_findings *findings,
                                     struct es_error *err)
{
    memset(order, 0, sizeof *order);
    enum es_status s = es_measure_order_find(measure, &order->measure, err);
    for (size_t i = 0; s == ES_OK && i < columns->count; i++)
        s = add_column(order, columns->items[i], err);
    for (size_t i = 0; s == ES_OK && i < uncertainties->count; i++)
        s = add_uncertainty(order, uncertainties->items[i], err);
    for (size_t i = 0; s == ES_OK && i < facts->count; i++)
        s = add_fact(order, facts->items[i], err);
    if (s == ES_OK)
        s = es_measure_settings_read(order->measure, sets, &order->settings_document, &order->settings,
                                     findings, err);
    return s;
}

void es_measure_order_free(struct es_measure_order *o)
{
    if (o->settings != NULL)
        es_fields_free(o->measure->settings, o->measure->setting_count, o->settings);
    free(o->settings);
    es_document_free(o->settings_document);
    for (size_t i = 0; i < ES_CSV_MAX_COLUMNS; i++)
        free(o->column_names[i]);
    for (size_t i = 0; i < ES_ORDER_FACTS; i++)
        free(o->fact_names[i]);
}
