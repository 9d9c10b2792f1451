/* Reader's small tools: allocation, quantities, pairs, dates, settings by a driver's rows. */
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "rig/bench/bench_reader.h"

void *es_bench_new(struct es_bench_reader *r, size_t count, size_t size)
{
    void *p = calloc(count ? count : 1, size ? size : 1);
    if (!p) {
        r->no_memory = true;
    }
    return p;
}

char *es_bench_copy(struct es_bench_reader *r, const char *text)
{
    char *copy = strdup(text);
    if (!copy) {
        r->no_memory = true;
    }
    return copy;
}

bool es_bench_read(struct es_bench_reader *r, const cJSON *object, const char *rows, void *destination)
{
    const struct es_bench_rows *table = es_bench_rows_find(rows);
    if (!cJSON_IsObject(object)) {
        es_document_fault(r->doc, object, r->findings, NULL, "an object that describes a %s", rows);
        return false;
    }
    return es_fields_read(r->doc, object, table->rows, table->count, destination, r->findings);
}

void es_bench_rows_free(const char *rows, void *destination)
{
    const struct es_bench_rows *table = es_bench_rows_find(rows);
    es_fields_free(table->rows, table->count, destination);
}

static bool right_dimension(const struct es_quantity *q, enum es_dimension d, bool difference)
{
    return q->unit->dimension == d ||
           (difference && d == ES_DIM_TEMPERATURE && q->unit->dimension == ES_DIM_TEMPERATURE_DIFFERENCE);
}

bool es_bench_quantity(struct es_bench_reader *r, const cJSON *item, enum es_dimension d, bool difference,
                       double *out)
{
    char units[200];
    es_unit_names(d, units, sizeof units);
    if (d == ES_DIM_NUMBER && cJSON_IsNumber(item)) {
        *out = item->valuedouble;
        return true;
    }
    if (!cJSON_IsString(item)) {
        es_document_fault(r->doc, item, r->findings, NULL, "a %s as text with its unit%s%s",
                          es_dimension_name(d), *units ? ", one of: " : "", units);
        return false;
    }
    struct es_quantity q;
    struct es_error err;
    if (es_quantity_parse(item->valuestring, &q, &err) != ES_OK) {
        es_document_fault(r->doc, item, r->findings, NULL, "a %s: %s", es_dimension_name(d), err.text);
        return false;
    }
    if (!right_dimension(&q, d, difference)) {
        es_document_fault(r->doc, item, r->findings, NULL, "a %s, in one of: %s", es_dimension_name(d),
                          units);
        return false;
    }
    *out = difference ? es_from_unit_difference(es_to_unit(q.value, q.unit), q.unit) : q.value;
    return true;
}

static bool read_pair(struct es_bench_reader *r, const cJSON *pair, const char *what, double *x, double *y)
{
    const cJSON *first = cJSON_GetArrayItem(pair, 0);
    const cJSON *second = cJSON_GetArrayItem(pair, 1);
    if (!cJSON_IsArray(pair) || cJSON_GetArraySize(pair) != 2 || !cJSON_IsNumber(first) ||
        !cJSON_IsNumber(second)) {
        es_document_fault(r->doc, pair, r->findings, NULL, "a pair of numbers [%s]", what);
        return false;
    }
    *x = first->valuedouble;
    *y = second->valuedouble;
    return true;
}

bool es_bench_pairs(struct es_bench_reader *r, const cJSON *array, size_t least, const char *what,
                    size_t *count, double **x, double **y)
{
    size_t n = (size_t)cJSON_GetArraySize(array);
    if (n < least) {
        es_document_fault(r->doc, array, r->findings, NULL, "at least %zu pairs [%s]", least, what);
        return false;
    }
    *x = es_bench_new(r, n, sizeof **x);
    *y = es_bench_new(r, n, sizeof **y);
    if (!*x || !*y) {
        return false;
    }
    *count = n;
    bool good = true;
    size_t i = 0;
    const cJSON *pair;
    cJSON_ArrayForEach(pair, array)
    {
        good &= read_pair(r, pair, what, &(*x)[i], &(*y)[i]);
        if (good && i > 0 && (*x)[i] <= (*x)[i - 1]) {
            es_document_fault(r->doc, pair, r->findings, NULL, "pairs whose first number rises: above %g",
                              (*x)[i - 1]);
            good = false;
        }
        i++;
    }
    return good;
}

void *es_bench_settings(struct es_bench_reader *r, const cJSON *owner, const cJSON *object,
                        const char *member, const struct es_field *rows, size_t count, size_t size)
{
    void *settings = es_bench_new(r, 1, size);
    if (!settings) {
        return NULL;
    }
    bool good;
    if (object) {
        good = es_fields_read(r->doc, object, rows, count, settings, r->findings);
    } else {
        bool needed = false;
        for (size_t i = 0; i < count; i++) {
            needed |= rows[i].required;
        }
        if (needed) {
            es_document_fault(r->doc, owner, r->findings, "no member \"settings\"",
                              "an object \"%s\" with at least \"%s\"", member, rows[0].name);
        }
        cJSON *empty = needed ? NULL : cJSON_CreateObject();
        good = empty && es_fields_read(r->doc, empty, rows, count, settings, r->findings);
        r->no_memory |= !needed && !empty;
        cJSON_Delete(empty);
    }
    if (!good) {
        es_fields_free(rows, count, settings);
        free(settings);
        return NULL;
    }
    return settings;
}

/* Civil date to days, Gregorian calendar (ISO 8601); years 1970 to 9999. */
bool es_bench_date(const char *text, long *days)
{
    static const int lengths[] = {31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31};
    static const char form[] = "dddd-dd-dd";
    for (size_t i = 0; form[i]; i++) {
        bool digit = text[i] >= '0' && text[i] <= '9';
        if (form[i] == 'd' ? !digit : text[i] != form[i]) { /* the text's end is neither */
            return false;
        }
    }
    long y = strtol(text, NULL, 10), m = strtol(text + 5, NULL, 10), d = strtol(text + 8, NULL, 10);
    bool leap = (y % 4 == 0 && y % 100 != 0) || y % 400 == 0;
    if (y < 1970 || m < 1 || m > 12 || d < 1 || d > lengths[m - 1] + (m == 2 && leap)) {
        return false;
    }
    long total = d - 1;
    for (long i = 1970; i < y; i++) {
        total += ((i % 4 == 0 && i % 100 != 0) || i % 400 == 0) ? 366 : 365;
    }
    for (long i = 1; i < m; i++) {
        total += lengths[i - 1] + (i == 2 && leap);
    }
    *days = total;
    return true;
}
