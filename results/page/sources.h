/* Where a certificate's limits come from, as paragraphs. Internal to results/page. */
#ifndef ES_PAGE_SOURCES_H
#define ES_PAGE_SOURCES_H

#include "results/certificate/content.h"
#include "rig/base/text.h"

struct es_source_texts {
    struct es_text *items; /* owned */
    size_t count;          /* at most one for each source */
};

/* Every limit with its source; what several say alike stands once, at the head of a paragraph. False: no
 * memory, *out is then to be freed all the same. */
bool es_source_texts_make(const struct es_content *content, struct es_source_texts *out) ES_MUST_CHECK;
void es_source_texts_free(struct es_source_texts *texts);

#endif
