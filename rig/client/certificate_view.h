/* A certificate (or record) as a person wants to read it: verdict first, then a line a measurand. Reads the
 * JSON form of docs/certificate.md; members that are missing are left out, so that a foreign or later
 * document shows what it has. Trusts nothing in it: texts are made harmless for the terminal. */
#ifndef ES_CLIENT_CERTIFICATE_VIEW_H
#define ES_CLIENT_CERTIFICATE_VIEW_H

#include <cjson/cJSON.h>

#include "rig/client/verb.h"

/* "certificate B-000001: serial 17, Example ..., pass, issued 2026-..." with '\n'. */
void es_certificate_view_sentence(const cJSON *root, FILE *to);

/* "pass, serial 17, 2026-03-01", without '\n'. */
void es_certificate_view_brief(const cJSON *root, FILE *to);

enum es_status es_certificate_view_print(const cJSON *root, const struct es_screen *screen, FILE *to,
                                         struct es_error *err) ES_MUST_CHECK;

/* On a terminal that is lower than what was printed: the verdict and what did not pass once more, since their
 * first place has scrolled away. `beside`: lines that stand there besides the document's own. */
enum es_status es_certificate_view_again(const cJSON *root, const struct es_screen *screen, size_t beside,
                                         FILE *to, struct es_error *err) ES_MUST_CHECK;

/* One row a line, numbers in the type sheet's unit, with a header row. */
void es_certificate_view_csv(const cJSON *root, FILE *to);

/* Exit status that the document stands for: 0 pass, 1 any other verdict, 3 a record of a run that was not
 * completed. */
int es_certificate_view_exit(const cJSON *root);

#endif
