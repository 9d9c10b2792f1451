#include "procedures/judgement/causes.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#define LINES_MAX  256
#define OTHERS_MAX 16 /* further types that eke out the counts */
/* Weight of what is known of a line whatever the cause, in units: a bin that was never met with a cause is
 * rare, not impossible. */
#define POOLED 2.0
/* Weight of what other types of the plan showed with the same cause, in units, were there many: they differ
 * in size and limits, yet much less than causes do. */
#define ALIKE 6.0

/* ---- Likelihoods ---- */

/* A line, or the same line of another type, and the bin into which what was seen falls there. */
struct place {
    const struct es_detection_line *line;
    size_t bin;
};

struct view {
    const struct es_detection *table;
    const struct es_detection_type *type;
    const double *rates;
    struct place lines[LINES_MAX], others[LINES_MAX][OTHERS_MAX];
    size_t other_count[LINES_MAX];
    size_t from[LINES_MAX]; /* index into what was given */
    double weight[LINES_MAX], pooled[LINES_MAX];
    double good[LINES_MAX], causes[LINES_MAX][ES_CAUSES_MAX][ES_DETECTION_BANDS]; /* shares */
    size_t count;
};

struct tally {
    double met, of;
};

static void add(struct tally *t, const uint32_t bins[ES_DETECTION_BINS], size_t bin)
{
    t->met += bins[bin];
    for (size_t b = 0; b < ES_DETECTION_BINS; b++) {
        t->of += bins[b];
    }
}

static double rate(const struct view *v, size_t cause)
{
    return v->rates ? v->rates[cause] : v->table->causes[cause].rate;
}

/* Share of all units, whatever they had; 0: nobody was ever met in this bin. */
static double pooled_share(const struct es_detection *d, const struct place *at)
{
    struct tally all = {0};
    add(&all, at->line->good, at->bin);
    for (size_t c = 0; c < d->cause_count; c++) {
        for (size_t band = 0; band < ES_DETECTION_BANDS; band++) {
            add(&all, at->line->causes[c][band], at->bin);
        }
    }
    return all.of > 0 ? all.met / all.of : 0;
}

/* Of the units of the type; before them stands what others showed, before that what is known of anybody. */
static double share(const struct tally *here, const struct tally *others, double pooled)
{
    const double before = (others->met + POOLED * pooled) / (others->of + POOLED);
    const double weight = POOLED + ALIKE * others->of / (others->of + ALIKE);
    return (here->met + weight * before) / (here->of + weight);
}

static void find_good_share(struct view *v, size_t i)
{
    struct tally here = {0}, others = {0};
    add(&here, v->lines[i].line->good, v->lines[i].bin);
    for (size_t k = 0; k < v->other_count[i]; k++) {
        add(&others, v->others[i][k].line->good, v->others[i][k].bin);
    }
    v->good[i] = share(&here, &others, v->pooled[i]);
}

static void find_cause_share(struct view *v, size_t i, size_t cause, size_t band)
{
    struct tally here = {0}, others = {0};
    add(&here, v->lines[i].line->causes[cause][band], v->lines[i].bin);
    for (size_t k = 0; k < v->other_count[i]; k++) {
        add(&others, v->others[i][k].line->causes[cause][band], v->others[i][k].bin);
    }
    v->causes[i][cause][band] = share(&here, &others, v->pooled[i]);
}

static void find_shares(struct view *v)
{
    for (size_t i = 0; i < v->count; i++) {
        find_good_share(v, i);
        for (size_t c = 0; c < v->table->cause_count; c++) {
            for (size_t band = 0; band < ES_DETECTION_BANDS; band++) {
                find_cause_share(v, i, c, band);
            }
        }
    }
}

static double log_sum(double a, double b)
{
    const double most = fmax(a, b), least = fmin(a, b);
    return isinf(most) ? most : most + log1p(exp(least - most));
}

static double log_good(const struct view *v)
{
    double sum = 0;
    for (size_t i = 0; i < v->count; i++) {
        sum += v->weight[i] * log(v->good[i]);
    }
    return sum;
}

/* With the band that explains the lines best in *best. */
static double log_cause(const struct view *v, size_t cause, size_t *best)
{
    double all = -INFINITY, most = -INFINITY;
    *best = 0;
    for (size_t band = 0; band < ES_DETECTION_BANDS; band++) {
        const double w = es_detection_band_weight(v->table->causes[cause].matters, band);
        if (!(w > 0)) {
            continue;
        }
        double sum = log(w);
        for (size_t i = 0; i < v->count; i++) {
            sum += v->weight[i] * log(v->causes[i][cause][band]);
        }
        if (sum > most) {
            most = sum;
            *best = band;
        }
        all = log_sum(all, sum);
    }
    return all;
}

static void weigh(struct view *v)
{
    for (size_t i = 0; i < v->count; i++) {
        size_t same = 0;
        for (size_t k = 0; k < v->count; k++) {
            same += !strcmp(v->lines[i].line->procedure, v->lines[k].line->procedure);
        }
        v->weight[i] = 1 / sqrt((double)same);
    }
}

static void find_others(struct view *v, const struct es_detection_plan *plan, const struct es_seen *seen)
{
    const size_t i = v->count;
    for (size_t t = 0; t < plan->type_count && v->other_count[i] < OTHERS_MAX; t++) {
        const struct es_detection_line *line =
            &plan->types[t] != v->type
                ? es_detection_find_line(&plan->types[t], seen->procedure, seen->measurand)
                : NULL;
        if (line) {
            v->others[i][v->other_count[i]++] = (struct place){line, es_detection_bin(line, seen)};
        }
    }
}

/* False when nothing is known of any line. */
static bool look(struct view *v, const struct es_detection_plan *plan, const struct es_seen *seen,
                 size_t count)
{
    bool known = false;
    for (size_t i = 0; i < count && v->count < LINES_MAX; i++) {
        const size_t n = v->count;
        const struct es_detection_line *line =
            es_detection_find_line(v->type, seen[i].procedure, seen[i].measurand);
        if (!line) {
            continue;
        }
        known = true;
        v->lines[n] = (struct place){line, es_detection_bin(line, &seen[i])};
        v->pooled[n] = pooled_share(v->table, &v->lines[n]);
        /* What was never met with anybody speaks for nobody: least for the causes that few units had. */
        if (v->pooled[n] > 0) {
            find_others(v, plan, &seen[i]);
            v->from[n] = i;
            v->count++;
        }
    }
    weigh(v);
    find_shares(v);
    return known;
}

/* ---- The ranking ---- */

struct candidate {
    double p;
    size_t band;
};

static void find_evidence(const struct view *v, const struct candidate *p, double no_fault, size_t cause,
                          struct es_cause *out)
{
    double strength[ES_EVIDENCE_MAX];
    for (size_t i = 0; i < v->count; i++) {
        const double here = v->causes[i][cause][p[cause].band];
        double rest = 1 - p[cause].p, without = no_fault * v->good[i];
        for (size_t c = 0; c < v->table->cause_count; c++) {
            without += c != cause ? p[c].p * v->causes[i][c][p[c].band] : 0;
        }
        /* A cause that has no rival is held against good units. */
        without = rest > 1e-3 ? without / rest : v->good[i];
        const double s = log(here / without);
        if (s < log(1.5)) {
            continue;
        }
        size_t at = out->evidence_count;
        while (at > 0 && strength[at - 1] < s) {
            at--;
        }
        if (at == ES_EVIDENCE_MAX) {
            continue;
        }
        const size_t last =
            out->evidence_count < ES_EVIDENCE_MAX ? out->evidence_count++ : ES_EVIDENCE_MAX - 1;
        for (size_t k = last; k > at; k--) {
            out->evidence[k] = out->evidence[k - 1];
            strength[k] = strength[k - 1];
        }
        out->evidence[at] = (struct es_evidence){v->from[i], here, without};
        strength[at] = s;
    }
}

static double entropy(double p)
{
    if (!(p > 0 && p < 1)) {
        return 0;
    }
    // cppcheck-suppress invalidFunctionArg ; p is between 0 and 1 here
    return -p * log2(p) - (1 - p) * log2(1 - p);
}

/* The quickest check that shows a cause. */
static const struct es_detection_check *confirming(const struct es_detection *d, size_t cause)
{
    const struct es_detection_check *best = NULL;
    for (size_t i = 0; i < d->check_count; i++) {
        if (d->checks[i].finds >> cause & 1 && (!best || d->checks[i].minutes < best->minutes)) {
            best = &d->checks[i];
        }
    }
    return best;
}

/* The check from whose answer most is learned per minute, its handling counted as two minutes; where nothing
 * is left to tell apart, the one that confirms what is named first. */
static const struct es_detection_check *best_check(const struct es_detection *d, const struct candidate *p,
                                                   const struct es_causes *named)
{
    const struct es_detection_check *best = NULL;
    double most = 0;
    for (size_t i = 0; i < d->check_count; i++) {
        double found = 0;
        for (size_t c = 0; c < d->cause_count; c++) {
            found += d->checks[i].finds >> c & 1 ? p[c].p : 0;
        }
        const double learned = entropy(fmin(found, 1));
        if (learned > 0.05 && learned / (d->checks[i].minutes + 2) > most) {
            most = learned / (d->checks[i].minutes + 2);
            best = &d->checks[i];
        }
    }
    if (!best && named->count) {
        best = confirming(d, named->items[0].index);
    }
    return best;
}

static void insert(struct es_causes *out, const struct view *v, const struct candidate *p, size_t cause)
{
    size_t at = out->count++;
    while (at > 0 && out->items[at - 1].probability < p[cause].p) {
        out->items[at] = out->items[at - 1];
        at--;
    }
    out->items[at] = (struct es_cause){.index = cause, .probability = p[cause].p};
    find_evidence(v, p, out->no_fault, cause, &out->items[at]);
}

/* ES_RANGE: the rates leave nothing for good units. */
static enum es_status weigh_causes(const struct view *v, struct candidate *p, struct es_causes *out,
                                   struct es_error *err)
{
    const struct es_detection *d = v->table;
    double healthy = 1;
    for (size_t c = 0; c < d->cause_count; c++) {
        healthy -= es_detection_possible(v->type, c) ? rate(v, c) : 0;
    }
    if (!(healthy > 0)) {
        return es_fail(err, ES_RANGE,
                       "the assumed rates of all faults together reach %.3g: below 1 is needed", 1 - healthy);
    }
    const double none = log(healthy) + log_good(v);
    double all = none;
    for (size_t c = 0; c < d->cause_count; c++) {
        const bool may_be = es_detection_possible(v->type, c) && rate(v, c) > 0;
        p[c].p = may_be ? log(rate(v, c)) + log_cause(v, c, &p[c].band) : -INFINITY;
        all = log_sum(all, p[c].p);
    }
    *out = (struct es_causes){.no_fault = exp(none - all)};
    for (size_t c = 0; c < d->cause_count; c++) {
        p[c].p = exp(p[c].p - all);
        out->by_place[d->causes[c].place] += p[c].p;
    }
    return ES_OK;
}

static enum es_status rank(struct view *v, const struct es_detection_plan *plan, const struct es_seen *seen,
                           size_t count, struct es_causes *out, struct es_error *err)
{
    struct candidate p[ES_CAUSES_MAX] = {0};
    if (!look(v, plan, seen, count)) {
        return es_fail(err, ES_NOT_FOUND,
                       "nothing was learned of any of the lines with the plan \"%s\", version %s", plan->name,
                       plan->version);
    }
    const enum es_status status = weigh_causes(v, p, out, err);
    if (status != ES_OK) {
        return status;
    }
    for (size_t c = 0; c < v->table->cause_count; c++) {
        if (p[c].p >= ES_CAUSE_SHOWN) {
            insert(out, v, p, c);
        }
    }
    out->check = best_check(v->table, p, out);
    return ES_OK;
}

enum es_status es_causes_rank(const struct es_detection *table, const char *plan_name, const char *type_name,
                              const struct es_seen *seen, size_t count, const double *rates,
                              struct es_causes *out, struct es_error *err)
{
    const struct es_detection_plan *plan;
    const struct es_detection_type *type;
    enum es_status status = es_detection_find(table, plan_name, type_name, &plan, &type, err);
    if (status != ES_OK) {
        return status;
    }
    struct view *v = calloc(1, sizeof *v);
    if (!v) {
        return es_fail(err, ES_NO_MEMORY, "no memory to rank causes");
    }
    v->table = table;
    v->type = type;
    v->rates = rates;
    status = rank(v, plan, seen, count, out, err);
    free(v);
    return status;
}

void es_evidence_say(const struct es_evidence *evidence, const struct es_seen *seen, char *out, size_t size)
{
    const struct es_seen *line = &seen[evidence->seen];
    const bool failed = line->verdict == ES_FAIL || line->verdict == ES_CONDITIONAL_FAIL;
    /* A line that passed speaks too, by where its value lies. */
    const char *what = line->verdict == ES_NOT_TESTED ? "could not be tested"
                       : failed                       ? "failed"
                                                      : "passed with a value like this";
    snprintf(out, size, "%s %s: so in %.0f %% of units with this cause, in %.*f %% otherwise",
             line->measurand, what, 100 * evidence->here, evidence->without < 0.01 ? 1 : 0,
             100 * evidence->without);
}
