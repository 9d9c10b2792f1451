#include "rig/base/json_scan.h"

#include <math.h>
#include <stdarg.h>
#include <stdlib.h>
#include <string.h>

#include "rig/base/text.h"

#define LONGEST_NUMBER 63 /* cJSON's own limit */
#define MOST_FAULTS    50 /* beyond, the file is something else */

struct scan {
    const char *name;
    const char *text;
    size_t length;
    size_t at;
    unsigned line, column;
    unsigned depth;
    size_t faults;
    bool stop; /* a fault after which nothing more can be told apart, or no memory */
    bool out_of_memory;
    struct es_findings *findings;
    struct es_json_marks *marks;
};

struct place {
    size_t at;
    unsigned line, column;
};

static struct place here(const struct scan *s)
{
    return (struct place){.at = s->at, .line = s->line, .column = s->column};
}

static int look(const struct scan *s)
{
    return s->at < s->length ? (unsigned char)s->text[s->at] : -1;
}

/* One byte on; a column is one character. */
static void step(struct scan *s)
{
    unsigned char c = (unsigned char)s->text[s->at++];

    if (c == '\n') {
        s->line++;
        s->column = 1;
    } else if (s->at >= s->length || ((unsigned char)s->text[s->at] & 0xC0u) != 0x80u) {
        s->column++;
    }
}

static void skip_space(struct scan *s)
{
    for (int c = look(s); c == ' ' || c == '\t' || c == '\n' || c == '\r'; c = look(s))
        step(s);
}

static void fault(struct scan *s, struct place p, const char *found, const char *expected, const char *advice)
{
    es_findings_add(s->findings, s->name, p.line, p.column, found, expected, advice);
    if (++s->faults >= MOST_FAULTS)
        s->stop = true;
}

/* As `fault`, with what stands at the place, shortened, as what was found. */
static void fault_at(struct scan *s, struct place p, const char *expected, const char *advice)
{
    size_t end = p.at;
    struct es_text found = {0};

    while (end < s->length && end - p.at < 20 && s->text[end] != '\n' && s->text[end] != '\r')
        end++;
    while (end < s->length && end > p.at && ((unsigned char)s->text[end] & 0xC0u) == 0x80u)
        end--;
    if (p.at >= s->length) {
        es_text_add(&found, "the end of the file");
    } else if (end == p.at) {
        es_text_add(&found, s->text[end] == '\n' || s->text[end] == '\r' ? "the end of the line"
                                                                         : "a byte that is not UTF-8");
    } else {
        es_text_char(&found, '\'');
        es_text_visible(&found, s->text + p.at, end - p.at);
        es_text_char(&found, '\'');
    }
    fault(s, p, found.bytes, expected, advice);
    es_text_free(&found);
}

static void fault_here(struct scan *s, const char *expected, const char *advice)
{
    fault_at(s, here(s), expected, advice);
}

static void give_up(struct scan *s, const char *expected, const char *advice)
{
    fault_here(s, expected, advice);
    s->stop = true;
}

/* ---- Numbers and words: a whole run of letters, digits and signs is judged at once. ---- */

static bool in_run(int c)
{
    return (c >= '0' && c <= '9') || (c >= 'a' && c <= 'z') || (c >= 'A' && c <= 'Z') || c == '+' ||
           c == '-' || c == '.' || c == '_';
}

/* A run's text for messages; false when it is longer than any number or word may be. */
static bool take_run(struct scan *s, char *out, size_t size)
{
    size_t n = 0;

    for (; in_run(look(s)); step(s), n++)
        if (n + 1 < size)
            out[n] = (char)look(s);
    out[n < size ? n : size - 1] = '\0';
    return n < size;
}

static const char *skip_digits(const char *p)
{
    while (*p >= '0' && *p <= '9')
        p++;
    return p;
}

/* NULL when `t` is a number by RFC 8259 section 6, else what to do about it. */
static const char *number_fault(const char *t)
{
    const char *p = t + (*t == '-');
    const char *q = skip_digits(p);

    if (q == p)
        return *p == '.' ? "Write a digit before the point." : "";
    if (*p == '0' && q - p > 1)
        return "Leave out the leading zeros.";
    p = q;
    if (*p == '.') {
        q = skip_digits(++p);
        if (q == p)
            return "Write a digit after the point.";
        p = q;
    }
    if (*p == 'e' || *p == 'E') {
        p++;
        p += *p == '+' || *p == '-';
        q = skip_digits(p);
        if (q == p)
            return "Write a digit after the e.";
        p = q;
    }
    return *p == '\0' ? NULL : "A number with a unit is a text in double quotes.";
}

static void number(struct scan *s)
{
    struct place p = here(s);
    char text[LONGEST_NUMBER + 1];
    bool whole = take_run(s, text, sizeof text);

    if (!whole) {
        fault(s, p, text, "a number of at most 63 characters", NULL);
        return;
    }
    const char *advice = text[0] == '+' ? "Leave out the plus sign." : number_fault(text);
    if (advice != NULL)
        fault(s, p, text, "a number such as 12, -0.5 or 2e-3", advice);
    else if (!isfinite(strtod(text, NULL)))
        fault(s, p, text, "a number below 1.8e308", NULL);
}

static void word(struct scan *s)
{
    struct place p = here(s);
    char text[40];

    if (take_run(s, text, sizeof text) &&
        (strcmp(text, "true") == 0 || strcmp(text, "false") == 0 || strcmp(text, "null") == 0))
        return;
    fault(s, p, text, "true, false, null, a number, or a text in double quotes", NULL);
}

/* ---- Strings ---- */

/* Four hex digits at the place; -1 when they are not. Moves past those that are. */
static long hex4(struct scan *s)
{
    long code = 0;

    for (int i = 0; i < 4; i++) {
        int c = look(s);
        if (c >= '0' && c <= '9')
            code = code * 16 + (c - '0');
        else if (c >= 'a' && c <= 'f')
            code = code * 16 + (c - 'a' + 10);
        else if (c >= 'A' && c <= 'F')
            code = code * 16 + (c - 'A' + 10);
        else
            return -1;
        step(s);
    }
    return code;
}

static void unicode_escape(struct scan *s, struct place p)
{
    long code = hex4(s);

    if (code < 0) {
        fault(s, p, "an unfinished \\u", "\\u and four hex digits", NULL);
        return;
    }
    if (code == 0) {
        fault(s, p, "\\u0000", "a text without NUL", NULL);
        return;
    }
    if (code >= 0xDC00 && code <= 0xDFFF) {
        fault(s, p, "the second half of a surrogate pair alone", "a pair \\uD8xx\\uDCxx", NULL);
        return;
    }
    if (code < 0xD800 || code > 0xDBFF)
        return;
    if (s->at + 1 < s->length && s->text[s->at] == '\\' && s->text[s->at + 1] == 'u') {
        step(s);
        step(s);
        code = hex4(s);
        if (code >= 0xDC00 && code <= 0xDFFF)
            return;
    }
    fault(s, p, "the first half of a surrogate pair alone", "a pair \\uD8xx\\uDCxx", NULL);
}

static void escape(struct scan *s)
{
    struct place p = here(s);

    step(s);
    int c = look(s);
    if (c == 'u') {
        step(s);
        unicode_escape(s, p);
    } else if (c > 0 && strchr("\"\\/bfnrt", c) != NULL) {
        step(s);
    } else {
        fault_at(s, p, "an escape such as \\\" \\\\ \\n \\u00B0", "A backslash itself is written \\\\.");
    }
}

/* One character of a string that is neither quote nor backslash. */
static void string_char(struct scan *s)
{
    size_t n = es_utf8_next(s->text + s->at, s->length - s->at, NULL);
    unsigned char c = (unsigned char)s->text[s->at];

    if (n == 0) {
        fault_here(s, "UTF-8 text", "Save the file in the encoding UTF-8.");
        n = 1;
    } else if (c < 0x20) {
        fault_here(s, "no control character in a text", c == '\t' ? "Write \\t for a tab." : NULL);
    }
    while (n-- > 0)
        step(s);
}

/* At the opening quote. */
static void string(struct scan *s)
{
    struct place p = here(s);

    step(s);
    while (!s->stop) {
        int c = look(s);
        if (c == '"') {
            step(s);
            return;
        }
        if (c < 0 || c == '\n' || c == '\r') {
            fault(s, p, c < 0 ? "a text that the file's end cuts off" : "a text that the line's end cuts off",
                  "a closing double quote", "A line break within a text is written \\n.");
            s->stop = true;
        } else if (c == '\\') {
            escape(s);
        } else {
            string_char(s);
        }
    }
}

/* ---- Structure ---- */

static void value(struct scan *s, struct place name);

static size_t mark_begin(struct scan *s, struct place name)
{
    struct es_json_marks *m = s->marks;

    if (m->count == m->capacity) {
        size_t capacity = m->capacity == 0 ? 64 : m->capacity * 2;
        struct es_json_mark *items = realloc(m->items, capacity * sizeof *items);
        if (items == NULL) {
            s->out_of_memory = s->stop = true;
            return 0;
        }
        m->items = items;
        m->capacity = capacity;
    }
    m->items[m->count] = (struct es_json_mark){.line = s->line,
                                               .column = s->column,
                                               .name_line = name.line,
                                               .name_column = name.column,
                                               .begin = (uint32_t)s->at,
                                               .end = (uint32_t)s->at};
    return m->count++;
}

/* After an element: a comma (true, and another follows) or the closing bracket. A forgotten comma and one too
 * many are told and passed over, so that faults further on are found too. */
static bool another(struct scan *s, char closing, const char *expected)
{
    skip_space(s);
    int c = look(s);
    if (c == closing) {
        step(s);
        return false;
    }
    if (c != ',') {
        if (c < 0 || c == '}' || c == ']' || c == ':') {
            give_up(s, expected, NULL);
            return false;
        }
        fault_here(s, expected, "A comma seems to be missing before this.");
        return !s->stop;
    }
    struct place comma = here(s);
    step(s);
    skip_space(s);
    if (look(s) == closing) {
        fault(s, comma, "a comma after the last element", "no comma here", NULL);
        step(s);
        return false;
    }
    return true;
}

static void member(struct scan *s)
{
    skip_space(s);
    struct place name = here(s);
    if (look(s) != '"') {
        give_up(s, "a member's name in double quotes", NULL);
        return;
    }
    string(s);
    if (s->stop)
        return;
    skip_space(s);
    if (look(s) != ':') {
        give_up(s, "a colon after the member's name", NULL);
        return;
    }
    step(s);
    value(s, name);
}

static void container(struct scan *s, bool is_object)
{
    char closing = is_object ? '}' : ']';
    const char *expected = is_object ? "a comma or }" : "a comma or ]";

    if (s->depth == ES_JSON_DEPTH) {
        give_up(s, "at most 64 levels of nesting", NULL);
        return;
    }
    s->depth++;
    step(s);
    skip_space(s);
    if (look(s) == closing) {
        step(s);
    } else {
        do {
            if (is_object)
                member(s);
            else
                value(s, (struct place){0});
        } while (!s->stop && another(s, closing, expected));
    }
    s->depth--;
}

static void value(struct scan *s, struct place name)
{
    skip_space(s);
    size_t mark = mark_begin(s, name);
    if (s->stop)
        return;
    int c = look(s);
    if (c == '{' || c == '[')
        container(s, c == '{');
    else if (c == '"')
        string(s);
    else if ((c >= '0' && c <= '9') || c == '-' || c == '+' || c == '.')
        number(s);
    else if (in_run(c))
        word(s);
    else if (c == '/' || c == '#')
        give_up(s, "a value", "JSON has no comments; a member \"note\" holds remarks.");
    else if (c == '\'')
        give_up(s, "a value", "Texts stand in double quotes.");
    else
        give_up(s, "a value", NULL);
    s->marks->items[mark].end = (uint32_t)s->at;
}

enum es_status es_json_scan(const char *name, const char *text, size_t length, struct es_findings *findings,
                            struct es_json_marks *marks, struct es_error *err)
{
    struct scan s = {.name = name,
                     .text = text,
                     .length = length,
                     .line = 1,
                     .column = 1,
                     .findings = findings,
                     .marks = marks};

    *marks = (struct es_json_marks){0};
    if (length >= 3 && memcmp(text, "\xEF\xBB\xBF", 3) == 0)
        give_up(&s, "JSON text from the first byte", "Save the file as UTF-8 without byte order mark.");
    else
        value(&s, (struct place){0});
    skip_space(&s);
    if (!s.stop && s.at < length)
        fault_here(&s, "the end of the file after the value", NULL);
    if (s.out_of_memory)
        return es_fail(err, ES_NO_MEMORY, "%s: out of memory", name);
    if (s.faults > 0)
        return es_findings_status(findings, err);
    return ES_OK;
}
