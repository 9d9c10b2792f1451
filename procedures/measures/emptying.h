/* A closed volume that empties through a path, seen by its pressure p and by a flow sensor: how cold the gas
 * gets, how late the sensor is, and the critical ratio of the path. ISO 6358-2 fills the tank with wire so
 * that the gas keeps its temperature (the idea from memory); here the bench's plain volume lets it cool by
 * some 60 K, and both recordings tell by how much:
 *   energy      d ln T = (k - 1)/k (d ln p + h (Tw - T) dt / p), k = 1.4; h is the heat exchange for each K
 *               and m3, h = h1 (|T - Tw| / 30 K (p / 3 bar)^2)^(m/3): m = 0 is a constant one, m = 1 that of
 *               free turbulent convection (Nu as Ra^(1/3), from memory); h1 and m are fitted
 *   mass        p / T falls by what the sensor counted: sum of y and d y, for a sensor that shows everything
 *               d late (exact for one of first order); its scale (the volume, as this sensor has it) and d
 *               are fitted with h1 and m. Neither the stated volume nor the sensor's gain comes in
 *   path        p / T = a - c (integral of the drive by b), ISO 6358-1, while the path is open: b and c
 * Gauss-Newton steps on linear least squares; own method. Pure; the caller owns all arrays. */
#ifndef ES_MEASURES_EMPTYING_H
#define ES_MEASURES_EMPTYING_H

#include <stdbool.h>
#include <stddef.h>

struct es_emptying {
    const double *t, *p, *q; /* s; Pa absolute in the volume; m3/s ANR leaving it, seen late */
    size_t n;
    double ambient;         /* Pa absolute */
    double T_wall, T_start; /* K: of the walls, and of the gas at the first reading */

    double *T; /* room for n: the gas's temperature, K */
    double *M; /* room for n: p / T as volumes ANR in one volume */

    /* found by es_emptying_heat */
    double exchange, shape;  /* W/(K m3) at 30 K and 3 bar; m */
    double delay, u_delay;   /* s */
    double volume, u_volume; /* m3, as the flow sensor counts it */
};

/* Fills T and M by `exchange` and `shape` as they stand. */
void es_emptying_temperature(struct es_emptying *e);

/* Finds the heat exchange, delay and volume, and fills T and M. False when the recording does not tell
 * them: fewer than 20 readings, or a volume that loses less than half of its air. */
bool es_emptying_heat(struct es_emptying *e);

/* The path from readings first .. end - 1, by the pressure alone: c = C / volume, 1/(s Pa), and b from
 * `b` on, each with the standard uncertainty of the fit. `row`: room for 2 n. False when b stays between 0
 * and 0.9 in no way. */
struct es_emptied {
    double c, u_c, b, u_b;
};
bool es_emptying_path(const struct es_emptying *e, size_t first, size_t end, double b, double *row,
                      struct es_emptied *out);

/* c alone, for a given b: what a changed b or pressure does to it. NAN when it cannot be told. */
double es_emptying_by(const struct es_emptying *e, size_t first, size_t end, double b);

#endif
