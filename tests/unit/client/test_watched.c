#include <criterion/criterion.h>
#include <locale.h>
#include <string.h>

#include "rig/client/watched.h"
#include "rig/console/display.h"

#define AIR(state)                                                                                           \
    "\"supply valve\":{\"value\":" state ",\"unit\":\"1\"},"                                                 \
    "\"supply pressure\":{\"value\":4.0123,\"unit\":\"bar\"},"
#define OTHERS                                                                                               \
    "\"output 1 pressure\":{\"value\":1.5,\"unit\":\"bar\"},"                                                \
    "\"output 1 flow\":{\"value\":123.456,\"unit\":\"Nl/h\"},"                                               \
    "\"travel\":{\"value\":null,\"unit\":\"mm\",\"quality\":\"stale\"}"

static void hear(struct es_watched *w, const char *json)
{
    cJSON *event = cJSON_Parse(json);
    cr_assert_not_null(event, "%s", json);
    es_watched_event(w, event);
    cJSON_Delete(event);
}

static void shows(const struct es_watched *w, const char *values, size_t width, size_t lines,
                  const char *want)
{
    struct es_text out = {0};
    cJSON *object = cJSON_Parse(values);
    cr_assert_not_null(object, "%s", values);
    es_watched_lines(w, object, width, lines, &out);
    cr_expect_str_eq(out.bytes != NULL ? out.bytes : "", want);
    es_text_free(&out);
    cJSON_Delete(object);
}

Test(watched, what_the_step_and_the_recording_are_about)
{
    struct es_watched w = {0};
    shows(&w, "{" AIR("0") OTHERS "}", 100, 2, "");
    shows(&w, "{" AIR("1") OTHERS "}", 100, 2, "supply pressure 4.012 bar");
    hear(&w, "{\"event\":\"step\",\"roles\":[\"supply valve\"]}");
    shows(&w, "{" AIR("0") OTHERS "}", 100, 2, "supply valve shut");
    hear(&w, "{\"event\":\"recording\",\"state\":\"begin\",\"name\":\"a\",\"roles\":[\"output 1 "
             "flow\",\"travel\"]}");
    hear(&w, "{\"event\":\"step\",\"roles\":[\"output 1 flow\"]}");
    shows(&w, "{" AIR("1") OTHERS "}", 100, 2,
          "output 1 flow 123.5 Nl/h   travel stale   supply pressure 4.012 bar");
    hear(&w, "{\"event\":\"step\"}");
    hear(&w,
         "{\"event\":\"recording\",\"state\":\"begin\",\"name\":\"b\",\"roles\":[\"output 1 pressure\"]}");
    shows(&w, "{" AIR("0") OTHERS "}", 100, 2,
          "output 1 pressure 1.500 bar   output 1 flow 123.5 Nl/h   travel stale");
    hear(&w, "{\"event\":\"recording\",\"state\":\"end\",\"name\":\"a\"}");
    shows(&w, "{" AIR("0") OTHERS "}", 100, 2, "output 1 pressure 1.500 bar");
    hear(&w, "{\"event\":\"procedure\",\"state\":\"end\"}");
    shows(&w, "{" AIR("0") OTHERS "}", 100, 2, "");
}

Test(watched, the_least_important_gives_way)
{
    struct es_watched w = {0};
    hear(&w, "{\"event\":\"recording\",\"state\":\"begin\",\"name\":\"a\",\"roles\":[\"output 1 pressure\","
             "\"output 1 flow\",\"travel\"]}");
    shows(&w, "{" AIR("1") OTHERS "}", 30, 2, "output 1 pressure 1.500 bar\noutput 1 flow 123.5 Nl/h");
    shows(&w, "{" AIR("1") OTHERS "}", 60, 1, "output 1 pressure 1.500 bar   output 1 flow 123.5 Nl/h");
}

Test(watched, survives_what_is_hostile)
{
    struct es_watched w = {0};
    for (int i = 0; i < 40; i++)
        hear(
            &w,
            "{\"event\":\"recording\",\"state\":\"begin\",\"name\":\"a\",\"roles\":[7,\"\\u001b[2J\",null]}");
    hear(&w, "{\"event\":\"step\",\"roles\":\"x\"}");
    hear(&w, "{}");
    shows(&w, "{\"supply valve\":3,\"\\u001b[2J\":{\"value\":1,\"unit\":\"1\"}}", 80, 2,
          "\\u{001B}[2J 1.000");
}
