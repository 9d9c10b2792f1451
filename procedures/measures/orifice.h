/* Flow through a pneumatic component after ISO 6358-1: sonic conductance C and critical pressure ratio b.
 *   q = C p1 sqrt(T0 / T1)                                        p2 / p1 <= b (choked)
 *   q = C p1 sqrt(T0 / T1) sqrt(1 - ((p2/p1 - b) / (1 - b))^2)    above
 * q: m3/s at ANR (ISO 8778: T0 = 293.15 K, p0 = 100 kPa), C: m3/(s Pa) at ANR. Pure. */
#ifndef ES_MEASURES_ORIFICE_H
#define ES_MEASURES_ORIFICE_H

#define ES_T_ANR 293.15 /* K */
#define ES_P_ANR 1e5    /* Pa */

/* Flow for each unit of conductance, Pa: q / C. p1 upstream, p2 downstream, Pa absolute; T1 upstream, K;
 * 0 <= b < 1. Negative where p2 > p1 (it then flows back, from p2 at T1). 0 without pressure. */
double es_orifice_drive(double p1, double p2, double T1, double b);

#endif
