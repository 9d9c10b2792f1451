/* What a study teaches judgement: the table of detection (procedures/judgement/detection.h). */
#ifndef ES_STUDY_LEARN_H
#define ES_STUDY_LEARN_H

#include "procedures/judgement/causes.h"
#include "rig/base/text.h"
#include "rig/study/study.h"

/* Counts a study that was run. The caller frees it with es_detection_free. */
enum es_status es_study_learn(const struct es_study *study, struct es_detection **out,
                              struct es_error *err) ES_MUST_CHECK;

/* Moves the plans of `other` that `table` does not know into it; what both know stays as `table` has it.
 * ES_BAD_INPUT when they were learned on other causes. */
enum es_status es_detection_keep(struct es_detection *table, struct es_detection *other,
                                 struct es_error *err) ES_MUST_CHECK;

/* The document, format "detection/2". */
enum es_status es_detection_write(const struct es_detection *table, struct es_text *out,
                                  struct es_error *err) ES_MUST_CHECK;

/* How well a table, learned with another seed, names the causes of this study's units that did not pass. */
struct es_study_confusion {
    int fault, named; /* of the virtual bench; named -1: no cause at all */
    size_t units;
};

struct es_study_naming {
    size_t units, first, among_three;       /* faults of what is judged at severities that matter */
    size_t bench, bench_first;              /* faults of the bench; first named was one of the bench's */
    double said;                            /* mean probability of the first-named cause of `units` */
    size_t unknown;                         /* units whose plan or type the table does not know */
    struct es_study_confusion confused[20]; /* most frequent first; only of `units` */
    size_t confused_count;
};

enum es_status es_study_name_causes(const struct es_study *study, const struct es_detection *table,
                                    struct es_study_naming *out, struct es_error *err) ES_MUST_CHECK;

/* The ranking for one unit. `seen` holds one a slot of the unit's type. */
void es_study_see(const struct es_study *study, const struct es_study_unit *unit, struct es_seen *seen);

#endif
