/* Answers of the archive, as people and programs take them. */
#ifndef ES_CLIENT_ARCHIVE_ANSWER_H
#define ES_CLIENT_ARCHIVE_ANSWER_H

#include "results/archive/questions.h"
#include "rig/client/verb.h"

/* A table: times without seconds, numbers of a column with the same decimals, shares in per cent; columns in
 * which nothing stands are left out; what is the same over many rows stands above them. An empty answer says
 * what was looked for. */
enum es_status es_answer_print(const struct es_answer *answer, const struct es_screen *screen,
                               struct es_error *err) ES_MUST_CHECK;
/* An array of objects; every column, numbers as they are, null where there is nothing. */
enum es_status es_answer_json(const struct es_answer *answer, struct es_error *err) ES_MUST_CHECK;
/* Every column, RFC 4180. */
enum es_status es_answer_csv(const struct es_answer *answer, struct es_error *err) ES_MUST_CHECK;

/* Draws the answer as SVG into `file` ("-": standard output). ES_USAGE: it is none to draw; the text says
 * which are, or what is missing. */
enum es_status es_answer_plot(const struct es_question *question, const struct es_answer *answer,
                              const char *file, struct es_error *err) ES_MUST_CHECK;

/* Writes a drawing; "-": standard output. */
enum es_status es_plot_write(const char *file, const char *svg, size_t length,
                             struct es_error *err) ES_MUST_CHECK;

#endif
