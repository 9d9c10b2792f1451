#include <criterion/criterion.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

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

static char *asked(const char *q_text, size_t width)
{
    struct es_screen screen = {.utf8 = true, .width = width};
    struct es_progress progress;
    char path[] = "/tmp/endstop-prompt-XXXXXX";
    static char out[2000];
    int fd = mkstemp(path), kept = dup(STDERR_FILENO);
    cr_assert(fd >= 0 && kept >= 0);
    cr_assert(dup2(fd, STDERR_FILENO) >= 0);
    cJSON *q = question(q_text);
    es_progress_start(&progress, &screen, false);
    es_prompt_show(&progress, q);
    (void)fflush(stderr);
    cr_assert(dup2(kept, STDERR_FILENO) >= 0);
    ssize_t n = pread(fd, out, sizeof out - 1, 0);
    cr_assert(n >= 0);
    out[n] = '\0';
    close(kept);
    close(fd);
    unlink(path);
    cJSON_Delete(q);
    return out;
}

Test(prompt, a_caution_is_numbered_and_says_what_no_does)
{
    cr_expect_str_eq(
        asked("{\"kind\":\"confirm\",\"caution\":\"Shafts move without warning: keep hands away from "
              "shaft and lever.\",\"number\":2,\"of\":5,\"text\":\"Heeded?\",\"if no\":\"The run ends "
              "here; nothing has been moved.\"}",
              40),
        "\nCAUTION 2 of 5\n"
        "  Shafts move without warning: keep\n"
        "  hands away from shaft and lever.\n"
        "Heeded?\n"
        "  If no: The run ends here; nothing has\n"
        "  been moved.\n"
        "yes or no: ");
    cr_expect_str_eq(asked("{\"kind\":\"choice\",\"text\":\"Which?\",\"options\":[\"red\",\"blue\"]}", 40),
                     "\nWhich?\n  1  red\n  2  blue\nNumber of your choice: ");
    cr_expect_str_eq(
        asked("{\"kind\":\"done\",\"text\":\"Close it.\",\"caution\":\"Mind it.\\u001b[2J\"}", 40),
        "\nCAUTION\n  Mind it.\\u{001B}[2J\nClose it.\nPress Enter when it is done, or type no: ");
}
