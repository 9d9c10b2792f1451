/* The rate at the beginning of a rise by ISO 6358 leaks into, and out of, the closed volume, whose slowing no
 * single exponential describes: value and expanded uncertainty over the truth. The allowance for the bend in
 * pressure_rate.c rests on it. */
#include <math.h>
#include <stdio.h>

#include "procedures/measures/pressure_rate.h"
#include "tests/unit/measures/synthetic.h"

#define VOLUME  5e-4
#define AMBIENT 101325.0

static double flow(double C, double from, double to) /* m3/s ANR, b = 0.3 */
{
    double r = to / from, b = 0.3;
    return r >= 1 ? 0 : C * from * (r <= b ? 1 : sqrt(1 - pow((r - b) / (1 - b), 2)));
}

/* `known`: the supply is recorded with the rise, and what escapes again is put back on. */
static void shape(double supply, double outward, double nl_per_h, double settle, bool known)
{
    double C = nl_per_h * 1.08744 / 3.6e6 / supply, p = AMBIENT, h = 1e-3;
    double truth = flow(C, supply, p) * 1e5 / VOLUME;
    uint64_t seed = 3;
    struct es_trace *t = syn_trace();
    struct es_series *s = syn_series(t, ES_ROLE_OUTPUT_1_PRESSURE, 500, 20);
    for (size_t i = 0; i < s->count; i++) {
        s->y[i] = p - AMBIENT;
        for (int k = 0; k < 50; k++)
            p += h * (flow(C, supply, p) - flow(C * outward, p, AMBIENT)) * 1e5 / VOLUME;
    }
    syn_noise(s, 10, &seed);
    struct es_pressure_rate_input in = {.series = s, .settle = settle, .driving = 0.5e5};
    if (known) {
        in.supply = supply - AMBIENT;
        in.ambient = AMBIENT;
    }
    struct es_pressure_rate r;
    if (es_pressure_rate_of(&in, &r, NULL) != ES_OK)
        return;
    double U = 2 * sqrt(r.budget.square[0] + r.budget.square[1]);
    if (r.valid)
        printf("  %.1f bar, out/in %.1f, %4.0f Nl/h, settle %.0f s%s: %.3f +- %.3f of the truth; %s\n",
               supply / 1e5, outward, nl_per_h, settle, known ? ", supply known" : "", r.rate / truth,
               U / truth, fabs(r.rate - truth) <= U ? "covered" : "NOT covered");
    else
        printf("  %.1f bar, out/in %.1f, %4.0f Nl/h, settle %.0f s%s: refused, %s\n", supply / 1e5, outward,
               nl_per_h, settle, known ? ", supply known" : "", r.reason);
    es_trace_free(t);
}

int main(void)
{
    static const double supplies[] = {2.4e5, 5e5}, outward[] = {0, 0.3, 1}, flows[] = {1, 10, 40, 160, 640};
    puts("supply absolute, leak out of the volume over leak into it, leak at the beginning, time left out");
    for (int s = 0; s < 2; s++)
        for (int o = 0; o < 3; o++)
            for (int f = 0; f < 5; f++)
                for (int k = 0; k < 4; k++)
                    shape(supplies[s], outward[o], flows[f], k % 2 ? 5 : 2, k / 2);
    return 0;
}
