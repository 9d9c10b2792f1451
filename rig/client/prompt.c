#include <stdlib.h>
#include <string.h>
#include <strings.h>

#include "rig/client/prompt.h"
#include "rig/client/talk.h"
#include "rig/console/json_writer.h"

/* What is asked, with what makes it dangerous above it. */
static void show_caution(struct es_progress *progress, const cJSON *question)
{
    const char *caution = es_member_text(question, "caution");
    double number = es_member_number(question, "number"), of = es_member_number(question, "of");
    char title[64] = "CAUTION";
    if (caution[0] == '\0')
        return;
    if (number >= 1 && of >= number && of < 1000)
        snprintf(title, sizeof title, "CAUTION %.0f of %.0f", number, of);
    es_progress_title(progress, title);
    es_progress_paragraph(progress, 2, caution);
}

static void show_options(struct es_progress *progress, const cJSON *question)
{
    int n = 0;
    const cJSON *option;
    cJSON_ArrayForEach(option, es_member(question, "options"))
    {
        es_progress_say(progress, "  %d  %s", ++n, cJSON_IsString(option) ? option->valuestring : "");
    }
}

void es_prompt_show(struct es_progress *progress, const cJSON *question)
{
    const char *kind = es_member_text(question, "kind"), *if_no = es_member_text(question, "if no");
    es_progress_clear(progress);
    fputc('\n', stderr);
    show_caution(progress, question);
    es_progress_paragraph(progress, 0, es_member_text(question, "text"));
    if (es_member_text(question, "picture")[0] != '\0')
        es_progress_say(progress, "  (see %s)", es_member_text(question, "picture"));
    if (if_no[0] != '\0') {
        char text[300];
        snprintf(text, sizeof text, "If no: %s", if_no);
        es_progress_paragraph(progress, 2, text);
    }
    if (strcmp(kind, "choice") == 0) {
        show_options(progress, question);
        fputs("Number of your choice: ", stderr);
    } else if (strcmp(kind, "number") == 0) {
        fputs("Value in ", stderr);
        fputs(es_member_text(question, "unit"), stderr);
        fputs(": ", stderr);
    } else if (strcmp(kind, "done") == 0) {
        fputs("Press Enter when it is done, or type no: ", stderr);
    } else {
        fputs("yes or no: ", stderr);
    }
    (void)fflush(stderr);
}

static bool is_word(const char *line, const char *a, const char *b)
{
    return strcasecmp(line, a) == 0 || strcasecmp(line, b) == 0;
}

static enum es_status understand_choice(const cJSON *question, const char *line, struct es_text *request,
                                        struct es_error *err)
{
    const cJSON *options = es_member(question, "options"), *option;
    int count = cJSON_GetArraySize(options), at = 0;
    char *end;
    long typed = strtol(line, &end, 10);
    bool numeric = end != line && *end == '\0';
    cJSON_ArrayForEach(option, options)
    {
        if ((numeric && typed == at + 1) ||
            (cJSON_IsString(option) && strcasecmp(option->valuestring, line) == 0)) {
            es_json_text(request, "answer", "choice");
            es_json_integer(request, "choice", at);
            return ES_OK;
        }
        at++;
    }
    return es_fail(err, ES_BAD_INPUT, "type a number from 1 to %d", count);
}

static enum es_status understand_number(const cJSON *question, const char *line, struct es_text *request,
                                        struct es_error *err)
{
    const char *unit = es_member_text(question, "unit");
    size_t length = strspn(line, "+-0123456789.eE");
    struct es_text written = {0};
    es_text_add(&written, line);
    if (length > 0 && line[length] == '\0') /* a bare number is in the unit that was asked for */
        es_text_printf(&written, " %s", unit);
    struct es_quantity quantity;
    const struct es_unit *asked = es_unit_find(unit, strlen(unit));
    enum es_status s = es_text_status(&written, err);
    if (s == ES_OK && asked != NULL)
        s = es_quantity_parse_as(written.bytes, asked->dimension, &quantity, err);
    if (s == ES_OK) {
        es_json_text(request, "answer", "number");
        es_json_text(request, "number", written.bytes);
    }
    es_text_free(&written);
    return s;
}

enum es_status es_prompt_understand(const cJSON *question, const char *line, struct es_text *request,
                                    struct es_error *err)
{
    const char *kind = es_member_text(question, "kind");
    if (strcmp(kind, "choice") == 0)
        return understand_choice(question, line, request, err);
    if (strcmp(kind, "number") == 0)
        return understand_number(question, line, request, err);
    if (is_word(line, "n", "no")) {
        es_json_text(request, "answer", "no");
        return ES_OK;
    }
    if (strcmp(kind, "done") == 0) {
        if (line[0] != '\0' && !is_word(line, "done", "d") && !is_word(line, "yes", "y"))
            return es_fail(err, ES_BAD_INPUT, "press Enter when it is done, or type no");
        es_json_text(request, "answer", "done");
        return ES_OK;
    }
    if (!is_word(line, "y", "yes"))
        return es_fail(err, ES_BAD_INPUT, "type yes or no");
    es_json_text(request, "answer", "yes");
    return ES_OK;
}
