#include <math.h>

#include "rig/console/json_writer.h"

static void member(struct es_text *t, const char *name)
{
    char last = t->length > 0 ? t->bytes[t->length - 1] : '{';
    if (last != '{' && last != '[')
        es_text_char(t, ',');
    if (name != NULL) {
        es_text_json(t, name);
        es_text_char(t, ':');
    }
}

void es_json_object(struct es_text *t, const char *name)
{
    member(t, name);
    es_text_char(t, '{');
}

void es_json_array(struct es_text *t, const char *name)
{
    member(t, name);
    es_text_char(t, '[');
}

void es_json_end_object(struct es_text *t)
{
    es_text_char(t, '}');
}

void es_json_end_array(struct es_text *t)
{
    es_text_char(t, ']');
}

void es_json_text(struct es_text *t, const char *name, const char *value)
{
    member(t, name);
    if (value == NULL)
        es_text_add(t, "null");
    else
        es_text_json(t, value);
}

void es_json_number(struct es_text *t, const char *name, double value)
{
    member(t, name);
    if (isfinite(value))
        es_text_printf(t, "%.12g", value);
    else
        es_text_add(t, "null");
}

void es_json_integer(struct es_text *t, const char *name, long long value)
{
    member(t, name);
    es_text_printf(t, "%lld", value);
}

void es_json_bool(struct es_text *t, const char *name, bool value)
{
    member(t, name);
    es_text_add(t, value ? "true" : "false");
}

void es_json_raw(struct es_text *t, const char *name, const char *json, size_t length)
{
    member(t, name);
    es_text_append(t, json, length);
}
