/* What the store's tests share. */
#ifndef ES_TESTS_STORE_HELP_H
#define ES_TESTS_STORE_HELP_H

#include "results/store/store.h"

extern char help_folder[64]; /* made by help_setup, removed by help_teardown */

void help_setup(void);
void help_teardown(void);

/* Writes a small document that the store lists: kind, number, serial, run. */
struct es_store_maker help_maker(const char *kind, const char *serial, const char *run);

struct es_store *help_open(enum es_store_mode mode);

extern const struct es_store_key_order help_order; /* by "A. Example", no passphrase */

#endif
