/* How long a page takes to draw, in ratio to a floor measured in the same run: setting the same words, a
 * piece of text a row, on bare cairo and Pango. Bound: 150 ms a page document (two pages), fonts opened each
 * time.
 *
 *   bench_page [CERTIFICATE]      default: a made one of thirty lines and six curves */
#include <cairo-pdf.h>
#include <pango/pangocairo.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>

#include "results/page/page.h"
#include "rig/base/text.h"

#define RUNS  20
#define BOUND 0.150 /* s */

/* Processor time: other programs do not count. */
static double seconds(void)
{
    struct timespec t;
    (void)clock_gettime(CLOCK_PROCESS_CPUTIME_ID, &t);
    return (double)t.tv_sec + (double)t.tv_nsec * 1e-9;
}

static void make(struct es_text *json)
{
    es_text_add(json, "{\"endstop\":\"certificate/"
                      "1\",\"kind\":\"certificate\",\"number\":\"EX-000001\",\"verdict\":\"pass\","
                      "\"unit\":{\"serial\":\"SN-1\",\"type\":\"Example type\"},\"lines\":[");
    for (int i = 0; i < 30; i++)
        es_text_printf(
            json,
            "%s{\"procedure\":\"p%d\",\"measurand\":\"measurand number %d\",\"unit\":\"mm\",\"decimals\":2,"
            "\"limit\":{\"name\":\"l\",\"lower\":1,\"upper\":3,\"required\":true},\"rule\":\"guarded "
            "acceptance\",\"value\":2.%d,\"U\":0.1,\"k\":2,\"guard_band\":0.1,\"false_acceptance\":0,"
            "\"verdict\":\"pass\"}",
            i > 0 ? "," : "", i / 6, i, i);
    es_text_add(json, "],\"curves\":[");
    for (int i = 0; i < 6; i++) {
        es_text_printf(json, "%s{\"recording\":\"r%d\",\"series\":\"s\",\"unit\":\"bar\",\"t_s\":[0",
                       i > 0 ? "," : "", i);
        for (int k = 1; k < 40; k++)
            es_text_printf(json, ",%d", k);
        es_text_add(json, "],\"y\":[0");
        for (int k = 1; k < 40; k++)
            es_text_printf(json, ",%d", k * k % 17);
        es_text_add(json, "]}");
    }
    es_text_add(json, "]}");
}

static cairo_status_t forget(void *closure, const unsigned char *data, unsigned length)
{
    (void)data;
    *(size_t *)closure += length;
    return CAIRO_STATUS_SUCCESS;
}

/* 400 short texts on two pages. */
static double measure_floor(void)
{
    double began = seconds();
    for (int run = 0; run < RUNS; run++) {
        size_t written = 0;
        cairo_surface_t *pdf = cairo_pdf_surface_create_for_stream(forget, &written, 595, 842);
        cairo_t *cr = cairo_create(pdf);
        PangoLayout *layout = pango_cairo_create_layout(cr);
        for (int i = 0; i < 400; i++) {
            char text[40];
            snprintf(text, sizeof text, "measurand number %d", i);
            pango_layout_set_text(layout, text, -1);
            cairo_move_to(cr, 20, 10 + 2 * i);
            pango_cairo_show_layout(cr, layout);
            if (i == 200)
                cairo_show_page(cr);
        }
        g_object_unref(layout);
        cairo_destroy(cr);
        cairo_surface_destroy(pdf);
    }
    return (seconds() - began) / RUNS;
}

static int draw(const struct es_document *document, double *each)
{
    struct es_certificate_report report = {.finding = ES_CERTIFICATE_UNKNOWN_KEY};
    struct es_error err;
    double began = seconds();
    for (int run = 0; run < RUNS; run++) {
        char *bytes = NULL;
        size_t length;
        if (es_page_draw(&report, es_document_root(document), ES_CANVAS_PDF, ES_PAPER_A4, &bytes, &length,
                         &err) != ES_OK) {
            fprintf(stderr, "bench_page: %s\n", err.text);
            return 2;
        }
        free(bytes);
    }
    *each = (seconds() - began) / RUNS;
    return 0;
}

int main(int argc, char **argv)
{
    struct es_findings findings = {0};
    struct es_document *document = NULL;
    struct es_text json = {0};
    struct es_error err;
    double each = 0;
    make(&json);
    enum es_status s = argc > 1
                           ? es_document_load(argv[1], &findings, &document, &err)
                           : es_document_parse("made", json.bytes, json.length, &findings, &document, &err);
    if (s != ES_OK) {
        fprintf(stderr, "bench_page: %s\n", err.text);
        return 2;
    }
    double floor = measure_floor();
    int status = draw(document, &each);
    if (status == 0) {
        printf("a page: %.1f ms (bound %.0f ms), %.1f times the floor of %.1f ms\n", 1e3 * each, 1e3 * BOUND,
               each / floor, 1e3 * floor);
        status = each < BOUND ? 0 : 1;
    }
    es_document_free(document);
    es_findings_free(&findings);
    es_text_free(&json);
    return status;
}
