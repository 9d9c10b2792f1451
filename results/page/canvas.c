#include <cairo-pdf.h>
#include <cairo-svg.h>
#include <pango/pangocairo.h>
#include <pango/pangofc-fontmap.h>
#include <stdlib.h>
#include <string.h>

#include "results/page/canvas.h"
#include "results/page/canvas_svg.h"
#include "rig/base/text.h"

#define POINTS_PER_MM (72.0 / 25.4)
#define TIGHT         0.88F /* of the face's own distance between lines, which is wide */
#define LONGEST_TEXT  4000  /* bytes of one text that are set; nobody reads more on a page */

static const char families[] = "Open Sans,DejaVu Sans,WenQuanYi Micro Hei";
static const char families_mono[] = "DejaVu Sans Mono,DejaVu Sans,WenQuanYi Micro Hei";
static const char font_folders[] =
    "<?xml version=\"1.0\"?><!DOCTYPE fontconfig SYSTEM \"fonts.dtd\"><fontconfig>"
    "<dir>/usr/share/fonts/truetype/open-sans</dir>"
    "<dir>/usr/share/fonts/truetype/dejavu</dir>"
    "<dir>/usr/share/fonts/truetype/wqy</dir>"
    "<selectfont><rejectfont><glob>*Math*</glob><glob>*Serif*</glob><glob>*Cond*</glob>"
    "<glob>*Extra*</glob><glob>*Italic*</glob><glob>*Oblique*</glob></rejectfont></selectfont>"
    "<cachedir>/var/cache/fontconfig</cachedir></fontconfig>";

static const double inks[ES_INK_COUNT][3] = {
    [ES_INK] = {0.09, 0.09, 0.11},       [ES_INK_SECOND] = {0.36, 0.36, 0.39},
    [ES_INK_HAIR] = {0.72, 0.72, 0.74},  [ES_INK_FILL] = {0.90, 0.90, 0.91},
    [ES_INK_ALERT] = {0.66, 0.07, 0.10}, [ES_INK_PAPER] = {1, 1, 1},
};

struct es_canvas {
    enum es_canvas_format format;
    double width, height; /* of a page */
    int page;
    bool trial, held;
    cairo_surface_t *surface;
    cairo_t *cr;
    PangoFontMap *fonts;
    PangoContext *context;
    PangoLayout *layout;
    PangoFontDescription *faces[2][ES_SEMIBOLD + 1]; /* plain and mono, by weight */
    struct es_text out;                              /* the document */
    struct es_text words;                            /* of a SVG: its text, for <desc> */
    struct es_text clean;                            /* a text made visible */
    char *title;
};

static cairo_status_t take(void *closure, const unsigned char *data, unsigned length)
{
    struct es_text *out = closure;
    es_text_append(out, data, length);
    return out->out_of_memory ? CAIRO_STATUS_NO_MEMORY : CAIRO_STATUS_SUCCESS;
}

/* Our own folders only; NULL when Open Sans is not there. */
static FcConfig *own_fonts(void)
{
    FcConfig *config = FcConfigCreate();
    FcPattern *wanted = FcPatternBuild(NULL, FC_FAMILY, FcTypeString, "Open Sans", (char *)NULL);
    FcObjectSet *nothing = FcObjectSetCreate();
    FcFontSet *found = NULL;
    if (config != NULL && wanted != NULL && nothing != NULL &&
        FcConfigParseAndLoadFromMemory(config, (const FcChar8 *)font_folders, FcTrue) &&
        FcConfigBuildFonts(config))
        found = FcFontList(config, wanted, nothing);
    bool there = found != NULL && found->nfont > 0;
    if (found != NULL)
        FcFontSetDestroy(found);
    if (nothing != NULL)
        FcObjectSetDestroy(nothing);
    if (wanted != NULL)
        FcPatternDestroy(wanted);
    if (!there && config != NULL) {
        FcConfigDestroy(config);
        config = NULL;
    }
    return config;
}

/* GLib ends the process when it gets no memory; there is nothing to check after its calls. */
static void open_type(struct es_canvas *c)
{
    static const PangoWeight weights[] = {[ES_LIGHT] = PANGO_WEIGHT_LIGHT,
                                          [ES_REGULAR] = PANGO_WEIGHT_NORMAL,
                                          [ES_SEMIBOLD] = PANGO_WEIGHT_SEMIBOLD};
    c->fonts = pango_cairo_font_map_new_for_font_type(CAIRO_FONT_TYPE_FT);
    FcConfig *config = own_fonts();
    if (config != NULL) {
        pango_fc_font_map_set_config(PANGO_FC_FONT_MAP(c->fonts), config);
        FcConfigDestroy(config); /* the map holds its own reference */
    }
    c->context = pango_font_map_create_context(c->fonts);
    cairo_font_options_t *options = cairo_font_options_create();
    cairo_font_options_set_hint_style(options, CAIRO_HINT_STYLE_NONE);
    cairo_font_options_set_hint_metrics(options, CAIRO_HINT_METRICS_OFF);
    pango_cairo_context_set_font_options(c->context, options);
    cairo_font_options_destroy(options);
    pango_context_set_round_glyph_positions(c->context, FALSE); /* the unit is mm: far too coarse */
    pango_context_set_language(c->context, pango_language_from_string("en"));
    c->layout = pango_layout_new(c->context);
    pango_layout_set_auto_dir(c->layout, FALSE);
    pango_layout_set_wrap(c->layout, PANGO_WRAP_WORD_CHAR);
    PangoAttrList *attributes = pango_attr_list_new();
    pango_attr_list_insert(attributes,
                           pango_attr_insert_hyphens_new(FALSE)); /* a serial number is not hyphenated */
    pango_layout_set_attributes(c->layout, attributes);
    pango_attr_list_unref(attributes);
    for (int mono = 0; mono < 2; mono++) {
        for (int w = ES_LIGHT; w <= ES_SEMIBOLD; w++) {
            c->faces[mono][w] = pango_font_description_from_string(mono ? families_mono : families);
            pango_font_description_set_weight(c->faces[mono][w], weights[w]);
        }
    }
}

static void pdf_about(cairo_surface_t *pdf, const struct es_canvas_about *about)
{
    const struct {
        cairo_pdf_metadata_t what;
        const char *text;
    } rows[] = {
        {CAIRO_PDF_METADATA_TITLE, about->title},
        {CAIRO_PDF_METADATA_AUTHOR, about->author},
        {CAIRO_PDF_METADATA_SUBJECT, about->subject},
        /* cairo would write the time of drawing: the same certificate gives the same bytes */
        {CAIRO_PDF_METADATA_CREATE_DATE, about->created != NULL ? about->created : "2000-01-01T00:00:00Z"}};
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++)
        if (rows[i].text != NULL)
            cairo_pdf_surface_set_metadata(pdf, rows[i].what, rows[i].text);
}

static cairo_surface_t *open_surface(struct es_canvas *c, int pages, const struct es_canvas_about *about)
{
    double w = c->width * POINTS_PER_MM, h = c->height * POINTS_PER_MM;
    if (c->trial)
        return cairo_image_surface_create(CAIRO_FORMAT_A8, 1, 1);
    if (c->format == ES_CANVAS_SVG)
        return cairo_svg_surface_create_for_stream(take, &c->out, w, h * pages);
    cairo_surface_t *pdf = cairo_pdf_surface_create_for_stream(take, &c->out, w, h);
    pdf_about(pdf, about);
    return pdf;
}

static void begin_page(struct es_canvas *c)
{
    cairo_identity_matrix(c->cr);
    cairo_scale(c->cr, POINTS_PER_MM, POINTS_PER_MM);
    if (c->format == ES_CANVAS_SVG && !c->trial) {
        cairo_translate(c->cr, 0, c->height * c->page);
        es_canvas_fill(c, ES_INK_PAPER, 0, 0, c->width, c->height);
        if (c->page > 0) /* where one sheet ends */
            es_canvas_line(c, ES_INK_HAIR, 0.2, 0, 0, c->width, 0);
    }
}

enum es_status es_canvas_new(enum es_canvas_format format, double width, double height, int pages, bool trial,
                             const struct es_canvas_about *about, struct es_canvas **out,
                             struct es_error *err)
{
    struct es_canvas *c = calloc(1, sizeof *c);
    if (c == NULL)
        return es_fail(err, ES_NO_MEMORY, "not enough memory to draw");
    c->format = format;
    c->width = width;
    c->height = height;
    c->trial = trial;
    c->title = strdup(about->title != NULL ? about->title : "");
    c->surface = open_surface(c, pages, about);
    c->cr = cairo_create(c->surface);
    open_type(c);
    if (c->title == NULL || cairo_status(c->cr) != CAIRO_STATUS_SUCCESS) {
        enum es_status s = es_fail(err, ES_NO_MEMORY, "nothing can be drawn: %s",
                                   cairo_status_to_string(cairo_status(c->cr)));
        es_canvas_free(c);
        return s;
    }
    begin_page(c);
    *out = c;
    return ES_OK;
}

void es_canvas_free(struct es_canvas *c)
{
    if (c == NULL)
        return;
    for (int mono = 0; mono < 2; mono++)
        for (int w = ES_LIGHT; w <= ES_SEMIBOLD; w++)
            pango_font_description_free(c->faces[mono][w]);
    g_object_unref(c->layout);
    g_object_unref(c->context);
    g_object_unref(c->fonts);
    cairo_destroy(c->cr);
    cairo_surface_finish(c->surface);
    cairo_surface_destroy(c->surface);
    es_text_free(&c->out);
    es_text_free(&c->words);
    es_text_free(&c->clean);
    free(c->title);
    free(c);
}

void es_canvas_next_page(struct es_canvas *c)
{
    c->page++;
    if (c->format == ES_CANVAS_PDF && !c->trial)
        cairo_show_page(c->cr);
    begin_page(c);
}

enum es_status es_canvas_finish(struct es_canvas *c, char **bytes, size_t *length, struct es_error *err)
{
    if (c->format == ES_CANVAS_PDF && !c->trial)
        cairo_show_page(c->cr);
    cairo_status_t drawn = cairo_status(c->cr);
    cairo_surface_finish(c->surface);
    if (drawn == CAIRO_STATUS_SUCCESS)
        drawn = cairo_surface_status(c->surface);
    if (drawn != CAIRO_STATUS_SUCCESS)
        return es_fail(err, drawn == CAIRO_STATUS_NO_MEMORY ? ES_NO_MEMORY : ES_INTERNAL,
                       "the page could not be drawn: %s", cairo_status_to_string(drawn));
    if (c->format == ES_CANVAS_SVG)
        es_canvas_describe(&c->out, c->title, &c->words);
    size_t written = c->out.length;
    enum es_status s = es_text_take(&c->out, bytes, err);
    if (s == ES_OK)
        *length = written;
    return s;
}

void es_canvas_hold(struct es_canvas *c, bool hold)
{
    c->held = hold;
}

bool es_canvas_draws(const struct es_canvas *c)
{
    return !c->trial && !c->held;
}

cairo_t *es_canvas_cairo(struct es_canvas *c)
{
    return c->cr;
}

void es_canvas_ink(struct es_canvas *c, enum es_ink ink)
{
    cairo_set_source_rgb(c->cr, inks[ink][0], inks[ink][1], inks[ink][2]);
}

void es_canvas_line(struct es_canvas *c, enum es_ink ink, double width, double x1, double y1, double x2,
                    double y2)
{
    if (!es_canvas_draws(c))
        return;
    es_canvas_ink(c, ink);
    cairo_set_line_width(c->cr, width);
    cairo_move_to(c->cr, x1, y1);
    cairo_line_to(c->cr, x2, y2);
    cairo_stroke(c->cr);
}

void es_canvas_fill(struct es_canvas *c, enum es_ink ink, double x, double y, double w, double h)
{
    if (!es_canvas_draws(c))
        return;
    es_canvas_ink(c, ink);
    cairo_rectangle(c->cr, x, y, w, h);
    cairo_fill(c->cr);
}

void es_canvas_frame(struct es_canvas *c, enum es_ink ink, double line, double x, double y, double w,
                     double h)
{
    if (!es_canvas_draws(c))
        return;
    es_canvas_ink(c, ink);
    cairo_set_line_width(c->cr, line);
    cairo_rectangle(c->cr, x, y, w, h);
    cairo_stroke(c->cr);
}

/* Loads the layout with a text; `width` < 0: not broken. False: there is nothing to set. */
static bool set(struct es_canvas *c, const struct es_type *type, double width, const char *text)
{
    static const PangoAlignment alignments[] = {
        [ES_LEFT] = PANGO_ALIGN_LEFT, [ES_RIGHT] = PANGO_ALIGN_RIGHT, [ES_CENTRE] = PANGO_ALIGN_CENTER};
    size_t length = strlen(text);
    bool cut = length > LONGEST_TEXT;
    if (length == 0)
        return false;
    for (length = cut ? LONGEST_TEXT : length;
         cut && length > 0 && ((unsigned char)text[length] & 0xc0) == 0x80;)
        length--;
    es_text_reset(&c->clean);
    es_text_visible(&c->clean, text, length);
    if (cut)
        es_text_add(&c->clean, "…");
    PangoFontDescription *face = c->faces[type->mono][type->weight];
    pango_font_description_set_absolute_size(face, type->size / POINTS_PER_MM * PANGO_SCALE);
    pango_layout_set_font_description(c->layout, face);
    pango_layout_set_width(c->layout, width < 0 ? -1 : (int)(width * PANGO_SCALE));
    pango_layout_set_height(c->layout, type->lines > 0 ? -type->lines : -1);
    pango_layout_set_ellipsize(c->layout,
                               type->lines > 0 && width >= 0 ? PANGO_ELLIPSIZE_END : PANGO_ELLIPSIZE_NONE);
    pango_layout_set_line_spacing(c->layout, type->tight ? TIGHT : 0);
    pango_layout_set_alignment(c->layout, alignments[type->align]);
    pango_layout_set_text(c->layout, c->clean.bytes != NULL ? c->clean.bytes : "", (int)c->clean.length);
    return c->clean.length > 0;
}

static double set_height(struct es_canvas *c)
{
    PangoRectangle logical;
    pango_layout_get_extents(c->layout, NULL, &logical);
    return (double)logical.height / PANGO_SCALE;
}

static void show(struct es_canvas *c, const struct es_type *type, double x, double y)
{
    if (!es_canvas_draws(c))
        return;
    es_canvas_ink(c, type->ink);
    cairo_move_to(c->cr, x, y);
    pango_cairo_show_layout(c->cr, c->layout);
    if (c->format == ES_CANVAS_SVG) {
        es_text_append(&c->words, c->clean.bytes, c->clean.length);
        es_text_char(&c->words, '\n');
    }
}

double es_canvas_text(struct es_canvas *c, const struct es_type *type, double x, double y, double width,
                      const char *text)
{
    if (!set(c, type, width, text))
        return 0;
    show(c, type, x, y);
    return set_height(c);
}

double es_canvas_text_height(struct es_canvas *c, const struct es_type *type, double width, const char *text)
{
    return set(c, type, width, text) ? set_height(c) : 0;
}

double es_canvas_text_width(struct es_canvas *c, const struct es_type *type, const char *text)
{
    PangoRectangle logical;
    if (!set(c, type, -1, text))
        return 0;
    pango_layout_get_extents(c->layout, NULL, &logical);
    return (double)logical.width / PANGO_SCALE;
}

double es_canvas_text_on(struct es_canvas *c, const struct es_type *type, double x, double baseline,
                         double width, const char *text)
{
    if (!set(c, type, width, text))
        return 0;
    show(c, type, x, baseline - (double)pango_layout_get_baseline(c->layout) / PANGO_SCALE);
    return set_height(c);
}
