#include "rig/client/recompute.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "results/certificate/tree.h"
#include "rig/bench/recording_file.h"
#include "rig/bench/run_inputs.h"

static void ES_PRINTF(2, 3) fault(struct es_recomputed *r, const char *format, ...)
{
    va_list args;
    va_start(args, format);
    es_text_vprintf(&r->text, format, args);
    va_end(args);
    es_text_char(&r->text, '\n');
    r->faults++;
}

/* The documents must be those that the certificate names. */
static void compare_documents(const struct es_content *c, const struct es_run_inputs *in,
                              struct es_recomputed *r)
{
    if (strcmp(c->type_sheet.sha256, in->type->digest) != 0)
        fault(r, "the type sheet among the inputs is another than the certificate's");
    if (strcmp(c->plan.sha256, in->plan->digest) != 0)
        fault(r, "the test plan among the inputs is another than the certificate's");
    for (size_t i = 0; i < c->procedure_count && i < in->plan->entry_count; i++)
        if (strcmp(c->procedures[i].d.sha256, in->plan->entries[i].procedure->digest) != 0)
            fault(r, "the procedure \"%s\" among the inputs is another than the certificate's",
                  c->procedures[i].d.name);
}

static enum es_status read_traces(const struct es_content *c, const char *folder,
                                  struct es_remeasure_trace *traces, struct es_error *err)
{
    for (size_t i = 0; i < c->recording_count; i++) {
        struct es_text path = {0};
        char name[96];
        if (strlen(c->recordings[i].sha256) != 64)
            return es_fail(err, ES_BAD_INPUT, "a recording has no digest");
        es_recording_file_name(c->recordings[i].sha256, name);
        es_text_printf(&path, "%s/%s", folder, name);
        enum es_status s = es_text_status(&path, err);
        if (s == ES_OK)
            s = es_recording_read(NULL, path.bytes, c->recordings[i].sha256, &traces[i].trace, err);
        es_text_free(&path);
        if (s != ES_OK)
            return es_error_context(err, s, "recording \"%s\" of \"%s\"", c->recordings[i].name,
                                    c->recordings[i].procedure);
        traces[i].procedure = c->recordings[i].procedure;
    }
    return ES_OK;
}

static const struct es_line *find_line(const struct es_outcome *o, const struct es_content_line *wanted)
{
    for (size_t i = 0; i < o->line_count; i++)
        if (strcmp(o->lines[i].procedure, wanted->procedure) == 0 &&
            strcmp(o->lines[i].measurand, wanted->measurand) == 0)
            return &o->lines[i];
    return NULL;
}

/* As the certificate rounds them (build_behind.c). */
static void compare_value(const struct es_content_line *c, const struct es_line *line,
                          struct es_recomputed *r)
{
    const struct es_unit *unit = line->limit.unit;
    double U = es_to_unit_difference(line->value.U, unit);
    double value = es_round_like(es_to_unit(line->value.value, unit), U, 4);
    U = es_round_digits(U, 4);
    double apart = fmax(fabs(value - c->v.value), fabs(U - c->v.U)) / (c->v.U > 0 ? c->v.U : 1);
    if (c->v.trials > 0 || line->value.spread.trials > 0) {
        const struct es_spread *drawn = &line->value.spread;
        double low = es_round_like(es_to_unit(drawn->low, unit), U, 4),
               high = es_round_like(es_to_unit(drawn->high, unit), U, 4);
        double ends = fmax(fabs(low - c->v.low), fabs(high - c->v.high)) / (c->v.U > 0 ? c->v.U : 1);
        apart = fmax(apart, (double)drawn->trials == c->v.trials ? ends : INFINITY);
    }
    r->worst = fmax(r->worst, apart);
    if (apart == 0)
        r->identical++;
    else if (apart <= ES_RECOMPUTE_BOUND)
        r->within++;
    else
        fault(r, "\"%s\": the certificate says %.9g +- %.4g %s, the recordings give %.9g +- %.4g",
              c->measurand, c->v.value, c->v.U, c->unit, value, U);
}

static void compare_limit(const struct es_content_line *c, const struct es_line *line,
                          struct es_recomputed *r)
{
    const struct es_limit *l = &line->limit;
    if (es_round_digits(es_to_unit(l->lower, l->unit), 12) != c->lower ||
        es_round_digits(es_to_unit(l->upper, l->unit), 12) != c->upper ||
        strcmp(es_rule_word(l->rule), c->rule) != 0)
        fault(r, "\"%s\": limit or rule are not those of the type sheet", c->measurand);
}

static void compare_line(const struct es_content_line *c, const struct es_outcome *o, struct es_recomputed *r)
{
    const struct es_line *line = find_line(o, c);
    if (!c->v.measured)
        return; /* the run had a reason that recordings do not tell */
    r->values++;
    if (line == NULL || strcmp(line->limit.unit->name, c->unit) != 0) {
        fault(r, "\"%s\": plan and type sheet give no such line", c->measurand);
        return;
    }
    if (!line->value.valid) {
        fault(r, "\"%s\": the recordings do not carry it: %s", c->measurand,
              line->reason != NULL ? line->reason : "not tested");
        return;
    }
    compare_value(c, line, r);
    compare_limit(c, line, r);
    if (c->verdict[0] != '\0' && strcmp(es_verdict_word(line->verdict), c->verdict) != 0)
        fault(r, "\"%s\": the certificate says \"%s\", the recordings give \"%s\"", c->measurand, c->verdict,
              es_verdict_word(line->verdict));
}

enum es_status es_recompute(const struct es_content *c, const char *folder, struct es_recomputed *out,
                            struct es_error *err)
{
    struct es_run_inputs in = {0};
    struct es_outcome outcome;
    struct es_recomputed r = {0};
    if (c->inputs_sha256[0] == '\0')
        return es_fail(
            err, ES_NOT_FOUND,
            "the certificate names no inputs: nobody kept what it takes to derive its values again");
    struct es_remeasure_trace *traces = calloc(c->recording_count + 1, sizeof *traces);
    if (traces == NULL)
        return es_fail(err, ES_NO_MEMORY, "not enough memory to derive values again");
    es_outcome_init(&outcome);
    enum es_status s = es_run_inputs_read(folder, c->inputs_sha256, &in, err);
    if (s == ES_OK)
        s = read_traces(c, folder, traces, err);
    if (s == ES_OK) {
        compare_documents(c, &in, &r);
        in.what.traces = traces;
        in.what.trace_count = c->recording_count;
        in.what.seed = strtoull(c->seed, NULL, 10); /* "" is 0: no value was drawn */
        s = es_plan_remeasure(in.plan, in.type, &in.what, &outcome, err);
    }
    for (size_t i = 0; s == ES_OK && i < c->line_count; i++)
        compare_line(&c->lines[i], &outcome, &r);
    if (s == ES_OK)
        s = es_text_status(&r.text, err);
    for (size_t i = 0; i < c->recording_count; i++)
        es_trace_free(traces[i].trace);
    free(traces);
    es_outcome_free(&outcome);
    es_run_inputs_free(&in);
    if (s != ES_OK) {
        es_text_free(&r.text);
        return s;
    }
    *out = r;
    return ES_OK;
}
