/* The static measures against worked values: the synthetic static case of IEC 61298-2's structure
 * (recomputed, not published), ISO 6358 flow figures (formulas read, figures recomputed), lever geometry
 * (elementary; no published table found), the play of a dead band (recomputed). */
#include <criterion/criterion.h>
#include <math.h>

#include "procedures/measures/lever.h"
#include "procedures/measures/orifice.h"
#include "tests/unit/measures/synthetic_static.h"

#define DEG (acos(-1) / 180)

/* Three cycles at 0, 25, 50, 75, 100 %, per cent. */
static const double up[3][5] = {{0.05, 24.70, 49.55, 74.60, 99.85},
                                {0.10, 24.75, 49.60, 74.55, 99.90},
                                {0.00, 24.65, 49.50, 74.65, 99.80}};
static const double down[3][5] = {{0.30, 25.35, 50.40, 75.30, 99.95},
                                  {0.35, 25.30, 50.45, 75.35, 100.00},
                                  {0.25, 25.40, 50.35, 75.25, 99.90}};

static void hold(struct es_trace *t, size_t *i, double *before, double demand, double percent)
{
    double to = 0.004 + 0.016 * demand;
    struct es_series *s = &t->series[0];
    syn_command(t, ES_ROLE_LOOP_DEMAND, s->t[*i], *before, to);
    *before = to;
    for (int k = 0; k < 40; k++)
        s->y[(*i)++] = SYN_TRAVEL * percent / 100;
}

/* Ends are reached from both sides by running 5 % beyond. */
static struct es_trace *case_trace(void)
{
    struct es_trace *t = syn_trace();
    syn_series(t, ES_ROLE_TRAVEL, 3 * 12 * 40, 10);
    size_t i = 0;
    double before = 0.004;
    for (int c = 0; c < 3; c++) {
        hold(t, &i, &before, -0.05, -4.8);
        for (int k = 0; k < 5; k++)
            hold(t, &i, &before, 0.25 * k, up[c][k]);
        hold(t, &i, &before, 1.05, 104.8);
        for (int k = 4; k >= 0; k--)
            hold(t, &i, &before, 0.25 * k, down[c][k]);
    }
    return t;
}

Test(static_measures, staircase_of_the_synthetic_case)
{
    static const struct {
        const char *output;
        double percent;
    } expected[] = {{"largest error", 0.45},
                    {"smallest error", -0.50},
                    {"inaccuracy", 0.50},
                    {"hysteresis", 0.85},
                    {"repeatability", 0.10},
                    {"linearity terminal-based", 0.08125},
                    {"linearity independent", 0.040625},
                    {"linearity zero-based", 0.065}};
    struct es_trace *t = case_trace();
    struct es_measured *m = syn_measure_one("staircase", "{\"settle\": \"1 s\"}", t, &syn_unit_facts);
    for (size_t k = 0; k < sizeof expected / sizeof expected[0]; k++) {
        const struct es_measured *v = syn_output("staircase", m, expected[k].output);
        cr_assert(v->valid, "%s: %s", expected[k].output, v->reason);
        cr_assert_float_eq(100 * v->value, expected[k].percent, 1e-9, "%s: %.12f", expected[k].output,
                           100 * v->value);
    }
    free(m);
    es_trace_free(t);
}

/* C = 2.0 dm3/(s bar), b = 0.30, p1 = 7 bar absolute, 293.15 K; l/min at ANR. */
Test(static_measures, flow_of_iso_6358)
{
    static const double rows[][2] = {{1, 840},           {2.1, 840},         {3, 825.7093425},
                                     {4, 774.2804428},   {5, 677.0886054},   {6, 508.5393248},
                                     {6.5, 369.6661483}, {6.9, 168.8375623}, {7, 0}};
    for (size_t k = 0; k < sizeof rows / sizeof rows[0]; k++) {
        double q = 2e-8 * es_orifice_drive(7e5, rows[k][0] * 1e5, 293.15, 0.3) * 60e3;
        cr_assert_float_eq(q, rows[k][1], 1e-6, "%g bar: %.9f", rows[k][0], q);
    }
    cr_assert_float_eq(es_orifice_drive(7e5, 1e5, 313.15, 0.3) / es_orifice_drive(7e5, 1e5, 293.15, 0.3),
                       0.9675395825, 1e-9);
    cr_assert_float_eq(es_orifice_drive(6e5, 7e5, 293.15, 0.3), -es_orifice_drive(7e5, 6e5, 293.15, 0.3),
                       1e-9);
}

Test(static_measures, lever_tables)
{
    static const double rows[][3] = {{20, 0.8012446041, 0.3956465606},
                                     {25, 1.269958596, 0.6225202792},
                                     {30, 1.861643864, 0.9041588715},
                                     {40, 3.470235027, 1.643491169},
                                     {45, 4.52729844, 2.108819509}};
    struct es_lever l;
    for (size_t k = 0; k < sizeof rows / sizeof rows[0]; k++) {
        double most = rows[k][0] * DEG;
        cr_assert(es_lever_of(ES_SLOTTED_LEVER, -most, most, 0.03, &l));
        cr_assert_float_eq(100 * l.non_linearity, rows[k][1], 1e-8);
        cr_assert_float_eq(l.pin_offset, 0, 1e-12);
        cr_assert(es_lever_of(ES_SLOTTED_STEM, -most, most, 0.03, &l));
        cr_assert_float_eq(100 * l.non_linearity, rows[k][2], 1e-8);
    }
    /* stroke 30 mm, L 25.9807621135 mm, pin 2 mm off */
    cr_assert(es_lever_of(ES_SLOTTED_LEVER, -33.1979396 * DEG, 26.58201891 * DEG, 0.03, &l));
    cr_assert_float_eq(l.length, 0.0259807621135, 1e-10);
    cr_assert_float_eq(l.pin_offset, -0.002, 1e-10);
    cr_assert_gt(100 * l.non_linearity, 3.024175994 - 1e-9); /* the largest of the tabulated points */
    cr_assert_not(es_lever_of(ES_SLOTTED_LEVER, 0.5, 0.5, 0.03, &l));
    cr_assert_not(es_lever_of(ES_SLOTTED_LEVER, -1.5, 1.5, 0.03, &l));
}
