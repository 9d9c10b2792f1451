#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "results/certificate/canonical.h"
#include "results/page/content.h"
#include "rig/base/digest.h"

enum es_page_verdict es_page_verdict_of(const char *word)
{
    static const char *const words[] = {
        [ES_PAGE_PASS] = "pass",
        [ES_PAGE_CONDITIONAL_PASS] = "conditional pass",
        [ES_PAGE_CONDITIONAL_FAIL] = "conditional fail",
        [ES_PAGE_FAIL] = "fail",
        [ES_PAGE_NOT_TESTED] = "not tested",
    };
    for (size_t i = ES_PAGE_PASS; i < sizeof words / sizeof words[0]; i++)
        if (strcmp(word, words[i]) == 0)
            return (enum es_page_verdict)i;
    return ES_PAGE_NO_VERDICT;
}

void es_page_time(const char *time, char *out, size_t size)
{
    if (strlen(time) >= 20 && time[10] == 'T' && time[strlen(time) - 1] == 'Z')
        snprintf(out, size, "%.10s %.8s UTC", time, time + 11);
    else
        snprintf(out, size, "%s", time);
}

const char *es_page_unit(const char *unit)
{
    if (strcmp(unit, "degC") == 0)
        return "°C";
    if (strcmp(unit, "deg") == 0)
        return "°";
    return strcmp(unit, "1") == 0 ? "" : unit;
}

static void count_lines(struct es_page_content *p)
{
    bool first = true;
    p->k = NAN;
    for (size_t i = 0; i < p->c.line_count; i++) {
        const struct es_content_line *line = &p->c.lines[i];
        if (line->required)
            p->counts[es_page_verdict_of(line->verdict)]++;
        else
            p->informing++;
        if (line->v.measured && line->v.U > 0) {
            p->k = first || line->v.k == p->k ? line->v.k : NAN;
            first = false;
        }
    }
}

static enum es_status digest_payload(struct es_page_content *p, struct es_error *err)
{
    char *payload = NULL;
    size_t length = 0;
    enum es_status s = es_canonical_write_without(p->root, "signatures", &payload, &length, err);
    if (s == ES_OK)
        es_digest_hex(payload, length, p->digest);
    free(payload);
    return s;
}

enum es_status es_page_content_read(const struct es_certificate_report *report, const cJSON *root,
                                    struct es_page_content *out, struct es_error *err)
{
    struct es_page_content p = {.report = report, .root = root};
    enum es_status s = es_content_read(root, &p.c, err);
    if (s == ES_OK)
        s = digest_payload(&p, err);
    if (s != ES_OK) {
        es_content_free(&p.c);
        return s;
    }
    p.verdict = es_page_verdict_of(p.c.verdict);
    count_lines(&p);
    *out = p;
    return ES_OK;
}

void es_page_content_clear(struct es_page_content *content)
{
    es_content_free(&content->c);
    *content = (struct es_page_content){0};
}
