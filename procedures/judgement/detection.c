#include "procedures/judgement/detection.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "procedures/judgement/reason.h"
#include "rig/base/text.h"

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

const struct es_detection_plan *es_detection_find_plan(const struct es_detection *d, const char *name)
{
    for (size_t i = 0; name && i < d->plan_count; i++) {
        if (!strcmp(d->plans[i].name, name)) {
            return &d->plans[i];
        }
    }
    return NULL;
}

const struct es_detection_type *es_detection_find_type(const struct es_detection_plan *plan, const char *name)
{
    for (size_t i = 0; plan && name && i < plan->type_count; i++) {
        if (!strcmp(plan->types[i].name, name)) {
            return &plan->types[i];
        }
    }
    return NULL;
}

enum es_status es_detection_find(const struct es_detection *d, const char *plan, const char *type,
                                 const struct es_detection_plan **plan_out,
                                 const struct es_detection_type **type_out, struct es_error *err)
{
    struct es_text known = {0};
    enum es_status status = ES_OK;
    *plan_out = es_detection_find_plan(d, plan);
    *type_out = es_detection_find_type(*plan_out, type);
    for (size_t i = 0; !*plan_out && i < d->plan_count; i++) {
        es_text_printf(&known, "%s\"%s\"", i ? ", " : "", d->plans[i].name);
    }
    if (!*plan_out) {
        status = es_fail(err, ES_NOT_FOUND, "nothing was learned of the plan \"%s\": the table knows %s",
                         plan ? plan : "", known.bytes ? known.bytes : "none");
    } else if (!*type_out) {
        status = es_fail(err, ES_NOT_FOUND, "nothing was learned of the type \"%s\" with the plan \"%s\"",
                         type ? type : "", plan);
    }
    es_text_free(&known);
    return status;
}

bool es_detection_judges(const struct es_detection_cause *cause, int kind)
{
    return cause->place != ES_CAUSE_BENCH || kind == ES_PROOF_BLOCK;
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

double es_detection_band_weight(double matters, size_t band)
{
    const double low = band ? es_detection_bands[band - 1] : 0, high = es_detection_bands[band];
    if (matters >= 1) {
        return band == ES_DETECTION_BANDS - 1;
    }
    return fmax(0, high - fmax(low, matters)) / (1 - matters);
}

bool es_detection_possible(const struct es_detection_type *type, size_t cause)
{
    for (size_t band = 0; band < ES_DETECTION_BANDS; band++) {
        if (type->causes[cause][band].units > 0) {
            return true;
        }
    }
    return false;
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

void es_detection_plan_free(struct es_detection_plan *p)
{
    for (size_t i = 0; i < p->type_count; i++) {
        free_type(&p->types[i]);
    }
    free(p->types);
    free(p->name);
    free(p->version);
    free(p->digest);
    free(p->program);
    free(p->seed);
    *p = (struct es_detection_plan){0};
}

void es_detection_free(struct es_detection *d)
{
    if (!d) {
        return;
    }
    for (size_t i = 0; i < d->plan_count; i++) {
        es_detection_plan_free(&d->plans[i]);
    }
    for (size_t i = 0; i < d->cause_count; i++) {
        free(d->causes[i].name);
        free(d->causes[i].meaning);
    }
    for (size_t i = 0; i < d->check_count; i++) {
        free(d->checks[i].text);
        free(d->checks[i].caution);
    }
    free(d->plans);
    free(d->causes);
    free(d->checks);
    free(d);
}
