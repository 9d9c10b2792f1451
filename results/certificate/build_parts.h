/* The parts that make a payload. Internal to results/certificate. */
#ifndef ES_CERTIFICATE_BUILD_PARTS_H
#define ES_CERTIFICATE_BUILD_PARTS_H

#include "results/certificate/certificate.h"
#include "results/certificate/tree.h"

struct es_maker {
    struct es_tree tree;
    const struct es_outcome *o;
    const struct es_certificate_meta *meta;
    cJSON *root;
};

/* Measured value with U to four significant digits: two more than anyone should state (JCGM 100 7.2.6), so
 * that nothing is lost by reading it from here. */
void es_build_value(struct es_tree *t, cJSON *object, const struct es_measured *v,
                    const struct es_unit *unit);

/* Each adds its members to m->root; trouble is sticky in m->tree. */
void es_build_visit(struct es_maker *m);               /* what people supplied, and what they did not */
void es_build_origin(struct es_maker *m, cJSON *unit); /* where the unit came from: lot, supplier */
void es_build_behind(struct es_maker *m); /* surroundings, instruments, confirmations, recordings */
void es_build_curves(struct es_maker *m, size_t points); /* all curves share `points` */
void es_build_statements(struct es_maker *m);
void es_build_causes(struct es_maker *m); /* interpretation, when the outcome has one */

#endif
