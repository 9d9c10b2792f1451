/* Stroke: end positions, travel, stroking times, and the shaft's angle at both ends.
 * Common practice, no published source. End position: mean of the last part of the recording before the next
 * command, and only where it rests there. Stroking time: from the command having acted until the travel has
 * passed `complete at` of the way between the two end positions. Over several strokes: mean of the ends,
 * longest of the times. Angle asymmetry: sum of the angles at both ends, 0 when they lie symmetrically about
 * the shaft's mid position (for a lever: square to the stem at mid travel). */
#include <math.h>
#include <stddef.h>
#include <stdio.h>

#include "procedures/measures/local_fit.h"
#include "procedures/measures/measures.h"
#include "procedures/measures/numeric/passes.h"
#include "procedures/measures/outputs.h"
#include "procedures/measures/plateau.h"
#include "procedures/measures/samples.h"
#include "procedures/measures/timing.h"

enum {
    TRAVEL,
    TIME_UP,
    TIME_DOWN,
    LOWER_END,
    UPPER_END,
    ANGLE_LOWER,
    ANGLE_UPPER,
    ANGLE_TRAVEL,
    ANGLE_ASYMMETRY,
    OUTPUTS
};

struct settings {
    int channel, angle, demand;
    double complete_at, rest;
};

static const struct es_field rows[] = {
    ES_ROLE_SETTING("channel", struct settings, channel, false, "travel", "the travel"),
    ES_ROLE_SETTING("angle", struct settings, angle, false, "shaft angle", "the angle of the unit's shaft"),
    ES_ROLE_SETTING("demand", struct settings, demand, false, "loop demand",
                    "its commands are the origin of the times"),
    ES_QUANTITY_SETTING("complete at", struct settings, complete_at, ES_DIM_RATIO, 0.5, 0.999, "98 %",
                        "share of the travel at which a stroke counts as done"),
    ES_QUANTITY_SETTING("rest", struct settings, rest, ES_DIM_TIME, 0.05, 60, "0.5 s",
                        "end of each stroke's part, over which the end position is taken"),
};

static const struct es_measure_output outputs[OUTPUTS] = {
    [TRAVEL] = {"travel", ES_DIM_COUNT, "upper end less lower end"},
    [TIME_UP] = {"time up", ES_DIM_TIME, "from the command until the stroke up is done, the longest"},
    [TIME_DOWN] = {"time down", ES_DIM_TIME, "from the command until the stroke down is done, the longest"},
    [LOWER_END] = {"lower end", ES_DIM_COUNT, "where it rests after being driven down"},
    [UPPER_END] = {"upper end", ES_DIM_COUNT, "where it rests after being driven up"},
    [ANGLE_LOWER] = {"angle at lower end", ES_DIM_ANGLE, "shaft angle there"},
    [ANGLE_UPPER] = {"angle at upper end", ES_DIM_ANGLE, "shaft angle there"},
    [ANGLE_TRAVEL] = {"angle travel", ES_DIM_ANGLE, "angle between the ends"},
    [ANGLE_ASYMMETRY] = {"angle asymmetry", ES_DIM_ANGLE,
                         "sum of the angles at both ends, 0 when symmetrical"},
};

static const char *const trace_names[] = {"recording", NULL};

static size_t roles(const void *settings, enum es_role out[static 8])
{
    const struct settings *s = settings;
    out[0] = (enum es_role)s->channel;
    out[1] = (enum es_role)s->angle;
    return 2;
}

static double rate_needed(const void *settings, size_t output, double tolerance)
{
    (void)settings;
    bool is_time = output == TIME_UP || output == TIME_DOWN;
    return is_time && isfinite(tolerance) && tolerance > 0 ? 20 / tolerance : 0;
}

static double expected_u(const void *settings, size_t output, const struct es_channel_uncertainty *const *u,
                         const struct es_facts *facts)
{
    const struct settings *s = settings;
    bool of_angle = output >= ANGLE_LOWER;
    const struct es_channel_uncertainty *c = u[of_angle ? s->angle : s->channel];
    if (!c)
        return NAN;
    if (output == TIME_UP || output == TIME_DOWN)
        return es_timing_u(c);
    double one = es_resolution_u(c->resolution, 0);
    if (output == ANGLE_TRAVEL || output == TRAVEL) {
        const struct es_fact *full = output == TRAVEL ? es_fact_find(facts, "full travel") : NULL;
        return hypot(one * sqrt(2.0), full ? c->gain * full->value : 0);
    }
    double twice = output == ANGLE_ASYMMETRY ? 2 : 1;
    return hypot(one * sqrt(twice), hypot(c->offset * twice, c->repeatability));
}

/* Where one series rests at one end: the mean over all rests there. */
struct end {
    size_t count;
    double mean;
    double movement;               /* largest over one rest */
    struct es_budget noise, white; /* white: as if readings were not correlated */
    double square, neighbours;     /* sums of n s^2, and of the same from the differences of neighbours */
    size_t readings;
    bool dithered; /* one rest showed more than two steps of the reading: its noise is as wide as them */
    size_t first, last;
    char reason[160];
};

/* One more rest into the noise of a mean over n of them, which are independent. */
static void add_noise(struct es_budget *mean, const struct es_budget *one, double n)
{
    double keep = pow(n / (n + 1), 2), take = 1 / ((n + 1) * (n + 1));
    mean->square[ES_TERM_REPEAT] = mean->square[ES_TERM_REPEAT] * keep + one->square[ES_TERM_REPEAT] * take;
    mean->fourth_per_dof[ES_TERM_REPEAT] = mean->fourth_per_dof[ES_TERM_REPEAT] * keep * keep +
                                           one->fourth_per_dof[ES_TERM_REPEAT] * take * take;
}

static void add_rest(struct end *e, const struct es_plateau *p, const struct es_samples *s)
{
    double n = (double)e->count, readings = (double)p->n, q = s->series->u.resolution;
    struct es_budget b = {0}, w = {0};
    es_budget_add(&b, ES_TERM_REPEAT, p->u_mean, p->dof);
    es_budget_add(&w, ES_TERM_REPEAT, p->s / sqrt(readings), fmax(readings - 2, 1));
    if (e->count == 0)
        e->first = es_samples_index(s, 0);
    e->last = es_samples_index(s, s->n - 1);
    e->mean = (e->mean * n + p->mean) / (n + 1);
    add_noise(&e->noise, &b, n);
    add_noise(&e->white, &w, n);
    e->square += readings * p->s * p->s;
    e->neighbours += readings * p->neighbours * p->neighbours;
    e->readings += p->n;
    if (p->s > 0 && p->s < q) {
        struct es_range r = es_range_of(s->y, s->n);
        e->dithered |= r.most - r.least > 1.5 * q;
    }
    e->movement = fmax(e->movement, es_plateau_movement(p));
    e->count++;
}

/* A rest of 25 readings alone looks correlated by chance in 13 cases of 100, and then by much, and its
 * scatter is known to a seventh only, which decides what the steps of the reading leave. All rests are
 * readings of one instrument in one recording: together they say whether its noise is correlated (lag-1
 * autocorrelation of white noise: standard deviation 1 / sqrt(n)) and how large it is. */
static void judge_noise(struct end ends[2], double resolution)
{
    double square = ends[0].square + ends[1].square, neighbours = ends[0].neighbours + ends[1].neighbours;
    double n = (double)(ends[0].readings + ends[1].readings);
    if (!(n > 0))
        return;
    double least = ends[0].dithered || ends[1].dithered ? 0.5 * resolution : 0;
    double u = es_resolution_u(resolution, fmax(sqrt(square / n), least));
    bool white = square > 0 && 1 - neighbours / square <= 1 / sqrt(n);
    for (int i = 0; i < 2; i++) {
        if (white)
            ends[i].noise = ends[i].white;
        if (ends[i].count)
            es_budget_add(&ends[i].noise, ES_TERM_REPEAT, u / sqrt((double)ends[i].count), INFINITY);
    }
}

static enum es_status take_rest(const struct es_series *series, double from, double to, struct end *e,
                                struct es_error *err)
{
    struct es_samples samples;
    struct es_plateau p;
    char text[160];
    enum es_status status = es_samples_take_level(series, from, to, &samples, err);
    if (status != ES_OK)
        return status;
    const char *why = es_samples_unfit(&samples, 5, text);
    if (why)
        snprintf(e->reason, sizeof e->reason, "%s", why);
    else if (es_plateau_of_samples(&samples, &p))
        add_rest(e, &p, &samples);
    es_samples_free(&samples);
    return ES_OK;
}

/* The k-th command of the demand and when its part ends; NULL when there are fewer. */
static const struct es_command *command(const struct settings *s, const struct es_trace *trace, size_t k,
                                        double *end)
{
    const struct es_command *found = NULL;
    for (size_t i = 0; i < trace->command_count; i++) {
        const struct es_command *c = &trace->commands[i];
        if ((int)c->role != s->demand)
            continue;
        if (found) {
            *end = c->t;
            return found;
        }
        if (k-- == 0) {
            found = c;
            *end = trace->duration;
        }
    }
    return found;
}

static double last_time(const struct es_series *series)
{
    return series->count ? series->t[series->count - 1] : 0;
}

/* Rests at both ends: ends[0] lower, ends[1] upper. The rest before the first command counts where it is
 * long enough. */
static enum es_status take_ends(const struct settings *s, const struct es_trace *trace,
                                const struct es_series *series, struct end ends[2], struct es_error *err)
{
    const struct es_command *c;
    double end;
    for (size_t k = 0; (c = command(s, trace, k, &end)); k++) {
        bool up = c->to > c->from || !isfinite(c->from);
        end = fmin(end, last_time(series));
        if (k == 0 && series->count && c->t - series->t[0] >= s->rest) {
            enum es_status status = take_rest(series, c->t - s->rest, c->t, &ends[!up], err);
            if (status != ES_OK)
                return status;
        }
        if (end - c->t < 2 * s->rest) {
            snprintf(ends[up].reason, sizeof ends[up].reason, "too short: only %.2f s after a command",
                     end - c->t);
            continue;
        }
        enum es_status status = take_rest(series, end - s->rest, end, &ends[up], err);
        if (status != ES_OK)
            return status;
    }
    judge_noise(ends, series->u.resolution);
    return ES_OK;
}

#define LEAST_ANGLE 0.001 /* rad: movement of the shaft that does not count */

/* Movement of the travel that does not count: of the full travel where it is known, and a few steps. */
static double least_movement(const struct es_series *travel, const struct es_facts *facts)
{
    const struct es_fact *full = es_fact_find(facts, "full travel");
    double share = full && full->dimension == travel->dimension ? 0.002 * fabs(full->value) : 0;
    return fmax(share, 3 * travel->u.resolution);
}

/* `least`: a movement too small to matter whatever the travel. */
static bool ends_hold(struct end ends[2], double rest, double least, struct es_measured *const refuse_in[],
                      size_t count)
{
    const char *why = NULL;
    char text[160];
    double way = fabs(ends[1].mean - ends[0].mean);
    for (int i = 0; i < 2 && !why; i++) {
        if (ends[i].reason[0])
            why = ends[i].reason;
        else if (ends[i].count == 0)
            why = i ? "it was never driven up" : "it was never seen at rest at the lower end";
        else if (ends[i].movement > fmax(0.005 * way, least)) {
            snprintf(text, sizeof text,
                     "not at rest at the %s end: moved by %.2f %% of the travel in the last %.1f s",
                     i ? "upper" : "lower", 100 * ends[i].movement / way, rest);
            why = text;
        }
    }
    for (size_t i = 0; why && i < count; i++)
        es_measured_refuse(refuse_in[i], "%s", why);
    return !why;
}

/* Combination a * lower + b * upper of the two ends of one channel. */
static void combine(const struct end ends[2], double a, double b, const struct es_series *series,
                    struct es_measured *m)
{
    struct es_budget budget = {0};
    const double factor[2] = {a, b};
    for (int i = 0; i < 2; i++) {
        double f = factor[i] * factor[i];
        budget.square[ES_TERM_REPEAT] += f * ends[i].noise.square[ES_TERM_REPEAT];
        budget.fourth_per_dof[ES_TERM_REPEAT] += f * f * ends[i].noise.fourth_per_dof[ES_TERM_REPEAT];
    }
    double value = a * ends[0].mean + b * ends[1].mean;
    struct es_channel_uncertainty u = series->u;
    if (a + b == 0) /* both ends in one act: what connecting and settling adds is in both */
        u.repeatability = 0;
    es_channel_terms(&budget, &u, a + b, value, 1);
    es_measured_set(m, value, &budget);
    m->role = series->role;
    m->first = a != 0 && b != 0 ? (ends[0].first < ends[1].first ? ends[0].first : ends[1].first)
                                : ends[b != 0].first;
    m->last =
        a != 0 && b != 0 ? (ends[0].last > ends[1].last ? ends[0].last : ends[1].last) : ends[b != 0].last;
}

/* Samples up to where the travel has come to its stop: a curve through the kink there would bend away from
 * the stroke. */
static size_t before_stop(const struct es_curve_view *c, double guess, double stop, int sign)
{
    size_t n = 0;
    while (n < c->n && (c->t[n] < guess || sign * (c->y[n] - stop) < 0))
        n++;
    return n;
}

/* Half-width of means in which noise is a quarter of what is left of the way, and the passages of half the
 * way and of the level. */
static size_t passages(const struct es_curve_view *c, double complete_at, double from, double to,
                       double origin, double *half, double *guess)
{
    size_t m = 0;
    int sign = to > from ? 1 : -1;
    while (m < 200 && c->s / sqrt(2.0 * (double)m + 1) > 0.25 * (1 - complete_at) * fabs(to - from))
        m++;
    *half = es_first_passage(c, from + 0.5 * (to - from), sign, origin, m);
    /* not before half of the way: from the last mean before it on */
    size_t at = es_first_at(c->t, c->n, *half);
    double begin = isfinite(*half) && at > m + 1 ? fmax(origin, c->t[at - m - 1]) : origin;
    *guess = es_first_passage(c, from + complete_at * (to - from), sign, begin, m);
    return m;
}

/* Time of one stroke; refused in m with its reason. */
static void stroke_time(const struct settings *s, const struct es_samples *all,
                        const struct es_series *series, const struct es_command *c, const struct end ends[2],
                        struct es_measured *m)
{
    bool up = c->to > c->from || !isfinite(c->from);
    double from = ends[!up].mean, to = ends[up].mean;
    double level = from + s->complete_at * (to - from);
    int sign = to > from ? 1 : -1;
    double noise = sqrt(fmax(ends[0].noise.square[ES_TERM_REPEAT], ends[1].noise.square[ES_TERM_REPEAT]));
    struct es_plateau rest = {0};
    size_t tail = es_samples_at(all, all->n ? all->t[all->n - 1] - s->rest : 0);
    if (es_plateau_of(all->t + tail, all->y + tail, all->n - tail, &rest))
        noise = rest.s;
    struct es_curve_view view = {all->t, all->y, all->n, noise, 1};
    struct es_samples means = {0};
    const struct es_samples *samples = all;
    double half, guess;
    size_t m_smooth = passages(&view, s->complete_at, from, to, c->t, &half, &guess);
    double near = guess - half; /* crossings are looked for in half of that beside the guess */
    if (es_curve_by_means_between(all, half, guess, half - near, guess + near, noise, series->u.resolution,
                                  &view, &means)) {
        samples = &means;
        m_smooth = passages(&view, s->complete_at, from, to, c->t, &half, &guess);
    }
    struct es_local l;
    double widest = fmax(0.5 * (guess - half), 3 * samples->interval);
    struct es_curve_view whole = view;
    view.n = before_stop(&whole, guess, to - sign * 3 * view.s, sign);
    if (!isfinite(guess) || (!es_local_crossing(&view, level, guess, widest, &l) &&
                             !es_local_crossing(&whole, level, guess, widest, &l) &&
                             !es_local_passage(&whole, level, sign, c->t, m_smooth, &l))) {
        char way[48];
        es_quantity_format(to - from, es_dimension_unit(series->dimension), 2, way, sizeof way);
        es_measured_refuse(m, "the stroke %s, from end to end %s, was not seen to be done",
                           up ? "up" : "down", way);
        es_samples_free(&means);
        return;
    }
    struct es_budget b = {0};
    double late = es_timing_terms(&series->u, fmax(series->u.refresh, 0), c->u_t, &b);
    double u_level = hypot(noise / sqrt((double)rest.n + 1), es_resolution_u(series->u.resolution, rest.s));
    es_budget_add(&b, ES_TERM_REPEAT, l.u_at, 30);
    es_budget_add(&b, ES_TERM_REPEAT, u_level / fabs(l.slope), 30);
    struct es_measured now = *m;
    es_measured_set(&now, l.at - c->t - late, &b);
    now.role = series->role;
    now.first = es_samples_index(all, 0);
    now.last = es_samples_index(all, all->n - 1);
    es_samples_free(&means);
    if (!m->valid || !now.valid || now.value > m->value)
        *m = now;
}

static enum es_status take_times(const struct settings *s, const struct es_trace *trace,
                                 const struct es_series *series, const struct end ends[2],
                                 struct es_measured *out, struct es_error *err)
{
    const struct es_command *c;
    double end;
    bool lost[2] = {false, false};
    es_measured_refuse(&out[TIME_UP], "it was never driven up");
    es_measured_refuse(&out[TIME_DOWN], "it was never driven down");
    for (size_t k = 0; (c = command(s, trace, k, &end)); k++) {
        bool up = c->to > c->from || !isfinite(c->from);
        struct es_measured *m = &out[up ? TIME_UP : TIME_DOWN];
        bool starts_there = k > 0 || (series->count && c->t - series->t[0] >= s->rest);
        if (lost[up] || !starts_there)
            continue;
        struct es_samples samples;
        enum es_status status = es_samples_take(series, c->t - s->rest, end, &samples, err);
        if (status != ES_OK)
            return status;
        char text[160];
        const char *why = es_samples_unfit(&samples, 10, text);
        if (why)
            es_measured_refuse(m, "%s", why);
        else
            stroke_time(s, &samples, series, c, ends, m);
        lost[up] = !m->valid;
        es_samples_free(&samples);
    }
    return ES_OK;
}

static enum es_status evaluate(const void *settings, const struct es_trace *const *traces,
                               const struct es_facts *facts, struct es_measured *out, struct es_error *err)
{
    const struct settings *s = settings;
    const struct es_trace *trace = traces[0];
    const struct es_series *travel = es_trace_series(trace, (enum es_role)s->channel);
    const struct es_series *angle = es_trace_series(trace, (enum es_role)s->angle);
    enum es_dimension dimension =
        travel ? travel->dimension : es_role_info((enum es_role)s->channel)->dimension;
    for (int o = 0; o < OUTPUTS; o++)
        es_measured_start(&out[o], outputs[o].name,
                          outputs[o].dimension == ES_DIM_COUNT ? dimension : outputs[o].dimension);
    struct es_measured *const of_travel[] = {&out[TRAVEL], &out[LOWER_END], &out[UPPER_END], &out[TIME_UP],
                                             &out[TIME_DOWN]};
    struct es_measured *const of_angle[] = {&out[ANGLE_LOWER], &out[ANGLE_UPPER], &out[ANGLE_TRAVEL],
                                            &out[ANGLE_ASYMMETRY]};
    struct end ends[2] = {0}, angles[2] = {0};
    enum es_status status = ES_OK;
    for (size_t i = 0; !travel && i < 5; i++)
        es_measured_refuse(of_travel[i], "the recording has no series of the travel");
    for (size_t i = 0; !angle && i < 4; i++)
        es_measured_refuse(of_angle[i], "the recording has no series of the shaft angle");
    if (travel && (status = take_ends(s, trace, travel, ends, err)) == ES_OK &&
        ends_hold(ends, s->rest, least_movement(travel, facts), of_travel, 5)) {
        double sign = ends[1].mean >= ends[0].mean ? 1 : -1;
        combine(ends, -sign, sign, travel, &out[TRAVEL]);
        combine(ends, 1, 0, travel, &out[LOWER_END]);
        combine(ends, 0, 1, travel, &out[UPPER_END]);
        status = take_times(s, trace, travel, ends, out, err);
    }
    if (angle && status == ES_OK && (status = take_ends(s, trace, angle, angles, err)) == ES_OK &&
        ends_hold(angles, s->rest, LEAST_ANGLE, of_angle, 4)) {
        double sign = angles[1].mean >= angles[0].mean ? 1 : -1;
        combine(angles, 1, 0, angle, &out[ANGLE_LOWER]);
        combine(angles, 0, 1, angle, &out[ANGLE_UPPER]);
        combine(angles, -sign, sign, angle, &out[ANGLE_TRAVEL]);
        combine(angles, 1, 1, angle, &out[ANGLE_ASYMMETRY]);
    }
    return status;
}

const struct es_measure es_measure_stroke = {
    .name = "stroke",
    .meaning = "end positions, travel, stroking times and shaft angles of full strokes",
    .source = "common practice, no published source",
    .trace_names = trace_names,
    .facts_needed = es_no_facts,
    .facts_used = (const char *const[]){"full travel", NULL},
    .settings = rows,
    .setting_count = sizeof rows / sizeof rows[0],
    .setting_size = sizeof(struct settings),
    .outputs = outputs,
    .output_count = OUTPUTS,
    .roles = roles,
    .rate_needed = rate_needed,
    .expected_u = expected_u,
    .evaluate = evaluate,
};
