#include <criterion/criterion.h>
#include <string.h>

#include "rig/client/prompt.h"
#include "rig/console/json_writer.h"

static cJSON *question(const char *text)
{
    cJSON *q = cJSON_Parse(text);
    cr_assert_not_null(q);
    return q;
}

/* The members that an answer adds, or NULL when it is refused. */
static char *understood(const char *q_text, const char *line)
{
    cJSON *q = question(q_text);
    struct es_text request = {0};
    struct es_error err = {0};
    char *out = NULL;
    es_json_object(&request, NULL);
    if (es_prompt_understand(q, line, &request, &err) == ES_OK) {
        es_json_end_object(&request);
        cr_assert_eq(es_text_take(&request, &out, NULL), ES_OK);
    } else {
        cr_expect(err.text[0] != '\0');
    }
    es_text_free(&request);
    cJSON_Delete(q);
    return out;
}

static void takes(const char *q, const char *line, const char *want)
{
    char *got = understood(q, line);
    cr_expect_str_eq(got != NULL ? got : "refused", want, "\"%s\": %s", line, got);
    free(got);
}

#define CONFIRM "{\"kind\":\"confirm\"}"
#define DONE    "{\"kind\":\"done\"}"
#define CHOICE  "{\"kind\":\"choice\",\"options\":[\"green\",\"red\",\"3\"]}"
#define NUMBER  "{\"kind\":\"number\",\"unit\":\"bar\"}"

Test(prompt, confirmations_want_a_whole_word)
{
    takes(CONFIRM, "yes", "{\"answer\":\"yes\"}");
    takes(CONFIRM, "Y", "{\"answer\":\"yes\"}");
    takes(CONFIRM, "no", "{\"answer\":\"no\"}");
    takes(CONFIRM, "", "refused"); /* Enter alone confirms nothing */
    takes(CONFIRM, "yess", "refused");
    takes(CONFIRM, "ok", "refused");
}

Test(prompt, done_takes_enter)
{
    takes(DONE, "", "{\"answer\":\"done\"}");
    takes(DONE, "done", "{\"answer\":\"done\"}");
    takes(DONE, "no", "{\"answer\":\"no\"}");
    takes(DONE, "what?", "refused");
}

Test(prompt, choices_by_number_or_word)
{
    takes(CHOICE, "1", "{\"answer\":\"choice\",\"choice\":0}");
    takes(CHOICE, "RED", "{\"answer\":\"choice\",\"choice\":1}");
    takes(CHOICE, "3", "{\"answer\":\"choice\",\"choice\":2}");
    takes(CHOICE, "0", "refused");
    takes(CHOICE, "4", "refused");
    takes(CHOICE, "", "refused");
    takes(CHOICE, "yes", "refused");
}

Test(prompt, numbers_with_or_without_unit)
{
    takes(NUMBER, "4.0", "{\"answer\":\"number\",\"number\":\"4.0 bar\"}");
    takes(NUMBER, "400 kPa", "{\"answer\":\"number\",\"number\":\"400 kPa\"}");
    takes(NUMBER, "4 mm", "refused");
    takes(NUMBER, "four", "refused");
    takes(NUMBER, "", "refused");
}
