/* Prints a trajectory of the air network for compare_with_scipy.py:
 *   virtual_trajectory STEP-MILLISECONDS DURATION CASE
 * Case "chain": source -> volume 0 -> volume 1 -> volume 2 -> atmosphere, each with its own heat exchange.
 * Case "piston": source -> volume 0, which a piston makes larger by a sine. */
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "drivers/virtual/air.h"

static void start(struct es_air *air, int edges)
{
    static const double volumes[] = {0.5e-3, 0.25e-3, 1e-3}, hA[] = {0.8, 0.5, 2};
    static const double conductances[] = {0.4e-8, 0.3e-8, 0.2e-8, 0.05e-8};
    memset(air, 0, sizeof *air);
    for (int i = 0; i < ES_AIR_INNER; i++) {
        es_air_fill(air, i, i < 3 ? volumes[i] : 1e-3, 1.01325e5, 293.15);
        air->hA[i] = i < 3 ? hA[i] : 0;
    }
    es_air_fill(air, ES_AIR_SOURCE, 0, 7.01325e5, 293.15);
    es_air_fill(air, ES_AIR_ATMOSPHERE, 0, 1.01325e5, 293.15);
    air->wall = 293.15;
    const int ends[][2] = {{ES_AIR_SOURCE, 0}, {0, 1}, {1, 2}, {2, ES_AIR_ATMOSPHERE}};
    for (int i = 0; i < edges; i++) {
        air->edges[i] =
            (struct es_air_edge){.from = ends[i][0], .to = ends[i][1], .C = conductances[i], .b = 0.3};
    }
    air->edge_count = edges;
}

/* Growth of volume 0 from t to t + h: the piston's own position, 0.2 l each way in 2 s. */
static double growth(double t, double h)
{
    const double w = 2 * 3.141592653589793 / 2;
    return 0.2e-3 * (cos(w * t) - cos(w * (t + h)));
}

int main(int argc, char **argv)
{
    struct es_air air;
    if (argc != 4) {
        return 2;
    }
    const double h = atof(argv[1]) / 1000, duration = atof(argv[2]);
    const bool piston = strcmp(argv[3], "piston") == 0;
    const long steps = lround(duration / h), print_every = lround(0.05 / h);
    start(&air, piston ? 1 : 4);
    for (long n = 1; n <= steps; n++) {
        const double dV[ES_AIR_INNER] = {piston ? growth((double)(n - 1) * h, h) : 0};
        (void)es_air_step(&air, h, dV);
        if (n % print_every == 0) {
            printf("%.6f", (double)n * h);
            for (int i = 0; i < 3; i++) {
                printf(" %.9g %.9g", air.p[i], air.T[i]);
            }
            printf("\n");
        }
    }
    return 0;
}
