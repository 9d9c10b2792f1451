/* Shows what rig/base makes of its input, for base_against_python.py.
 *
 * base_probe json < documents: each document is a line with its length in bytes and then the bytes. For each
 * one line: "refused FILE:LINE:COLUMN ..." or "taken " and the tree as JSON, numbers with 17 digits.
 * base_probe units: each unit as dimension, name, factor, offset, tab between. */
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "rig/base/document.h"
#include "rig/base/text.h"
#include "rig/base/units.h"

static void write_value(struct es_text *t, const cJSON *item)
{
    const char *gap = "";

    if (cJSON_IsObject(item) || cJSON_IsArray(item)) {
        es_text_char(t, cJSON_IsObject(item) ? '{' : '[');
        for (const cJSON *child = item->child; child != NULL; child = child->next, gap = ",") {
            es_text_add(t, gap);
            if (child->string != NULL) {
                es_text_json(t, child->string);
                es_text_char(t, ':');
            }
            write_value(t, child);
        }
        es_text_char(t, cJSON_IsObject(item) ? '}' : ']');
    } else if (cJSON_IsString(item)) {
        es_text_json(t, item->valuestring);
    } else if (cJSON_IsNumber(item)) {
        es_text_printf(t, "%.17g", item->valuedouble);
    } else {
        es_text_add(t, cJSON_IsNull(item) ? "null" : cJSON_IsTrue(item) ? "true" : "false");
    }
}

static void judge(const char *bytes, size_t length)
{
    struct es_findings findings = {0};
    struct es_document *doc = NULL;
    struct es_text t = {0};
    struct es_error err = {0};

    if (es_document_parse("document", bytes, length, &findings, &doc, &err) == ES_OK) {
        write_value(&t, es_document_root(doc));
        (void)printf("taken %s\n", t.bytes);
    } else {
        (void)printf("refused %s: %s\n", es_status_word(err.status), err.text);
    }
    es_text_free(&t);
    es_document_free(doc);
    es_findings_free(&findings);
}

static int judge_all(void)
{
    char line[32];

    while (fgets(line, sizeof line, stdin) != NULL) {
        size_t length = strtoul(line, NULL, 10);
        char *bytes = malloc(length + 1);
        if (bytes == NULL || fread(bytes, 1, length, stdin) != length) {
            free(bytes);
            return 3;
        }
        judge(bytes, length);
        free(bytes);
    }
    return 0;
}

int main(int count, char **words)
{
    if (count == 2 && strcmp(words[1], "json") == 0)
        return judge_all();
    if (count != 2 || strcmp(words[1], "units") != 0)
        return 2;
    for (size_t i = 0; i < es_unit_count; i++)
        (void)printf("%s\t%s\t%.17g\t%.17g\n", es_dimension_name(es_units[i].dimension), es_units[i].name,
                     es_units[i].factor, es_units[i].offset);
    return 0;
}
