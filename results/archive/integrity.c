#include "results/archive/integrity.h"

#include <inttypes.h>
#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "results/archive/integrity_parts.h"
#include "results/archive/integrity_rows.h"

void es_integrity_free(struct es_integrity_report *report)
{
    free(report->items);
    *report = (struct es_integrity_report){.items = NULL};
}

static void add(struct es_integrity_report *r, const char *word, const char *number, const char *format,
                va_list args) ES_PRINTF(4, 0);
static void add(struct es_integrity_report *r, const char *word, const char *number, const char *format,
                va_list args)
{
    if (r->count == r->capacity) {
        size_t more = r->capacity ? r->capacity * 2 : 16;
        struct es_integrity_finding *items = reallocarray(r->items, more, sizeof *items);
        if (!items) {
            r->out_of_memory = true;
            return;
        }
        r->items = items;
        r->capacity = more;
    }
    struct es_integrity_finding *f = &r->items[r->count++];
    f->word = word;
    (void)snprintf(f->number, sizeof f->number, "%s", number ? number : "");
    (void)vsnprintf(f->text, sizeof f->text, format, args);
}

void es_integrity_add(struct es_integrity_report *report, const char *word, const char *number,
                      const char *format, ...)
{
    va_list args;
    va_start(args, format);
    add(report, word, number, format, args);
    va_end(args);
}

void es_integrity_found(struct es_integrity *i, const char *word, const char *number, const char *format, ...)
{
    va_list args;
    va_start(args, format);
    add(i->report, word, number, format, args);
    va_end(args);
}

/* One finding a line of `text`. */
static void found_lines(struct es_integrity *i, const char *word, const struct es_text *text)
{
    for (const char *p = text->bytes; p && *p;) {
        size_t n = strcspn(p, "\n");
        es_integrity_found(i, word, NULL, "%.*s", (int)n, p);
        p += n + (p[n] == '\n');
    }
}

/* ---- The log itself ---- */

/* "EX-000012" -> length of "EX-" and 12. */
static unsigned long counter_of(const char *number, size_t *prefix)
{
    const char *dash = strrchr(number, '-');
    *prefix = dash ? (size_t)(dash + 1 - number) : 0;
    return dash ? strtoul(dash + 1, NULL, 10) : 0;
}

/* Numbers are given without gap, and time goes on: what stands after another was issued after it. */
static void check_order(struct es_integrity *i)
{
    const struct es_log_leaf *before = NULL;
    for (uint64_t at = 0; at < es_log_size(i->log); at++) {
        const struct es_log_leaf *leaf = es_log_leaf(i->log, at);
        size_t prefix, prefix_before;
        if (leaf->version > 1) {
            continue;
        }
        if (before && strcmp(leaf->issued, before->issued) < 0) {
            es_integrity_found(
                i, "back-dated", leaf->number,
                "issued %s, but entered in the log after %s, which was issued %s: back-dated, or "
                "the bench's clock was set back",
                leaf->issued, before->number, before->issued);
        }
        unsigned long n = counter_of(leaf->number, &prefix);
        unsigned long n_before = before ? counter_of(before->number, &prefix_before) : 0;
        if (before && prefix == prefix_before && strncmp(leaf->number, before->number, prefix) == 0 &&
            n != n_before + 1) {
            es_integrity_found(i, "out of order", leaf->number,
                               "stands in the log right after %s: numbers are given without gap, so %s",
                               before->number,
                               n > n_before ? "one in between is not there" : "one was moved");
        }
        before = leaf;
    }
}

static void check_kept(struct es_integrity *i, const char *head, const char *whose)
{
    struct es_log_growth growth;
    struct es_log_head said;
    struct es_error err;
    const struct es_integrity_order *o = i->order;
    if (es_log_head_check(head, strlen(head), o->trusted, o->trusted_count, &said, &err) != ES_OK ||
        es_log_prove_growth(i->log, head, &growth, &err) != ES_OK) {
        es_integrity_found(i, "head", NULL, "%s: %s", whose, err.text);
        return;
    }
    es_log_growth_clear(&growth);
}

static enum es_status check_log(struct es_integrity *i, const char *path, struct es_error *err)
{
    const struct es_integrity_order *o = i->order;
    struct es_text faults = {0};
    char *text = NULL;
    size_t length = 0;
    enum es_status st = es_file_read(NULL, path, SIZE_MAX / 4, &text, &length, err);
    if (st == ES_OK) {
        st = es_log_parse(path, text, length, &faults, &i->log, err);
    }
    if (st == ES_OK) {
        found_lines(i, "log", &faults);
        es_text_reset(&faults);
        st = es_log_check_heads(text, length, o->trusted, o->trusted_count, &faults, err);
        found_lines(i, "head", &faults);
    }
    if (st == ES_OK && es_log_unfinished(i->log) > 0 && i->report->count == 0) {
        es_integrity_found(
            i, "log", NULL,
            "its last %zu bytes are no whole entry: an entry was interrupted (the daemon mends that "
            "when it starts) or cut",
            es_log_unfinished(i->log));
    }
    es_text_free(&faults);
    free(text);
    return st;
}

static enum es_status read_log(struct es_integrity *i, struct es_error *err)
{
    char *path = NULL;
    enum es_status st = es_store_log_path(i->order->store, &path, err);
    if (st != ES_OK) {
        return st;
    }
    st = check_log(i, path, err);
    free(path);
    if (st == ES_NOT_FOUND) {
        st = es_log_parse("log", "", 0, NULL, &i->log, err);
        es_integrity_found(i, "log", NULL,
                           "there is none: it was taken away, or the daemon never ran with one");
    }
    return st;
}

enum es_status es_integrity_check(const struct es_integrity_order *order, struct es_integrity_report *report,
                                  struct es_error *err)
{
    struct es_integrity i = {.order = order, .report = report};
    *report = (struct es_integrity_report){.items = NULL};
    enum es_status st = read_log(&i, err);
    if (st == ES_OK) {
        const char *head = es_log_head(i.log);
        report->leaves = es_log_size(i.log);
        if (head && es_log_head_read(head, strlen(head), &report->said, NULL) == ES_OK) {
            (void)snprintf(report->head, sizeof report->head, "%s", head);
        }
        check_order(&i);
        for (size_t k = 0; k < order->kept_count; k++) {
            check_kept(&i, order->kept[k], "a head that was kept");
        }
        st = es_integrity_files(&i, err);
    }
    if (st == ES_OK && order->archive) {
        st = es_integrity_archive(&i, err);
    }
    es_log_close(i.log);
    if (st == ES_OK && report->out_of_memory) {
        st = es_fail(err, ES_NO_MEMORY, "no memory for what was found");
    }
    if (st != ES_OK) {
        es_integrity_free(report);
    }
    return st;
}
