#include "procedures/measures/step_analysis.h"

#include <math.h>
#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "procedures/measures/largest.h"
#include "procedures/measures/local_fit.h"
#include "procedures/measures/onset.h"
#include "procedures/measures/step_settling.h"
#include "procedures/measures/timing.h"

#define LEAST_REST    5     /* samples in each rest */
#define LEAST_COUNTS  10.0  /* steps of resolution in the response, below which it has no shape */
#define LEAST_NOISE   8.0   /* response over noise of one sample, the same */
#define MOST_MOVEMENT 0.003 /* of the response during the rest: more is not settled */
#define MOST_STIR     0.05  /* of the response before the command: more leaves its start unknown */
#define LEAST_IN_RISE 4     /* samples between 10 % and 63 % */
#define HIDDEN        0.1   /* noise of a local mean, of the way from the level to the nearer end */

/* Shares of the step at which the times are taken. */
static const double levels[] = {[ES_STEP_T63] = 0.63, [ES_STEP_T86] = 0.865, [ES_STEP_T98] = 0.98};

static void refuse(struct es_estimate *e, const char *format, ...) ES_PRINTF(2, 3);
static void refuse(struct es_estimate *e, const char *format, ...)
{
    va_list args;
    va_start(args, format);
    // NOLINTNEXTLINE(clang-analyzer-valist.Uninitialized): a false alarm of clang 14, va_start is above
    vsnprintf(e->reason, sizeof e->reason, format, args);
    va_end(args);
    e->valid = false;
}

static void refuse_all(struct es_step *s, const char *format, ...) ES_PRINTF(2, 3);
static void refuse_all(struct es_step *s, const char *format, ...)
{
    va_list args;
    va_start(args, format);
    // NOLINTNEXTLINE(clang-analyzer-valist.Uninitialized): a false alarm of clang 14, va_start is above
    vsnprintf(s->reason, sizeof s->reason, format, args);
    va_end(args);
    s->carried = false;
    for (int i = 0; i < ES_STEP_FIGURES; i++)
        refuse(&s->figures[i], "%s", s->reason);
}

/* A start that creeps is where it had come to at the command; how far it crept stays as doubt. */
static bool take_start(const struct es_step_input *in, struct es_step *out)
{
    double moved = es_plateau_movement(&out->before);
    double stirred = moved / fabs(out->size);
    if (stirred > MOST_STIR) {
        refuse_all(out, "not at rest before the command: moving by %.1f %% of the step", 100 * stirred);
        return false;
    }
    if (moved > 2 * in->u.resolution) {
        out->stirred = stirred;
        out->before.mean += copysign(moved / 2, out->before.drift);
        out->size = out->after.mean - out->before.mean;
    }
    return true;
}

/* Both rests, and whether there is a response to speak of. */
static bool take_levels(const struct es_step_input *in, struct es_step *out)
{
    const struct es_samples *s = in->samples;
    char why[160];
    if (es_samples_unfit(s, 4 * LEAST_REST, why)) {
        refuse_all(out, "%s", why);
        return false;
    }
    size_t a = es_samples_at(s, in->rest_before), b = es_samples_at(s, in->origin);
    size_t c = es_samples_at(s, in->end - in->rest * (in->end - in->origin));
    if (b < a + LEAST_REST || !es_plateau_of(s->t + a, s->y + a, b - a, &out->before)) {
        refuse_all(out, "no rest of at least %d samples before the command: where it started is not known",
                   LEAST_REST);
        return false;
    }
    if (s->n < c + LEAST_REST || !es_plateau_of(s->t + c, s->y + c, s->n - c, &out->after)) {
        refuse_all(out, "too short: fewer than %d samples in the last %.0f %% after the command", LEAST_REST,
                   100 * in->rest);
        return false;
    }
    out->size = out->after.mean - out->before.mean;
    double noise = fmax(out->before.s, out->after.s), q = in->u.resolution;
    if (!(fabs(out->size) > LEAST_COUNTS * q) || !(fabs(out->size) > LEAST_NOISE * noise)) {
        char steps[64] = "";
        if (q > 0) /* a recording from elsewhere need not tell it */
            snprintf(steps, sizeof steps, " and %.1f steps of the reading", fabs(out->size) / q);
        refuse_all(out, "the response is lost: its size is %.1f times the scatter at rest%s",
                   noise > 0 ? fabs(out->size) / noise : INFINITY, steps);
        return false;
    }
    double moved = es_plateau_movement(&out->after) / fabs(out->size);
    if (moved > MOST_MOVEMENT) {
        refuse_all(out, "not settled: still moving by %.1f %% of the step in the last %.2f s", 100 * moved,
                   out->after.length);
        return false;
    }
    return take_start(in, out);
}

/* A channel that refreshes more slowly than it is sampled repeats its values while everything moves, each
 * about as often; what sticks in between repeats one of them for long. */
static double refresh_seen(const struct es_samples *s, double from, double to, double resolution)
{
    size_t a = es_samples_at(s, from), b = es_samples_at(s, to), changes = 0;
    size_t same = 0, longest = 0;
    if (b < a + 6)
        return 0;
    for (size_t i = a + 1; i < b; i++) {
        same = s->y[i] == s->y[i - 1] ? same + 1 : 0;
        changes += same == 0;
        longest = same > longest ? same : longest;
    }
    double per_sample = fabs(s->y[b - 1] - s->y[a]) / (double)(b - 1 - a);
    double each = changes ? (double)(b - 1 - a) / (double)changes : 0;
    if (changes == 0 || per_sample < resolution || each < 1.4 || (double)longest > 2 * each + 1)
        return 0;
    return s->interval * each;
}

struct shape {
    struct es_curve_view view;
    int sign;
    size_t smooth;   /* half-width, samples, of means that look for first passages */
    double t10, t63; /* s, crude */
    double noise;    /* of one reading */
};

/* A recording that ends as soon as the response has settled: its last part still approaches the final value.
 * Of an exponential approach by M over a length L the mean lies M tau / L short, whatever is still to come;
 * tau by the rise (10 % to 63 %: 0.887 tau). Where no movement stands out, what such an approach would still
 * leave is somewhere between none and all of it: its middle, and a rectangle. */
static void carry_to_rest(const struct es_step_input *in, const struct shape *sh, struct es_step *out)
{
    double moved = es_plateau_movement(&out->after), tau = (sh->t63 - sh->t10) / 0.887;
    double length = out->after.length, short_of = 0;
    if (!(length > 0) || !(tau > 0))
        return;
    if (moved > 0 && out->after.drift * out->size > 0) {
        short_of = moved * fmin(1, tau / length);
    } else {
        double rests = in->end - in->rest * (in->end - in->origin);
        double left = 0.37 * exp(-fmax(0, rests - sh->t63) / tau);
        short_of = 0.5 * left * fmin(1, tau / length) * fabs(out->size);
        out->u_rest = es_rectangular(short_of);
    }
    out->after.mean += copysign(short_of, out->size);
    out->size = out->after.mean - out->before.mean;
}

/* Crude times of the rise; false when it does not pass 63 %. */
static bool take_rise(const struct es_step_input *in, const struct es_step *out, struct shape *sh)
{
    double y0 = out->before.mean, noise = sh->view.s;
    sh->smooth = 0;
    while (sh->smooth < 200 && noise / sqrt(2.0 * (double)sh->smooth + 1) > 0.02 * fabs(out->size))
        sh->smooth++;
    sh->t10 = es_first_passage(&sh->view, y0 + 0.1 * out->size, sh->sign, in->origin, sh->smooth);
    sh->t63 = es_first_passage(&sh->view, y0 + 0.63 * out->size, sh->sign, in->origin, sh->smooth);
    return isfinite(sh->t63) && isfinite(sh->t10);
}

static bool take_shape(const struct es_step_input *in, struct es_step *out, struct shape *sh)
{
    const struct es_samples *s = in->samples;
    sh->noise = sqrt(0.5 * (out->before.s * out->before.s + out->after.s * out->after.s));
    double n0 = (double)out->before.n, n1 = (double)out->after.n;
    double correlated = (n0 * out->before.inflation + n1 * out->after.inflation) / (n0 + n1);
    double noise = fmax(sh->noise, in->u.resolution / sqrt(12.0));
    sh->view = (struct es_curve_view){s->t, s->y, s->n, noise, correlated};
    sh->sign = out->size > 0 ? 1 : -1;
    if (!take_rise(in, out, sh)) {
        refuse_all(out, "the response does not pass 63 %% of its own size after the command");
        return false;
    }
    carry_to_rest(in, sh, out);
    out->refresh = fmax(in->u.refresh, refresh_seen(s, sh->t10, sh->t63, in->u.resolution));
    if (out->refresh > s->interval && s->interval > 0)
        sh->view.inflation = fmax(correlated, out->refresh / s->interval);
    return true;
}

/* Means in place of far more samples than the shape needs: `means`, to be freed. */
static void take_means(struct es_step_input *in, const struct es_step *out, struct shape *sh,
                       struct es_samples *means)
{
    struct shape by_means = *sh;
    if (!es_curve_by_means(in->samples, sh->t10, sh->t63, sh->noise, in->u.resolution, &by_means.view,
                           means) ||
        !take_rise(in, out, &by_means))
        return;
    *sh = by_means;
    in->samples = means;
}

/* Uncertainty of a level at share f of the step, from both rests. */
static double level_u(const struct es_step_input *in, const struct es_step *s, double f)
{
    double q0 = es_resolution_u(in->u.resolution, s->before.s),
           q1 = es_resolution_u(in->u.resolution, s->after.s);
    double u0 = hypot(s->before.u_mean, q0), u1 = hypot(s->after.u_mean, q1);
    u0 = hypot(u0, es_rectangular(0.5 * s->stirred * s->size));
    u1 = hypot(hypot(u1, s->u_rest), es_rectangular(0.5 * es_plateau_movement(&s->after)));
    return hypot((1 - f) * u0, f * u1);
}

/* Half-width of means whose first passage of share f is not chance. */
static size_t passage_smoothing(const struct es_step_input *in, const struct shape *sh,
                                const struct es_step *out, double f)
{
    double wanted = 0.2 * fmin(f, 1 - f) * fabs(out->size), noise = sh->view.s * sqrt(sh->view.inflation);
    double most = in->samples->interval > 0 ? 0.4 * (sh->t63 - sh->t10) / in->samples->interval : 0;
    size_t m = sh->smooth;
    while ((double)m < most && noise / sqrt(2.0 * (double)m + 1) > wanted)
        m++;
    return m;
}

static void crossing_time(const struct es_step_input *in, const struct shape *sh, struct es_step *out,
                          enum es_step_figure figure)
{
    struct es_estimate *e = &out->figures[figure];
    double f = figure == ES_STEP_SHARE ? in->share : levels[figure], level = out->before.mean + f * out->size;
    double rise = sh->t63 - sh->t10;
    size_t smooth = passage_smoothing(in, sh, out, f);
    double guess = es_first_passage(&sh->view, level, sh->sign, in->origin, smooth);
    size_t inside = es_samples_at(in->samples, sh->t63) - es_samples_at(in->samples, sh->t10);
    struct es_local l;
    if (inside < LEAST_IN_RISE) {
        refuse(e,
               "sampled too slowly: %zu samples between 10 %% and 63 %% of the step, at least %d are needed",
               inside, LEAST_IN_RISE);
        return;
    }
    /* flat near the end: more of the curve is needed, and it bends less */
    double widest = fmax((f > 0.9 ? 0.75 : 0.6) * rise, 3 * in->samples->interval);
    double near = 2 * widest / fmax(in->samples->interval, 1e-9),
           noise = sh->view.s * sqrt(sh->view.inflation / near);
    if (noise > HIDDEN * fmin(f, 1 - f) * fabs(out->size)) {
        refuse(e, "noise hides where the response passes %.1f %% of the step", 100 * f);
        return;
    }
    if (!isfinite(guess) || (!es_local_crossing(&sh->view, level, guess, widest, &l) &&
                             !es_local_passage(&sh->view, level, sh->sign, in->origin, smooth, &l))) {
        refuse(e, "the response does not clearly pass %.1f %% of the step", 100 * f);
        return;
    }
    /* within a local fit, steps of the reading average out by half at best when noise does not dither them */
    double steps = 0.5 * es_resolution_u(in->u.resolution, out->after.s);
    double u_level = hypot(level_u(in, out, f), steps) / fabs(l.slope);
    if (!(hypot(l.u_at, u_level) < 0.5 * (l.at - in->origin))) {
        refuse(e, "noise hides where the response passes %.1f %% of the step", 100 * f);
        return;
    }
    double late = es_timing_terms(&in->u, out->refresh, in->u_origin, &e->budget), pause;
    if (es_local_pause(&sh->view, &l, u_level * fabs(l.slope), sh->sign, in->origin, &l.at, &pause)) {
        es_budget_add_rectangle(&e->budget, ES_TERM_REPEAT, pause);
    } else {
        es_budget_add(&e->budget, ES_TERM_REPEAT, l.u_at, 30);
        es_budget_add(&e->budget, ES_TERM_REPEAT, u_level, fmin(out->before.dof, out->after.dof));
    }
    e->value = l.at - in->origin - late;
    e->valid = true;
}

/* The beginning of the movement; of a start that creeps, of what leaves the line along which it creeps. */
static bool find_onset(const struct es_step_input *in, const struct shape *sh, const struct es_step *out,
                       struct es_onset *onset)
{
    struct es_curve_view view = sh->view;
    double *y = NULL;
    if (out->stirred > 0) {
        y = malloc(view.n * sizeof *y);
        if (!y)
            return false;
        for (size_t i = 0; i < view.n; i++)
            y[i] = view.y[i] - out->before.drift * (view.t[i] - in->origin);
        view.y = y;
    }
    bool found = es_onset_find(&view, in->origin, out->before.mean, out->after.mean, sh->t63, onset);
    free(y);
    return found;
}

static void dead_time(const struct es_step_input *in, const struct shape *sh, struct es_step *out)
{
    struct es_estimate *e = &out->figures[ES_STEP_DEAD_TIME];
    struct es_onset onset;
    if (!find_onset(in, sh, out, &onset)) {
        refuse(e, "too few samples around the beginning of the response");
        return;
    }
    double late = es_timing_terms(&in->u, out->refresh, in->u_origin, &e->budget);
    es_budget_add(&e->budget, ES_TERM_REPEAT, onset.u_at, 20);
    /* a start that creeps leaves open which part of the movement is the answer */
    double creep = out->stirred / 0.1 * fmax(0, sh->t10 - onset.at);
    es_budget_add(&e->budget, ES_TERM_REPEAT, es_rectangular(creep), INFINITY);
    /* between two samples nothing is known of where a sharp beginning was */
    es_budget_add(&e->budget, ES_TERM_REPEAT, es_rectangular(0.1 * in->samples->interval), INFINITY);
    e->value = fmax(0, onset.at - in->origin - late);
    e->valid = true;
}

static void overshoot(const struct es_step_input *in, const struct shape *sh, struct es_step *out)
{
    struct es_estimate *e = &out->figures[ES_STEP_OVERSHOOT];
    double size = fabs(out->size), rise = sh->t63 - sh->t10;
    struct es_local peak = {0};
    double at = es_settling_summit(in->samples, sh->view.s / size * sqrt(sh->view.inflation), sh->t63,
                                   sh->sign, rise);
    bool found = isfinite(at) && es_local_peak(&sh->view, sh->sign, at, 0.5 * rise, &peak);
    double over = found ? sh->sign * (peak.value - out->after.mean) / size : 0;
    double u_end = level_u(in, out, 1) / size, u_start = level_u(in, out, 0) / size;
    double u = hypot(found ? peak.u_value / size : 0, hypot(u_end * (1 + over), u_start * over));
    /* the highest stretch of nothing but noise, of all steps, stands out so far in 5 sets of 100 */
    double stretches = fmax(2, (in->end - sh->t63) / fmax(peak.half_width, in->samples->interval));
    double chance = es_seldom_exceeded(stretches * (double)(in->many ? in->many : 1));
    double least = fmax(2 * in->u.resolution / size, chance * hypot(u, u_end));
    if (!found)
        least = fmax(least, chance * sh->view.s / size / sqrt(2.0 * (double)sh->smooth + 1));
    if (over <= least) { /* nothing that stands out: between none and what would have stood out */
        e->value = 0;
        es_budget_add(&e->budget, ES_TERM_REPEAT, es_rectangular(least), INFINITY);
    } else {
        e->value = over;
        es_budget_add(&e->budget, ES_TERM_REPEAT, u, 30);
        es_budget_add(&e->budget, ES_TERM_REPEAT, es_resolution_u(in->u.resolution, sh->noise) / size,
                      INFINITY);
    }
    e->valid = true;
}

static void settling(const struct es_step_input *in, const struct shape *sh, struct es_step *out)
{
    struct es_estimate *e = &out->figures[ES_STEP_SETTLING];
    struct es_settling_input si = {
        .samples = in->samples,
        .view = sh->view,
        .origin = in->origin,
        .start = out->before.mean,
        .end_level = out->after.mean,
        .u_level = level_u(in, out, 1),
        .band = in->band,
        .resolution = in->u.resolution,
        .rise = sh->t63 - sh->t10,
        .rest_from = in->end - in->rest * (in->end - in->origin),
    };
    struct es_settled settled;
    if (!es_settling_find(&si, &settled)) {
        refuse(e, "%s", settled.reason);
        return;
    }
    double late = es_timing_terms(&in->u, out->refresh, in->u_origin, &e->budget);
    es_budget_add(&e->budget, ES_TERM_REPEAT, settled.u_at, 30);
    es_budget_add_rectangle(&e->budget, ES_TERM_REPEAT, settled.half_width);
    e->value = settled.at - in->origin - late;
    e->valid = true;
}

void es_step_analyse(const struct es_step_input *input, struct es_step *out)
{
    memset(out, 0, sizeof *out);
    struct es_step_input means = *input;
    const struct es_step_input *in = &means;
    struct es_samples thin = {0};
    struct shape sh;
    if (!take_levels(in, out) || !take_shape(in, out, &sh))
        return;
    take_means(&means, out, &sh, &thin);
    out->carried = true;
    dead_time(in, &sh, out);
    for (enum es_step_figure f = ES_STEP_T63; f <= ES_STEP_T98; f++)
        crossing_time(in, &sh, out, f);
    if (in->share > 0)
        crossing_time(in, &sh, out, ES_STEP_SHARE);
    overshoot(in, &sh, out);
    settling(in, &sh, out);
    es_samples_free(&thin);
}
