/* What a SVG of cairo lacks. Internal to results/page. */
#ifndef ES_PAGE_CANVAS_SVG_H
#define ES_PAGE_CANVAS_SVG_H

#include "rig/base/text.h"

/* The outlines say nothing to a program or to somebody who does not see: puts title and words before them, as
 * <title> and <desc>. */
void es_canvas_describe(struct es_text *svg, const char *title, const struct es_text *words);

#endif
