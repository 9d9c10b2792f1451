#include "tests/unit/measures/synthetic_static.h"

#include <math.h>

#include "procedures/measures/orifice.h"

#define LOW  0.004
#define LOOP 0.016

static const struct es_fact unit_facts[] = {{"loop low", ES_DIM_CURRENT, LOW, 0, INFINITY},
                                            {"loop high", ES_DIM_CURRENT, LOW + LOOP, 0, INFINITY},
                                            {"lower end", ES_DIM_LENGTH, 0, 0, INFINITY},
                                            {"upper end", ES_DIM_LENGTH, SYN_TRAVEL, 0, INFINITY}};
const struct es_facts syn_unit_facts = {unit_facts, 4};

double syn_characteristic(const struct syn_stairs *s, double x)
{
    return s->zero + (1 + s->gain) * x + s->bow * 4 * x * (1 - x);
}

struct es_trace *syn_stairs_trace(const struct syn_stairs *s, uint64_t *seed)
{
    struct es_trace *t = syn_trace();
    size_t n = (size_t)((s->lead + s->hold * (double)s->count) * s->rate);
    syn_series(t, ES_ROLE_TRAVEL, n, s->rate);
    if (s->read_noise >= 0)
        syn_series(t, ES_ROLE_LOOP_CURRENT, n, s->rate);
    struct es_series *y = &t->series[0], *read = s->read_noise >= 0 ? &t->series[1] : NULL;
    double demand = s->demands[0], inner = demand, at = syn_characteristic(s, inner), off = 0, keep = 0;
    size_t next = 0;
    double began = 0;
    for (size_t i = 0; i < n; i++) {
        double now = y->t[i];
        if (next < s->count && now >= s->lead + s->hold * (double)next) {
            began = s->lead + s->hold * (double)next;
            syn_command(t, ES_ROLE_LOOP_DEMAND, began, LOW + LOOP * demand, LOW + LOOP * s->demands[next]);
            demand = s->demands[next++];
            off = s->scatter * syn_normal(seed);
        }
        if (!(s->stick > 0))
            inner = fmin(fmax(inner, demand - s->play / 2), demand + s->play / 2);
        else if (fabs(demand - inner) > s->stick)
            inner = demand;
        double target = syn_characteristic(s, inner) + off + s->creep * (now - began);
        at = s->tau > 0 && i > 0 ? at + (target - at) * -expm1(-1 / (s->rate * s->tau)) : target;
        keep = i == 0 ? syn_normal(seed) : s->red * keep + sqrt(1 - s->red * s->red) * syn_normal(seed);
        y->y[i] = SYN_TRAVEL * (at + s->noise * keep);
        if (read)
            read->y[i] = LOW + LOOP * (demand + s->read_noise * syn_normal(seed));
    }
    if (s->resolution > 0)
        syn_round(y, s->resolution * SYN_TRAVEL);
    return t;
}

struct es_trace *syn_flat(enum es_role role, double level, double length, double rate, double noise,
                          double red, uint64_t *seed)
{
    struct es_trace *t = syn_trace();
    struct es_series *s = syn_series(t, role, (size_t)(length * rate), rate);
    for (size_t i = 0; i < s->count; i++)
        s->y[i] = level;
    syn_red_noise(s, noise, red, seed);
    return t;
}

#define AMBIENT 101325.0

/* Gas in a volume after h seconds of flow q into it (negative: out of it): what flows brings its enthalpy,
 * the volume does not change, the walls give a->exchange for each K and m3. First law, explicit but for the
 * walls; M is the content, m3 ANR. */
static void in_volume(const struct syn_air *a, double q, double h, double *M, double *T, double *p)
{
    double was = *M, brings = 1.4 * q * h * (q < 0 ? *T : ES_T_ANR);
    *M += q * h;
    *T = (was * *T + brings) / *M;
    *p = ES_P_ANR * *M / a->volume * *T / ES_T_ANR;
    double rate = 0.4 * a->exchange * *T / *p;
    if (a->turbulent)
        rate *= cbrt(fabs(*T - ES_T_ANR) / 30 * pow(*p / 3e5, 2));
    *T = ES_T_ANR + (*T - ES_T_ANR) * exp(-rate * h);
    *p = ES_P_ANR * *M / a->volume * *T / ES_T_ANR;
}

struct es_trace *syn_air_trace(const struct syn_air *a, uint64_t *seed)
{
    enum { FLOW, OUTPUT, SUPPLY };
    struct es_trace *t = syn_trace();
    size_t n = (size_t)(a->length * a->rate);
    syn_series(t, ES_ROLE_OUTPUT_1_FLOW, n, a->rate);
    syn_series(t, ES_ROLE_OUTPUT_1_PRESSURE, n, a->rate);
    syn_series(t, ES_ROLE_SUPPLY_PRESSURE, n, a->rate);
    double p = (a->volume > 0 ? a->start : 0) + AMBIENT, seen = 0;
    double T = ES_T_ANR, M = p / ES_P_ANR * a->volume, held = 0;
    int fine = 50;
    double h = 1 / (a->rate * fine);
    for (size_t i = 0; i < n; i++) {
        for (int k = 0; k < fine && i > 0; k++) {
            double now = t->series[0].t[i] - (fine - k) * h - a->open_at;
            double open = now <= 0 ? 0 : a->opening > 0 ? -expm1(-now / a->opening) : 1;
            double up = a->exhaust ? p : a->supply + AMBIENT;
            double down = a->exhaust ? AMBIENT : a->volume > 0 ? p : AMBIENT + a->back * open;
            double q = open * a->C * es_orifice_drive(up, down, a->exhaust ? T : ES_T_ANR, a->b) *
                       (a->exhaust ? -1 : 1);
            if (a->volume > 0)
                in_volume(a, q, h, &M, &T, &p);
            else
                p = AMBIENT + a->back * open;
            seen += a->lag > 0 ? (q - seen) * -expm1(-h / a->lag) : q - seen;
        }
        if (!(a->refresh > 0) || i == 0 || fmod(t->series[0].t[i] + 1e-9, a->refresh) < 1 / a->rate)
            held = seen;
        t->series[FLOW].y[i] = held + a->noise_q * syn_normal(seed);
        t->series[OUTPUT].y[i] = p - AMBIENT + a->noise_p * syn_normal(seed);
        t->series[SUPPLY].y[i] = a->supply + a->noise_p * syn_normal(seed);
        if (a->most_flow > 0 && fabs(seen) > a->most_flow)
            t->series[FLOW].quality[i] = ES_OUT_OF_RANGE;
    }
    t->series[FLOW].u.lag = a->stated_lag > 0 ? a->stated_lag : a->lag;
    t->series[FLOW].u.refresh = a->refresh;
    syn_command(t, ES_ROLE_LOOP_DEMAND, a->open_at, 0.012, a->exhaust ? 0.004 : 0.020);
    return t;
}
