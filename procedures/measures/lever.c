#include "procedures/measures/lever.h"

#include <math.h>

#define MOST  1.3962634015954636 /* 80 deg: beyond, tan runs away and no lever works */
#define LEAST 1e-3               /* rad between the ends */

static double way(enum es_linkage linkage, double angle)
{
    return linkage == ES_SLOTTED_LEVER ? tan(angle) : sin(angle);
}

/* Share of the angle less share of the way. */
static double deviation(enum es_linkage linkage, double low, double high, double angle)
{
    double from = way(linkage, low), to = way(linkage, high);
    return (angle - low) / (high - low) - (way(linkage, angle) - from) / (to - from);
}

bool es_lever_of(enum es_linkage linkage, double angle_low, double angle_high, double travel,
                 struct es_lever *out)
{
    if (!(fabs(angle_low) <= MOST) || !(fabs(angle_high) <= MOST) || !(fabs(angle_high - angle_low) >= LEAST))
        return false;
    double from = way(linkage, angle_low), to = way(linkage, angle_high);
    double mean_slope = (to - from) / (angle_high - angle_low);
    /* the deviation is largest where the way's own slope is the mean one: cos^2 = 1 / mean, cos = mean */
    double cosine = linkage == ES_SLOTTED_LEVER ? sqrt(1 / mean_slope) : mean_slope;
    double where = acos(fmin(1, cosine)), most = 0;
    for (int sign = -1; sign <= 1; sign += 2) {
        double angle = sign * where;
        if (angle > fmin(angle_low, angle_high) && angle < fmax(angle_low, angle_high))
            most = fmax(most, fabs(deviation(linkage, angle_low, angle_high, angle)));
    }
    double length = travel / (to - from); /* negative where the angle falls while the stem rises */
    *out = (struct es_lever){most, fabs(length), length * 0.5 * (from + to)};
    return true;
}
