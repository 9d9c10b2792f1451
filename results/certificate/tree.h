/* Building JSON trees without a test after every call: a failure sticks and is asked for once at the end.
 * Internal to results/certificate. */
#ifndef ES_CERTIFICATE_TREE_H
#define ES_CERTIFICATE_TREE_H

#include <cjson/cJSON.h>

#include "rig/base/error.h"

struct es_tree {
    bool out_of_memory; /* sticky */
};

/* All take NULL parents (after an earlier failure) and names that outlive the tree (literals). */
cJSON *es_tree_object(struct es_tree *t, cJSON *parent, const char *name); /* name NULL: parent is an array */
cJSON *es_tree_array(struct es_tree *t, cJSON *parent, const char *name);
void es_tree_text(struct es_tree *t, cJSON *parent, const char *name, const char *text); /* NULL: left out */
void es_tree_bool(struct es_tree *t, cJSON *parent, const char *name, bool value);
void es_tree_number(struct es_tree *t, cJSON *parent, const char *name,
                    double value);                                                  /* not finite: left out */
void es_tree_item(struct es_tree *t, cJSON *parent, const char *name, cJSON *item); /* takes item over */

/* value rounded to `digits` significant ones; to the place of the n-th digit of `scale` (0: 12 digits). */
double es_round_digits(double value, int digits);
double es_round_like(double value, double scale, int digits);

#endif
