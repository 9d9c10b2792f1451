#include "rig/base/findings.h"

#include <stdlib.h>
#include <string.h>

#include "rig/base/text.h"

/* A person reads the first page; a binary file given by mistake must not fill the memory. */
#define MOST_KEPT 1000u

static void finding_free(struct es_finding *item)
{
    free(item->file);
    free(item->found);
    free(item->expected);
    free(item->advice);
}

void es_findings_free(struct es_findings *f)
{
    for (size_t i = 0; i < f->count; i++)
        finding_free(&f->items[i]);
    free(f->items);
    *f = (struct es_findings){0};
}

/* A copy that is safe to print: the text comes out of files that strangers wrote. */
static char *visible_copy(const char *text)
{
    struct es_text t = {0};
    char *copy = NULL;

    if (text != NULL)
        es_text_visible(&t, text, strlen(text));
    if (es_text_take(&t, &copy, NULL) != ES_OK)
        es_text_free(&t);
    return copy;
}

static bool room_for_one(struct es_findings *f)
{
    if (f->count < f->capacity)
        return true;
    size_t capacity = f->capacity == 0 ? 8 : f->capacity * 2;
    struct es_finding *items = realloc(f->items, capacity * sizeof *items);
    if (items == NULL)
        return false;
    f->items = items;
    f->capacity = capacity;
    return true;
}

void es_findings_add(struct es_findings *f, const char *file, unsigned line, unsigned column,
                     const char *found, const char *expected, const char *advice)
{
    if (f->count >= MOST_KEPT)
        return;
    struct es_finding item = {
        .file = visible_copy(file),
        .line = line,
        .column = column,
        .found = visible_copy(found),
        .expected = visible_copy(expected),
        .advice = visible_copy(advice),
    };
    if (item.file == NULL || item.found == NULL || item.expected == NULL || item.advice == NULL ||
        !room_for_one(f)) {
        finding_free(&item);
        f->out_of_memory = true;
        return;
    }
    f->items[f->count++] = item;
}

bool es_findings_any(const struct es_findings *f)
{
    return f->count > 0 || f->out_of_memory;
}

static int by_position(const void *a, const void *b)
{
    const struct es_finding *x = *(const struct es_finding *const *)a;
    const struct es_finding *y = *(const struct es_finding *const *)b;
    int files = strcmp(x->file, y->file);

    if (files != 0)
        return files;
    if (x->line != y->line)
        return x->line < y->line ? -1 : 1;
    if (x->column != y->column)
        return x->column < y->column ? -1 : 1;
    return x < y ? -1 : x > y; /* both stand in one array: keeps the order in which they were found */
}

static void write_fault(struct es_text *t, const struct es_finding *item)
{
    es_text_printf(t, ": found %s", item->found);
    if (item->expected[0] != '\0')
        es_text_printf(t, "; expected %s", item->expected);
    if (item->advice[0] != '\0')
        es_text_printf(t, ". %s", item->advice);
}

static void write_one(struct es_text *t, const struct es_finding *item)
{
    es_text_add(t, item->file);
    if (item->line > 0)
        es_text_printf(t, ":%u:%u", item->line, item->column);
    write_fault(t, item);
}

/* The findings in order; NULL when there are none or no memory (then the order is that of finding). */
static const struct es_finding **ordered(const struct es_findings *f)
{
    if (f->count == 0)
        return NULL;
    const struct es_finding **order = malloc(f->count * sizeof *order);
    if (order == NULL)
        return NULL;
    for (size_t i = 0; i < f->count; i++)
        order[i] = &f->items[i];
    qsort(order, f->count, sizeof *order, by_position);
    return order;
}

void es_findings_print(const struct es_findings *f, FILE *to)
{
    const struct es_finding **order = ordered(f);
    struct es_text line = {0};

    for (size_t i = 0; i < f->count; i++) {
        es_text_reset(&line);
        write_one(&line, order != NULL ? order[i] : &f->items[i]);
        (void)fprintf(to, "%s\n", line.bytes != NULL ? line.bytes : "(out of memory)");
    }
    if (f->count >= MOST_KEPT)
        (void)fprintf(to, "More than %u faults; the rest are not shown.\n", MOST_KEPT);
    if (f->out_of_memory)
        (void)fprintf(to, "Out of memory: at least one further fault is not shown.\n");
    es_text_free(&line);
    free(order);
}

enum es_status es_findings_status(const struct es_findings *f, struct es_error *err)
{
    if (!es_findings_any(f))
        return ES_OK;
    if (f->count == 0)
        return es_fail(err, ES_NO_MEMORY, "out of memory while collecting the faults");

    const struct es_finding **order = ordered(f);
    const struct es_finding *first = order != NULL ? order[0] : &f->items[0];
    struct es_text line = {0};
    if (first->line > 0)
        es_text_printf(&line, " at %u:%u", first->line, first->column);
    write_fault(&line, first);
    enum es_status status =
        es_fail(err, ES_BAD_INPUT, "%s: %zu fault%s%s", first->file, f->count,
                f->count == 1 ? "" : "s, the first", line.bytes != NULL ? line.bytes : "");
    es_text_free(&line);
    free(order);
    return status;
}
