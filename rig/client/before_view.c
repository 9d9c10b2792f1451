#include "rig/client/before_view.h"

#include <stdlib.h>
#include <string.h>

#include "results/certificate/certificate.h"
#include "results/certificate/content.h"
#include "rig/base/digest.h"
#include "rig/console/display.h"
#include "rig/console/table.h"

static const char *text_of(const cJSON *object, const char *name)
{
    return cJSON_GetStringValue(cJSON_GetObjectItemCaseSensitive(object, name));
}

const char *es_before_number(const cJSON *root)
{
    return text_of(cJSON_GetObjectItemCaseSensitive(root, "before"), "number");
}

static const struct es_content_line *same_line(const struct es_content *c, const struct es_content_line *line)
{
    for (size_t i = 0; i < c->line_count; i++) {
        const struct es_content_line *l = &c->lines[i];
        if (strcmp(l->procedure, line->procedure) == 0 && strcmp(l->measurand, line->measurand) == 0 &&
            strcmp(l->unit, line->unit) == 0)
            return l;
    }
    return NULL;
}

static void value_text(const struct es_content_line *l, char *out, size_t size)
{
    if (!l->v.measured)
        (void)snprintf(out, size, "-");
    else
        (void)snprintf(out, size, "%.*f ± %.*f %s", l->decimals, l->v.value, l->decimals, l->v.U, l->unit);
}

static void add_rows(struct es_table *table, const struct es_content *before, const struct es_content *after)
{
    for (size_t i = 0; i < after->line_count; i++) {
        const struct es_content_line *now = &after->lines[i];
        const struct es_content_line *then = same_line(before, now);
        char was[96], is[96];
        if (then == NULL || (!then->v.measured && !now->v.measured))
            continue;
        value_text(then, was, sizeof was);
        value_text(now, is, sizeof is);
        const char *cells[] = {now->measurand, was, then->verdict, is, now->verdict};
        es_table_row(table, strcmp(then->verdict, now->verdict) == 0 ? ES_PLAIN : ES_STRONG, cells);
    }
}

static enum es_status print(const struct es_content *before, const struct es_content *after,
                            const struct es_screen *screen, FILE *to, struct es_error *err)
{
    static const struct es_column columns[] = {{.title = "Measurand", .wraps = true, .least = 16},
                                               {.title = "Before"},
                                               {.title = ""},
                                               {.title = "Now"},
                                               {.title = ""}};
    struct es_table *table = es_table_new(columns, sizeof columns / sizeof columns[0]);
    if (table == NULL)
        return es_fail(err, ES_NO_MEMORY, "not enough memory for a table");
    add_rows(table, before, after);
    struct es_text head = {0};
    es_text_printf(&head, "Before, %s (%s): %s", before->state, before->number,
                   before->record ? "not completed" : before->verdict);
    fputc('\n', to);
    es_display_wrap(head.bytes != NULL ? head.bytes : "", 0, screen->width, to);
    es_text_free(&head);
    enum es_status s =
        es_table_rows(table) > 0 ? es_table_print(table, screen->width, 0, screen->colour, to, err) : ES_OK;
    es_table_free(table);
    return s;
}

/* `root` names the file as issued. */
static enum es_status check_digest(const char *bytes, size_t length, const cJSON *root, struct es_error *err)
{
    char digest[65] = "";
    char *issued = NULL;
    size_t size = 0;
    const char *named = text_of(cJSON_GetObjectItemCaseSensitive(root, "before"), "sha256");
    enum es_status s = es_certificate_leaf(bytes, length, 1, &issued, &size, err);
    if (s == ES_OK)
        es_digest_hex(issued, size, digest);
    free(issued);
    if (s == ES_OK && (named == NULL || strcmp(named, digest) != 0))
        s = es_fail(err, ES_NOT_VALID, "the certificate before this one is not the one that it names");
    return s;
}

enum es_status es_before_print(const char *bytes, size_t length, const cJSON *root,
                               const struct es_screen *screen, FILE *to, struct es_error *err)
{
    struct es_findings findings = {0};
    struct es_document *doc = NULL;
    struct es_content before = {0}, after = {0};
    enum es_status s = check_digest(bytes, length, root, err);
    if (s == ES_OK)
        s = es_document_parse("before", bytes, length, &findings, &doc, err);
    if (s == ES_OK)
        s = es_content_read(es_document_root(doc), &before, err);
    if (s == ES_OK)
        s = es_content_read(root, &after, err);
    if (s == ES_OK)
        s = print(&before, &after, screen, to, err);
    es_content_free(&after);
    es_content_free(&before);
    es_document_free(doc);
    es_findings_free(&findings);
    return s;
}
