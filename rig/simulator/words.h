/* The words of a command line, taken from the left. Internal to rig/simulator. */
#ifndef ES_SIMULATOR_WORDS_H
#define ES_SIMULATOR_WORDS_H

#include <stdbool.h>
#include <stdlib.h>
#include <string.h>

#include "rig/base/error.h"

struct words {
    const char *at; /* what is left of the line */
};

struct word {
    const char *text;
    size_t length;
};

static inline struct word next_word(struct words *w)
{
    w->at += strspn(w->at, " \t");
    struct word found = {w->at, strcspn(w->at, " \t")};
    w->at += found.length;
    return found;
}

static inline bool word_is(struct word w, const char *text)
{
    return strlen(text) == w.length && memcmp(w.text, text, w.length) == 0;
}

/* A name in which hyphens may stand for blanks. */
static inline bool word_names(struct word w, const char *name)
{
    size_t n = 0;
    while (n < w.length && name[n] && (name[n] == w.text[n] || (name[n] == ' ' && w.text[n] == '-'))) {
        n++;
    }
    return n == w.length && !name[n];
}

static inline bool take_number(struct words *w, double *out)
{
    char *end;
    const double value = strtod(w->at, &end);
    if (end == w->at || (*end && !strchr(" \t", *end))) {
        return false;
    }
    w->at = end;
    *out = value;
    return true;
}

static inline bool at_end(const struct words *w)
{
    return w->at[strspn(w->at, " \t")] == '\0';
}

static inline enum es_status end_of(const struct words *w, struct es_error *err)
{
    return at_end(w) ? ES_OK : es_fail(err, ES_USAGE, "not understood from here on: \"%s\"", w->at);
}

#endif
