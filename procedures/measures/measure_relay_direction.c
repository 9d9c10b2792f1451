/* Relay direction: driven up, air must come from output 1 only; driven down, from output 2 only. A
 * single-acting unit has output 1 alone: it must blow when driven up and must not when driven down.
 * Common practice, no published source. Flow is the mean of the recording after a short time to settle;
 * outputs vented, supply on. Over both directions: the weakest right flow, the strongest wrong one, and the
 * larger ratio of the two (cross-talk; a wrong flow below zero, air going back in, counts as none). */
#include <math.h>
#include <stddef.h>

#include "procedures/measures/largest.h"
#include "procedures/measures/measures.h"
#include "procedures/measures/outputs.h"
#include "procedures/measures/plateau.h"
#include "procedures/measures/propagate.h"
#include "procedures/measures/samples.h"

enum { RIGHT, WRONG, CROSS_TALK, OUTPUTS };
enum { SLOT_UP, SLOT_DOWN, SLOT_TARE };
enum { DOUBLE, SINGLE };
enum { BOTH, UP, DOWN };

struct settings {
    int action, direction, output_1, output_2;
    double settle;
};

static const char *const actions[] = {"double", "single", NULL};
static const char *const directions[] = {"both", "up", "down", NULL};

static const struct es_field rows[] = {
    ES_CHOICE_SETTING("action", struct settings, action, actions, "double", "double- or single-acting unit"),
    ES_CHOICE_SETTING("direction", struct settings, direction, directions, "both", "which recordings count"),
    ES_ROLE_SETTING("output 1 channel", struct settings, output_1, false, "output 1 flow",
                    "flow of output 1"),
    ES_ROLE_SETTING("output 2 channel", struct settings, output_2, false, "output 2 flow",
                    "flow of output 2"),
    ES_QUANTITY_SETTING("settle", struct settings, settle, ES_DIM_TIME, 0, 600, "0.5 s",
                        "left out at the start of each recording"),
};

static const struct es_measure_output outputs[OUTPUTS] = {
    [RIGHT] = {"flow right", ES_DIM_FLOW, "flow out of the output that should blow, the weaker direction"},
    [WRONG] = {"flow wrong", ES_DIM_FLOW, "flow out of the output that should not, the stronger direction"},
    [CROSS_TALK] = {"cross-talk", ES_DIM_RATIO, "wrong flow over right flow, the worse direction"},
};

static const char *const trace_names[] = {"up", "down", "tare", NULL};

static size_t roles(const void *settings, enum es_role out[static 8])
{
    const struct settings *s = settings;
    out[0] = (enum es_role)s->output_1;
    out[1] = (enum es_role)s->output_2;
    return s->action == DOUBLE ? 2 : 1;
}

static double expected_u(const void *settings, size_t output, const struct es_channel_uncertainty *const *u,
                         const struct es_facts *facts)
{
    (void)facts;
    const struct settings *s = settings;
    const struct es_channel_uncertainty *a = u[s->output_1], *b = s->action == DOUBLE ? u[s->output_2] : a;
    if (!a || !b || output == CROSS_TALK)
        return NAN;
    return hypot(fmax(a->offset, b->offset), es_resolution_u(fmax(a->resolution, b->resolution), 0));
}

/* Mean flow of one output in one recording, tare taken off. */
struct flow {
    double value;
    struct es_budget budget;
    size_t first, last;
    enum es_role role;
};

static enum es_status level_of(const struct settings *s, const struct es_trace *trace, enum es_role role,
                               struct es_plateau *p, struct flow *f, const char **why, char text[static 160],
                               struct es_error *err)
{
    const struct es_series *series = es_trace_series(trace, role);
    struct es_samples samples;
    *why = "a recording has no series of the flow";
    if (!series)
        return ES_OK;
    enum es_status status = es_samples_take(series, s->settle, INFINITY, &samples, err);
    if (status != ES_OK)
        return status;
    *why = es_samples_unfit(&samples, 5, text);
    if (!*why && !es_plateau_of(samples.t, samples.y, samples.n, p))
        *why = "the flow cannot be told";
    if (!*why) {
        f->first = es_samples_index(&samples, 0);
        f->last = es_samples_index(&samples, samples.n - 1);
        f->role = role;
    }
    es_samples_free(&samples);
    return ES_OK;
}

static enum es_status flow_of(const struct settings *s, const struct es_trace *trace,
                              const struct es_trace *tare, enum es_role role, struct flow *f,
                              const char **why, char text[static 160], struct es_error *err)
{
    struct es_plateau p, zero = {0};
    struct flow unused;
    *f = (struct flow){0};
    enum es_status status = level_of(s, trace, role, &p, f, why, text, err);
    if (status == ES_OK && !*why && tare)
        status = level_of(s, tare, role, &zero, &unused, why, text, err);
    if (status != ES_OK || *why)
        return status;
    const struct es_channel_uncertainty *u = &es_trace_series(trace, role)->u;
    f->value = p.mean - zero.mean;
    es_plateau_noise(&f->budget, &p, u, 1);
    if (tare) { /* reading and tare are two acts */
        es_plateau_noise(&f->budget, &zero, u, 1);
        es_budget_add(&f->budget, ES_TERM_REPEAT, u->repeatability, INFINITY);
    }
    es_channel_terms(&f->budget, u, tare ? 0 : 1, f->value, 1);
    return ES_OK;
}

static void set(struct es_measured *m, const struct flow *f)
{
    es_measured_set(m, f->value, &f->budget);
    m->role = f->role;
    m->first = f->first;
    m->last = f->last;
}

static void ratio(const struct flow *right, const struct flow *wrong, struct es_measured *m)
{
    if (!(right->value > 0)) {
        es_measured_refuse(m, "no air from the output that should blow: there is nothing to relate to");
        return;
    }
    struct es_budget b = {0};
    double share = fmax(0, wrong->value) / right->value;
    for (int term = 0; term < 2; term++) {
        double square = right->value * right->value;
        b.square[term] = (wrong->budget.square[term] + share * share * right->budget.square[term]) / square;
        b.fourth_per_dof[term] =
            (wrong->budget.fourth_per_dof[term] + pow(share, 4) * right->budget.fourth_per_dof[term]) /
            (square * square);
    }
    es_measured_set(m, share, &b);
    es_model_ratio(m, wrong->value, &wrong->budget, right->value, &right->budget);
}

/* What the directions gave of a double-acting relay. */
struct ways {
    struct flow right[2], wrong[2];
    size_t count;
};

/* The wrong flow of the way with the larger share, each over its unit of `scale`. Of two that are both next
 * to nothing noise picks the larger: what that adds is taken off. */
static struct flow larger_wrong(const struct ways *w, const double scale[2], size_t *which)
{
    const size_t last = w->count - 1;
    const double share[2] = {w->wrong[0].value / scale[0], w->wrong[last].value / scale[last]};
    *which = share[0] > share[1] ? 0 : last;
    struct flow worst = w->wrong[*which];
    if (w->count > 1) {
        const double u = sqrt(worst.budget.square[ES_TERM_REPEAT]) / scale[*which];
        worst.value -= scale[*which] * es_excess_of_two(share[1] - share[0], u);
    }
    return worst;
}

/* The less of the right flows, the more of the wrong ones, and the larger of the ratios. */
static void conclude(const struct ways *w, struct es_measured *out)
{
    const size_t last = w->count - 1;
    const size_t least = w->right[0].value < w->right[last].value ? 0 : last;
    const double one[2] = {1, 1}, right[2] = {w->right[0].value, w->right[last].value};
    size_t which;
    set(&out[RIGHT], &w->right[least]);
    const struct flow most = larger_wrong(w, one, &which);
    set(&out[WRONG], &most);
    const struct flow worse = w->right[least].value > 0 ? larger_wrong(w, right, &which) : most;
    ratio(&w->right[w->right[least].value > 0 ? which : least], &worse, &out[CROSS_TALK]);
}

/* One direction: adds it to what the other gave. Returns false with the reason in `why`. */
static enum es_status take(const struct settings *s, const struct es_trace *const *traces, int slot,
                           struct es_measured *out, struct ways *ways, const char **why,
                           char text[static 160], struct es_error *err)
{
    struct flow right, wrong;
    enum es_role one = (enum es_role)s->output_1, two = (enum es_role)s->output_2;
    enum es_status status;
    if (s->action == SINGLE) {
        struct flow f;
        status = flow_of(s, traces[slot], traces[SLOT_TARE], one, &f, why, text, err);
        if (status == ES_OK && !*why)
            set(&out[slot == SLOT_UP ? RIGHT : WRONG], &f);
        return status;
    }
    status = flow_of(s, traces[slot], traces[SLOT_TARE], slot == SLOT_UP ? one : two, &right, why, text, err);
    if (status != ES_OK || *why)
        return status;
    status = flow_of(s, traces[slot], traces[SLOT_TARE], slot == SLOT_UP ? two : one, &wrong, why, text, err);
    if (status != ES_OK || *why)
        return status;
    ways->right[ways->count] = right;
    ways->wrong[ways->count++] = wrong;
    return ES_OK;
}

/* Single action: cross-talk from the two recordings' values. */
static void single_ratio(struct es_measured *out)
{
    struct flow f[2] = {0};
    for (int o = RIGHT; o <= WRONG; o++) {
        if (!out[o].valid) {
            es_measured_refuse(&out[CROSS_TALK], "needs both recordings, up and down");
            return;
        }
        f[o].value = out[o].value;
        es_budget_add(&f[o].budget, ES_TERM_REPEAT, out[o].u_repeat, out[o].dof_repeat);
        es_budget_add(&f[o].budget, ES_TERM_COMMON, out[o].u_common, out[o].dof_common);
    }
    ratio(&f[RIGHT], &f[WRONG], &out[CROSS_TALK]);
}

static enum es_status evaluate(const void *settings, const struct es_trace *const *traces,
                               const struct es_facts *facts, struct es_measured *out, struct es_error *err)
{
    (void)facts;
    const struct settings *s = settings;
    for (int o = 0; o < OUTPUTS; o++)
        es_measured_start(&out[o], outputs[o].name, outputs[o].dimension);
    struct ways ways = {.count = 0};
    for (int slot = SLOT_UP; slot <= SLOT_DOWN; slot++) {
        if (s->direction == (slot == SLOT_UP ? DOWN : UP))
            continue;
        char text[160];
        const char *why = slot == SLOT_UP ? "there is no recording \"up\"" : "there is no recording \"down\"";
        enum es_status status = ES_OK;
        if (traces[slot])
            status = take(s, traces, slot, out, &ways, &why, text, err);
        if (status != ES_OK)
            return status;
        for (int o = 0; why && o < OUTPUTS; o++)
            es_measured_refuse(&out[o], "driven %s: %s", slot == SLOT_UP ? "up" : "down", why);
        if (why)
            return ES_OK;
    }
    if (ways.count > 0)
        conclude(&ways, out);
    if (s->action == SINGLE) {
        single_ratio(out);
        for (int o = RIGHT; o <= WRONG; o++)
            if (!out[o].valid)
                es_measured_refuse(&out[o], "a single-acting unit shows this in the other direction only");
    }
    return ES_OK;
}

const struct es_measure es_measure_relay_direction = {
    .name = "relay direction",
    .meaning = "which output blows when the relay is driven up and down",
    .source = "common practice, no published source",
    .trace_names = trace_names,
    .facts_needed = es_no_facts,
    .settings = rows,
    .setting_count = sizeof rows / sizeof rows[0],
    .setting_size = sizeof(struct settings),
    .outputs = outputs,
    .output_count = OUTPUTS,
    .roles = roles,
    .rate_needed = es_rate_any,
    .expected_u = expected_u,
    .evaluate = evaluate,
};
