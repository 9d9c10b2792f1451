/* What pages and plots are drawn on: PDF or SVG through cairo, text through Pango. Lengths in mm from the
 * page's upper left corner, sizes of type in points. One canvas, one thread; no state outside it.
 *
 * Type: Open Sans, for other scripts DejaVu Sans and WenQuanYi Micro Hei, from the system's font folders and
 * nowhere else, so that the same content gives the same bytes whatever fonts a person has installed. Where
 * Open Sans is missing the system's own choice stands in.
 * A PDF holds its text; an SVG draws it as outlines, so that it looks the same everywhere, and carries it
 * once more in <desc>. Faults stick; es_canvas_finish tells them. */
#ifndef ES_PAGE_CANVAS_H
#define ES_PAGE_CANVAS_H

#include <cairo.h>

#include "rig/base/error.h"

enum es_canvas_format { ES_CANVAS_PDF, ES_CANVAS_SVG };

struct es_canvas_about { /* borrowed; NULL: left out */
    const char *title, *author, *subject;
    const char *created; /* RFC 3339: nothing here asks a clock */
};

enum es_weight { ES_LIGHT, ES_REGULAR, ES_SEMIBOLD };
enum es_align { ES_LEFT, ES_RIGHT, ES_CENTRE };
enum es_ink { ES_INK, ES_INK_SECOND, ES_INK_HAIR, ES_INK_FILL, ES_INK_ALERT, ES_INK_PAPER, ES_INK_COUNT };

struct es_type {
    double size; /* points */
    enum es_weight weight;
    enum es_ink ink;
    enum es_align align;
    int lines;  /* at most so many, the last one ends in an ellipsis; 0: as many as it takes */
    bool mono;  /* for digests */
    bool tight; /* lines nearer to one another: small print, cells of a table */
};

struct es_canvas;

/* `pages`: of how many a SVG stacks under one another (a PDF ignores it). A `trial` canvas measures and draws
 * nothing. */
enum es_status es_canvas_new(enum es_canvas_format format, double width, double height, int pages, bool trial,
                             const struct es_canvas_about *about, struct es_canvas **out,
                             struct es_error *err) ES_MUST_CHECK;
void es_canvas_free(struct es_canvas *canvas); /* NULL allowed */

void es_canvas_next_page(struct es_canvas *canvas);

/* Ends the document and gives its bytes (freed by the caller). */
enum es_status es_canvas_finish(struct es_canvas *canvas, char **bytes, size_t *length,
                                struct es_error *err) ES_MUST_CHECK;

/* While it is held nothing is drawn and everything measured, as on a trial canvas. */
void es_canvas_hold(struct es_canvas *canvas, bool hold);
/* False on a trial canvas and while it is held. */
bool es_canvas_draws(const struct es_canvas *canvas);

/* For shapes; its unit is mm. */
cairo_t *es_canvas_cairo(struct es_canvas *canvas);
void es_canvas_ink(struct es_canvas *canvas, enum es_ink ink);

/* Straight line, filled and outlined rectangle. */
void es_canvas_line(struct es_canvas *canvas, enum es_ink ink, double width, double x1, double y1, double x2,
                    double y2);
void es_canvas_fill(struct es_canvas *canvas, enum es_ink ink, double x, double y, double w, double h);
void es_canvas_frame(struct es_canvas *canvas, enum es_ink ink, double line, double x, double y, double w,
                     double h);

/* Text broken to `width` (mm), its upper edge at y; gives its height in mm. Text from outside is made visible
 * first (es_text_visible). `text` "" takes no room. */
double es_canvas_text(struct es_canvas *canvas, const struct es_type *type, double x, double y, double width,
                      const char *text);
/* What it would take. */
double es_canvas_text_height(struct es_canvas *canvas, const struct es_type *type, double width,
                             const char *text);
/* Width of its longest line when not broken. */
double es_canvas_text_width(struct es_canvas *canvas, const struct es_type *type, const char *text);
/* The same, its first line standing on `baseline`, so that different sizes stand on one line. */
double es_canvas_text_on(struct es_canvas *canvas, const struct es_type *type, double x, double baseline,
                         double width, const char *text);

#endif
