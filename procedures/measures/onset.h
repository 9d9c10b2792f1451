/* When a resting signal begins to move: the break of a curve that is constant before and moves after, with a
 * kink (x, x^2) or smoothly (x^2, x^3), fitted by least squares to the rest and the first part of the
 * movement. A threshold would be late by what it waits for, and early by what the noise gives it. Own method;
 * for a first order with dead time the break is its dead time, for a second order the instant at which it
 * begins to be driven. Pure. */
#ifndef ES_MEASURES_ONSET_H
#define ES_MEASURES_ONSET_H

#include "procedures/measures/local_fit.h"

struct es_onset {
    double at, u_at; /* s: noise and the doubt between kink and smooth */
};

/* c: samples from before the step on. The break is looked for between `from` (the command) and the time at
 * which the curve passes `top`; start and end are the levels, both known. False when the samples do not
 * show a movement. */
bool es_onset_find(const struct es_curve_view *c, double from, double start, double end, double crude,
                   struct es_onset *out);

#endif
