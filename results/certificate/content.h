/* What stands in a certificate, read into a struct: for views, printed pages, statistics. Members and
 * meaning: docs/certificate.md. Checks nothing: verify first (certificate.h).
 *
 * Texts are borrowed from the document and live as long as it does; "" where the member is missing or no
 * text. Numbers are in the unit that stands beside them; NAN where missing. One owner; free with
 * es_content_free. */
#ifndef ES_CERTIFICATE_CONTENT_H
#define ES_CERTIFICATE_CONTENT_H

#include <cjson/cJSON.h>
#include <stdbool.h>
#include <stddef.h>

#include "rig/base/error.h"

struct es_content_value {
    bool measured; /* false: all NAN; `reason` of its owner says why */
    double value;
    double U, k, dof; /* expanded uncertainty, 95 %; coverage factor; INFINITY when not stated */
    double low, high; /* 95 % interval: value -+ U, or what Monte Carlo found */
    double trials;    /* of Monte Carlo (JCGM 101); 0: JCGM 100. Then the interval need not be symmetric */
};

struct es_content_line {
    const char *procedure, *measurand, *unit, *limit, *rule;
    int decimals;        /* for people */
    double lower, upper; /* -INFINITY, INFINITY: no limit on that side */
    bool required;       /* false: the line only informs */
    struct es_content_value v;
    double guard_band, false_acceptance; /* probability 0..1 */
    const char *verdict, *reason;        /* "" in a record */
};

struct es_content_document {
    const char *name, *title, *version, *sha256;
};

struct es_content_procedure {
    struct es_content_document d;
    const char *began, *skipped_because;
    double duration; /* s */
    bool completed;
};

struct es_content_environment {
    const char *name, *unit, *reason;
    struct es_content_value v;
};

struct es_content_instrument {
    const char *name, *identity, *calibration, *calibrated, *due;
};

struct es_content_confirmation {
    const char *text, *answer, *person, *time;
};

struct es_content_recording {
    const char *name, *procedure, *sha256;
    double bytes;
};

struct es_content_curve {
    const char *recording, *series, *unit;
    size_t count;
    double *t, *y; /* s; in `unit` */
};

struct es_content_source { /* where the figures of these limits come from */
    const char *source;
    const char **limits;
    size_t count;
};

struct es_content_pair { /* reference state of a unit of gas flow */
    const char *name, *text;
};

struct es_content_signature {
    const char *kid;
    const char *jws;
    char role[32], name[104], time[40], reason[304]; /* from the protected header; "" where not there */
};

struct es_content {
    bool record;        /* not completed: no verdicts */
    bool virtual_bench; /* nothing real was tested */
    const char *kind, *title, *number, *issued, *replaces, *replaces_because, *verdict;
    const char *issuer_key, *software;
    bool clock_synchronised;
    const char *laboratory, *laboratory_address, *place_of_test;
    const char *bench, *bench_sha256, *station;
    const char *customer, *customer_contact, *customer_reference;
    const char *lot, *supplier;
    const char *serial, *tag, *type, *state, *reason, *parts_replaced, *deviations;
    const char *job, *received, *condition, *found;
    const char *before_number, *before_sha256, *before_state, *before_verdict;
    const char *run, *began, *ended, *ended_because, *person, *seed;
    bool attended;
    double safe_state_after; /* s; NAN: not needed */
    const char *overdue_because, *inputs_sha256;
    struct es_content_document type_sheet, plan;

    struct es_content_procedure *procedures;
    struct es_content_line *lines;
    struct es_content_environment *environment;
    struct es_content_instrument *instruments;
    struct es_content_confirmation *confirmations;
    struct es_content_recording *recordings;
    struct es_content_curve *curves;
    struct es_content_source *sources;
    struct es_content_pair *conditions; /* reference_conditions */
    const char **statements, **not_given;
    struct es_content_signature *signatures;
    size_t procedure_count, line_count, environment_count, instrument_count, confirmation_count,
        recording_count, curve_count, source_count, condition_count, statement_count, not_given_count,
        signature_count;
};

/* ES_BAD_INPUT: no certificate of this format. */
enum es_status es_content_read(const cJSON *root, struct es_content *out, struct es_error *err) ES_MUST_CHECK;
void es_content_free(struct es_content *content); /* NULL allowed; frees what is in it, leaves it empty */

/* Title of the procedure that a line names; the name itself when there is none. */
const char *es_content_procedure_title(const struct es_content *content, const char *name);

#endif
