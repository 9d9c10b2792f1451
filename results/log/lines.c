#include "results/log/lines.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "rig/base/text.h"

#define WORDS_MAX 5
#define LINE_MAX  (ES_LOG_HEAD_MAX + 16)

static const char hex[] = "0123456789abcdef";

/* Splits at single spaces; more than WORDS_MAX or an empty word: 0. */
static size_t split(char *text, char *words[WORDS_MAX])
{
    size_t count = 0;
    for (char *p = text; p;) {
        char *space = strchr(p, ' ');
        if (count == WORDS_MAX || *p == 0 || *p == ' ') {
            return 0;
        }
        words[count++] = p;
        if (space) {
            *space++ = 0;
        }
        p = space;
    }
    return count;
}

static bool is_of(const char *word, size_t least, size_t most, const char *allowed)
{
    size_t n = strlen(word);
    return n >= least && n <= most && strspn(word, allowed) == n;
}

static bool take_leaf(char *const words[WORDS_MAX], struct es_log_line *line)
{
    static const char name[] = "ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789-_.";
    if (!is_of(words[1], 1, 15, "0123456789") || (words[1][0] == '0' && words[1][1]) ||
        !is_of(words[2], 64, 64, hex) || !is_of(words[3], 1, sizeof line->number - 1, name) ||
        !is_of(words[4], 1, sizeof line->issued - 1, "0123456789-:.TZ") ||
        es_hex_decode(words[2], line->hash.bytes, ES_HASH_SIZE, NULL) != ES_OK) {
        return false;
    }
    line->index = strtoull(words[1], NULL, 10);
    (void)snprintf(line->number, sizeof line->number, "%s", words[3]);
    (void)snprintf(line->issued, sizeof line->issued, "%s", words[4]);
    return true;
}

static enum es_log_line_kind take(const char *text, size_t length, struct es_log_line *line)
{
    char copy[LINE_MAX];
    char *words[WORDS_MAX];
    if (length >= sizeof copy || memchr(text, 0, length)) {
        return ES_LOG_LINE_BAD;
    }
    memcpy(copy, text, length);
    copy[length] = 0;
    size_t count = split(copy, words);
    if (count == 2 && strcmp(words[0], "endstop-log/1") == 0 &&
        is_of(words[1], ES_LOG_ID_SIZE - 1, ES_LOG_ID_SIZE - 1, hex)) {
        memcpy(line->id, words[1], ES_LOG_ID_SIZE);
        return ES_LOG_LINE_ID;
    }
    if (count == 5 && strcmp(words[0], "leaf") == 0 && take_leaf(words, line)) {
        return ES_LOG_LINE_LEAF;
    }
    if (count == 2 && strcmp(words[0], "head") == 0) {
        line->head = text + 5;
        line->head_length = length - 5;
        return ES_LOG_LINE_HEAD;
    }
    return ES_LOG_LINE_BAD;
}

bool es_log_next_line(const char *text, size_t length, struct es_log_line *line)
{
    size_t begin = line->end;
    if (begin >= length) {
        return false;
    }
    const char *feed = memchr(text + begin, '\n', length - begin);
    line->line++;
    line->end = feed ? (size_t)(feed - text) + 1 : length;
    line->kind = feed ? take(text + begin, line->end - 1 - begin, line) : ES_LOG_LINE_BAD;
    return true;
}
