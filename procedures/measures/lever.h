/* A lever between stem and shaft: what its geometry makes of a linear stem. Elementary; checks: reference
 * values of tests/reference/measures. Pure.
 *   slotted lever   a pin on the stem in a slot of the lever: s = L tan(theta), L from the shaft to the
 * stem's line slotted stem    a pin on the lever in a slot of the stem: s = R sin(theta) theta = 0: the lever
 * is square to the stem. */
#ifndef ES_MEASURES_LEVER_H
#define ES_MEASURES_LEVER_H

#include <stdbool.h>

enum es_linkage { ES_SLOTTED_LEVER, ES_SLOTTED_STEM };

struct es_lever {
    double non_linearity; /* largest |angle's share - stem's share| of their spans, terminal-based */
    double length;        /* m: L or R, > 0; NAN without travel */
    double pin_offset; /* m: how far the stem's middle lies above where the lever is square; in the sense of
                          the travel. NAN without travel */
};

/* Angles at the travel's lower and upper end, rad, within +-80 deg and apart; travel > 0, m, or NAN. False
 * when there is no such lever. */
bool es_lever_of(enum es_linkage linkage, double angle_low, double angle_high, double travel,
                 struct es_lever *out);

#endif
