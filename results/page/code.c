/* The code that carries number, digest and signer (ISO/IEC 18004). Its text: docs/printed-page.md. */
#include <errno.h>
#include <qrencode.h>

#include "results/page/sheet.h"
#include "rig/base/text.h"

#define QUIET_ZONE 4 /* modules, ISO/IEC 18004 */

static void code_text(const struct es_page_content *c, struct es_text *out)
{
    es_text_printf(out, "%s %.64s\ncontent sha256 %s\nsigner %.64s\n", c->c.record ? "record" : "certificate",
                   c->c.number, c->digest, c->c.issuer_key);
}

static void draw_modules(struct es_sheet *s, const QRcode *code, double x, double y, double module)
{
    cairo_t *cr = es_canvas_cairo(s->canvas);
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
}

enum es_status es_draw_code(struct es_sheet *s, double x, double y, double size, double *below,
                            struct es_error *err)
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
    double module = size / code->width;
    if (es_canvas_draws(s->canvas))
        draw_modules(s, code, x, y, module);
    QRcode_free(code);
    *below = y + size + QUIET_ZONE * module;
    return ES_OK;
}
