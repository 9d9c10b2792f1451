/* A log in a temporary folder, for tests. */
#ifndef ES_TESTS_LOG_HELP_H
#define ES_TESTS_LOG_HELP_H

#include "results/log/log.h"

extern char log_folder[64];
extern char log_path[80];

void log_setup(void); /* makes the folder, and the key */
void log_teardown(void);

struct es_key *log_key(void); /* the same for the whole test */
struct es_trusted_key log_trust(void);

/* Leaf `i`: "leaf I", EX-00000(I+1), issued in its minute. */
void log_leaf(int i, struct es_hash *hash, char number[32], char issued[32]);
enum es_status log_add(struct es_log *log, int i, struct es_error *err);

struct es_log *log_fill(int count); /* opens for appending and adds what is missing up to `count` */
char *log_text(size_t *length);     /* the file's bytes */
void log_put(const char *text, size_t length);

#endif
