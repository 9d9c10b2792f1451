#include "tests/system/library/virtual_run.h"

#include <criterion/criterion.h>
#include <stdio.h>
#include <string.h>

#include "procedures/engine/check.h"
#include "rig/bench/station_view.h"

enum es_virtual_type virtual_kind(const struct es_type *sheet)
{
    enum es_virtual_type kind = ES_VIRTUAL_TYPE_COUNT;
    char name[64] = "self-proof-block";

    if (sheet->kind != ES_PROOF_BLOCK)
        (void)snprintf(name, sizeof name, "%s-%s",
                       sheet->kind == ES_RELAY_MODULE ? "relay-module" : es_motion_word(sheet->motion),
                       es_action_word(sheet->action));
    cr_assert(es_virtual_type_find(name, &kind), "the virtual bench has no %s", name);
    return kind;
}

const char *virtual_bench_for(const struct es_type *sheet)
{
    if (sheet->kind != ES_COMPLETE_UNIT)
        return BENCHES "virtual-bench-relay.json";
    return sheet->motion == ES_PART_TURN ? BENCHES "virtual-bench-part-turn.json"
                                         : BENCHES "virtual-bench.json";
}

static void make_bench(struct virtual_run *x, const struct virtual_case *c)
{
    const char *path = c->bench != NULL ? c->bench : virtual_bench_for(x->type);

    const enum es_status s = es_bench_load(path, &x->findings, &x->bench, &x->err);
    es_findings_print(&x->findings, stderr);
    cr_assert_eq(s, ES_OK, "%s: %s", path, x->err.text);
    for (size_t i = 0; !c->watched && i < x->bench->stations[0].channel_count; i++)
        x->bench->stations[0].channels[i].watched = false;
}

static void make_unit(struct virtual_run *x, const struct virtual_case *c)
{
    struct es_virtual_config config;
    struct es_virtual_fault_setting setting = {.severity = c->severity, .per_stroke = c->per_stroke};

    es_virtual_config_init(&config, virtual_kind(x->type));
    es_virtual_config_from_station(&x->bench->stations[0], &config);
    config.seed = c->seed;
    config.feedback = x->type->fitted[ES_FITTED_FEEDBACK];
    config.shutdown_module = x->type->fitted[ES_FITTED_SHUTDOWN];
    if (c->fault != NULL) {
        setting.fault = es_virtual_fault_find(c->fault);
        cr_assert_geq(setting.fault, 0, "no fault \"%s\"", c->fault);
        config.faults = &setting;
        config.fault_count = 1;
    }
    cr_assert_eq(es_virtual_new(&config, &x->v, &x->err), ES_OK, "%s", x->err.text);
}

void virtual_run_make(struct virtual_run *x, const struct virtual_case *c)
{
    memset(x, 0, sizeof *x);
    (void)snprintf(x->type_path, sizeof x->type_path, TYPES "%s.json", c->type);
    cr_assert_eq(es_type_load(x->type_path, &x->findings, &x->type, &x->err), ES_OK, "%s: %s", c->type,
                 x->err.text);
    make_bench(x, c);
    make_unit(x, c);
    cr_assert_eq(es_virtual_station_open(x->bench, &x->bench->stations[0], x->v, NULL, &x->station, &x->err),
                 ES_OK, "%s", x->err.text);
    x->order = (struct es_run_order){.plan_path = c->plan,
                                     .type_path = x->type_path,
                                     .serial = "EX-0001",
                                     .person = "Ada Example",
                                     .unattended = !c->attended,
                                     .seed = 7};
    es_outcome_init(&x->outcome);
}

static enum es_status say_yes(void *self, const struct es_question *q, struct es_answer *a,
                              bool (*give_up)(const void *site), const void *site, struct es_error *err)
{
    (void)self;
    (void)q;
    (void)give_up;
    (void)site;
    (void)err;
    *a = (struct es_answer){.yes = true, .person = "Ada Example"};
    return ES_OK;
}

void virtual_run_to_any_end(struct virtual_run *x, const struct es_run_watch *watch)
{
    static const struct es_run_watch person = {.ask = say_yes};
    const struct es_run_places places = {.now = "2026-11-25T08:00:00.000Z", .run = "test-run"};
    const enum es_status s =
        es_run_execute(&x->order, es_virtual_station_site(x->station), &places,
                       watch != NULL ? watch : &person, &x->findings, &x->outcome, &x->report, &x->err);

    es_findings_print(&x->findings, stderr);
    cr_assert_eq(s, ES_OK, "%s on %s: %s", x->order.plan_path, x->type->name, x->err.text);
}

void virtual_run(struct virtual_run *x, const struct es_run_watch *watch)
{
    virtual_run_to_any_end(x, watch);
    cr_assert(x->outcome.completed, "%s on %s: %s", x->order.plan_path, x->type->name,
              x->outcome.ended_because);
}

double virtual_longest(struct virtual_run *x)
{
    struct es_station_view view;
    struct es_plan *plan = NULL;
    struct es_check_report report;

    es_station_view_fill(x->bench, &x->bench->stations[0], &view);
    cr_assert_eq(es_plan_load_any(x->order.plan_path, &x->findings, &plan, &x->err), ES_OK, "%s",
                 x->err.text);
    cr_assert_eq(es_plan_check(plan, &view, x->type, &x->findings, &report, &x->err), ES_OK, "%s",
                 x->err.text);
    const double longest = report.bench_time + view.safe_within;
    es_check_report_free(&report);
    es_plan_free(plan);
    return longest;
}

void virtual_run_free(struct virtual_run *x)
{
    es_outcome_free(&x->outcome);
    es_virtual_station_close(x->station);
    es_virtual_free(x->v);
    es_bench_free(x->bench);
    es_type_free(x->type);
    es_findings_free(&x->findings);
}

const struct es_line *virtual_line(const struct virtual_run *x, const char *measurand)
{
    for (size_t i = 0; i < x->outcome.line_count; i++)
        if (strcmp(x->outcome.lines[i].measurand, measurand) == 0)
            return &x->outcome.lines[i];
    return NULL;
}

void virtual_show(const struct virtual_run *x, bool all)
{
    for (size_t i = 0; i < x->outcome.line_count; i++) {
        const struct es_line *l = &x->outcome.lines[i];
        char value[64], U[64];
        if (!all && l->verdict == ES_PASS)
            continue;
        (void)es_quantity_format(l->value.value, l->limit.unit, l->limit.decimals, value, sizeof value);
        (void)snprintf(U, sizeof U, "%.3g", es_to_unit_difference(l->value.U, l->limit.unit));
        fprintf(stderr, "  %-22.22s %-46.46s %-10s %14s +- %-9s %s%s\n", l->procedure, l->measurand,
                es_verdict_word(l->verdict), l->value.valid ? value : "-", U,
                l->limit.required ? "" : "(informs) ", l->reason != NULL ? l->reason : "");
    }
}
