#include "tests/unit/measures/synthetic.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#define PI 3.14159265358979323846

static void stop(const char *what)
{
    fprintf(stderr, "synthetic: %s\n", what);
    abort();
}

double syn_uniform(uint64_t *state)
{
    uint64_t z = (*state += UINT64_C(0x9e3779b97f4a7c15));
    z = (z ^ (z >> 30)) * UINT64_C(0xbf58476d1ce4e5b9);
    z = (z ^ (z >> 27)) * UINT64_C(0x94d049bb133111eb);
    return (double)((z ^ (z >> 31)) >> 11) * 0x1p-53;
}

double syn_normal(uint64_t *state)
{
    double u = syn_uniform(state), v = syn_uniform(state);
    return sqrt(-2 * log(1 - u)) * cos(2 * PI * v);
}

struct es_trace *syn_trace(void)
{
    struct es_trace *t = calloc(1, sizeof *t);
    if (!t)
        stop("no memory");
    return t;
}

struct es_series *syn_series(struct es_trace *trace, enum es_role role, size_t count, double rate)
{
    struct es_series *all = realloc(trace->series, (trace->series_count + 1) * sizeof *all);
    if (!all)
        stop("no memory");
    trace->series = all;
    struct es_series *s = &all[trace->series_count++];
    *s = (struct es_series){.role = role, .dimension = es_role_info(role)->dimension, .count = count};
    s->t = calloc(count + 1, sizeof *s->t);
    s->y = calloc(count + 1, sizeof *s->y);
    s->quality = calloc(count + 1, 1);
    if (!s->t || !s->y || !s->quality)
        stop("no memory");
    s->u.dof = INFINITY;
    for (size_t i = 0; i < count; i++)
        s->t[i] = (double)i / rate;
    if (count && s->t[count - 1] > trace->duration)
        trace->duration = s->t[count - 1];
    return s;
}

void syn_command(struct es_trace *trace, enum es_role role, double t, double from, double to)
{
    struct es_command *all = realloc(trace->commands, (trace->command_count + 1) * sizeof *all);
    if (!all)
        stop("no memory");
    trace->commands = all;
    all[trace->command_count++] = (struct es_command){role, t, 0, from, to};
}

void syn_noise(struct es_series *s, double sd, uint64_t *state)
{
    for (size_t i = 0; i < s->count; i++)
        s->y[i] += sd * syn_normal(state);
}

void syn_red_noise(struct es_series *s, double sd, double lag1, uint64_t *state)
{
    double e = sd * syn_normal(state), keep = sqrt(1 - lag1 * lag1) * sd;
    for (size_t i = 0; i < s->count; i++) {
        s->y[i] += e;
        e = lag1 * e + keep * syn_normal(state);
    }
}

void syn_round(struct es_series *s, double step)
{
    for (size_t i = 0; i < s->count; i++)
        s->y[i] = step * nearbyint(s->y[i] / step);
    s->u.resolution = step;
}

void syn_hold(struct es_series *s, double interval, double phase)
{
    double held = s->count ? s->y[0] : 0;
    double last = -1e9;
    for (size_t i = 0; i < s->count; i++) {
        double turn = floor((s->t[i] + phase) / interval);
        if (turn > last) {
            held = s->y[i];
            last = turn;
        }
        s->y[i] = held;
    }
}

double syn_first_order(double t, double dead, double tau)
{
    return t <= dead ? 0 : -expm1(-(t - dead) / tau);
}

double syn_second_order(double t, double zeta, double omega)
{
    if (t <= 0)
        return 0;
    double wd = omega * sqrt(1 - zeta * zeta);
    return 1 - exp(-zeta * omega * t) * (cos(wd * t) + zeta / sqrt(1 - zeta * zeta) * sin(wd * t));
}

#define DEG (PI / 180)

/* Angle at time t of round trips with short rests and rounded turns (2 % of the way each). */
static double sweep_angle(const struct syn_sweep *s, double t)
{
    double from = -45 * DEG, way = 90 * DEG;
    t -= 0.5 + s->phase;
    for (int k = 0; k < 4 && s->speeds[k] > 0; k++) {
        double leg = way / s->speeds[k], rest = 0.3;
        for (int back = 0; back < 2; back++) {
            if (t <= 0)
                return back ? from + way : from;
            if (t < leg) {
                double x = t / leg, e = 0.02;
                double y = x < e       ? 0.5 * x * x / e
                           : x > 1 - e ? 1 - e - 0.5 * (1 - x) * (1 - x) / e
                                       : x - 0.5 * e;
                y /= 1 - e;
                return back ? from + way * (1 - y) : from + way * y;
            }
            t -= leg + rest;
        }
    }
    return from;
}

static double sweep_duration(const struct syn_sweep *s)
{
    double d = 1 + s->phase;
    for (int k = 0; k < 4 && s->speeds[k] > 0; k++)
        d += 2 * (90 * DEG / s->speeds[k] + 0.3);
    return d;
}

static double sweep_ratio(const struct syn_sweep *s, double angle)
{
    double gain = s->gain != 0 ? s->gain : 0.8 / (90 * DEG);
    double v = 0.5 + gain * angle + s->bow * sin(PI * angle / (45 * DEG));
    if (s->dip > 0)
        v -= s->dip * exp(-pow((angle - s->dip_at) / (0.5 * DEG), 2));
    return v;
}

static double follow(double follower, double leader, double play)
{
    return fmin(fmax(follower, leader - play / 2), leader + play / 2);
}

static void sweep_writes(const struct syn_sweep *s, struct es_trace *t)
{
    double before = sweep_angle(s, 0);
    for (double at = 0; s->writes > 0 && at < sweep_duration(s); at += 1 / s->writes) {
        double to = sweep_angle(s, at + s->drive_late);
        if (to != before)
            syn_command(t, ES_ROLE_SHAFT_DRIVE, at, before, to);
        before = to;
    }
}

struct es_trace *syn_sweep_trace(const struct syn_sweep *s, uint64_t *seed)
{
    struct es_trace *t = syn_trace();
    size_t n = (size_t)(sweep_duration(s) * s->rate);
    struct es_series *a = syn_series(t, ES_ROLE_SHAFT_ANGLE, n, s->rate);
    sweep_writes(s, t);
    double shaft = sweep_angle(s, 0) + s->drive_play / 2, encoder = shaft + s->encoder_play / 2;
    for (size_t i = 0; i < n; i++) {
        shaft = follow(shaft, sweep_angle(s, a->t[i]), s->drive_play);
        encoder = a->y[i] = follow(encoder, shaft, s->encoder_play);
    }
    syn_noise(a, s->angle_noise, seed);
    struct es_series *r = syn_series(t, ES_ROLE_SENSOR_RATIO, n, s->rate);
    double track = sweep_angle(s, 0) + s->play / 2; /* play operator */
    double fine = 1e-4, at = 0;
    shaft = sweep_angle(s, 0) + s->drive_play / 2;
    for (size_t i = 0; i < n; i++) {
        r->t[i] += 0.37 / s->rate; /* not sampled together with the reference */
        for (double end = r->t[i] - s->delay; at <= end; at += fine) {
            shaft = follow(shaft, sweep_angle(s, at), s->drive_play);
            track = follow(track, shaft, s->play);
        }
        r->y[i] = sweep_ratio(s, track) + s->noise * syn_normal(seed);
        for (int d = 0; d < 3 && s->dropout_width[d] > 0; d++)
            if (fabs(track - s->dropout_at[d]) < s->dropout_width[d] / 2)
                r->y[i] = 0.003 * syn_uniform(seed);
    }
    if (s->refresh > 0)
        syn_hold(r, s->refresh, 0);
    return t;
}

void *syn_settings(const struct es_measure *m, const char *json)
{
    struct es_findings findings = {0};
    struct es_document *doc = NULL;
    struct es_error err = {0};
    void *settings = calloc(1, m->setting_size + 1);
    if (!settings)
        stop("no memory");
    const char *text = json ? json : "{}";
    bool ok = es_document_parse("settings", text, strlen(text), &findings, &doc, &err) == ES_OK;
    ok = ok && es_fields_read(doc, es_document_root(doc), m->settings, m->setting_count, settings, &findings);
    if (!ok) {
        es_findings_print(&findings, stderr);
        stop(err.text[0] ? err.text : "settings not accepted");
    }
    es_document_free(doc);
    es_findings_free(&findings);
    return settings;
}

void syn_settings_free(const struct es_measure *m, void *settings)
{
    es_fields_free(m->settings, m->setting_count, settings);
    free(settings);
}

struct es_measured *syn_measure(const char *measure, const char *json, const struct es_trace *const *traces,
                                const struct es_facts *facts)
{
    const struct es_measure *m = es_measure_find(measure);
    if (!m)
        stop("no such measure");
    void *settings = syn_settings(m, json);
    struct es_measured *out = calloc(m->output_count, sizeof *out);
    struct es_error err = {0};
    struct es_facts none = {0};
    if (!out || m->evaluate(settings, traces, facts ? facts : &none, out, &err) != ES_OK)
        stop(err.text);
    syn_settings_free(m, settings);
    return out;
}

struct es_measured *syn_measure_one(const char *measure, const char *json, const struct es_trace *trace,
                                    const struct es_facts *facts)
{
    const struct es_trace *traces[8] = {trace};
    return syn_measure(measure, json, traces, facts);
}

const struct es_measured *syn_output(const char *measure, const struct es_measured *values,
                                     const char *output)
{
    const struct es_measure *m = es_measure_find(measure);
    for (size_t i = 0; m && i < m->output_count; i++)
        if (strcmp(m->outputs[i].name, output) == 0)
            return &values[i];
    stop("no such output");
    return NULL;
}
