/* A plot's frame: round tick marks, and points drawn as lines. Internal to results/page. */
#ifndef ES_PAGE_AXIS_H
#define ES_PAGE_AXIS_H

#include "results/page/canvas.h"

struct es_axis {
    double from, to; /* values at the ends, from < to */
    double step;     /* between ticks, 1, 2 or 5 times a power of ten */
    int decimals;    /* of the ticks' numbers */
};

/* Around `low`..`high` (finite; equal ones get room on both sides), with at most `most` steps. */
struct es_axis es_axis_around(double low, double high, int most);

struct es_plot_area {
    double x, y, width, height; /* mm */
    struct es_axis across, up;
};

double es_plot_x(const struct es_plot_area *area, double value);
double es_plot_y(const struct es_plot_area *area, double value);

/* Left and lower line, ticks and their numbers in `size` points; `across` false: no numbers below. */
void es_plot_frame(struct es_canvas *canvas, const struct es_plot_area *area, double size, bool across);

/* The points as straight lines; those that are not finite leave a gap. `dash` 0: solid, 1.. dashed. */
void es_plot_line(struct es_canvas *canvas, const struct es_plot_area *area, const double *x, const double *y,
                  size_t count, int dash);

#endif
