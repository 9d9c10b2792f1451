/* The signatures, and whether they were checked with a trusted key; the digests. */
#include <stdio.h>

#include "results/page/back.h"

static double put_text(struct es_sheet *s, struct es_type type, double x, double y, double width,
                       const char *text)
{
    type.lines = 4;
    type.tight = true;
    return es_canvas_text(s->canvas, &type, x, y, width, text) + 0.2;
}

static void add_finding(const struct es_certificate_signature *signature, struct es_text *out)
{
    if (signature->trusted == NULL) {
        es_text_printf(out, "The signature holds. Whose key this is was not checked: %s.",
                       signature->doubt[0] != '\0' ? signature->doubt
                                                   : "no key that was trusted here is this one");
        return;
    }
    const char *name = signature->trusted->name;
    es_text_add(out, "Checked: the signature holds, with a key that was trusted when this page was drawn");
    if (name != NULL)
        es_text_printf(out, " (%s)", name);
    es_text_add(out, ".");
}

static double put_signature(struct es_sheet *s, const struct es_block *block, double x, double y,
                            double width)
{
    const struct es_certificate_signature *signature = &s->content->report->signatures[block->index];
    struct es_type bold = es_sheet_type(s, 7.4, ES_SEMIBOLD, ES_INK),
                   plain = es_sheet_type(s, 6.6, ES_REGULAR, ES_INK), mono = plain;
    char time[80];
    struct es_text text = {0};
    double top = y;
    mono.mono = true;
    es_page_time(signature->time, time, sizeof time);
    es_text_printf(&text, "Signed as %s%s%s, %s", signature->role, signature->name[0] != '\0' ? " by " : "",
                   signature->name, time);
    y += put_text(s, bold, x, y, width, es_page_words(&text));
    y += put_text(s, mono, x, y, width, signature->kid);
    es_text_reset(&text);
    add_finding(signature, &text);
    y += put_text(s, plain, x, y, width, es_page_words(&text));
    es_text_free(&text);
    return y - top + 1.2 * s->scale;
}

static double put_digests(struct es_sheet *s, const struct es_block *block, double x, double y, double width)
{
    struct es_type label = es_sheet_type(s, 6.4, ES_REGULAR, ES_INK_SECOND),
                   mono = es_sheet_type(s, 5.8, ES_REGULAR, ES_INK);
    double top = y;
    (void)block;
    mono.mono = true;
    y += put_text(s, label, x, y, width, "SHA-256 of the signed content");
    y += put_text(s, mono, x, y, width, s->content->digest);
    y += put_text(s, label, x, y, width, "SHA-256 of the file this page was drawn from");
    y += put_text(s, mono, x, y, width, s->content->report->digest);
    y += put_text(s, label, x, y, width,
                  "The code on the first page holds number, digest and signer, as text.");
    return y - top + 0.5 * s->scale;
}

void es_back_signatures(const struct es_page_content *p, struct es_blocks *out)
{
    es_back_heading(out, "Signatures");
    for (size_t i = 0; i < p->report->signature_count; i++)
        es_back_add(out, put_signature, i);
    es_back_add(out, put_digests, 0);
}
