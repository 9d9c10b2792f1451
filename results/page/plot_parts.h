/* What the plots share. Internal to results/page. Lengths in mm. */
#ifndef ES_PAGE_PLOT_PARTS_H
#define ES_PAGE_PLOT_PARTS_H

#include "results/page/axis.h"

#define ES_PLOT_WIDTH 180.0
#define ES_PLOT_LEFT  18.0
#define ES_PLOT_RIGHT 166.0

extern const struct es_type es_plot_title_type, es_plot_small_type;

/* An SVG of that height; its title is not drawn yet. */
enum es_status es_plot_open(double height, const char *title, struct es_canvas **out,
                            struct es_error *err) ES_MUST_CHECK;
/* Makes low..high hold the value; one that is not finite changes nothing. */
void es_plot_widen(double value, double *low, double *high);
/* A line across with its name at the right end; nothing for a value that is not finite. `dash` 0: solid. */
void es_plot_level(struct es_canvas *c, const struct es_plot_area *a, double value, const char *name,
                   double dash);

#endif
