#include <string.h>

#include "results/page/canvas_svg.h"

static void add_xml(struct es_text *to, const char *text)
{
    for (; *text != '\0'; text++) {
        if (*text == '<')
            es_text_add(to, "&lt;");
        else if (*text == '&')
            es_text_add(to, "&amp;");
        else if (*text == '>')
            es_text_add(to, "&gt;");
        else
            es_text_char(to, *text);
    }
}

/* cairo numbers its surfaces through the whole process, and writes the number: the same content would not
 * give the same bytes the second time. Adds `svg` with that one name made plain. */
static void add_plain(struct es_text *to, const char *svg, size_t length)
{
    static const char numbered[] = "<g id=\"surface";
    const char *found = strstr(svg, numbered),
               *quote = found != NULL ? strchr(found + sizeof numbered, '"') : NULL;
    if (quote == NULL) {
        es_text_append(to, svg, length);
        return;
    }
    es_text_append(to, svg, (size_t)(found - svg));
    es_text_add(to, "<g id=\"drawing");
    es_text_append(to, quote, length - (size_t)(quote - svg));
}

void es_canvas_describe(struct es_text *svg, const char *title, const struct es_text *words)
{
    struct es_text whole = {0}, visible = {0};
    const char *start = svg->bytes != NULL ? strstr(svg->bytes, "<svg ") : NULL;
    const char *end = start != NULL ? strchr(start, '>') : NULL;
    if (end == NULL)
        return;
    size_t head = (size_t)(end + 1 - svg->bytes);
    es_text_visible(&visible, title, strlen(title));
    es_text_append(&whole, svg->bytes, head);
    es_text_add(&whole, "\n<title>");
    add_xml(&whole, visible.bytes != NULL ? visible.bytes : "");
    es_text_add(&whole, "</title>\n<desc>");
    add_xml(&whole, words->bytes != NULL ? words->bytes : "");
    es_text_add(&whole, "</desc>");
    add_plain(&whole, svg->bytes + head, svg->length - head);
    whole.out_of_memory |= visible.out_of_memory | words->out_of_memory | svg->out_of_memory;
    es_text_free(&visible);
    es_text_free(svg);
    *svg = whole;
}
