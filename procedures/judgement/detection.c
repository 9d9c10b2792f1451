#include "procedures/judgement/detection.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "procedures/judgement/reason.h"

const double es_detection_bands[ES_DETECTION_BANDS] = {0.15, 0.4, 1};

static const double edges[ES_DETECTION_STRETCH - 1] = {-30, -8, -4, -2, 2, 4, 8, 30};

struct es_seen es_seen_of_line(const struct es_line *line)
{
    return (struct es_seen){.procedure = line->procedure,
                            .measurand = line->measurand,
                            .verdict = line->verdict,
                            .valid = line->value.valid,
                            .value = line->value.value,
                            .reason = line->reason};
}

static size_t reason_bin(const struct es_detection_line *line, const char *reason)
{
    char kind[ES_REASON_KIND];
    es_reason_kind(reason, kind);
    for (size_t i = 0; i < line->reason_count; i++) {
        if (!strcmp(line->reasons[i], kind)) {
            return 2 * ES_DETECTION_STRETCH + i;
        }
    }
    return ES_DETECTION_OTHER;
}

size_t es_detection_bin(const struct es_detection_line *line, const struct es_seen *seen)
{
    if (seen->verdict == ES_NOT_TESTED || !seen->valid || !isfinite(seen->value)) {
        return reason_bin(line, seen->reason);
    }
    const double z = (seen->value - line->middle) / line->scatter;
    size_t stretch = 0;
    while (stretch < ES_DETECTION_STRETCH - 1 && z > edges[stretch]) {
        stretch++;
    }
    return 2 * stretch + (seen->verdict == ES_FAIL || seen->verdict == ES_CONDITIONAL_FAIL);
}

const struct es_detection_type *es_detection_find_type(const struct es_detection *d, const char *name)
{
    for (size_t i = 0; i < d->type_count; i++) {
        if (!strcmp(d->types[i].name, name)) {
            return &d->types[i];
        }
    }
    return NULL;
}

const struct es_detection_line *es_detection_find_line(const struct es_detection_type *type,
                                                       const char *procedure, const char *measurand)
{
    for (size_t i = 0; i < type->line_count; i++) {
        if (!strcmp(type->lines[i].measurand, measurand) && !strcmp(type->lines[i].procedure, procedure)) {
            return &type->lines[i];
        }
    }
    return NULL;
}

static void free_line(struct es_detection_line *line)
{
    free(line->procedure);
    free(line->measurand);
    for (size_t i = 0; i < line->reason_count; i++) {
        free(line->reasons[i]);
    }
    free(line->causes);
}

static void free_type(struct es_detection_type *type)
{
    free(type->name);
    free(type->version);
    free(type->digest);
    for (size_t i = 0; i < type->line_count; i++) {
        free_line(&type->lines[i]);
    }
    free(type->lines);
    free(type->causes);
}

void es_detection_free(struct es_detection *d)
{
    if (!d) {
        return;
    }
    for (size_t i = 0; i < d->type_count; i++) {
        free_type(&d->types[i]);
    }
    for (size_t i = 0; i < d->cause_count; i++) {
        free(d->causes[i].name);
        free(d->causes[i].meaning);
    }
    for (size_t i = 0; i < d->check_count; i++) {
        free(d->checks[i].text);
        free(d->checks[i].caution);
    }
    free(d->types);
    free(d->causes);
    free(d->checks);
    free(d->version);
    free(d->seed);
    free(d->plan);
    free(d->plan_version);
    free(d->plan_digest);
    free(d);
}
