#include "procedures/measures/orifice.h"

#include <math.h>

double es_orifice_drive(double p1, double p2, double T1, double b)
{
    if (p2 > p1)
        return -es_orifice_drive(p2, p1, T1, b);
    if (!(p1 > 0) || !(T1 > 0))
        return 0;
    double over = (p2 / p1 - b) / (1 - b);
    return p1 * sqrt(ES_T_ANR / T1) * (over > 0 ? sqrt(1 - over * over) : 1);
}
