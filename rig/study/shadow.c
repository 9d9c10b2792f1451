#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "rig/study/inner.h"

#define RUNNING_MAX 16
/* The truth of what is timed is sampled so much faster than the recording: what slow sampling costs must not
 * be in it. A sweep of the sensor is not timed; its angles are those at which it was sampled. */
#define FINER 5

/* One true trace in the making. */
struct making {
    int handle; /* of the recording beside it */
    struct es_trace *trace;
    es_time from, next, interval;
    size_t capacity, command_capacity;
};

struct made {
    char *procedure;
    struct es_trace *trace;
};

struct es_shadow {
    struct es_site site;
    const struct es_site *inner;
    const struct es_virtual *v;
    char procedure[128];
    struct making running[RUNNING_MAX];
    size_t running_count;
    struct made *made;
    size_t made_count;
    bool failed;
};

static const struct es_port *port_of(const struct es_shadow *s)
{
    return &s->inner->port;
}

/* ---- The true traces ---- */

static bool grow(struct making *m)
{
    const size_t capacity = m->capacity ? 2 * m->capacity : 256;
    for (size_t i = 0; i < m->trace->series_count; i++) {
        struct es_series *s = &m->trace->series[i];
        double *t = realloc(s->t, capacity * sizeof *t);
        s->t = t ? t : s->t;
        double *y = realloc(s->y, capacity * sizeof *y);
        s->y = y ? y : s->y;
        uint8_t *q = realloc(s->quality, capacity);
        s->quality = q ? q : s->quality;
        if (!t || !y || !q) {
            return false;
        }
    }
    m->capacity = capacity;
    return true;
}

/* The physics is computed up to the last whole step only: the reading of a quick instrument tells when. */
static double now_of(const struct es_shadow *s, const struct making *m)
{
    const es_time computed = es_virtual_reading(s->v, ES_ROLE_LOOP_CURRENT).taken;
    return es_seconds((computed > m->from ? computed : m->from) - m->from);
}

static void sample(struct es_shadow *s, struct making *m)
{
    if (m->trace->series_count && m->trace->series[0].count == m->capacity && !grow(m)) {
        s->failed = true;
        return;
    }
    const double t = now_of(s, m);
    const struct es_series *first = m->trace->series_count ? &m->trace->series[0] : NULL;
    if (first && first->count > 0 && t <= first->t[first->count - 1]) {
        return; /* nothing new was computed: at rest the steps are longer */
    }
    for (size_t i = 0; i < m->trace->series_count; i++) {
        struct es_series *series = &m->trace->series[i];
        series->t[series->count] = t;
        series->y[series->count] = es_virtual_truth(s->v, series->role);
        series->quality[series->count++] = ES_GOOD;
    }
}

static void command(struct es_shadow *s, struct making *m, enum es_role role, double from, es_time acted)
{
    struct es_trace *t = m->trace;
    if (t->command_count == m->command_capacity) {
        const size_t capacity = m->command_capacity ? 2 * m->command_capacity : 16;
        struct es_command *grown = realloc(t->commands, capacity * sizeof *grown);
        if (!grown) {
            s->failed = true;
            return;
        }
        t->commands = grown;
        m->command_capacity = capacity;
    }
    t->commands[t->command_count++] = (struct es_command){
        .role = role, .t = es_seconds(acted - m->from), .from = from, .to = es_virtual_truth(s->v, role)};
}

static struct es_trace *trace_new(const char *name, const enum es_role *roles, size_t count,
                                  const struct es_site *site)
{
    struct es_trace *t = calloc(1, sizeof *t);
    if (!t) {
        return NULL;
    }
    t->name = strdup(name);
    t->series = calloc(count ? count : 1, sizeof *t->series);
    if (!t->name || !t->series) {
        es_trace_free(t);
        return NULL;
    }
    t->series_count = count;
    for (size_t i = 0; i < count; i++) {
        const struct es_bench_channel *c = es_station_channel(site->station, roles[i]);
        t->series[i].role = roles[i];
        t->series[i].dimension = c ? c->unit->dimension : ES_DIM_NUMBER;
        t->series[i].u.dof = INFINITY;
        /* Measures refuse what does not stand out from the steps of a reading: with none at all, rounding of
         * the arithmetic would count. */
        t->series[i].u.resolution = c ? c->resolution / 10 : 0;
    }
    return t;
}

/* One series at n even times, `interval` apart; what was computed is a straight line between two steps. */
static bool even_series(struct es_series *s, double interval, size_t n)
{
    double *t = malloc(n * sizeof *t), *y = malloc(n * sizeof *y);
    uint8_t *quality = calloc(n, 1); /* good */
    if (!t || !y || !quality) {
        free(t);
        free(y);
        free(quality);
        return false;
    }
    for (size_t i = 0, k = 1; i < n; i++) {
        t[i] = fmin(s->t[0] + (double)i * interval, s->t[s->count - 1]);
        while (s->t[k] < t[i]) {
            k++;
        }
        const double share = (t[i] - s->t[k - 1]) / (s->t[k] - s->t[k - 1]);
        y[i] = s->y[k - 1] + share * (s->y[k] - s->y[k - 1]);
    }
    free(s->t);
    free(s->y);
    free(s->quality);
    s->t = t;
    s->y = y;
    s->quality = quality;
    s->count = n;
    return true;
}

/* At even times, as measures expect of a recording. */
static bool even_out(const struct making *m)
{
    const double interval = es_seconds(m->interval);
    bool good = true;
    for (size_t i = 0; i < m->trace->series_count && good; i++) {
        struct es_series *s = &m->trace->series[i];
        if (s->count >= 2) {
            good = even_series(s, interval, (size_t)((s->t[s->count - 1] - s->t[0]) / interval + 1.5));
        }
    }
    return good;
}

static void finish(struct es_shadow *s, size_t index)
{
    struct making m = s->running[index];
    s->running[index] = s->running[--s->running_count];
    s->failed |= !even_out(&m);
    char *procedure = strdup(s->procedure);
    struct made *grown = procedure ? realloc(s->made, (s->made_count + 1) * sizeof *grown) : NULL;
    if (!grown) {
        free(procedure);
        es_trace_free(m.trace);
        s->failed = true;
        return;
    }
    s->made = grown;
    m.trace->duration = es_seconds(port_of(s)->now(port_of(s)->self) - m.from);
    s->made[s->made_count++] = (struct made){procedure, m.trace};
    // cppcheck-suppress memleak ; s->made owns it now
}

/* ---- The port ---- */

static es_time port_now(void *self)
{
    const struct es_port *p = port_of(self);
    return p->now(p->self);
}

static enum es_status port_sleep_until(void *self, es_time deadline, struct es_error *err)
{
    struct es_shadow *s = self;
    const struct es_port *p = port_of(s);
    enum es_status status = ES_OK;
    while (status == ES_OK) {
        es_time next = deadline;
        for (size_t i = 0; i < s->running_count; i++) {
            next = s->running[i].next < next ? s->running[i].next : next;
        }
        status = p->sleep_until(p->self, next, err);
        const es_time now = p->now(p->self);
        for (size_t i = 0; i < s->running_count; i++) {
            struct making *m = &s->running[i];
            if (now >= m->next) {
                sample(s, m);
                m->next += ((now - m->next) / m->interval + 1) * m->interval;
            }
        }
        if (next >= deadline) {
            break;
        }
    }
    return status;
}

static enum es_status port_read(void *self, enum es_role role, struct es_reading *out, struct es_error *err)
{
    const struct es_port *p = port_of(self);
    return p->read(p->self, role, out, err);
}

static enum es_status port_write(void *self, enum es_role role, double value, es_time *acted,
                                 struct es_error *err)
{
    struct es_shadow *s = self;
    const struct es_port *p = port_of(s);
    const double from = es_virtual_truth(s->v, role);
    const enum es_status status = p->write(p->self, role, value, acted, err);
    for (size_t i = 0; i < s->running_count && status == ES_OK; i++) {
        command(s, &s->running[i], role, from, *acted);
    }
    return status;
}

static double finer(const enum es_role *roles, size_t count)
{
    for (size_t i = 0; i < count; i++) {
        if (roles[i] == ES_ROLE_SENSOR_RATIO) {
            return 1;
        }
    }
    return FINER;
}

static enum es_status port_record_start(void *self, const char *name, const enum es_role *roles, size_t count,
                                        double rate, int *handle, struct es_error *err)
{
    struct es_shadow *s = self;
    const struct es_port *p = port_of(s);
    const enum es_status status = p->record_start(p->self, name, roles, count, rate, handle, err);
    if (status != ES_OK) {
        return status;
    }
    struct es_trace *trace = s->running_count < RUNNING_MAX ? trace_new(name, roles, count, s->inner) : NULL;
    if (!trace) {
        s->failed = true; /* the run goes on; its truths are not used */
        return ES_OK;
    }
    const es_time now = p->now(p->self), interval = es_from_seconds(1 / (rate * finer(roles, count)));
    struct making *m = &s->running[s->running_count++];
    *m = (struct making){
        .handle = *handle, .trace = trace, .from = now, .next = now + interval, .interval = interval};
    sample(s, m);
    return ES_OK;
}

static const struct es_trace *port_record_look(void *self, int handle)
{
    const struct es_port *p = port_of(self);
    return p->record_look(p->self, handle);
}

static enum es_status port_record_stop(void *self, int handle, struct es_trace **out, struct es_error *err)
{
    struct es_shadow *s = self;
    const struct es_port *p = port_of(s);
    for (size_t i = 0; i < s->running_count; i++) {
        if (s->running[i].handle == handle) {
            finish(s, i);
            break;
        }
    }
    return p->record_stop(p->self, handle, out, err);
}

static enum es_status port_ask(void *self, const struct es_question *q, struct es_answer *a,
                               struct es_error *err)
{
    const struct es_port *p = port_of(self);
    return p->ask(p->self, q, a, err);
}

static void port_event(void *self, const struct es_event *event)
{
    struct es_shadow *s = self;
    const struct es_port *p = port_of(s);
    if (event->kind == ES_EVENT_PROCEDURE_BEGIN && event->name) {
        strncpy(s->procedure, event->name, sizeof s->procedure - 1);
    }
    p->event(p->self, event);
}

static enum es_status port_rest(void *self, struct es_error *err)
{
    const struct es_port *p = port_of(self);
    return p->rest(p->self, err);
}

static bool port_has_role(void *self, enum es_role role, enum es_dimension *dimension)
{
    const struct es_port *p = port_of(self);
    return p->has_role(p->self, role, dimension);
}

/* ---- The site ---- */

static enum es_status site_begin(void *self, const struct es_site_order *order, struct es_error *err)
{
    const struct es_site *inner = ((struct es_shadow *)self)->inner;
    return inner->begin(inner->self, order, err);
}

static void site_end(void *self, struct es_safe_report *report)
{
    const struct es_site *inner = ((struct es_shadow *)self)->inner;
    inner->end(inner->self, report);
}

static void site_stop(void *self, const char *reason)
{
    const struct es_site *inner = ((struct es_shadow *)self)->inner;
    inner->stop(inner->self, reason);
}

static void site_identity(void *self, size_t instrument, char *out, size_t size)
{
    const struct es_site *inner = ((struct es_shadow *)self)->inner;
    inner->identity(inner->self, instrument, out, size);
}

static double site_tripped(void *self, char *cause, size_t size)
{
    const struct es_site *inner = ((struct es_shadow *)self)->inner;
    return inner->tripped(inner->self, cause, size);
}

enum es_status es_shadow_new(const struct es_site *inner, const struct es_virtual *v, struct es_shadow **out,
                             struct es_error *err)
{
    struct es_shadow *s = calloc(1, sizeof *s);
    if (!s) {
        return es_fail(err, ES_NO_MEMORY, "no memory for the study");
    }
    s->inner = inner;
    s->v = v;
    s->site = *inner;
    s->site.self = s;
    s->site.begin = site_begin;
    s->site.end = site_end;
    s->site.stop = site_stop;
    s->site.identity = site_identity;
    s->site.tripped = site_tripped;
    s->site.port = (struct es_port){.self = s,
                                    .now = port_now,
                                    .sleep_until = port_sleep_until,
                                    .read = port_read,
                                    .write = port_write,
                                    .record_start = port_record_start,
                                    .record_look = port_record_look,
                                    .record_stop = port_record_stop,
                                    .ask = port_ask,
                                    .event = port_event,
                                    .rest = port_rest,
                                    .has_role = port_has_role};
    *out = s;
    return ES_OK;
}

void es_shadow_free(struct es_shadow *s)
{
    if (!s) {
        return;
    }
    for (size_t i = 0; i < s->running_count; i++) {
        es_trace_free(s->running[i].trace);
    }
    for (size_t i = 0; i < s->made_count; i++) {
        free(s->made[i].procedure);
        es_trace_free(s->made[i].trace);
    }
    free(s->made);
    free(s);
}

const struct es_site *es_shadow_site(struct es_shadow *s)
{
    return &s->site;
}

const struct es_trace *es_shadow_trace(const struct es_shadow *s, const char *procedure,
                                       const char *recording)
{
    for (size_t i = s->made_count; i-- > 0;) {
        if (!strcmp(s->made[i].procedure, procedure) && !strcmp(s->made[i].trace->name, recording)) {
            return s->made[i].trace;
        }
    }
    return NULL;
}

bool es_shadow_whole(const struct es_shadow *s)
{
    return !s->failed;
}
