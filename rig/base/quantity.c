#include "rig/base/quantity.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "rig/base/unit_hint.h"
#include "rig/base/units.h"

static const char *const dimension_names[ES_DIM_COUNT] = {
    [ES_DIM_NUMBER] = "number",
    [ES_DIM_RATIO] = "ratio",
    [ES_DIM_PRESSURE] = "pressure",
    [ES_DIM_CURRENT] = "current",
    [ES_DIM_VOLTAGE] = "voltage",
    [ES_DIM_RESISTANCE] = "resistance",
    [ES_DIM_ANGLE] = "angle",
    [ES_DIM_LENGTH] = "length",
    [ES_DIM_TIME] = "time",
    [ES_DIM_FREQUENCY] = "frequency",
    [ES_DIM_TEMPERATURE] = "temperature",
    [ES_DIM_TEMPERATURE_DIFFERENCE] = "temperature difference",
    [ES_DIM_FLOW] = "flow",
    [ES_DIM_VOLUME] = "volume",
    [ES_DIM_CONDUCTANCE] = "conductance",
    [ES_DIM_PRESSURE_RATE] = "rate of pressure",
    [ES_DIM_CURRENT_RATE] = "rate of current",
    [ES_DIM_ANGLE_RATE] = "rate of angle",
    [ES_DIM_LENGTH_RATE] = "speed",
    [ES_DIM_RATIO_RATE] = "rate of ratio",
};

const char *es_dimension_name(enum es_dimension d)
{
    return (unsigned)d < ES_DIM_COUNT ? dimension_names[d] : "unknown dimension";
}

enum es_dimension es_dimension_rate(enum es_dimension d)
{
    switch (d) {
    case ES_DIM_PRESSURE:
        return ES_DIM_PRESSURE_RATE;
    case ES_DIM_CURRENT:
        return ES_DIM_CURRENT_RATE;
    case ES_DIM_ANGLE:
        return ES_DIM_ANGLE_RATE;
    case ES_DIM_LENGTH:
        return ES_DIM_LENGTH_RATE;
    case ES_DIM_RATIO:
        return ES_DIM_RATIO_RATE;
    default:
        return ES_DIM_COUNT;
    }
}

const struct es_unit *es_dimension_unit(enum es_dimension d)
{
    for (size_t i = 0; i < es_unit_count; i++)
        if (es_units[i].dimension == d)
            return &es_units[i];
    return NULL;
}

static bool is_named(const struct es_unit *unit, const char *name, size_t length)
{
    return strlen(unit->name) == length && memcmp(unit->name, name, length) == 0;
}

const struct es_unit *es_unit_find(const char *name, size_t length)
{
    for (size_t i = 0; i < es_unit_count; i++)
        if (is_named(&es_units[i], name, length))
            return &es_units[i];
    return NULL;
}

const struct es_unit *es_unit_find_as(const char *name, size_t length, enum es_dimension d)
{
    for (size_t i = 0; i < es_unit_count; i++)
        if (es_units[i].dimension == d && is_named(&es_units[i], name, length))
            return &es_units[i];
    return NULL;
}

void es_unit_names(enum es_dimension d, char *out, size_t size)
{
    size_t used = 0;

    if (size == 0)
        return;
    out[0] = '\0';
    for (size_t i = 0; i < es_unit_count; i++) {
        if (es_units[i].dimension != d)
            continue;
        int n = snprintf(out + used, size - used, "%s%s", used == 0 ? "" : ", ", es_units[i].name);
        if (n < 0 || (size_t)n >= size - used) {
            out[used] = '\0'; /* whole names only */
            return;
        }
        used += (size_t)n;
    }
}

/* Counts digits from *p, moving it. */
static size_t digits(const char **p)
{
    size_t n = 0;

    while (**p >= '0' && **p <= '9')
        n++, (*p)++;
    return n;
}

/* The longest number at `text`: sign, digits, point and digits, exponent. NULL when there is none. strtod
 * alone would also take "0x10", "inf" and "nan". */
static const char *number_end(const char *text, int *decimals)
{
    const char *p = text;
    size_t fraction = 0;
    long exponent = 0;

    if (*p == '-' || *p == '+')
        p++;
    if (digits(&p) == 0)
        return NULL;
    if (*p == '.') {
        p++;
        fraction = digits(&p);
        if (fraction == 0)
            return NULL;
    }
    if (*p == 'e' || *p == 'E') {
        const char *q = p + 1;
        if (*q == '-' || *q == '+')
            q++;
        if (digits(&q) == 0)
            return NULL;
        exponent = strtol(p + 1, NULL, 10);
        p = q;
    }
    if (exponent < -1000)
        exponent = -1000;
    long shown = (long)(fraction < 1000 ? fraction : 1000) - exponent;
    *decimals = shown < 0 ? 0 : (int)shown;
    return p;
}

static enum es_status no_number(const char *text, struct es_error *err)
{
    if (strchr(text, ',') != NULL && text[strcspn(text, "0123456789")] != '\0')
        return es_fail(err, ES_BAD_INPUT,
                       "found \"%.60s\"; expected a number with a decimal point, not a comma", text);
    return es_fail(err, ES_BAD_INPUT, "found \"%.60s\"; expected a number and its unit, such as \"4.0 bar\"",
                   text);
}

static enum es_status bad_unit(const char *unit, enum es_dimension d, struct es_error *err)
{
    char names[400], hint[ES_UNIT_HINT_SIZE];

    es_unit_hint(unit, d, hint);
    if (d == ES_DIM_COUNT)
        return es_fail(err, ES_BAD_INPUT, "found the unknown unit \"%.40s\"%s", unit, hint);
    if (d == ES_DIM_NUMBER)
        return es_fail(err, ES_BAD_INPUT, "found the unit \"%.40s\"; expected a plain number", unit);
    es_unit_names(d, names, sizeof names);
    if (unit[0] == '\0')
        return es_fail(err, ES_BAD_INPUT, "found a number without unit; expected a %s in one of: %s",
                       es_dimension_name(d), names);
    const struct es_unit *other = es_unit_find(unit, strlen(unit));
    if (other != NULL)
        return es_fail(err, ES_BAD_INPUT, "found \"%s\", a unit of %s; expected a %s in one of: %s", unit,
                       es_dimension_name(other->dimension), es_dimension_name(d), names);
    return es_fail(err, ES_BAD_INPUT, "found the unknown unit \"%.40s\"%s; expected a %s in one of: %s", unit,
                   hint, es_dimension_name(d), names);
}

/* d == ES_DIM_COUNT: any dimension. */
static enum es_status parse(const char *text, enum es_dimension d, struct es_quantity *out,
                            struct es_error *err)
{
    int decimals = 0;
    const char *start = text + strspn(text, " ");
    const char *end = number_end(start, &decimals);

    if (end == NULL || *end == ',' || *end == '.')
        return no_number(text, err);
    double written = strtod(start, NULL); /* no program here leaves the C locale's decimal point */
    if (!isfinite(written))
        return es_fail(err, ES_BAD_INPUT, "found \"%.60s\"; expected a number below 1.8e308", text);

    const char *name = end + strspn(end, " ");
    size_t length = strlen(name);
    while (length > 0 && name[length - 1] == ' ')
        length--;
    const struct es_unit *unit =
        d == ES_DIM_COUNT ? es_unit_find(name, length) : es_unit_find_as(name, length, d);
    if (unit == NULL) {
        char shown[64];
        (void)snprintf(shown, sizeof shown, "%.*s", (int)(length < 60 ? length : 60), name);
        return bad_unit(shown, d, err);
    }
    double value = es_from_unit(written, unit);
    if (!isfinite(value))
        return es_fail(err, ES_BAD_INPUT, "found \"%.60s\"; expected a number below 1.8e308", text);
    *out = (struct es_quantity){.value = value, .unit = unit, .decimals = decimals};
    return ES_OK;
}

enum es_status es_quantity_parse(const char *text, struct es_quantity *out, struct es_error *err)
{
    return parse(text, ES_DIM_COUNT, out, err);
}

enum es_status es_quantity_parse_as(const char *text, enum es_dimension d, struct es_quantity *out,
                                    struct es_error *err)
{
    return parse(text, d, out, err);
}

double es_to_unit(double coherent, const struct es_unit *unit)
{
    return (coherent - unit->offset) / unit->factor;
}

double es_from_unit(double written, const struct es_unit *unit)
{
    return written * unit->factor + unit->offset;
}

double es_to_unit_difference(double coherent, const struct es_unit *unit)
{
    return coherent / unit->factor;
}

double es_from_unit_difference(double written, const struct es_unit *unit)
{
    return written * unit->factor;
}

#define MOST_DECIMALS 17

size_t es_quantity_format(double coherent, const struct es_unit *unit, int decimals, char *out, size_t size)
{
    char digits_text[360]; /* 309 digits of DBL_MAX, sign, point, decimals */
    const char *number = digits_text;
    double written = es_to_unit(coherent, unit);

    if (decimals < 0)
        decimals = 0;
    if (decimals > MOST_DECIMALS)
        decimals = MOST_DECIMALS;
    if (isnan(written)) {
        int n = snprintf(out, size, "no value");
        return n < 0 ? 0 : (size_t)n;
    }
    (void)snprintf(digits_text, sizeof digits_text, "%.*f", decimals, written);
    if (number[0] == '-' && number[1 + strspn(number + 1, "0.")] == '\0')
        number++; /* nobody wants to read "-0.0 bar" */
    int n = snprintf(out, size, "%s%s%s", number, unit->name[0] == '\0' ? "" : " ", unit->name);
    return n < 0 ? 0 : (size_t)n;
}

bool es_unit_belongs(const char *text, size_t at)
{
    if (at == 0 || text[at] != ' ')
        return false;
    const char *word = text + at + 1;
    size_t length = strcspn(word, " \n");
    while (length > 0 && strchr(".,;:)", word[length - 1]) != NULL)
        length--;
    if (length == 3 && strncmp(word, "ANR", 3) == 0)
        return true;
    bool number = text[at - 1] >= '0' && text[at - 1] <= '9';
    if (number && strncmp(word + length, " ANR", 4) == 0)
        length += 4;
    return number && length > 0 && es_unit_find(word, length) != NULL;
}
