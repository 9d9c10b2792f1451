/* The sheet for the wall: purpose, cautions, what is needed, the steps, what is judged. */
#include "procedures/engine/explain.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "procedures/engine/say.h"
#include "procedures/engine/walk.h"
#include "procedures/judgement/type_sheet.h"
#include "rig/base/text.h"

#define WIDTH         78
#define HEADING       800
#define ES_MOST_SLOTS 16

void es_wrap(FILE *to, int width, int indent, const char *first, const char *text)
{
    const int hang = indent + (int)es_utf8_count(first);
    int column = hang;
    bool line_begun = false;

    fprintf(to, "%*s%s", indent, "", first);
    while (*text != '\0') {
        const size_t gap = strspn(text, " \n");
        text += gap;
        size_t bytes = strcspn(text, " \n");
        if (bytes == 0)
            break;
        while (text[bytes] == ' ' && es_unit_belongs(text, bytes))
            bytes += 1 + strcspn(text + bytes + 1, " \n");
        int letters = 0;
        for (size_t i = 0; i < bytes; i++)
            letters += ((unsigned char)text[i] & 0xc0) != 0x80;
        if (line_begun && column + 1 + letters > width) {
            fprintf(to, "\n%*s", hang, "");
            column = hang;
            line_begun = false;
        }
        fprintf(to, "%s%.*s", line_begun ? " " : "", (int)bytes, text);
        column += letters + (line_begun ? 1 : 0);
        line_begun = true;
        text += bytes;
    }
    fputc('\n', to);
}

static void wrap(FILE *to, int indent, const char *first, const char *text)
{
    es_wrap(to, WIDTH, indent, first, text);
}

static void heading(FILE *to, const char *text)
{
    fprintf(to, "\n%s\n", text);
}

void es_say_duration(double seconds, char *out, size_t size)
{
    const long whole = lround(ceil(seconds));

    if (whole < 60)
        (void)snprintf(out, size, "%ld s", whole);
    else if (whole % 60 == 0)
        (void)snprintf(out, size, "%ld min", whole / 60);
    else
        (void)snprintf(out, size, "%ld min %ld s", whole / 60, whole % 60);
}

void es_say_limit(const struct es_limit *limit, char *out, size_t size)
{
    char low[48], high[48];

    (void)es_quantity_format(limit->lower, limit->unit, limit->decimals, low, sizeof low);
    (void)es_quantity_format(limit->upper, limit->unit, limit->decimals, high, sizeof high);
    if (!isfinite(limit->lower) && !isfinite(limit->upper))
        (void)snprintf(out, size, "no limit");
    else if (!isfinite(limit->lower))
        (void)snprintf(out, size, "at most %s", high);
    else if (!isfinite(limit->upper))
        (void)snprintf(out, size, "at least %s", low);
    else
        (void)snprintf(out, size, "%s to %s", low, high);
}

/* "(only units with position feedback) (where fitted) "; with a type sheet the first is known. */
static void say_for_whom(const struct es_step *s, const struct es_type *type, char *out, size_t size)
{
    size_t n = 0;

    out[0] = '\0';
    if (type == NULL && s->when != ES_WHEN_ALWAYS)
        n += (size_t)snprintf(out, size, "(only units %s) ", es_when_phrase(s->when));
    if (s->where_fitted && n < size)
        n += (size_t)snprintf(out + n, size - n, "(where fitted) ");
    if (s->where_not_fitted != ES_ROLE_NONE && n < size)
        (void)snprintf(out + n, size - n, "(only on a bench without the channel \"%s\") ",
                       es_role_info(s->where_not_fitted)->name);
}

static void explain_steps(const struct es_step *steps, size_t count, const struct es_type *type,
                          const char *prefix, int indent, FILE *to)
{
    char number[48], text[1600], who[200], whole[2600];
    size_t shown = 0;

    for (size_t i = 0; i < count; i++) {
        const struct es_step *s = &steps[i];
        if (!es_when_applies(s->when, type))
            continue;
        shown++;
        (void)snprintf(number, sizeof number, "%s%zu. ", prefix, shown);
        (void)es_explain_step(s, type, text, sizeof text);
        say_for_whom(s, type, who, sizeof who);
        (void)snprintf(whole, sizeof whole, "%s%s%s%s%s%s", who, text, s->why != NULL ? " (" : "",
                       s->why != NULL ? s->why : "", s->why != NULL ? ")" : "",
                       s->step_count == 0          ? ""
                       : s->kind == ES_STEP_RECORD ? " Meanwhile:"
                                                   : " Each time:");
        wrap(to, indent, number, whole);
        if (s->step_count > 0) {
            char inner[40];
            (void)snprintf(inner, sizeof inner, "%.30s%zu.", prefix, shown);
            explain_steps(s->steps, s->step_count, type, inner, indent + 3, to);
        }
    }
}

static void explain_cautions(const struct es_plan *plan, FILE *to)
{
    heading(to, "CAUTIONS, to be confirmed before anything moves");
    for (size_t i = 0; i < plan->entry_count; i++)
        for (size_t k = 0; k < plan->entries[i].procedure->caution_count; k++)
            if (es_plan_caution_is_new(plan, i, k))
                wrap(to, 2, "! ", plan->entries[i].procedure->cautions[k]);
}

static void explain_needs(const struct es_procedure *p, const struct es_type *type, FILE *to)
{
    char text[120];

    heading(to, "What the bench must have");
    for (size_t i = 0; i < p->need_count; i++) {
        const struct es_need *n = &p->needs[i];
        if (!es_when_applies(n->when, type))
            continue;
        (void)snprintf(text, sizeof text, "%s%s%s%s", es_role_info(n->role)->name,
                       n->where_fitted ? " (where fitted)" : "",
                       type == NULL && n->when != ES_WHEN_ALWAYS ? ", for units " : "",
                       type == NULL ? es_when_phrase(n->when) : "");
        wrap(to, 2, "- ", text);
    }
}

static void explain_result(const struct es_result *r, const struct es_type *type, FILE *to)
{
    char text[600], limit[160];
    const struct es_limit *l = type != NULL ? es_type_limit(type, r->limit) : NULL;

    if (l != NULL)
        es_say_limit(l, limit, sizeof limit);
    (void)snprintf(text, sizeof text, "%s: %s%slimit \"%s\"%s%s", r->name, l != NULL ? limit : "",
                   l != NULL ? " (" : "", r->limit, l != NULL ? ")" : "",
                   r->required ? "" : "; for information only");
    wrap(to, 4, "- ", text);
}

/* Slots that name a recording for the first time. */
static size_t recordings_of(const struct es_measurand *m, const char *out[static ES_MOST_SLOTS])
{
    size_t count = 0;

    for (size_t i = 0; i < m->slot_count && count < ES_MOST_SLOTS; i++) {
        bool twice = false;
        for (size_t k = 0; k < count; k++)
            twice = twice || strcmp(out[k], m->slots[i].recording) == 0;
        if (!twice)
            out[count++] = m->slots[i].recording;
    }
    return count;
}

/* "By the measure "level" from the recordings "a" and "b":" */
static void say_measurand(const struct es_measurand *m, const struct es_type *type, char *out, size_t size)
{
    const char *names[ES_MOST_SLOTS];
    const size_t count = recordings_of(m, names);
    size_t n = (size_t)snprintf(out, size, "By the measure \"%s\" from the recording%s", m->measure->name,
                                count == 1 ? "" : "s");

    for (size_t i = 0; i < count && n < size; i++)
        n += (size_t)snprintf(out + n, size - n, "%s\"%s\"",
                              i == 0           ? " "
                              : i + 1 == count ? " and "
                                               : ", ",
                              names[i]);
    if (type == NULL && m->when != ES_WHEN_ALWAYS && n < size)
        n += (size_t)snprintf(out + n, size - n, ", for units %s", es_when_phrase(m->when));
    if (n < size)
        (void)snprintf(out + n, size - n, ":");
}

/* What is taken from which recordings, and how; what comes from the same as before goes under its heading. */
static void explain_measurand(const struct es_measurand *m, const struct es_type *type, FILE *to,
                              char heading_before[static HEADING])
{
    char text[HEADING];

    say_measurand(m, type, text, sizeof text);
    if (strcmp(text, heading_before) != 0)
        wrap(to, 2, "", text);
    memcpy(heading_before, text, sizeof text);
    for (size_t k = 0; k < m->result_count; k++)
        explain_result(&m->results[k], type, to);
}

static void explain_measurands(const struct es_procedure *p, const struct es_type *type, FILE *to)
{
    char before[HEADING] = "";

    heading(to, "What is measured and judged");
    for (size_t i = 0; i < p->measurand_count; i++)
        if (es_when_applies(p->measurands[i].when, type))
            explain_measurand(&p->measurands[i], type, to, before);
    if (p->measurand_count == 0)
        fprintf(to, "  Nothing.\n");
}

static enum es_status times(const struct es_plan *plan, const struct es_type *type, double *bench,
                            double *people, struct es_error *err)
{
    *bench = *people = 0;
    for (size_t i = 0; i < plan->entry_count; i++) {
        struct es_walk walk;
        const enum es_status s =
            es_walk_procedure(&walk, plan->entries[i].procedure, NULL, type, false, NULL, NULL, err);
        if (s != ES_OK)
            return s;
        *bench += walk.bench_time;
        *people += walk.people_time;
        es_walk_free(&walk);
    }
    return ES_OK;
}

static enum es_status explain_duration(const struct es_plan *plan, const struct es_type *type, FILE *to,
                                       struct es_error *err)
{
    double bench, people;
    char text[400], b[40], p[40];

    const enum es_status s = times(plan, type, &bench, &people, err);
    if (s != ES_OK)
        return s;
    es_say_duration(bench, b, sizeof b);
    es_say_duration(people, p, sizeof p);
    (void)snprintf(text, sizeof text, "Once the cautions are confirmed at most %s%s%s%s.%s", b,
                   people > 0 ? ", and up to " : "", people > 0 ? p : "",
                   people > 0 ? " of waiting for people, on a bench where they are asked" : "",
                   type == NULL ? " Ramps whose ends stand in the type sheet are not in it." : "");
    heading(to, "Longest duration");
    wrap(to, 2, "", text);
    return ES_OK;
}

static void explain_title(const char *title, const char *version, const struct es_type *type, FILE *to)
{
    char text[400];

    (void)snprintf(text, sizeof text, "%s (version %s)", title, version);
    wrap(to, 0, "", text);
    if (type == NULL)
        return;
    (void)snprintf(text, sizeof text, "for %s", type->title);
    wrap(to, 0, "", text);
}

static void explain_body(const struct es_procedure *p, const struct es_type *type, FILE *to)
{
    explain_needs(p, type, to);
    heading(to, "Steps, from the bench's safe state");
    explain_steps(p->steps, p->step_count, type, "", 2, to);
    explain_measurands(p, type, to);
}

static enum es_status written(FILE *to, struct es_error *err)
{
    if (fflush(to) != 0 || ferror(to))
        return es_fail(err, ES_IO, "the explanation could not be written");
    return ES_OK;
}

static const char last_words[] = "At every end (finished, failed, stopped, lost) the program brings the "
                                 "bench to its safe state. It is no safety "
                                 "device: the bench has its own emergency stop, relief valve and guard.";

enum es_status es_explain_procedure(const struct es_procedure *p, const struct es_type *type, FILE *to,
                                    struct es_error *err)
{
    /* Borrowed, not owned. */
    struct es_plan_entry entry = {.procedure = (struct es_procedure *)(uintptr_t)p, .label = p->name};
    const struct es_plan plan = {.entries = &entry, .entry_count = 1};

    explain_title(p->title, p->version, type, to);
    fputc('\n', to);
    wrap(to, 0, "", p->purpose);
    explain_cautions(&plan, to);
    explain_body(p, type, to);
    const enum es_status s = explain_duration(&plan, type, to, err);
    if (s != ES_OK)
        return s;
    fputc('\n', to);
    wrap(to, 0, "", last_words);
    return written(to, err);
}

static void explain_order(const struct es_plan *plan, FILE *to)
{
    char text[400], number[24];

    heading(to, "Procedures, in order");
    for (size_t i = 0; i < plan->entry_count; i++) {
        const struct es_plan_entry *e = &plan->entries[i];
        size_t n = (size_t)snprintf(text, sizeof text, "%s", e->label);
        for (size_t k = 0; k < e->gate_count && n < sizeof text; k++)
            n += (size_t)snprintf(
                text + n, sizeof text - n, "%s\"%s\" %s%s", k == 0 ? ", only after " : " and ",
                plan->entries[e->gates[k].earlier].label,
                e->gates[k].must == ES_GATE_UNLESS_FAILED ? "was " : "has ", es_gate_word(e->gates[k].must));
        (void)snprintf(number, sizeof number, "%zu. ", i + 1);
        wrap(to, 2, number, text);
    }
}

enum es_status es_explain_plan(const struct es_plan *plan, const struct es_type *type, FILE *to,
                               struct es_error *err)
{
    explain_title(plan->title, plan->version, type, to);
    fputc('\n', to);
    wrap(to, 0, "", plan->purpose);
    explain_cautions(plan, to);
    explain_order(plan, to);
    enum es_status s = explain_duration(plan, type, to, err);
    for (size_t i = 0; i < plan->entry_count && s == ES_OK; i++) {
        const struct es_procedure *p = plan->entries[i].procedure;
        fprintf(to, "\n%.*s\n", WIDTH,
                "------------------------------------------------------------------------------");
        fprintf(to, "%zu. ", i + 1);
        explain_title(p->title, p->version, NULL, to);
        fputc('\n', to);
        wrap(to, 0, "", p->purpose);
        explain_body(p, type, to);
    }
    if (s != ES_OK)
        return s;
    fputc('\n', to);
    wrap(to, 0, "", last_words);
    return written(to, err);
}

enum es_status es_explain_file(const char *path, const struct es_type *type, struct es_findings *findings,
                               FILE *to, struct es_error *err)
{
    struct es_plan *plan = NULL;

    enum es_status s = es_plan_load_any(path, findings, &plan, err);
    if (s != ES_OK)
        return s;
    const bool lone = plan->entry_count == 1 && strcmp(plan->digest, plan->entries[0].procedure->digest) == 0;
    s = lone ? es_explain_procedure(plan->entries[0].procedure, type, to, err)
             : es_explain_plan(plan, type, to, err);
    es_plan_free(plan);
    return s;
}
