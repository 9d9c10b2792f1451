/* What stands behind the lines: surroundings, instruments, confirmations, recordings, curves. */
#include <math.h>
#include <stdlib.h>

#include "results/certificate/build_parts.h"
#include "results/certificate/curves.h"

void es_build_value(struct es_tree *t, cJSON *object, const struct es_measured *v, const struct es_unit *unit)
{
    double U = es_to_unit_difference(v->U, unit);
    es_tree_number(t, object, "value", es_round_like(es_to_unit(v->value, unit), U, 4));
    es_tree_number(t, object, "U", es_round_digits(U, 4));
    es_tree_number(t, object, "k", es_round_digits(v->k, 4));
    es_tree_number(t, object, "dof", es_round_digits(v->dof, 4)); /* left out when infinite */
}

static void add_environment(struct es_maker *m)
{
    struct es_tree *t = &m->tree;
    cJSON *list = m->o->environment_count > 0 ? es_tree_array(t, m->root, "environment") : NULL;
    for (size_t i = 0; i < m->o->environment_count; i++) {
        const struct es_measured *v = &m->o->environment[i];
        const struct es_unit *unit = es_dimension_unit(v->dimension);
        cJSON *object = es_tree_object(t, list, NULL);
        es_tree_text(t, object, "name", v->name);
        es_tree_text(t, object, "unit", unit->name);
        if (v->valid) {
            es_build_value(t, object, v, unit);
        } else {
            es_tree_text(t, object, "reason", v->reason);
        }
    }
}

static void add_instruments(struct es_maker *m)
{
    struct es_tree *t = &m->tree;
    cJSON *list = es_tree_array(t, m->root, "instruments");
    for (size_t i = 0; i < m->o->instrument_count; i++) {
        const struct es_instrument_record *r = &m->o->instruments[i];
        cJSON *object = es_tree_object(t, list, NULL);
        es_tree_text(t, object, "name", r->name);
        es_tree_text(t, object, "identity", r->identity);
        es_tree_text(t, object, "calibration", r->calibration);
        es_tree_text(t, object, "calibrated", r->calibrated);
        es_tree_text(t, object, "due", r->due);
    }
    es_tree_text(t, m->root, "issued_although_overdue_because", m->meta->overdue_reason);
}

static void add_confirmations(struct es_maker *m)
{
    struct es_tree *t = &m->tree;
    cJSON *list = m->o->confirmation_count > 0 ? es_tree_array(t, m->root, "confirmations") : NULL;
    for (size_t i = 0; i < m->o->confirmation_count; i++) {
        const struct es_confirmation *c = &m->o->confirmations[i];
        cJSON *object = es_tree_object(t, list, NULL);
        es_tree_text(t, object, "text", c->text);
        es_tree_text(t, object, "answer", c->answer);
        es_tree_text(t, object, "person", c->person);
        es_tree_text(t, object, "time", c->when);
    }
}

static void add_recordings(struct es_maker *m)
{
    struct es_tree *t = &m->tree;
    cJSON *list = m->o->recording_count > 0 ? es_tree_array(t, m->root, "recordings") : NULL;
    for (size_t i = 0; i < m->o->recording_count; i++) {
        const struct es_recording_record *r = &m->o->recordings[i];
        cJSON *object = es_tree_object(t, list, NULL);
        es_tree_text(t, object, "name", r->name);
        es_tree_text(t, object, "procedure", r->procedure);
        es_tree_text(t, object, "sha256", r->digest);
        es_tree_number(t, object, "bytes", (double)r->bytes);
    }
}

static double span_of(const double *values, size_t count)
{
    double low = INFINITY;
    double high = -INFINITY;
    for (size_t i = 0; i < count; i++) {
        low = fmin(low, values[i]);
        high = fmax(high, values[i]);
    }
    return high > low ? high - low : 1;
}

/* Finite points only: a gap in the recording is no point of a drawing. */
static void add_points(struct es_tree *t, cJSON *object, const struct es_curve *c, const size_t *picked,
                       size_t count)
{
    cJSON *times = es_tree_array(t, object, "t_s");
    cJSON *values = es_tree_array(t, object, "y");
    double t_scale = span_of(c->t, c->count);
    double y_scale = es_to_unit_difference(span_of(c->y, c->count), c->unit);
    for (size_t i = 0; i < count; i++) {
        double y = es_to_unit(c->y[picked[i]], c->unit);
        if (isfinite(y) && isfinite(c->t[picked[i]])) {
            es_tree_number(t, times, NULL, es_round_like(c->t[picked[i]], t_scale, 4));
            es_tree_number(t, values, NULL, es_round_like(y, y_scale, 3));
        }
    }
}

/* All curves share `points`. */
void es_build_curves(struct es_maker *m, size_t points)
{
    struct es_tree *t = &m->tree;
    size_t curves = m->o->curve_count;
    size_t each = curves > 0 ? points / curves : 0;
    if (each < 4) { /* too few to draw */
        return;
    }
    cJSON *list = es_tree_array(t, m->root, "curves");
    size_t *picked = calloc(each, sizeof *picked);
    if (!picked) {
        t->out_of_memory = true;
        return;
    }
    for (size_t i = 0; i < curves; i++) {
        const struct es_curve *c = &m->o->curves[i];
        cJSON *object = es_tree_object(t, list, NULL);
        es_tree_text(t, object, "recording", c->recording);
        es_tree_text(t, object, "series", es_role_info(c->role)->name);
        es_tree_text(t, object, "unit", c->unit->name);
        size_t count = 0;
        t->out_of_memory = !es_curve_thin(c, each, picked, &count) || t->out_of_memory;
        add_points(t, object, c, picked, count);
    }
    free(picked);
}

void es_build_behind(struct es_maker *m)
{
    add_environment(m);
    add_instruments(m);
    add_confirmations(m);
    add_recordings(m);
}
