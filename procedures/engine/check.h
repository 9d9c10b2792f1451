/* The proof: what can be known of a procedure or plan before any air moves.
 * It walks every path with the range of values that each output can hold, so that what it accepts cannot
 * exceed a ceiling or last longer than it says. What it cannot prove it refuses; without a bench or a type
 * sheet it lists what it had to leave unchecked. Pure; one report has one owner. */
#ifndef ES_ENGINE_CHECK_H
#define ES_ENGINE_CHECK_H

#include "procedures/engine/plan.h"
#include "rig/base/findings.h"

/* What the proof must know of one role of a station. */
struct es_station_role {
    bool present;
    enum es_dimension dimension;
    double lowest, highest; /* coherent: ceilings of a written value; -INFINITY, INFINITY without */
    double slew;            /* coherent per second; INFINITY without */
    double rate;            /* Hz: highest sampling rate that can be reached; 0 unknown */
    bool safe_known;        /* outputs: the safe state sets it */
    double safe;            /* to this, coherent */
    bool uncertainty_known; /* u below is filled (measuring channels) */
    struct es_channel_uncertainty u;
};

/* Filled by rig/bench from a station of the bench file. */
struct es_station_view {
    const char *bench, *station;
    struct es_station_role roles[ES_ROLE_COUNT];
    struct es_facts facts; /* station facts: volumes, ambient pressure, ... */
    double safe_within;    /* s: longest time to reach the safe state */
};

/* Allowances for the bench's own slowness, s; part of the proven duration. */
#define ES_ALLOW_WRITE    0.25 /* one write */
#define ES_ALLOW_RECORD   1.0  /* starting and ending one recording */
#define ES_ALLOW_EVALUATE 2.0  /* measures and judgement of one procedure */
#define ES_ALLOW_REST     10.0 /* safe state before a procedure, when no view says */

/* Below this test uncertainty ratio a limit cannot be judged: with a guard band of U nothing of the
 * tolerance is left (JCGM 106 8.3.2 with w = U). */
#define ES_LEAST_TUR 1.0

struct es_check_line {
    char *procedure, *measurand, *measure, *output, *limit;
    bool applies;               /* to this type */
    char *not_tested;           /* reason why this bench cannot test it; NULL when it can */
    double lower, upper;        /* the limit, coherent; NAN without type sheet */
    const struct es_unit *unit; /* of limit and u; NULL without type sheet */
    int decimals;
    double u; /* expected standard uncertainty; NAN not told */
    /* Test uncertainty ratio: width of the tolerance over 2 U, U = 2 u (ANSI/NCSL Z540.3 3.11). Limits with
     * one side: width = the distance from zero to the limit. NAN not told. */
    double tur;
    double rate_needed, rate; /* Hz; needed 0: no demand */
};

struct es_check_procedure {
    char *name;
    double bench_time;    /* s, longest, without waiting for people */
    double operator_time; /* s, longest time that questions can wait */
};

struct es_check_report {
    struct es_check_procedure *procedures;
    size_t procedure_count;
    struct es_check_line *lines;
    size_t line_count;
    char **not_checked; /* sentences: what was left unchecked and why */
    size_t not_checked_count;
    char **remarks; /* sentences: roles that the bench lacks, poor ratios */
    size_t remark_count;
    double bench_time, operator_time; /* s, sums: the longest duration is their sum */
    double caution_time;              /* s, part of operator_time: before anything moves */
};

/* Proves. `view` and `type` may be NULL. ES_OK: proved as far as not_checked says. ES_BAD_INPUT: refused, all
 * reasons in `findings`. The report is filled in both cases (except ES_NO_MEMORY); free it. */
enum es_status es_plan_check(const struct es_plan *plan, const struct es_station_view *view,
                             const struct es_type *type, struct es_findings *findings,
                             struct es_check_report *report, struct es_error *err) ES_MUST_CHECK;
/* The same for a run without a person at the bench: refuses, besides, every step that would ask one, such as
 * turning the shaft on a bench without motor. Cautions are confirmed beforehand and take no time. */
enum es_status es_plan_check_unattended(const struct es_plan *plan, const struct es_station_view *view,
                                        const struct es_type *type, struct es_findings *findings,
                                        struct es_check_report *report, struct es_error *err) ES_MUST_CHECK;
enum es_status es_procedure_check(const struct es_procedure *procedure, const struct es_station_view *view,
                                  const struct es_type *type, struct es_findings *findings,
                                  struct es_check_report *report, struct es_error *err) ES_MUST_CHECK;

void es_check_report_free(struct es_check_report *report); /* NULL allowed; leaves it empty */

/* The report as a table for people (of `columns` columns, at most 98), or as one JSON object (caller frees it
 * with cJSON_Delete; NULL when out of memory). */
void es_check_print(const struct es_check_report *report, size_t columns, FILE *to);
cJSON *es_check_json(const struct es_check_report *report);

#endif
