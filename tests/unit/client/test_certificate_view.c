#include <criterion/criterion.h>
#include <locale.h>
#include <string.h>

#include "rig/client/certificate_view.h"
#include "rig/console/display.h"

static const char failing[] =
    "{\"kind\":\"certificate\",\"number\":\"B-000002\",\"issued\":\"2026-03-01T10:00:00Z\",\"verdict\":"
    "\"fail\","
    "\"unit\":{\"serial\":\"4711\",\"type\":\"Example "
    "L1\"},\"bench\":{\"name\":\"B\",\"station\":\"1\",\"virtual\":true},"
    "\"plan\":{\"name\":\"p\",\"title\":\"After a relay swap\",\"version\":\"1\"},"
    "\"run\":{\"began\":\"2026-03-01T09:50:00Z\",\"person\":\"A. Fitter\",\"attended\":true},"
    "\"procedures\":[{\"name\":\"relay leak\",\"title\":\"Relay leak with no input\"},"
    "{\"name\":\"stroke\",\"title\":\"Full stroke\",\"skipped_because\":\"relay leak failed\"}],"
    "\"lines\":["
    "{\"procedure\":\"relay leak\",\"measurand\":\"leak of output 1 at minimum "
    "supply\",\"unit\":\"Nl/h\",\"decimals\":2,"
    "\"value\":-0.0031,\"U\":0.2449,\"limit\":{\"upper\":3,\"required\":true},\"verdict\":\"pass\"},"
    "{\"procedure\":\"relay leak\",\"measurand\":\"leak of output 1 at nominal "
    "supply\",\"unit\":\"Nl/h\",\"decimals\":2,"
    "\"value\":123.4567,\"U\":1.2551,\"limit\":{\"upper\":3,\"required\":true},\"verdict\":\"fail\","
    "\"reason\":\"above "
    "its limit\"},"
    "{\"procedure\":\"stroke\",\"measurand\":\"travel\",\"unit\":\"mm\",\"limit\":{\"lower\":29,\"upper\":31,"
    "\"required\":true},\"verdict\":\"not tested\",\"reason\":\"relay leak failed\"}]}";

static void in_utf8(void)
{
    cr_assert_not_null(setlocale(LC_CTYPE, "C.UTF-8"));
}

TestSuite(certificate_view, .init = in_utf8);

static char *printed(const char *json, const struct es_screen *screen)
{
    cJSON *root = cJSON_Parse(json);
    cr_assert_not_null(root);
    char *out = NULL;
    size_t size = 0;
    struct es_error err;
    FILE *to = open_memstream(&out, &size);
    cr_assert_eq(es_certificate_view_print(root, screen, to, &err), ES_OK);
    cr_assert_eq(fclose(to), 0);
    cJSON_Delete(root);
    return out;
}

Test(certificate_view, verdict_first_then_a_line_a_measurand)
{
    struct es_screen screen = {.utf8 = true, .width = 100};
    char *out = printed(failing, &screen);
    static const char head[] = "✗ FAIL: of 3 lines that decide 1 passes, 1 fails, 1 was not tested\n";
    cr_assert_eq(strncmp(out, head, sizeof head - 1), 0, "%s", out);
    cr_assert_not_null(strstr(out, "  0.00 ± 0.24 Nl/h"), "%s", out);
    cr_assert_not_null(strstr(out, "123.5 ± 1.3 Nl/h"), "%s", out);
    cr_assert_not_null(strstr(out, "≤ 3 Nl/h"));
    cr_assert_not_null(strstr(out, "120.5 Nl/h too high"));
    cr_assert_not_null(strstr(out, "- NOT TESTED  travel: relay leak failed"));
    cr_assert_not_null(strstr(out, "Full stroke\n  relay leak failed: 1 line not tested\n"));
    cr_assert_null(strstr(out, "29 to 31 mm"));
    cr_assert_not_null(strstr(out, "VIRTUAL"));
    cr_assert_null(strchr(out, '\033'));
    free(out);
}

Test(certificate_view, a_line_that_only_informs_fails_nobody)
{
    static const char informing[] =
        "{\"kind\":\"certificate\",\"number\":\"B-000003\",\"issued\":\"2026-03-01T10:00:00Z\",\"verdict\":"
        "\"pass\","
        "\"procedures\":[{\"name\":\"relay leak\",\"title\":\"Relay leak\"}],\"lines\":["
        "{\"procedure\":\"relay leak\",\"measurand\":\"methods "
        "agree\",\"unit\":\"1\",\"decimals\":2,\"value\":1.24,"
        "\"limit\":{\"upper\":1,\"required\":false},\"verdict\":\"fail\"}]}";
    struct es_screen screen = {.utf8 = true, .width = 100};
    char *out = printed(informing, &screen);
    cr_assert_not_null(strstr(out, "! outside"), "%s", out);
    cr_assert_not_null(strstr(out, "1 of them outside its limit"), "%s", out);
    cr_assert_null(strstr(out, "FAIL"), "%s", out);
    free(out);
}

Test(certificate_view, plain_ascii_where_the_locale_has_no_more)
{
    struct es_screen screen = {.utf8 = false, .width = 100};
    char *out = printed(failing, &screen);
    for (const char *c = out; *c != '\0'; c++)
        cr_assert_lt((unsigned char)*c, 0x80);
    cr_assert_not_null(strstr(out, "X FAIL"));
    cr_assert_not_null(strstr(out, "+- 0.24 Nl/h"));
    cr_assert_not_null(strstr(out, "<= 3 Nl/h"));
    free(out);
}

Test(certificate_view, colour_comes_on_top_of_words)
{
    struct es_screen plain = {.utf8 = true, .width = 80},
                     colour = {.utf8 = true, .width = 80, .colour = true};
    char *a = printed(failing, &plain), *b = printed(failing, &colour);
    cr_assert_not_null(strchr(b, '\033'));
    char *w = b; /* without the attributes both are the same */
    for (const char *r = b; *r != '\0';) {
        if (*r == '\033')
            r = strchr(r, 'm') + 1;
        else
            *w++ = *r++;
    }
    *w = '\0';
    cr_assert_str_eq(a, b);
    free(a);
    free(b);
}

Test(certificate_view, fits_narrow_and_wide_terminals)
{
    for (size_t width = 50; width <= 120; width += 10) {
        struct es_screen screen = {.utf8 = true, .width = width};
        char *out = printed(failing, &screen);
        for (char *line = strtok(out, "\n"); line != NULL; line = strtok(NULL, "\n"))
            cr_expect_leq(es_display_width(line), width, "%zu: %s", width, line);
        free(out);
    }
}

Test(certificate_view, a_record_has_no_verdict)
{
    struct es_screen screen = {.utf8 = true, .width = 80};
    const char *record =
        "{\"kind\":\"record\",\"number\":\"B-3\",\"run\":{\"ended_because\":\"the guard was opened\","
        "\"safe_state_after_s\":0.3125}}";
    char *out = printed(record, &screen);
    cr_assert_eq(strncmp(out, "NOT COMPLETED: the guard was opened\n", 36), 0, "%s", out);
    cr_assert_not_null(strstr(out, "reached 0.31 s after the cause"));
    free(out);
    cJSON *root = cJSON_Parse(record);
    cr_assert_eq(es_certificate_view_exit(root), 3);
    cJSON_Delete(root);
}

Test(certificate_view, exit_statuses)
{
    const struct {
        const char *json;
        int status;
    } cases[] = {
        {"{\"kind\":\"certificate\",\"verdict\":\"pass\"}", 0},
        {"{\"kind\":\"certificate\",\"verdict\":\"conditional pass\"}", 1},
        {"{\"kind\":\"certificate\",\"verdict\":\"fail\"}", 1},
        {"{\"kind\":\"certificate\",\"verdict\":\"not tested\"}", 1},
        {"{\"kind\":\"certificate\"}", 1},
        {"{}", 1},
        {"{\"kind\":\"record\",\"verdict\":\"pass\"}", 3},
    };
    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
        cJSON *root = cJSON_Parse(cases[i].json);
        cr_expect_eq(es_certificate_view_exit(root), cases[i].status, "%s", cases[i].json);
        cJSON_Delete(root);
    }
}

Test(certificate_view, survives_what_is_missing_or_hostile)
{
    struct es_screen screen = {.utf8 = true, .width = 80};
    free(printed("{}", &screen));
    free(printed("{\"lines\":7,\"unit\":[],\"procedures\":\"x\",\"run\":3}", &screen));
    char *out =
        printed("{\"kind\":\"certificate\",\"verdict\":\"pass\",\"unit\":{\"serial\":\"\\u001b[2J\\u202e\"},"
                "\"lines\":[{},{\"measurand\":\"\\u001b]0;x\\u0007\",\"value\":1e308,\"U\":1e-300}]}",
                &screen);
    cr_assert_null(strchr(out, '\033'));
    cr_assert_null(strstr(out, "\xE2\x80\xAE"));
    free(out);
}
