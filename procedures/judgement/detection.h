/* What studies have learned: how often each fault shows in which way in each line, plan by plan. A JSON
 * document, format "detection/2" (docs/schema/detection-2.schema.json), written by "endstop study --learn",
 * read once, immutable afterwards, may be shared by threads. "detection/1", which held one plan, is read too.
 *
 * A line's outcome falls into one bin. Values: nine stretches of their deviation from the middle of good
 * units in units of their usual scatter, each once for "not failed" and once for "failed"; then one bin for
 * each kind of reason for not being tested, and one for any other reason. Counts are kept for good units and,
 * for each cause, apart for three bands of severity: within a band lines depend on each other less. */
#ifndef ES_JUDGEMENT_DETECTION_H
#define ES_JUDGEMENT_DETECTION_H

#include <stdint.h>

#include "procedures/judgement/outcome.h"
#include "procedures/judgement/type_sheet.h"
#include "rig/base/document.h"

#define ES_DETECTION_BANDS   3
#define ES_DETECTION_STRETCH 9
#define ES_DETECTION_REASONS 12 /* kinds of reasons a line keeps apart */
#define ES_DETECTION_BINS    (2 * ES_DETECTION_STRETCH + ES_DETECTION_REASONS + 1)
#define ES_DETECTION_OTHER   (ES_DETECTION_BINS - 1)

/* Upper ends of the bands of severity; the last is 1. */
extern const double es_detection_bands[ES_DETECTION_BANDS];

enum es_cause_place { ES_CAUSE_UNIT, ES_CAUSE_MOUNTING, ES_CAUSE_BENCH };

struct es_detection_cause {
    char *name, *meaning;
    int place;      /* enum es_cause_place */
    double rate;    /* assumed share of tested units that have it at a severity that matters */
    double matters; /* severity from which it matters in service */
};

struct es_detection_check {
    char *text, *caution;
    double minutes;
    uint64_t finds; /* bit i: shows causes[i] */
};

/* How the units of one cause and band ended. */
struct es_detection_cell {
    uint32_t units, passed, failed;
};

struct es_detection_line {
    char *procedure, *measurand;
    double middle, scatter; /* of good units, coherent; scatter > 0 */
    char *reasons[ES_DETECTION_REASONS];
    size_t reason_count;
    uint32_t good[ES_DETECTION_BINS];
    uint32_t (*causes)[ES_DETECTION_BANDS][ES_DETECTION_BINS]; /* cause_count of them */
};

struct es_detection_type {
    char *name, *version, *digest; /* of the type sheet */
    int kind;                      /* enum es_unit_kind */
    struct es_detection_line *lines;
    size_t line_count;
    struct es_detection_cell good;
    struct es_detection_cell (*causes)[ES_DETECTION_BANDS];
};

/* What one study learned. */
struct es_detection_plan {
    char *name, *version, *digest;
    char *program, *seed; /* version of the program, and seed of the study */
    long units;
    struct es_detection_type *types;
    size_t type_count;
};

struct es_detection {
    char digest[65]; /* SHA-256 of the document's bytes, lower-case hex; "" when it was not read from one */
    struct es_detection_cause *causes; /* at most 64; the same for all plans */
    size_t cause_count;
    struct es_detection_check *checks;
    size_t check_count;
    struct es_detection_plan *plans; /* names unique */
    size_t plan_count;
};

/* All faults of the document in one go in `findings`. */
enum es_status es_detection_load(const char *path, struct es_findings *findings, struct es_detection **out,
                                 struct es_error *err) ES_MUST_CHECK;
enum es_status es_detection_from_document(const struct es_document *doc, struct es_findings *findings,
                                          struct es_detection **out, struct es_error *err) ES_MUST_CHECK;
void es_detection_free(struct es_detection *d);           /* NULL allowed */
void es_detection_plan_free(struct es_detection_plan *p); /* what is in it */

/* How severities that matter fall into a band, were they even from where they begin to matter to 1. */
double es_detection_band_weight(double matters, size_t band);

/* Was any unit of the type met with the cause? A fault that a type cannot have is tried on none. */
bool es_detection_possible(const struct es_detection_type *type, size_t cause);

/* Is the fault a matter of what is judged? On a self-proof block the bench itself is, on a unit it is not. */
bool es_detection_judges(const struct es_detection_cause *cause, int kind);

/* One line as it came out. Borrowed text. */
struct es_seen {
    const char *procedure, *measurand;
    enum es_verdict verdict;
    bool valid;
    double value;       /* coherent; used when valid and tested */
    const char *reason; /* of not tested; NULL */
};

struct es_seen es_seen_of_line(const struct es_line *line);

/* 0 .. ES_DETECTION_BINS - 1 */
size_t es_detection_bin(const struct es_detection_line *line, const struct es_seen *seen);

/* What was learned of this plan on this type. ES_NOT_FOUND: nothing, with a sentence that says of what. Names
 * may be NULL. */
enum es_status es_detection_find(const struct es_detection *d, const char *plan, const char *type,
                                 const struct es_detection_plan **plan_out,
                                 const struct es_detection_type **type_out,
                                 struct es_error *err) ES_MUST_CHECK;

/* NULL when there is none; `plan` and names may be NULL, too. */
const struct es_detection_plan *es_detection_find_plan(const struct es_detection *d, const char *name);
const struct es_detection_type *es_detection_find_type(const struct es_detection_plan *plan,
                                                       const char *name);
const struct es_detection_line *es_detection_find_line(const struct es_detection_type *type,
                                                       const char *procedure, const char *measurand);

#endif
