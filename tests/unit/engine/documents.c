#include "tests/unit/engine/documents.h"

#include <criterion/criterion.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

char *make_procedure(const char *steps, const char *measurands)
{
    char *text = NULL;
    const int n = asprintf(&text,
                           "{\"endstop\": \"procedure/1\", \"name\": \"made\", \"version\": \"1\",\n"
                           " \"title\": \"Made for a test\", \"purpose\": \"To be tested.\",\n"
                           " \"cautions\": [\"Mind the gap.\"],\n"
                           " \"needs\": " NEEDS_ALL ",\n"
                           " \"steps\": [%s],\n"
                           " \"measurands\": [%s]}\n",
                           steps, measurands);

    cr_assert_gt(n, 0);
    return text;
}

struct es_procedure *try_read(const char *text, struct es_findings *f)
{
    struct es_document *doc = NULL;
    struct es_procedure *p = NULL;
    struct es_error err;

    if (es_document_parse("made.json", text, strlen(text), f, &doc, &err) != ES_OK)
        return NULL;
    const enum es_status s = es_procedure_from_document(doc, f, &p, &err);
    es_document_free(doc);
    cr_assert(s == ES_OK ? f->count == 0 : f->count > 0, "status %d with %zu findings", s, f->count);
    return s == ES_OK ? p : NULL;
}

struct es_procedure *must_read(const char *steps, const char *measurands)
{
    struct es_findings f = {0};
    char *text = make_procedure(steps, measurands);
    struct es_procedure *p = try_read(text, &f);

    es_findings_print(&f, stderr);
    es_findings_free(&f);
    free(text);
    cr_assert_not_null(p);
    return p;
}

struct es_plan *must_plan(const char *steps, const char *measurands)
{
    struct es_plan *plan = NULL;
    struct es_error err;

    cr_assert_eq(es_plan_of_procedure(must_read(steps, measurands), &plan, &err), ES_OK);
    return plan;
}

bool told(const struct es_findings *f, const char *words)
{
    for (size_t i = 0; i < f->count; i++)
        if (strstr(f->items[i].found, words) != NULL || strstr(f->items[i].expected, words) != NULL)
            return true;
    return false;
}
