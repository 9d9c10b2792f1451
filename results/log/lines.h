/* The log's text, line by line. Internal to results/log. Pure. */
#ifndef ES_LOG_LINES_H
#define ES_LOG_LINES_H

#include "results/log/head.h"

enum es_log_line_kind { ES_LOG_LINE_ID, ES_LOG_LINE_LEAF, ES_LOG_LINE_HEAD, ES_LOG_LINE_BAD };

struct es_log_line {
    enum es_log_line_kind kind;
    char id[ES_LOG_ID_SIZE];
    uint64_t index; /* leaf */
    struct es_hash hash;
    char number[64];
    char issued[40];
    const char *head; /* text of a head, not terminated */
    size_t head_length;
    size_t line; /* from 1 */
    size_t end;  /* of the line, its line feed included */
};

/* The next line from *end and *line of the one before (both 0 at first). False at the end of the text. A last
 * line without line feed is BAD. */
bool es_log_next_line(const char *text, size_t length, struct es_log_line *line);

#endif
