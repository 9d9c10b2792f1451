/* The signatures, whether they were checked with a trusted key, and the code that carries number, digest and
 * signer. Text of the code: docs/printed-page.md. */
#include <errno.h>
#include <math.h>
#include <qrencode.h>
#include <stdio.h>
#include <string.h>

#include "results/page/sheet.h"
#include "rig/base/text.h"

#define CODE_SIZE  25.0 /* mm */
#define QUIET_ZONE 4    /* modules, ISO/IEC 18004 */

static void code_text(const struct es_page_content *c, struct es_text *out)
{
    es_text_printf(out, "%s %.64s\ncontent sha256 %s\nsigner %.64s\n", c->c.record ? "record" : "certificate",
                   c->c.number, c->digest, c->c.issuer_key);
}

/* Its dark part fills CODE_SIZE; the paper around is its quiet zone. *below: where that ends. */
static enum es_status draw_code(struct es_sheet *s, double x, double y, double *below, struct es_error *err)
{
    struct es_text text = {0};
    code_text(s->content, &text);
    enum es_status status = es_text_status(&text, err);
    QRcode *code = status == ES_OK ? QRcode_encodeString8bit(text.bytes, 0, QR_ECLEVEL_M) : NULL;
    es_text_free(&text);
    if (status != ES_OK)
        return status;
    if (code == NULL)
        return es_fail_errno(err, ENOMEM, "the code on the page could not be made");
    cairo_t *cr = es_canvas_cairo(s->canvas);
    double module = CODE_SIZE / code->width;
    es_canvas_ink(s->canvas, ES_INK);
    for (int row = 0; row < code->width; row++) {
        for (int from = 0; from < code->width;) {
            int to = from;
            while (to < code->width && (code->data[row * code->width + to] & 1) != 0)
                to++;
            if (to > from) /* a run of dark modules in one piece leaves no hair lines between them */
                cairo_rectangle(cr, x + from * module, y + row * module, (to - from) * module, 1.01 * module);
            from = to + 1;
        }
    }
    cairo_fill(cr);
    QRcode_free(code);
    *below = y + CODE_SIZE + QUIET_ZONE * module;
    return ES_OK;
}

static double put(struct es_sheet *s, struct es_type type, double y, double width, const char *text)
{
    type.lines = 3;
    return es_canvas_text(s->canvas, &type, ES_SHEET_TEXT, y, width, text);
}

static double draw_signature(struct es_sheet *s, const struct es_certificate_signature *signature, double y,
                             double width)
{
    struct es_type type = {.size = 7.4, .weight = ES_SEMIBOLD, .ink = ES_INK},
                   small = {.size = 6.8, .ink = ES_INK};
    struct es_type mono = {.size = 7.0, .weight = ES_REGULAR, .ink = ES_INK, .mono = true};
    char time[80];
    struct es_text text = {0};
    double top = y;
    small.weight = ES_REGULAR;
    es_page_time(signature->time, time, sizeof time);
    es_text_printf(&text, "Signed as %s%s%s, %s", signature->role, signature->name[0] != '\0' ? " by " : "",
                   signature->name, time);
    y += put(s, type, y, width, text.bytes != NULL ? text.bytes : "");
    y += put(s, mono, y, width, signature->kid);
    es_text_reset(&text);
    if (signature->trusted == NULL)
        es_text_printf(&text, "The signature holds. Whose key this is was not checked: %s.",
                       signature->doubt[0] != '\0' ? signature->doubt
                                                   : "no key that was trusted here is this one");
    else
        es_text_printf(
            &text,
            "Checked: the signature holds, with a key that was trusted when this page was drawn%s%s%s.",
            signature->trusted->name != NULL ? " (" : "",
            signature->trusted->name != NULL ? signature->trusted->name : "",
            signature->trusted->name != NULL ? ")" : "");
    y += put(s, small, y, width, text.bytes != NULL ? text.bytes : "");
    es_text_free(&text);
    return y + 1.5 - top;
}

static double draw_digests(struct es_sheet *s, double y, double width)
{
    struct es_type label = {.size = 6.2, .weight = ES_REGULAR, .ink = ES_INK_SECOND};
    struct es_type mono = {.size = 6.4, .weight = ES_REGULAR, .ink = ES_INK, .mono = true};
    double top = y;
    y += put(s, label, y, width, "SHA-256 of the signed content");
    y += put(s, mono, y, width, s->content->digest);
    y += put(s, label, y, width, "SHA-256 of the file this page was drawn from");
    y += put(s, mono, y, width, s->content->report->digest);
    return y - top;
}

enum es_status es_draw_end(struct es_sheet *s, struct es_error *err)
{
    const struct es_certificate_report *report = s->content->report;
    const double width = ES_SHEET_TEXT_WIDTH - CODE_SIZE - 6;
    struct es_type end = {.size = 7.0, .weight = ES_SEMIBOLD, .ink = ES_INK, .align = ES_CENTRE, .lines = 1};
    struct es_type small = {
        .size = 6.0, .weight = ES_REGULAR, .ink = ES_INK_SECOND, .align = ES_CENTRE, .lines = 3};
    char text[120];
    es_sheet_section(s, "Signatures");
    int page = s->page;
    es_sheet_place(s, CODE_SIZE + 12);
    s->end_alone = s->page != page;
    double y = s->y, below = y;
    enum es_status status = draw_code(s, ES_SHEET_RIGHT - CODE_SIZE, y, &below, err);
    if (status != ES_OK)
        return status;
    below += es_canvas_text(s->canvas, &small, ES_SHEET_RIGHT - CODE_SIZE, below, CODE_SIZE,
                            "number, digest and signer, as text");
    for (size_t i = 0; i < report->signature_count; i++) {
        s->y = y;
        if (es_sheet_need(s, 14))
            y = below = s->y;
        y += draw_signature(s, &report->signatures[i], y, width);
    }
    y += draw_digests(s, y, width);
    s->y = fmax(y, below) + 2;
    es_sheet_need(s, 5);
    snprintf(text, sizeof text, "End of %s %.60s", s->content->c.record ? "record" : "certificate",
             s->content->c.number);
    s->y += es_canvas_text(s->canvas, &end, ES_SHEET_LEFT, s->y, ES_SHEET_WIDTH, text);
    return ES_OK;
}
