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

static bool has_k(const struct es_content_line *line)
{
    return line->v.measured && line->v.U > 0 && isfinite(line->v.k) && !(line->v.trials > 0);
}

/* Printed to two decimals: what reads the same is the same. */
static int printed_k(const struct es_content_line *line)
{
    return (int)lround(100 * fmin(fmax(line->v.k, 0), 1e6));
}

/* The coverage factor that most lines have; the first of those that are as frequent. */
static void find_k(struct es_page_content *p)
{
    size_t most = 0, all = 0;
    p->k = NAN;
    for (size_t i = 0; i < p->c.line_count; i++) {
        size_t alike = 0;
        if (!has_k(&p->c.lines[i]))
            continue;
        all++;
        for (size_t j = i; j < p->c.line_count; j++)
            alike += has_k(&p->c.lines[j]) && printed_k(&p->c.lines[j]) == printed_k(&p->c.lines[i]);
        if (alike > most) {
            most = alike;
            p->k = printed_k(&p->c.lines[i]) / 100.0;
        }
    }
    p->k_differs = most < all;
}

static void count_lines(struct es_page_content *p)
{
    for (size_t i = 0; i < p->c.line_count; i++) {
        const struct es_content_line *line = &p->c.lines[i];
        if (line->required)
            p->counts[es_page_verdict_of(line->verdict)]++;
        else
            p->informing++;
        p->by_trials += line->v.trials > 0;
    }
    find_k(p);
}

static void find_signers(struct es_page_content *p)
{
    for (size_t i = 0; i < p->report->signature_count; i++) {
        const struct es_certificate_signature *by = &p->report->signatures[i];
        if (strcmp(by->role, ES_ROLE_OF_RELEASE) == 0)
            p->released_by = by;
        if (strcmp(by->role, ES_ROLE_OF_VOID) == 0)
            p->void_by = by;
    }
}

bool es_page_close(const struct es_content_line *line)
{
    return es_page_verdict_of(line->verdict) == ES_PAGE_PASS && line->false_acceptance >= 0.0005;
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
    find_signers(&p);
    *out = p;
    return ES_OK;
}

void es_page_content_clear(struct es_page_content *content)
{
    es_content_free(&content->c);
    *content = (struct es_page_content){0};
}

const char *es_page_words(const struct es_text *text)
{
    return text->bytes != NULL ? text->bytes : "";
}
