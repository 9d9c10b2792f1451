/* Where the limits come from, in few words: what several sources say alike is said once. A source reads
 * "basis: what it is about; figure: where the number is from"; basis and last part are what repeats. */
#include <stdlib.h>
#include <string.h>

#include "results/page/sources.h"

#define RUN_ON_MOST   400 /* bytes of a paragraph of sources that have nothing in common, but for the last */
#define GROUP_MOST    700
#define SHARING_LEAST 20 /* bytes that have to be saved */
#define BETWEEN       "  ·  "

enum sharing { ALONE, BASIS, BASIS_AND_FIGURE };

struct source {
    const struct es_content_source *s;
    size_t basis;       /* bytes before the first ": ", or all */
    const char *figure; /* behind the last "; "; NULL: none */
    enum sharing sharing;
};

static struct source read_source(const struct es_content_source *s)
{
    struct source out = {.s = s, .basis = strlen(s->source)};
    const char *colon = strstr(s->source, ": ");
    if (colon == NULL)
        return out;
    out.basis = (size_t)(colon - s->source);
    for (const char *at = colon; (at = strstr(at, "; ")) != NULL;)
        out.figure = at += 2;
    return out;
}

static bool same_basis(const struct source *a, const struct source *b)
{
    return a->basis == b->basis && memcmp(a->s->source, b->s->source, a->basis) == 0;
}

static bool alike(const struct source *a, const struct source *b, enum sharing sharing)
{
    if (!same_basis(a, b))
        return false;
    if (sharing == BASIS)
        return a->sharing != BASIS_AND_FIGURE && b->sharing != BASIS_AND_FIGURE;
    return a->figure != NULL && b->figure != NULL && strcmp(a->figure, b->figure) == 0;
}

/* Marks the sources that have so much in common with another one. */
static void find_sharing(struct source *sources, size_t count, enum sharing sharing)
{
    for (size_t i = 0; i < count; i++) {
        size_t others = 0, shared = sources[i].basis;
        if (sharing == BASIS_AND_FIGURE && sources[i].figure != NULL)
            shared += strlen(sources[i].figure);
        for (size_t k = 0; k < count; k++)
            others += k != i && alike(&sources[i], &sources[k], sharing);
        if (others > 0 && others * shared >= SHARING_LEAST && sources[i].sharing == ALONE)
            sources[i].sharing = sharing;
    }
}

/* "limit, limit: " and what is not shared. */
static void add_source(const struct source *source, struct es_text *out)
{
    const struct es_content_source *s = source->s;
    const char *from = s->source, *end = from + strlen(from);
    for (size_t k = 0; k < s->count; k++)
        es_text_printf(out, "%s%s", k > 0 ? ", " : "", s->limits[k]);
    if (source->sharing != ALONE)
        from += strlen(from) > source->basis ? source->basis + 2 : source->basis;
    if (source->sharing == BASIS_AND_FIGURE)
        end = source->figure - 2 > from ? source->figure - 2 : from;
    if (end > from) {
        es_text_add(out, ": ");
        es_text_append(out, from, (size_t)(end - from));
    }
}

/* What the source has in common with others, as a paragraph's beginning. */
static void add_lead(const struct source *source, struct es_text *out)
{
    if (source->sharing == ALONE)
        return;
    es_text_append(out, source->s->source, source->basis);
    if (source->sharing == BASIS_AND_FIGURE)
        es_text_printf(out, "; %s", source->figure);
    es_text_add(out, " — ");
}

/* The sources that share with `first` what it shares, from it on; all that share nothing are one group. */
static void add_group(const struct source *sources, size_t first, size_t count, bool *done,
                      struct es_source_texts *out)
{
    const struct source *lead = &sources[first];
    size_t most = lead->sharing == ALONE ? RUN_ON_MOST : GROUP_MOST;
    struct es_text *text = NULL;
    for (size_t i = first; i < count; i++) {
        if (sources[i].sharing != lead->sharing ||
            (lead->sharing != ALONE && i != first && !alike(lead, &sources[i], BASIS_AND_FIGURE) &&
             !(lead->sharing == BASIS && same_basis(lead, &sources[i]))))
            continue;
        done[i] = true;
        if (text == NULL || text->length >= most) {
            text = &out->items[out->count++];
            add_lead(lead, text);
        } else {
            es_text_add(text, BETWEEN);
        }
        add_source(&sources[i], text);
    }
}

bool es_source_texts_make(const struct es_content *c, struct es_source_texts *out)
{
    size_t n = c->source_count;
    struct source *sources = calloc(n + 1, sizeof *sources);
    bool *done = calloc(n + 1, sizeof *done);
    *out = (struct es_source_texts){.items = calloc(n + 1, sizeof *out->items)};
    bool whole = sources != NULL && done != NULL && out->items != NULL;
    for (size_t i = 0; whole && i < n; i++)
        sources[i] = read_source(&c->sources[i]);
    if (whole) {
        find_sharing(sources, n, BASIS_AND_FIGURE);
        find_sharing(sources, n, BASIS);
    }
    for (int shared = 0; whole && shared < 2; shared++) /* what stands alone first */
        for (size_t i = 0; i < n; i++)
            if (!done[i] && (sources[i].sharing != ALONE) == shared)
                add_group(sources, i, n, done, out);
    for (size_t i = 0; i < out->count; i++)
        whole = whole && !out->items[i].out_of_memory;
    free(sources);
    free(done);
    return whole;
}

void es_source_texts_free(struct es_source_texts *t)
{
    for (size_t i = 0; t->items != NULL && i < t->count; i++)
        es_text_free(&t->items[i]);
    free(t->items);
    *t = (struct es_source_texts){0};
}
