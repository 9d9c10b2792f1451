#include "procedures/judgement/causes.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

#include "procedures/judgement/binomial.h"

#define LINES_MAX 256
/* Weight of what is known of a line whatever the cause, in units: a bin that was never met with a cause is
 * rare, not impossible. */
#define POOLED 2.0
/* ---- Likelihoods ---- */

struct view {
    const struct es_detection *table;
    const struct es_detection_type *type;
    const double *rates;
    const struct es_detection_line *lines[LINES_MAX];
    size_t bins[LINES_MAX], from[LINES_MAX]; /* from: index into what was given */
    double weight[LINES_MAX], pooled[LINES_MAX];
    size_t count;
};

static double rate(const struct view *v, size_t cause)
{
    return v->rates ? v->rates[cause] : v->table->causes[cause].rate;
}

/* How severities that matter fall into a band, were they even from where they begin to matter to 1. */
static double band_weight(double matters, size_t band)
{
    const double low = band ? es_detection_bands[band - 1] : 0, high = es_detection_bands[band];
    if (matters >= 1) {
        return band == ES_DETECTION_BANDS - 1;
    }
    return fmax(0, high - fmax(low, matters)) / (1 - matters);
}

/* Share of all units, whatever they had; 0: nobody was ever met in this bin. */
static double pooled_share(const struct es_detection *d, const struct es_detection_line *line, size_t bin)
{
    double met = line->good[bin], all = 0;
    for (size_t b = 0; b < ES_DETECTION_BINS; b++) {
        all += line->good[b];
    }
    for (size_t c = 0; c < d->cause_count; c++) {
        for (size_t band = 0; band < ES_DETECTION_BANDS; band++) {
            met += line->causes[c][band][bin];
            for (size_t b = 0; b < ES_DETECTION_BINS; b++) {
                all += line->causes[c][band][b];
            }
        }
    }
    return all > 0 ? met / all : 0;
}

static double share(const uint32_t bins[ES_DETECTION_BINS], size_t bin, double pooled)
{
    double all = 0;
    for (size_t b = 0; b < ES_DETECTION_BINS; b++) {
        all += bins[b];
    }
    return (bins[bin] + POOLED * pooled) / (all + POOLED);
}

static double good_share(const struct view *v, size_t i)
{
    return share(v->lines[i]->good, v->bins[i], v->pooled[i]);
}

static double cause_share(const struct view *v, size_t i, size_t cause, size_t band)
{
    return share(v->lines[i]->causes[cause][band], v->bins[i], v->pooled[i]);
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
        sum += v->weight[i] * log(good_share(v, i));
    }
    return sum;
}

/* With the band that explains the lines best in *best. */
static double log_cause(const struct view *v, size_t cause, size_t *best)
{
    double all = -INFINITY, most = -INFINITY;
    *best = 0;
    for (size_t band = 0; band < ES_DETECTION_BANDS; band++) {
        const double w = band_weight(v->table->causes[cause].matters, band);
        if (!(w > 0) || v->type->causes[cause][band].units == 0) {
            continue;
        }
        double sum = log(w);
        for (size_t i = 0; i < v->count; i++) {
            sum += v->weight[i] * log(cause_share(v, i, cause, band));
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
            same += !strcmp(v->lines[i]->procedure, v->lines[k]->procedure);
        }
        v->weight[i] = 1 / sqrt((double)same);
    }
}

static enum es_status look(const struct es_detection *table, const char *type, const struct es_seen *seen,
                           size_t count, const double *rates, struct view *v, struct es_error *err)
{
    bool known = false;
    *v = (struct view){.table = table, .rates = rates, .type = es_detection_find_type(table, type)};
    if (!v->type) {
        return es_fail(err, ES_NOT_FOUND,
                       "nothing was learned of the type \"%s\": \"endstop study --learn\" does it", type);
    }
    for (size_t i = 0; i < count && v->count < LINES_MAX; i++) {
        const struct es_detection_line *line =
            es_detection_find_line(v->type, seen[i].procedure, seen[i].measurand);
        if (!line) {
            continue;
        }
        known = true;
        const size_t bin = es_detection_bin(line, &seen[i]);
        const double pooled = pooled_share(table, line, bin);
        /* What was never met with anybody speaks for nobody: least for the causes that few units had. */
        if (pooled > 0) {
            const size_t n = v->count++;
            v->lines[n] = line;
            v->from[n] = i;
            v->bins[n] = bin;
            v->pooled[n] = pooled;
        }
    }
    if (!known) {
        return es_fail(err, ES_NOT_FOUND,
                       "the table of detection knows none of the lines: it was learned on "
                       "the plan \"%s\"",
                       table->plan);
    }
    weigh(v);
    return ES_OK;
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
        const double here = cause_share(v, i, cause, p[cause].band);
        double rest = 1 - p[cause].p, without = no_fault * good_share(v, i);
        for (size_t c = 0; c < v->table->cause_count; c++) {
            without += c != cause ? p[c].p * cause_share(v, i, c, p[c].band) : 0;
        }
        /* A cause that has no rival is held against good units. */
        without = rest > 1e-3 ? without / rest : good_share(v, i);
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

enum es_status es_causes_rank(const struct es_detection *table, const char *type, const struct es_seen *seen,
                              size_t count, const double *rates, struct es_causes *out, struct es_error *err)
{
    struct view v;
    struct candidate p[ES_CAUSES_MAX] = {0};
    double healthy = 1, all;
    enum es_status status = look(table, type, seen, count, rates, &v, err);
    if (status != ES_OK) {
        return status;
    }
    for (size_t c = 0; c < table->cause_count; c++) {
        healthy -= rate(&v, c);
    }
    if (!(healthy > 0)) {
        return es_fail(err, ES_RANGE,
                       "the assumed rates of all faults together reach %.3g: below 1 is needed", 1 - healthy);
    }
    const double none = log(healthy) + log_good(&v);
    all = none;
    for (size_t c = 0; c < table->cause_count; c++) {
        p[c].p = rate(&v, c) > 0 ? log(rate(&v, c)) + log_cause(&v, c, &p[c].band) : -INFINITY;
        all = log_sum(all, p[c].p);
    }
    *out = (struct es_causes){.no_fault = exp(none - all)};
    for (size_t c = 0; c < table->cause_count; c++) {
        p[c].p = exp(p[c].p - all);
        out->by_place[table->causes[c].place] += p[c].p;
    }
    for (size_t c = 0; c < table->cause_count; c++) {
        if (p[c].p >= ES_CAUSE_SHOWN) {
            insert(out, &v, p, c);
        }
    }
    out->check = best_check(table, p, out);
    return ES_OK;
}

enum es_status es_causes_rank_outcome(const struct es_detection *table, const struct es_outcome *outcome,
                                      const double *rates, struct es_causes *out, struct es_error *err)
{
    struct es_seen seen[LINES_MAX];
    size_t count = 0;
    for (size_t i = 0; i < outcome->line_count && count < LINES_MAX; i++) {
        seen[count++] = es_seen_of_line(&outcome->lines[i]);
    }
    return es_causes_rank(table, outcome->type ? outcome->type : "", seen, count, rates, out, err);
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

/* ---- What remains ---- */

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
        const double w = band_weight(table->causes[cause].matters, band);
        /* Nothing known of it: half of them, or all. Else the mean of Jeffreys' posterior. */
        *guess += w * ((double)cell->passed + 0.5) / ((double)cell->units + 1);
        *upper += w * es_share_clopper_pearson(cell->passed, cell->units, 0.95).upper;
    }
}

enum es_status es_causes_remaining(const struct es_detection *table, const char *type_name,
                                   const double *rates, struct es_remaining *out, struct es_error *err)
{
    const struct es_detection_type *type = es_detection_find_type(table, type_name);
    double guesses[ES_CAUSES_MAX] = {0}, faulty = 0, at_most = 0, before = 0, healthy = 1;
    if (!type) {
        return es_fail(err, ES_NOT_FOUND,
                       "nothing was learned of the type \"%s\": \"endstop study --learn\" does it",
                       type_name);
    }
    for (size_t c = 0; c < table->cause_count; c++) {
        const double r = rates ? rates[c] : table->causes[c].rate;
        uint32_t tried = 0;
        for (size_t band = 0; band < ES_DETECTION_BANDS; band++) {
            tried += type->causes[c][band].units;
        }
        if (tried == 0) {
            continue; /* a fault that this type cannot have */
        }
        healthy -= r;
        if (table->causes[c].place == ES_CAUSE_BENCH) {
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
