/* What a unit that passed may still have. */
#include <math.h>

#include "procedures/judgement/binomial.h"
#include "procedures/judgement/causes.h"

static void lead(struct es_remaining *out, size_t cause, double probability)
{
    const size_t most = sizeof out->leading / sizeof out->leading[0];
    size_t at = out->leading_count < most ? out->leading_count++ : most - 1;
    if (out->leading_count == most && at == most - 1 && out->leading[at].probability > probability) {
        return;
    }
    while (at > 0 && out->leading[at - 1].probability < probability) {
        out->leading[at] = out->leading[at - 1];
        at--;
    }
    out->leading[at].index = cause;
    out->leading[at].probability = probability;
}

/* How often units with the cause, at severities that matter, passed: best guess, and upper end. */
static void missed(const struct es_detection *table, const struct es_detection_type *type, size_t cause,
                   double *guess, double *upper)
{
    *guess = *upper = 0;
    for (size_t band = 0; band < ES_DETECTION_BANDS; band++) {
        const struct es_detection_cell *cell = &type->causes[cause][band];
        const double w = es_detection_band_weight(table->causes[cause].matters, band);
        /* Nothing known of it: half of them, or all. Else the mean of Jeffreys' posterior. */
        *guess += w * ((double)cell->passed + 0.5) / ((double)cell->units + 1);
        *upper += w * es_share_clopper_pearson(cell->passed, cell->units, 0.95).upper;
    }
}

enum es_status es_causes_remaining(const struct es_detection *table, const char *plan_name,
                                   const char *type_name, const double *rates, struct es_remaining *out,
                                   struct es_error *err)
{
    const struct es_detection_plan *plan;
    const struct es_detection_type *type;
    double guesses[ES_CAUSES_MAX] = {0}, faulty = 0, at_most = 0, before = 0, healthy = 1;
    const enum es_status status = es_detection_find(table, plan_name, type_name, &plan, &type, err);
    if (status != ES_OK) {
        return status;
    }
    for (size_t c = 0; c < table->cause_count; c++) {
        const double r = rates ? rates[c] : table->causes[c].rate;
        if (!es_detection_possible(type, c)) {
            continue;
        }
        healthy -= r;
        if (!es_detection_judges(&table->causes[c], type->kind)) {
            continue;
        }
        double guess, upper;
        missed(table, type, c, &guess, &upper);
        guesses[c] = r * guess;
        faulty += r * guess;
        at_most += r * upper;
        before += r;
    }
    if (!(healthy > 0)) {
        return es_fail(err, ES_RANGE,
                       "the assumed rates of all faults together reach %.3g: below 1 is needed", 1 - healthy);
    }
    const double passing = healthy * ((double)type->good.passed + 0.5) / ((double)type->good.units + 1);
    *out = (struct es_remaining){
        .probability = faulty / (faulty + passing), .upper = at_most / (at_most + passing), .before = before};
    for (size_t c = 0; c < table->cause_count; c++) {
        if (guesses[c] > 0) {
            lead(out, c, guesses[c] / (faulty + passing));
        }
    }
    return ES_OK;
}
