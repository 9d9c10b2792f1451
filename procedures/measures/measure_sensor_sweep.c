/* Sensor sweep: the unit's position sensor against the bench's reference encoder, turned to and fro between
 * its end stops at two speeds.
 *
 * Of the static curve (mean of both directions, delay taken out), as shares of the sensor's own span over the
 * judged range:
 *   linearity terminal-based   largest deviation from the line through both end points   | IEC 61298-2,
 *   linearity independent      largest deviation from the line that makes it least       | from memory
 *   hysteresis                 largest difference between the directions at one angle    |
 *   repeatability              largest difference between legs of one direction          |
 * smoothness: largest departure of a stretch of 1 % of the range from the course of its surroundings (a
 * parabola: the track's bend is linearity's); as in specifications of potentiometers ("output smoothness"),
 * from memory. Dropouts: readings that are not good or off their leg's smooth course by more than `dropout
 * deviation`; counted by place, not by leg. Reversals: places where the mean curve runs backwards by more
 * than noise and one step of the reading. The judged range keeps 3 % from both ends of what was swept, where
 * play is not yet taken up after the turn; dropouts, margins, reversals and usable range are of all that was
 * swept. Margins: how far the reading keeps from 0 and from 1 over all that was swept. Usable range: widest
 * stretch free of dropouts with the reading within `usable low` .. `usable high`. Where the track ends inside
 * the sweep (sweep_track.h) it ends there, and all other figures are of the track alone. Common practice, no
 * published source. A delay between the two instruments looks like hysteresis (34 ms at 35 deg/s: 2.4 deg).
 * The two speeds tell them apart (sweep_curve.h); with one speed hysteresis is refused. Play of the reference
 * itself: reference_play.h. */
#include <math.h>
#include <stdio.h>
#include <stdlib.h>

#include "procedures/measures/budget.h"
#include "procedures/measures/largest.h"
#include "procedures/measures/measures.h"
#include "procedures/measures/numeric/minimax_line.h"
#include "procedures/measures/numeric/summary.h"
#include "procedures/measures/outputs.h"
#include "procedures/measures/reference_play.h"
#include "procedures/measures/sweep_curve.h"
#include "procedures/measures/sweep_dense.h"
#include "procedures/measures/sweep_faults.h"
#include "procedures/measures/sweep_track.h"
#include "procedures/measures/sweep_turns.h"
#include "procedures/measures/unified.h"

#define DEGREE         0.017453292519943295
#define LEAST_CHANGE   0.02 /* of the reading over the judged range: less is no sensor */
#define MOST_DELAY     0.5  /* s */
#define STANDS         0.3  /* of the usual way between two readings: less is standing still */
#define LEAST_STANDING 5    /* readings at a turn that tell where it was */
#define INSET          0.03 /* of what was swept, at each end: there the direction has only just changed */

enum {
    USABLE,
    MARGIN_LOW,
    MARGIN_HIGH,
    TERMINAL,
    INDEPENDENT,
    HYSTERESIS,
    REPEATABILITY,
    SMOOTHNESS,
    DROPOUTS,
    WIDEST,
    REVERSALS,
    DELAY,
    NOISE,
    OUTPUTS
};

struct settings {
    int angle, sensor, drive;
    double from, to, deviation, usable_low, usable_high, most_play;
    long points;
};

static const struct es_field rows[] = {
    ES_ROLE_SETTING("angle", struct settings, angle, false, "shaft angle", "the reference"),
    ES_ROLE_SETTING("sensor", struct settings, sensor, false, "sensor ratio", "the unit's sensor"),
    ES_ROLE_SETTING("drive", struct settings, drive, false, "shaft drive",
                    "what turns the shaft: its writes tell play of the reference"),
    ES_QUANTITY_SETTING("most play", struct settings, most_play, ES_DIM_ANGLE, 0, 0.2, "0.2 deg",
                        "play of the reference above which the sensor is not judged"),
    ES_QUANTITY_SETTING("from", struct settings, from, ES_DIM_ANGLE, -7, 7, "-400 deg",
                        "judged range: its beginning, where less than what was swept"),
    ES_QUANTITY_SETTING("to", struct settings, to, ES_DIM_ANGLE, -7, 7, "400 deg",
                        "judged range: its end, where less than what was swept"),
    {.name = "points",
     .kind = ES_FIELD_INTEGER,
     .offset = offsetof(struct settings, points),
     .min = 5,
     .max = ES_SWEEP_MAX_POINTS,
     .fallback = "21",
     .meaning = "angles at which static figures are taken"},
    ES_QUANTITY_SETTING("dropout deviation", struct settings, deviation, ES_DIM_RATIO, 1e-4, 0.5, "1 %",
                        "a reading this far from its surroundings is a dropout"),
    ES_QUANTITY_SETTING("usable low", struct settings, usable_low, ES_DIM_RATIO, 0, 1, "1 %",
                        "least reading that counts as usable"),
    ES_QUANTITY_SETTING("usable high", struct settings, usable_high, ES_DIM_RATIO, 0, 1, "99 %",
                        "largest reading that counts as usable"),
};

static const struct es_measure_output outputs[OUTPUTS] = {
    [USABLE] = {"usable range", ES_DIM_ANGLE,
                "widest range without fault and with the reading within its bounds"},
    [MARGIN_LOW] = {"margin low", ES_DIM_RATIO, "least reading over what was swept: its distance from 0"},
    [MARGIN_HIGH] = {"margin high", ES_DIM_RATIO, "1 less the largest reading over what was swept"},
    [TERMINAL] = {"linearity terminal-based", ES_DIM_RATIO,
                  "largest deviation from the line through both ends"},
    [INDEPENDENT] = {"linearity independent", ES_DIM_RATIO, "largest deviation from the best (minimax) line"},
    [HYSTERESIS] = {"hysteresis", ES_DIM_RATIO, "largest difference between the directions, delay taken out"},
    [REPEATABILITY] = {"repeatability", ES_DIM_RATIO, "largest difference between legs of one direction"},
    [SMOOTHNESS] = {"smoothness", ES_DIM_RATIO, "largest local departure from the curve's course"},
    [DROPOUTS] = {"dropouts", ES_DIM_NUMBER, "places where the reading is lost or jumps"},
    [WIDEST] = {"widest dropout", ES_DIM_ANGLE, "width of the widest of them"},
    [REVERSALS] = {"reversals", ES_DIM_NUMBER, "places where the reading runs backwards; 0 is monotonic"},
    [NOISE] = {"noise", ES_DIM_RATIO, "standard deviation of one reading about its leg's smooth course"},
    [DELAY] = {"delay", ES_DIM_TIME, "by which the sensor's reading is later than the reference's"},
};

static const char *const trace_names[] = {"recording", NULL};

static size_t roles(const void *settings, enum es_role out[static 8])
{
    const struct settings *s = settings;
    out[0] = (enum es_role)s->sensor;
    out[1] = (enum es_role)s->angle;
    return 2;
}

static double rate_needed(const void *settings, size_t output, double tolerance)
{
    (void)settings, (void)output, (void)tolerance;
    return 0; /* depends on the speed of the sweep, which the settings do not tell */
}

static double expected_u(const void *settings, size_t output, const struct es_channel_uncertainty *const *u,
                         const struct es_facts *facts)
{
    (void)facts;
    const struct settings *s = settings;
    const struct es_channel_uncertainty *a = u[s->angle], *r = u[s->sensor];
    if (!a || !r)
        return NAN;
    double step = es_resolution_u(r->resolution, 0);
    switch (output) {
    case MARGIN_LOW:
    case MARGIN_HIGH:
        return hypot(r->offset, hypot(step, output == MARGIN_HIGH ? r->gain : 0));
    case DROPOUTS:
    case REVERSALS:
        return 0;
    case USABLE:
    case WIDEST:
        return es_resolution_u(a->resolution, 0) * sqrt(2.0);
    case DELAY:
        return NAN;
    default:
        return step * sqrt(2.0);
    }
}

static void refuse_all(struct es_measured *out, const char *reason)
{
    for (int o = 0; o < OUTPUTS; o++)
        es_measured_refuse(&out[o], "%s", reason);
}

static void set(struct es_measured *m, double value, double u_repeat, double u_common)
{
    struct es_budget b = {0};
    es_budget_add(&b, ES_TERM_REPEAT, u_repeat, INFINITY);
    es_budget_add(&b, ES_TERM_COMMON, u_common, INFINITY);
    es_measured_set(m, value, &b);
}

static int extent(const struct es_sweep *s, size_t *ups, size_t *downs)
{
    *ups = *downs = 0;
    for (size_t k = 0; k < s->leg_count; k++)
        *(s->legs[k].direction > 0 ? ups : downs) += 1;
    return *ups >= 2 && *downs >= 2;
}

struct job {
    const struct settings *s;
    const struct es_trace *trace;
    const struct es_series *angle, *sensor; /* of a dense recording the means of blocks */
    struct es_sweep_dense dense;
    double per_point; /* readings that a point of the sweep is the mean of */
    struct es_sweep sweep;
    struct es_sweep_delay delay;
    struct es_sweep_curve curve;
    struct es_sweep_faults faults;
    double angle_noise; /* rad, of one reading */
    struct es_sweep_turns turns;
    struct es_sweep_track track;
    double play;      /* rad: of the reference */
    double low, high; /* judged range */
};

/* Standard uncertainty that the steps of the sensor's reading leave: its own noise decides, not that of
 * means. */
static double left_by_steps(const struct job *j)
{
    return es_resolution_u(j->sensor->u.resolution, j->curve.noise * sqrt(j->per_point));
}

/* Of the legs that were swept at `speed`: too few readings near each angle. A bus that answers late does
 * this. */
static bool sparse(const struct job *j, double speed)
{
    double spacing = (j->high - j->low) / (double)(j->s->points - 1);
    return speed * j->sweep.interval * ES_SWEEP_LEAST_NEAR > spacing;
}

static void refuse_sparse(const struct job *j, double speed, struct es_measured *m)
{
    double spacing = (j->high - j->low) / (double)(j->s->points - 1);
    es_measured_refuse(
        m,
        "read too seldom: one reading in %.1f deg of the sweep, one in %.1f deg is needed; look at "
        "the bench's bus, or sweep more slowly",
        speed * j->sweep.interval / DEGREE, spacing / ES_SWEEP_LEAST_NEAR / DEGREE);
}

static double fastest(const struct job *j)
{
    double speed = 0;
    for (size_t k = 0; k < j->sweep.leg_count; k++)
        speed = fmax(speed, j->sweep.legs[k].speed);
    return speed;
}

static double slowest(const struct job *j)
{
    double speed = INFINITY;
    for (size_t k = 0; k < j->sweep.leg_count; k++)
        speed = fmin(speed, j->sweep.legs[k].speed);
    return speed;
}

static void figures_of_points(const struct job *j, struct es_measured *out)
{
    const struct es_sweep_curve *c = &j->curve;
    double x[ES_SWEEP_MAX_POINTS] = {0}, y[ES_SWEEP_MAX_POINTS] = {0}, differences[ES_SWEEP_MAX_POINTS] = {0},
           u = 0, apart = 0, apart_u = 0;
    size_t n = c->count; /* 5 at least, by the settings' rows */
    for (size_t i = 0; i < n; i++) {
        const struct es_sweep_static *p = &c->at[i];
        if (p->ups == 0 || p->downs == 0) {
            for (int o = TERMINAL; o <= REPEATABILITY; o++)
                if (sparse(j, slowest(j)))
                    refuse_sparse(j, slowest(j), &out[o]);
                else
                    es_measured_refuse(&out[o], "no good reading near %.1f deg", p->angle / DEGREE);
            return;
        }
        x[i] = p->angle;
        y[i] = 0.5 * (p->up + p->down);
        u = fmax(u, 0.5 * hypot(p->u_up, p->u_down));
        differences[i] = fabs(p->down - p->up);
        apart = fmax(apart, differences[i]);
        apart_u = fmax(apart_u, hypot(p->u_up, p->u_down));
    }
    double span = fabs(y[n - 1] - y[0]), slope = (y[n - 1] - y[0]) / (x[n - 1] - x[0]), terminal = 0, doubt;
    double step = left_by_steps(j) / span;
    for (size_t i = 0; i < n; i++)
        terminal = fmax(terminal, fabs(y[i] - y[0] - slope * (x[i] - x[0])));
    struct es_minimax_line best;
    /* a point and the line through two others: variances 1 + 1/2 */
    double v = es_without_noise(terminal / span, sqrt(1.5) * u / span, n, &doubt);
    set(&out[TERMINAL], v, hypot(doubt, step), 0);
    if (es_minimax_line(x, y, n, &best)) {
        /* three points share it: variances 1/4 + 1/16 + 1/16 at least */
        v = es_without_noise(best.deviation / span, 0.65 * u / span, n, &doubt);
        set(&out[INDEPENDENT], v, hypot(doubt, step), 0);
    }
    if (j->delay.known) {
        /* what the delay's own uncertainty leaves of its share */
        double mean_speed = 0;
        for (size_t k = 0; k < j->sweep.leg_count; k++)
            mean_speed += j->sweep.legs[k].speed / (double)j->sweep.leg_count;
        double left = 2 * mean_speed * j->delay.u * fabs(c->slope) / span;
        left = hypot(left, es_rectangular(j->play) * fabs(c->slope) / span);
        v = es_without_excess(differences, n, apart, apart_u, &doubt);
        set(&out[HYSTERESIS], v / span, hypot(hypot(doubt / span, left), step), 0);
    } else if (sparse(j, fastest(j))) {
        refuse_sparse(j, fastest(j), &out[HYSTERESIS]);
    } else {
        es_measured_refuse(
            &out[HYSTERESIS],
            "swept at one speed only: a delay of %.0f ms would look like the difference of %.2f %% "
            "between the directions; sweep at a second speed, at least 1.5 times as fast",
            1e3 * apart / fabs(c->slope) / (2 * j->sweep.legs[0].speed), 100 * apart / span);
    }
}

/* Repeatability, after figures_of_points. */
static enum es_status compare_legs(const struct job *j, struct es_measured *out, struct es_error *err)
{
    const struct es_sweep_curve *c = &j->curve;
    const struct es_sweep_static *most = &c->at[0], *last = &c->at[c->count - 1];
    double value = 0, doubt = 0, span = fabs(last->up + last->down - c->at[0].up - c->at[0].down) / 2;
    if (!out[TERMINAL].valid) /* the reason stands there */
        return ES_OK;
    for (size_t i = 1; i < c->count; i++)
        most = c->at[i].range > most->range ? &c->at[i] : most;
    enum es_status status = ES_OK;
    if (c->pairs && most->u_range > 0)
        status = es_unified_largest(most->range, most->u_range, c->u_pair, c->pairs, &value, &doubt, err);
    /* what the delay's own uncertainty leaves between legs of different speeds */
    double left = (fastest(j) - slowest(j)) * j->delay.u * fabs(c->slope);
    double step = sqrt(2.0) * left_by_steps(j);
    set(&out[REPEATABILITY], value / span, hypot(doubt, hypot(left, step)) / span, 0);
    return status;
}

/* Standard uncertainty of a place, rad, where a delay could not be told from play: half of the largest
 * difference between the directions either way. */
static double unaligned(const struct job *j)
{
    double apart = 0;
    if (j->delay.known)
        return 0;
    for (size_t i = 0; i < j->curve.count; i++)
        if (j->curve.at[i].ups && j->curve.at[i].downs)
            apart = fmax(apart, fabs(j->curve.at[i].down - j->curve.at[i].up));
    return es_rectangular(0.5 * apart / fabs(j->curve.slope));
}

static bool stands(const struct es_sweep_point *p, double way)
{
    return p[0].paired && p[-1].paired && fabs(p[0].angle - p[-1].angle) < STANDS * way;
}

/* Noise of one reading of the angle: of neighbours while the shaft stands, where it does. */
static enum es_status find_angle_noise(struct job *j, struct es_error *err)
{
    const struct es_sweep *s = &j->sweep;
    double *work = malloc((s->n + 1) * sizeof *work), q = j->angle->u.resolution;
    size_t n = 0;
    if (!work)
        return es_fail(err, ES_NO_MEMORY, "Not enough memory for %zu readings.", s->n);
    for (size_t i = 2; i < s->n; i++) /* three alike: two may be the top of a turn */
        if (stands(&s->points[i], s->sample_angle) && stands(&s->points[i - 1], s->sample_angle)) {
            double apart = s->points[i].angle - s->points[i - 1].angle;
            work[n++] = apart * apart;
        }
    double noise = n < LEAST_STANDING ? es_rectangular(q) : sqrt(es_mean(work, n) / 2);
    j->angle_noise = fmax(noise, es_resolution_u(q, 0));
    free(work);
    return ES_OK;
}

static enum es_status figures_of_track(const struct job *j, struct es_measured *out, struct es_error *err)
{
    const struct es_sweep_faults *f = &j->faults;
    const struct es_channel_uncertainty *a = &j->angle->u;
    double span = fabs(j->curve.slope) * (j->high - j->low), v = 0, doubt = 0; /* one span for all ratios */
    double edge = hypot(j->sweep.sample_angle / sqrt(12.0), es_resolution_u(a->resolution, 0));
    edge = hypot(edge, hypot(unaligned(j), es_rectangular(j->play / 2)));
    enum es_status status = ES_OK;
    if (f->rough_count && f->u_roughness > 0)
        status =
            es_unified_largest(f->roughness, f->u_roughness, f->u_rough, f->rough_count, &v, &doubt, err);
    set(&out[SMOOTHNESS], v / span, hypot(doubt, left_by_steps(j)) / span, 0);
    set(&out[NOISE], f->noise, f->noise / sqrt(2.0 * (double)j->sweep.n), 0);
    set(&out[DROPOUTS], (double)f->dropout_count, 0, 0);
    double widest = 0;
    size_t at = 0;
    for (size_t d = 0; d < f->dropout_count; d++)
        if (f->dropouts[d].width > widest) {
            widest = f->dropouts[d].width;
            at = f->dropouts[d].point;
        }
    set(&out[WIDEST], widest, f->dropout_count ? edge * sqrt(2.0) : 0, widest * a->gain);
    if (f->dropout_count)
        out[WIDEST].first = out[WIDEST].last = at;
    set(&out[REVERSALS], (double)f->reversals, 0, 0);
    /* where nothing ends it but the turn, that is known better than to one sample's way */
    const struct es_sweep_end *turn = j->turns.common;
    bool turn_low = f->usable_from <= j->sweep.low, turn_high = f->usable_to >= j->sweep.high;
    double usable = (turn_high ? turn[1].at : f->usable_to) - (turn_low ? turn[0].at : f->usable_from);
    double hangs = es_rectangular(j->play / 2);
    double from = turn_low ? hypot(turn[0].u, hangs) : edge, to = turn_high ? hypot(turn[1].u, hangs) : edge;
    set(&out[USABLE], usable, hypot(hypot(from, to), j->track.u), usable * a->gain);
    return status;
}

/* Least and largest reading at the ends of what was swept: the mean over the 0.3 % nearest to each end. */
static void margins(const struct job *j, struct es_measured *out)
{
    const struct es_sweep *s = &j->sweep;
    double band = 0.003 * (s->most - s->least), sum[2] = {0, 0};
    const double at[2] = {j->turns.most[0].at, j->turns.most[1].at},
                 u_at[2] = {j->turns.most[0].u, j->turns.most[1].u};
    size_t n[2] = {0, 0};
    for (size_t i = 0; i < s->n; i++) {
        const struct es_sweep_point *p = &s->points[i];
        if (!p->paired || !p->good || p->odd)
            continue;
        for (int e = 0; e < 2; e++) {
            if (fabs(p->angle - at[e]) > band)
                continue;
            bool track = p->angle >= j->track.low && p->angle <= j->track.high;
            sum[e] += p->ratio - (track ? j->curve.slope * (p->angle - at[e]) : 0);
            n[e]++;
        }
    }
    if (!n[0] || !n[1]) {
        es_measured_refuse(&out[MARGIN_LOW], "no good reading at one end of the sweep");
        es_measured_refuse(&out[MARGIN_HIGH], "no good reading at one end of the sweep");
        return;
    }
    if (!isfinite(j->curve.noise)) {
        refuse_sparse(j, slowest(j), &out[MARGIN_LOW]);
        refuse_sparse(j, slowest(j), &out[MARGIN_HIGH]);
        return;
    }
    double end[2] = {sum[0] / (double)n[0], sum[1] / (double)n[1]};
    int low = end[0] < end[1] ? 0 : 1;
    const struct es_channel_uncertainty *u = &j->sensor->u;
    for (int m = 0; m < 2; m++) {
        int e = m ? !low : low;
        double noise = hypot(j->curve.noise / sqrt((double)n[e]), left_by_steps(j));
        noise = hypot(noise, u->repeatability);
        double late = fabs(j->curve.slope) * (j->delay.known ? s->legs[0].speed * j->delay.u : unaligned(j));
        late = hypot(late, fabs(j->curve.slope) * hypot(es_rectangular(j->play / 2), u_at[e]));
        set(&out[m ? MARGIN_HIGH : MARGIN_LOW], m ? 1 - end[e] : end[e], hypot(noise, late),
            hypot(u->offset, u->gain * end[e]));
    }
}

/* Does the reading change with the angle at all? */
static bool follows(const struct job *j)
{
    double change = fabs(j->curve.slope) * (j->high - j->low);
    double noise = isfinite(j->curve.noise) ? j->curve.noise : 0;
    return change > LEAST_CHANGE && change > 5 * noise;
}

static void does_not_follow(const struct job *j, struct es_measured *out)
{
    double change = 100 * j->curve.slope * (j->high - j->low);
    for (int o = 0; o < OUTPUTS; o++)
        es_measured_refuse(
            &out[o], "the sensor does not follow the shaft: its reading changes by %.2f %% over the range",
            isfinite(change) ? change : 0);
    set(&out[USABLE], 0, 0, 0); /* that much is certain */
}

/* Whatever is seen along the track could be the bench's own. */
static void reference_hangs(const struct job *j, struct es_measured *out)
{
    for (int o = 0; o <= REVERSALS; o++)
        es_measured_refuse(&out[o],
                           "the bench's encoder coupling shows play of %.1f deg against shaft drive and "
                           "sensor: tighten it, then sweep again",
                           j->play / DEGREE);
}

/* Delay between the two series, found twice: the second time on what the first pairing left. */
static enum es_status find_delay(struct job *j, char text[static 160], struct es_error *err)
{
    enum es_status status = ES_OK;
    double sum = 0;
    for (int pass = 0; pass < 3; pass++) {
        double inset =
            2 * INSET * (j->track.high - j->track.low); /* away from the turns, where speed changes */
        status = es_sweep_delay_of(&j->sweep, j->track.low + inset, j->track.high - inset,
                                   (size_t)j->s->points, &j->delay, err);
        if (fabs(j->delay.value) > MOST_DELAY || j->delay.u > MOST_DELAY / 4)
            j->delay = (struct es_sweep_delay){
                .speed_ratio = j->delay.speed_ratio}; /* not a delay: noise, or no sensor */
        if (status != ES_OK || !j->delay.known || pass == 2)
            break;
        sum += j->delay.value;
        es_sweep_free(&j->sweep);
        status = es_sweep_pair(j->angle, j->sensor, sum, &j->sweep, text, err);
        size_t ups, downs;
        if (status == ES_OK && !text[0] && !extent(&j->sweep, &ups, &downs))
            snprintf(text, 160, "the two series cannot be brought together in time");
        if (status != ES_OK || text[0])
            break;
    }
    j->delay.value += sum;
    return status;
}

/* Pairs the series and finds track and delay; `text` gets the reason where they cannot be used. */
static enum es_status prepare(struct job *j, char text[static 160], struct es_error *err)
{
    enum es_status status = ES_OK;
    size_t ups, downs;
    text[0] = '\0';
    j->per_point = 1;
    if (j->sensor->count > ES_SWEEP_DENSE) {
        status = es_sweep_thin(j->angle, j->sensor, &j->dense, text, err);
        j->angle = &j->dense.angle;
        j->sensor = &j->dense.sensor;
        j->per_point = j->dense.per_block;
    }
    if (status != ES_OK || text[0])
        return status;
    if ((status = es_sweep_pair(j->angle, j->sensor, 0, &j->sweep, text, err)) != ES_OK || text[0])
        return status;
    if (!extent(&j->sweep, &ups, &downs)) {
        snprintf(text, 160, "at least two round trips are needed, found %zu legs up and %zu down", ups,
                 downs);
        return ES_OK;
    }
    if ((status = es_sweep_track_of(&j->sweep, &j->track, err)) != ES_OK)
        return status;
    return find_delay(j, text, err);
}

/* Marks odd readings, then everything that is found from the others. `text` gets the reason where dropouts
 * cannot be told. */
static enum es_status analyse(struct job *j, char text[static 160], struct es_error *err)
{
    double low = j->track.low, high = j->track.high;
    enum es_status status = find_angle_noise(j, err);
    if (status == ES_OK)
        status = es_sweep_find_odd(&j->sweep, low, high, j->s->deviation, &j->faults.noise, text, err);
    if (status == ES_OK && j->per_point > 1 && !text[0])
        status =
            es_sweep_refine(&j->sweep, &j->dense, low, high, j->s->deviation, &j->faults.noise, text, err);
    if (status == ES_OK)
        status = es_sweep_curve_of(&j->sweep, j->low, j->high, (size_t)j->s->points, &j->curve, err);
    if (status == ES_OK)
        status = es_sweep_faults_of(&j->sweep, low, high, j->curve.noise, j->sensor->u.resolution,
                                    j->s->usable_low, j->s->usable_high, &j->faults, err);
    if (status == ES_OK)
        es_sweep_turns_of(&j->sweep, j->angle, j->angle_noise, &j->turns);
    return status;
}

static enum es_status work(struct job *j, struct es_measured *out, struct es_error *err)
{
    char text[160];
    struct es_reference_play play;
    enum es_status status = prepare(j, text, err);
    if (status == ES_OK && !text[0])
        status = es_reference_play_of(j->trace, (enum es_role)j->s->drive, j->angle, (size_t)j->s->points,
                                      &play, err);
    if (status != ES_OK)
        return status;
    if (text[0]) {
        refuse_all(out, text);
        return ES_OK;
    }
    j->play = es_reference_play_blamed(&play, &j->delay);
    double inset = INSET * (j->track.high - j->track.low);
    j->low = fmax(j->track.low + inset, j->s->from);
    j->high = fmin(j->track.high - inset, j->s->to);
    if (!(j->high - j->low > 0.1 * (j->sweep.high - j->sweep.low))) {
        refuse_all(out, "the judged range was not swept");
        return ES_OK;
    }
    if ((status = analyse(j, text, err)) != ES_OK)
        return status;
    if (!follows(j)) {
        does_not_follow(j, out);
        return ES_OK;
    }
    figures_of_points(j, out);
    margins(j, out);
    if ((status = compare_legs(j, out, err)) != ES_OK || (status = figures_of_track(j, out, err)) != ES_OK)
        return status;
    for (int o = 0; text[0] && o < OUTPUTS; o++)
        if (o == USABLE || o == DROPOUTS || o == WIDEST)
            es_measured_refuse(&out[o], "%s", text);
    if (j->play > j->s->most_play)
        reference_hangs(j, out);
    if (j->delay.known)
        set(&out[DELAY], j->delay.value, j->delay.u, 0);
    else if (sparse(j, fastest(j)))
        refuse_sparse(j, fastest(j), &out[DELAY]);
    else
        es_measured_refuse(&out[DELAY], "swept at one speed only (fastest over slowest leg: %.2f)",
                           j->delay.speed_ratio);
    return ES_OK;
}

static enum es_status evaluate(const void *settings, const struct es_trace *const *traces,
                               const struct es_facts *facts, struct es_measured *out, struct es_error *err)
{
    (void)facts;
    const struct settings *s = settings;
    for (int o = 0; o < OUTPUTS; o++) {
        es_measured_start(&out[o], outputs[o].name, outputs[o].dimension);
        out[o].role = (enum es_role)s->sensor;
    }
    const struct es_series *angle = es_trace_series(traces[0], (enum es_role)s->angle);
    const struct es_series *sensor = es_trace_series(traces[0], (enum es_role)s->sensor);
    if (!angle || !sensor) {
        refuse_all(out, angle ? "the recording has no series of the sensor"
                              : "the recording has no series of the reference angle");
        return ES_OK;
    }
    struct job *j = calloc(1, sizeof *j);
    if (!j)
        return es_fail(err, ES_NO_MEMORY, "Not enough memory for the sweep.");
    j->s = s;
    j->trace = traces[0];
    j->angle = angle;
    j->sensor = sensor;
    enum es_status status = work(j, out, err);
    for (int o = 0; o < OUTPUTS; o++)
        if (out[o].valid && out[o].last == 0 && j->sweep.leg_count) {
            out[o].first = j->sweep.points[j->sweep.legs[0].first].sample;
            out[o].last = j->sweep.points[j->sweep.legs[j->sweep.leg_count - 1].last].sample;
        }
    es_sweep_free(&j->sweep);
    es_sweep_dense_free(&j->dense);
    free(j);
    return status;
}

const struct es_measure es_measure_sensor_sweep = {
    .name = "sensor sweep",
    .meaning = "the unit's position sensor over its whole range against the reference encoder",
    .source =
        "IEC 61298-2 terms as commonly stated, from memory; dropouts, margins, reversals: common practice, "
        "no published source",
    .trace_names = trace_names,
    .facts_needed = es_no_facts,
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
