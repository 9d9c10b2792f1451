#include <math.h>
#include <string.h>

#include "drivers/virtual/virtual_bench.h"
#include "rig/bench/bench.h"
#include "rig/console/json_writer.h"
#include "rig/console/table.h"
#include "rig/study/report.h"

static void number(struct es_text *t, const char *name, double value)
{
    if (isfinite(value)) {
        es_json_number(t, name, value);
    } else {
        es_json_raw(t, name, "null", 4);
    }
}

/* 64 bits do not fit into a JSON number that every reader keeps. */
static void seed(struct es_text *t, const char *name, uint64_t value)
{
    char text[32];
    snprintf(text, sizeof text, "%llu", (unsigned long long)value);
    es_json_text(t, name, text);
}

static void count(struct es_text *t, const char *name, const struct es_study_count *c)
{
    const struct es_share failed = es_share_clopper_pearson(c->failed, c->n, 0.95);
    const struct es_share wilson = es_share_wilson(c->failed, c->n, 0.95);
    es_json_object(t, name);
    es_json_integer(t, "units", (long long)c->n);
    es_json_integer(t, "passed", (long long)c->passed);
    es_json_integer(t, "failed", (long long)c->failed);
    es_json_integer(t, "held", (long long)c->held);
    number(t, "share failed", failed.share);
    number(t, "lower", failed.lower);
    number(t, "upper", failed.upper);
    number(t, "lower by Wilson", wilson.lower);
    number(t, "upper by Wilson", wilson.upper);
    es_json_end_object(t);
}

static void fault(struct es_text *t, const struct es_study *s, const struct es_study_fault *f)
{
    es_json_object(t, NULL);
    es_json_text(t, "fault", es_study_fault_name(f->fault));
    es_json_text(t, "place", es_virtual_place_name(es_virtual_fault_get(f->fault)->place));
    es_json_bool(t, "judged", es_study_judges(&s->types[f->type], f->fault));
    es_json_text(t, "type", s->types[f->type].sheet->name);
    number(t, "matters from", f->matters);
    count(t, "all", &f->all);
    count(t, "mattering", &f->mattering);
    number(t, "largest severity passed", f->largest_missed);
    es_json_object(t, "severity failed 95 times in 100");
    if (f->threshold.valid) {
        number(t, "severity", f->threshold.size);
        number(t, "lower", f->threshold.lower);
        number(t, "upper", f->threshold.upper);
    } else {
        es_json_text(t, "reason", f->threshold.reason);
    }
    es_json_end_object(t);
    es_json_end_object(t);
}

static void coverage(struct es_text *t, const struct es_study *s, const struct es_study_coverage *c)
{
    es_json_object(t, NULL);
    es_json_text(t, "type", s->types[c->type].sheet->name);
    es_json_text(t, "procedure", s->types[c->type].slots[c->slot].procedure);
    es_json_text(t, "measurand", s->types[c->type].slots[c->slot].measurand);
    es_json_integer(t, "values", (long long)c->covered.n);
    es_json_integer(t, "covered", (long long)c->covered.k);
    number(t, "share covered", c->covered.share);
    number(t, "lower", c->covered.lower);
    number(t, "upper", c->covered.upper);
    number(t, "bias in u", c->bias);
    number(t, "spread in u", c->spread);
    number(t, "worst in u", c->worst_off);
    number(t, "worst unit", c->worst != SIZE_MAX ? (double)c->worst : NAN);
    es_json_integer(t, "values away from zero", (long long)c->away.n);
    es_json_integer(t, "covered away from zero", (long long)c->away.k);
    es_json_integer(t, "exact", (long long)c->exact);
    es_json_integer(t, "exact but wrong", (long long)c->exact_wrong);
    es_json_end_object(t);
}

/* `rows` NULL: none were asked for. */
static void all_coverage(struct es_text *t, const char *name, const struct es_study *s,
                         const struct es_study_coverage *rows, size_t count)
{
    es_json_array(t, name);
    for (size_t i = 0; rows && i < count; i++) {
        coverage(t, s, &rows[i]);
    }
    es_json_end_array(t);
}

static void about(struct es_text *t, const struct es_study *s)
{
    es_json_text(t, "endstop", "study/1");
    es_json_text(t, "version", ES_VERSION);
    seed(t, "seed", s->order.seed);
    es_json_integer(t, "units", (long long)s->order.units);
    es_json_object(t, "plan");
    es_json_text(t, "name", s->plan->name);
    es_json_text(t, "version", s->plan->version);
    es_json_text(t, "digest", s->plan->digest);
    es_json_end_object(t);
    es_json_array(t, "types");
    for (size_t i = 0; i < s->order.type_count; i++) {
        es_json_object(t, NULL);
        es_json_text(t, "name", s->types[i].sheet->name);
        es_json_text(t, "version", s->types[i].sheet->version);
        es_json_text(t, "digest", s->types[i].sheet->digest);
        es_json_text(t, "bench digest", s->types[i].bench->digest);
        es_json_end_object(t);
    }
    es_json_end_array(t);
    number(t, "good share", s->order.good_share);
    number(t, "lowest severity", s->order.severity_low);
    number(t, "highest severity", s->order.severity_high);
}

static void name_causes(struct es_text *t, const struct es_study_naming *n)
{
    const struct es_share first = es_share_clopper_pearson(n->first, n->units, 0.95);
    es_json_object(t, "causes named");
    es_json_integer(t, "units", (long long)n->units);
    es_json_integer(t, "first right", (long long)n->first);
    es_json_integer(t, "right among three", (long long)n->among_three);
    number(t, "share first right", first.share);
    number(t, "lower", first.lower);
    number(t, "upper", first.upper);
    number(t, "mean probability of the first", n->said);
    es_json_integer(t, "units with bench faults", (long long)n->bench);
    es_json_integer(t, "cause of the bench first", (long long)n->bench_first);
    es_json_integer(t, "units of unknown types", (long long)n->unknown);
    es_json_array(t, "confused");
    for (size_t i = 0; i < n->confused_count; i++) {
        es_json_object(t, NULL);
        es_json_text(t, "fault", es_study_fault_name(n->confused[i].fault));
        es_json_text(t, "first named", es_study_fault_name(n->confused[i].named));
        es_json_integer(t, "units", (long long)n->confused[i].units);
        es_json_end_object(t);
    }
    es_json_end_array(t);
    es_json_end_object(t);
}

enum es_status es_study_report_json(const struct es_study *study, const struct es_study_summary *summary,
                                    const struct es_study_naming *naming, struct es_text *out,
                                    struct es_error *err)
{
    es_json_object(out, NULL);
    about(out, study);
    es_json_object(out, "good");
    count(out, "all", &summary->good_all);
    es_json_array(out, "by type");
    for (size_t i = 0; i < study->order.type_count; i++) {
        count(out, NULL, &summary->good[i]);
    }
    es_json_end_array(out);
    es_json_end_object(out);
    count(out, "unit and mounting faults", &summary->unit_all);
    count(out, "unit and mounting faults that matter", &summary->unit_mattering);
    count(out, "bench faults", &summary->bench_all);
    count(out, "bench faults that matter", &summary->bench_mattering);
    if (naming) {
        name_causes(out, naming);
    }
    es_json_array(out, "faults");
    for (size_t i = 0; i < summary->fault_count; i++) {
        fault(out, study, &summary->faults[i]);
    }
    es_json_end_array(out);
    all_coverage(out, "coverage", study, summary->coverage, summary->coverage_count);
    all_coverage(out, "coverage of faulty units", study, summary->coverage_faulty, summary->coverage_count);
    es_json_object(out, "bench time of a good unit in s");
    number(out, "mean", summary->duration_mean);
    number(out, "longest", summary->duration_longest);
    es_json_end_object(out);
    es_json_end_object(out);
    return es_text_status(out, err);
}

void es_study_units_csv(const struct es_study *study, FILE *to)
{
    static const char *const head[] = {"unit",    "type",       "fault", "severity",
                                       "verdict", "duration s", "lines", "because"};
    es_csv_row(to, head, sizeof head / sizeof head[0]);
    for (size_t i = 0; i < study->order.units; i++) {
        const struct es_study_unit *u = &study->units[i];
        const struct es_study_type *type = &study->types[u->type];
        char index[24], severity[24], duration[24];
        struct es_text lines = {0}, because = {0};
        snprintf(index, sizeof index, "%zu", i);
        snprintf(severity, sizeof severity, "%.4f", u->severity);
        snprintf(duration, sizeof duration, "%.1f", u->duration);
        es_text_add(&because, u->ended_because ? u->ended_because : "");
        for (size_t k = 0; u->values && k < type->slot_count; k++) {
            const struct es_study_value *v = &u->values[k];
            if (v->verdict == ES_PASS || !type->slots[k].required) {
                continue;
            }
            es_text_printf(&lines, "%s%s: %s", lines.length ? "; " : "", type->slots[k].measurand,
                           es_verdict_word(v->verdict));
            if (v->reason && !u->ended_because && because.length == 0) {
                es_text_add(&because, v->reason);
            }
        }
        const char *cells[] = {index,
                               type->sheet->name,
                               es_study_fault_name(u->fault),
                               severity,
                               u->completed ? es_verdict_word(u->verdict) : "not completed",
                               duration,
                               lines.bytes ? lines.bytes : "",
                               because.bytes ? because.bytes : ""};
        es_csv_row(to, cells, sizeof cells / sizeof cells[0]);
        es_text_free(&lines);
        es_text_free(&because);
    }
}
