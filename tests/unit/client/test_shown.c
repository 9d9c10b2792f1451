/* What a person sees, whole, at four widths: the text in shown/NAME-WIDTH.txt was read by a person and must
 * not change unnoticed. ES_WRITE_SHOWN=1 writes it anew, to be read again. */
#include <criterion/criterion.h>
#include <locale.h>
#include <stdlib.h>
#include <string.h>

#include "rig/base/document.h"
#include "rig/base/file.h"
#include "rig/client/bench_attention.h"
#include "rig/client/bench_view.h"
#include "rig/client/certificate_view.h"
#include "rig/console/display.h"

typedef enum es_status print_function(const cJSON *root, const struct es_screen *screen, FILE *to,
                                      struct es_error *err);

static enum es_status print_bench(const cJSON *root, const struct es_screen *screen, FILE *to,
                                  struct es_error *err)
{
    enum es_status s = es_bench_view_print(root, screen, "2026-03-01", to, err);
    fprintf(to, "[%d]\n", es_bench_attention_faults(root));
    return s;
}

/* What the client has for today is a time of day. */
static enum es_status print_bench_at_night(const cJSON *root, const struct es_screen *screen, FILE *to,
                                           struct es_error *err)
{
    enum es_status s = es_bench_view_print(root, screen, "2026-03-01T23:59:59.999Z", to, err);
    fprintf(to, "[%d]\n", es_bench_attention_faults(root));
    return s;
}

static void write_text(const char *path, const char *text)
{
    FILE *f = fopen(path, "w");
    cr_assert_not_null(f);
    cr_assert_geq(fputs(text, f), 0);
    cr_assert_eq(fclose(f), 0);
}

static void check(const char *name, print_function *print, size_t width)
{
    char path[512];
    struct es_error err = {0};
    struct es_findings findings = {0};
    struct es_document *doc = NULL;
    snprintf(path, sizeof path, "%s/%s.json", SHOWN, name);
    cr_assert_eq(es_document_load(path, &findings, &doc, &err), ES_OK, "%s", err.text);
    struct es_screen screen = {.utf8 = true, .width = width};
    char *out = NULL, *want = NULL;
    size_t size = 0;
    FILE *to = open_memstream(&out, &size);
    cr_assert_eq(print(es_document_root(doc), &screen, to, &err), ES_OK, "%s", err.text);
    cr_assert_eq(fclose(to), 0);
    snprintf(path, sizeof path, "%s/%s-%zu.txt", SHOWN, name, width);
    if (getenv("ES_WRITE_SHOWN") != NULL)
        write_text(path, out);
    cr_assert_eq(es_file_read(NULL, path, 1u << 20, &want, &size, &err), ES_OK, "%s", err.text);
    cr_expect_str_eq(out, want, "%s differs; it is now\n%s", path, out);
    for (char *line = strtok(out, "\n"); line != NULL; line = strtok(NULL, "\n")) {
        cr_expect_leq(es_display_width(line), width, "%s, %zu: %s", name, width, line);
        cr_expect_neq(line[strlen(line) - 1], ' ', "%s, %zu: blank at the end of \"%s\"", name, width, line);
    }
    free(want);
    free(out);
    es_document_free(doc);
    es_findings_free(&findings);
}

static void check_all(const char *name, print_function *print)
{
    cr_assert_not_null(setlocale(LC_CTYPE, "C.UTF-8"));
    check(name, print, 40);
    check(name, print, 60);
    check(name, print, 80);
    check(name, print, 110);
}

Test(shown, a_failing_unit)
{
    check_all("failing", es_certificate_view_print);
}

Test(shown, likely_causes)
{
    check_all("causes", es_certificate_view_print);
}

Test(shown, a_passing_unit_with_a_near_miss)
{
    check_all("passing", es_certificate_view_print);
}

Test(shown, a_run_that_was_not_completed)
{
    check_all("record", es_certificate_view_print);
}

Test(shown, a_bench_where_all_is_well)
{
    check_all("bench-well", print_bench);
}

Test(shown, a_bench_that_needs_attention)
{
    check_all("bench-troubled", print_bench);
}

Test(shown, a_bench_that_needs_attention_at_night)
{
    check_all("bench-troubled", print_bench_at_night);
}
