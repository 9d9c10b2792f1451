#include <math.h>
#include <stdio.h>
#include <string.h>

#include "rig/base/number.h"
#include "rig/base/role.h"
#include "rig/client/role_words.h"
#include "rig/client/talk.h"
#include "rig/client/watched.h"
#include "rig/console/display.h"

static void take_roles(struct es_watched_set *set, const cJSON *event)
{
    const cJSON *role;
    set->count = 0;
    snprintf(set->name, sizeof set->name, "%s", es_member_text(event, "name"));
    cJSON_ArrayForEach(role, es_member(event, "roles"))
    {
        if (cJSON_IsString(role) && set->count < ES_WATCHED_ROLES)
            snprintf(set->roles[set->count++], ES_WATCHED_NAME, "%s", role->valuestring);
    }
}

/* The recording of that name that was begun last is no longer under way. */
static void drop_recording(struct es_watched *w, const char *name)
{
    for (size_t i = w->recording_count; i > 0; i--) {
        if (strcmp(w->recordings[i - 1].name, name) != 0)
            continue;
        memmove(&w->recordings[i - 1], &w->recordings[i], (w->recording_count - i) * sizeof w->recordings[0]);
        w->recording_count--;
        return;
    }
}

void es_watched_event(struct es_watched *w, const cJSON *event)
{
    const char *kind = es_member_text(event, "event");
    bool begins = strcmp(es_member_text(event, "state"), "begin") == 0;
    if (strcmp(kind, "step") == 0) {
        take_roles(&w->step, event);
    } else if (strcmp(kind, "procedure") == 0) {
        w->step.count = 0;
        w->recording_count = 0;
    } else if (strcmp(kind, "recording") == 0 && !begins) {
        drop_recording(w, es_member_text(event, "name"));
    } else if (strcmp(kind, "recording") == 0 && w->recording_count < ES_WATCHED_RECORDINGS) {
        take_roles(&w->recordings[w->recording_count++], event);
    }
}

struct layout {
    const cJSON *values;
    size_t width, lines; /* there are */
    size_t line, column; /* where the next one goes */
    struct es_text *out;
    bool full;
    const char *done[64]; /* roles that stand already */
    size_t done_count;
};

/* Four digits or so, however large the unit makes the number. */
static void value_number(double value, char out[static ES_NUMBER_SIZE])
{
    double size = fabs(value);
    es_number_round(value, size < 10 ? 3 : size < 100 ? 2 : size < 1000 ? 1 : 0, out);
}

static void write_value(const char *role, const cJSON *item, struct es_text *out)
{
    double value = es_member_number(item, "value");
    const char *unit = es_member_text(item, "unit"), *word = es_role_state_word(role, value);
    char number[ES_NUMBER_SIZE];
    es_text_printf(out, "%s ", role);
    if (isnan(value)) {
        es_text_add(out, es_member_text(item, "quality"));
    } else if (word != NULL) {
        es_text_add(out, word);
    } else {
        value_number(value, number);
        es_text_printf(out, "%s%s%s", number, strcmp(unit, "1") == 0 ? "" : " ",
                       strcmp(unit, "1") == 0 ? "" : unit);
    }
}

static void place(struct layout *l, const char *text)
{
    size_t width = es_display_width(text);
    if (l->column > 0 && l->column + 3 + width > l->width) {
        l->line++;
        l->column = 0;
        l->full = l->line >= l->lines;
        if (!l->full)
            es_text_char(l->out, '\n');
    }
    if (l->full)
        return;
    if (l->column > 0)
        es_text_add(l->out, "   ");
    es_text_add(l->out, text);
    l->column += (l->column > 0 ? 3 : 0) + width;
}

static void put(struct layout *l, const char *role)
{
    const cJSON *item = es_member(l->values, role);
    for (size_t i = 0; i < l->done_count; i++)
        if (strcmp(l->done[i], role) == 0)
            return;
    if (item == NULL || l->full || l->done_count == sizeof l->done / sizeof l->done[0])
        return;
    l->done[l->done_count++] = role;
    struct es_text text = {0}, clean = {0};
    write_value(role, item, &text);
    if (text.bytes != NULL)
        es_text_visible(&clean, text.bytes, text.length);
    if (clean.bytes != NULL)
        place(l, clean.bytes);
    es_text_free(&clean);
    es_text_free(&text);
}

static void put_set(struct layout *l, const struct es_watched_set *set)
{
    for (size_t i = 0; i < set->count; i++)
        put(l, set->roles[i]);
}

/* Air may be on wherever the bench cannot say that its supply valve is shut. */
static bool air_is_on(const cJSON *values)
{
    double valve = es_member_number(es_member(values, es_role_info(ES_ROLE_SUPPLY_VALVE)->name), "value");
    return isnan(valve) || valve != 0;
}

void es_watched_lines(const struct es_watched *w, const cJSON *values, size_t width, size_t lines,
                      struct es_text *out)
{
    struct layout l = {.values = values, .width = width, .lines = lines, .out = out};
    put_set(&l, &w->step);
    for (size_t i = w->recording_count; i > 0; i--)
        put_set(&l, &w->recordings[i - 1]);
    if (air_is_on(values))
        put(&l, es_role_info(ES_ROLE_SUPPLY_PRESSURE)->name);
}
