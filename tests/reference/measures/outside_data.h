/* Data from outside the project, kept beside the checkout; tests that need them say so and skip. */
#ifndef ES_TESTS_OUTSIDE_DATA_H
#define ES_TESTS_OUTSIDE_DATA_H

#include <stddef.h>
#include <stdio.h>
#include <stdlib.h>

/* Whole file below ../shared/data, terminated; NULL when it is not there. The caller frees. */
static inline char *outside_data(const char *name, size_t *length)
{
    char path[1024];
    snprintf(path, sizeof path, "%s/../shared/data/%s", ES_SOURCE_DIR, name);
    FILE *f = fopen(path, "rb");
    if (!f)
        return NULL;
    size_t room = 1 << 16, n = 0, got;
    char *text = malloc(room);
    while (text && (got = fread(text + n, 1, room - n - 1, f)) > 0) {
        n += got;
        if (room - n < 2)
            text = realloc(text, room *= 2);
    }
    fclose(f);
    if (text) {
        text[n] = '\0';
        *length = n;
    }
    return text;
}

#endif
