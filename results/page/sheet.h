/* A page under way: where the next thing goes, and what every page carries. Internal to results/page.
 * Everything is drawn twice: on a trial canvas to learn how many pages it takes, then for good. */
#ifndef ES_PAGE_SHEET_H
#define ES_PAGE_SHEET_H

#include "results/page/canvas.h"
#include "results/page/content.h"
#include "results/page/page.h"

#define ES_SHEET_MARGIN     13.0 /* mm, left and right */
#define ES_SHEET_TOP        12.0
#define ES_SHEET_FOOT       11.0 /* the foot's line above the paper's edge */
#define ES_SHEET_MOST_PAGES 60

struct es_column;

struct es_sheet {
    struct es_canvas *canvas;
    const struct es_page_content *content;
    double left, width, right, bottom, foot; /* of what is printed, mm; bottom: where content ends */
    double y;                                /* where the next thing goes */
    double scale; /* of type and rows, 1 or less: so that much still fits on two pages */
    bool compact; /* curves in one low row, what was left out counted: likewise */
    int page, pages;
    bool too_long;                   /* more than ES_SHEET_MOST_PAGES */
    const struct es_column *columns; /* of the table that is being set (table.h), borrowed */
};

void es_sheet_paper_size(enum es_page_paper paper, double *width, double *height); /* mm */
/* Fills what follows from the paper. */
void es_sheet_init(struct es_sheet *sheet, enum es_page_paper paper);

struct es_type es_sheet_type(const struct es_sheet *sheet, double size, enum es_weight weight,
                             enum es_ink ink);

/* Makes room for `height` mm: a new page when this one has not got it. True: a new page was begun. */
bool es_sheet_need(struct es_sheet *sheet, double height);
void es_sheet_new_page(struct es_sheet *sheet);
void es_sheet_gap(struct es_sheet *sheet, double height);
/* The foot of the current page: once for every page, before the next one begins and at the end. */
void es_sheet_foot(struct es_sheet *sheet);
/* A heading over the whole width, with room for `content` mm below it. */
void es_sheet_title(struct es_sheet *sheet, const char *title, double content);
/* A paragraph over the whole width. */
void es_sheet_text(struct es_sheet *sheet, const struct es_type *type, double left, const char *text);

/* The parts of the page, in their order. */
enum es_status es_draw_head(struct es_sheet *sheet, struct es_error *err) ES_MUST_CHECK;
enum es_status es_draw_lines(struct es_sheet *sheet, struct es_error *err) ES_MUST_CHECK;
void es_draw_causes(struct es_sheet *sheet);
void es_draw_curves(struct es_sheet *sheet);
enum es_status es_draw_back(struct es_sheet *sheet, struct es_error *err) ES_MUST_CHECK;

/* The code that carries number, digest and signer, its dark part `size` mm wide; *below: where its quiet zone
 * ends. */
enum es_status es_draw_code(struct es_sheet *sheet, double x, double y, double size, double *below,
                            struct es_error *err) ES_MUST_CHECK;
/* A verdict's mark, by its shape alone, in a square of `size` mm. */
void es_draw_mark(struct es_canvas *canvas, enum es_page_verdict verdict, bool record, double x, double y,
                  double size);
/* A value against its limits. */
void es_draw_bar(struct es_canvas *canvas, const struct es_content_line *line, double x, double y,
                 double width, double height);

#endif
