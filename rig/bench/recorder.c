#include "rig/bench/recorder.h"

#include <stdlib.h>
#include <string.h>

#define FIRST_ROOM 256

void es_recorder_init(struct es_recorder *r, const struct es_bench_station *station)
{
    memset(r, 0, sizeof *r);
    r->station = station;
}

static void clear(struct es_recorder *r, size_t i)
{
    struct es_recording *rec = &r->items[i];
    for (size_t s = 0; s < rec->trace.series_count; s++) {
        free(rec->series[s].t);
        free(rec->series[s].y);
        free(rec->series[s].quality);
    }
    free(rec->trace.series);
    free(rec->trace.commands);
    free(rec->trace.name);
    memset(rec, 0, sizeof *rec);
    r->running &= ~(1u << i);
}

void es_recorder_free(struct es_recorder *r)
{
    for (size_t i = 0; i < ES_RECORDINGS_MAX; i++) {
        if (r->items[i].used) {
            clear(r, i);
        }
    }
}

/* The memory made larger, or as it was and *good false. */
static void *regrow(void *old, size_t bytes, bool *good)
{
    void *more = realloc(old, bytes);
    if (!more) {
        *good = false;
        return old;
    }
    return more;
}

static bool grow(struct es_recorder_series *s)
{
    size_t room = s->capacity ? 2 * s->capacity : FIRST_ROOM;
    bool good = true;
    s->t = regrow(s->t, room * sizeof *s->t, &good);
    s->y = regrow(s->y, room * sizeof *s->y, &good);
    s->quality = regrow(s->quality, room, &good);
    s->capacity = good ? room : s->capacity;
    return good;
}

static struct es_recording *new_recording(struct es_recorder *r, int *handle)
{
    for (int i = 0; i < ES_RECORDINGS_MAX; i++) {
        if (!r->items[i].used) {
            *handle = i;
            return &r->items[i];
        }
    }
    return NULL;
}

enum es_status es_recorder_start(struct es_recorder *r, const char *name, const enum es_role *roles,
                                 size_t count, double rate, es_time now, int *handle, struct es_error *err)
{
    int at;
    struct es_recording *rec = new_recording(r, &at);
    if (!rec || count == 0 || count > ES_ROLE_COUNT) {
        return es_fail(err, ES_USAGE, "recording \"%s\": at most %d recordings at once", name,
                       ES_RECORDINGS_MAX);
    }
    for (size_t i = 0; r->station && i < count; i++) {
        const struct es_bench_channel *c = es_station_channel(r->station, roles[i]);
        if (!c || c->writable) {
            return es_fail(err, ES_NOT_FOUND, "recording \"%s\": this station has no input \"%s\"", name,
                           es_role_info(roles[i])->name);
        }
    }
    rec->trace.name = strdup(name);
    rec->trace.series = calloc(count, sizeof *rec->trace.series);
    rec->used = true;
    if (!rec->trace.name || !rec->trace.series) {
        clear(r, (size_t)at);
        return es_fail(err, ES_NO_MEMORY, "no memory for the recording \"%s\"", name);
    }
    rec->trace.series_count = count;
    rec->began = now;
    rec->interval = es_from_seconds(1 / rate);
    for (size_t i = 0; i < count; i++) {
        double slower = rate;
        rec->slot[roles[i]] = (int)i + 1;
        rec->trace.series[i].role = roles[i];
        rec->trace.series[i].dimension = es_role_info(roles[i])->dimension;
        if (r->station) {
            const struct es_bench_channel *c = es_station_channel(r->station, roles[i]);
            rec->trace.series[i].dimension = c->unit->dimension;
            rec->trace.series[i].u = es_channel_uncertainty(c);
            (void)es_channel_range(c, &rec->trace.series[i].low, &rec->trace.series[i].high);
            slower = c->rate < rate ? c->rate : rate;
        }
        rec->series[i].interval = es_from_seconds(1 / slower);
        rec->series[i].next = now;
    }
    r->running |= 1u << at;
    *handle = at;
    return ES_OK;
}

void es_recorder_sample(struct es_recorder *r, enum es_role role, const struct es_reading *reading)
{
    for (unsigned left = r->running; left; left &= left - 1) {
        struct es_recording *rec = &r->items[__builtin_ctz(left)];
        int slot = rec->slot[role];
        if (!slot) {
            continue;
        }
        struct es_recorder_series *s = &rec->series[slot - 1];
        /* A little early is on time: sampling and recording are not on the same grid. */
        if (reading->taken < s->next - s->interval / 4) {
            continue;
        }
        s->next += s->interval;
        if (s->next <= reading->taken) {
            s->next = reading->taken + s->interval;
        }
        double t = es_seconds(reading->taken - rec->began);
        if (t < 0 || (s->count > 0 && t < s->t[s->count - 1])) {
            continue; /* taken before the recording began, or out of order */
        }
        if (s->count == s->capacity && !grow(s)) {
            rec->no_memory = true;
            continue;
        }
        s->t[s->count] = t;
        s->y[s->count] = reading->quality == ES_GOOD ? reading->value : 0;
        s->quality[s->count++] = (uint8_t)reading->quality;
        if (reading->u_time > s->worst_time) {
            s->worst_time = reading->u_time;
        }
    }
}

void es_recorder_command(struct es_recorder *r, enum es_role role, es_time acted, double u_time, double from,
                         double to)
{
    for (unsigned left = r->running; left; left &= left - 1) {
        struct es_recording *rec = &r->items[__builtin_ctz(left)];
        struct es_trace *trace = &rec->trace;
        if (trace->command_count == rec->command_capacity) {
            size_t room = rec->command_capacity ? 2 * rec->command_capacity : 16;
            struct es_command *more = realloc(trace->commands, room * sizeof *more);
            if (!more) {
                rec->no_memory = true;
                continue;
            }
            trace->commands = more;
            rec->command_capacity = room;
        }
        trace->commands[trace->command_count++] =
            (struct es_command){role, es_seconds(acted - rec->began), u_time, from, to};
    }
}

static struct es_recording *find(struct es_recorder *r, int handle)
{
    if (handle < 0 || handle >= ES_RECORDINGS_MAX || !r->items[handle].used) {
        return NULL;
    }
    return &r->items[handle];
}

static void refresh(struct es_recording *rec, es_time now)
{
    rec->trace.duration = es_seconds(now - rec->began);
    for (size_t i = 0; i < rec->trace.series_count; i++) {
        struct es_series *s = &rec->trace.series[i];
        s->count = rec->series[i].count;
        s->t = rec->series[i].t;
        s->y = rec->series[i].y;
        s->quality = rec->series[i].quality;
        s->u.time = rec->series[i].worst_time;
    }
}

const struct es_trace *es_recorder_look(struct es_recorder *r, int handle, es_time now)
{
    struct es_recording *rec = find(r, handle);
    if (!rec) {
        return NULL;
    }
    refresh(rec, now);
    return &rec->trace;
}

enum es_status es_recorder_stop(struct es_recorder *r, int handle, es_time now, struct es_trace **out,
                                struct es_error *err)
{
    struct es_recording *rec = find(r, handle);
    if (!rec) {
        return es_fail(err, ES_USAGE, "there is no recording %d under way", handle);
    }
    struct es_trace *trace = rec->no_memory ? NULL : malloc(sizeof *trace);
    if (!trace) {
        enum es_status status =
            es_fail(err, ES_NO_MEMORY, "no memory for the recording \"%s\"", rec->trace.name);
        clear(r, (size_t)handle);
        return status;
    }
    refresh(rec, now);
    *trace = rec->trace; /* takes over all its memory */
    memset(rec, 0, sizeof *rec);
    r->running &= ~(1u << handle);
    *out = trace;
    return ES_OK;
}

static bool look_series(struct es_look *look, size_t i, const struct es_series *live)
{
    struct es_series *s = &look->series[i];
    if (look->room[i] < live->count || !s->t) {
        size_t room = 2 * live->count + FIRST_ROOM;
        bool good = true;
        s->t = regrow(s->t, room * sizeof *s->t, &good);
        s->y = regrow(s->y, room * sizeof *s->y, &good);
        s->quality = regrow(s->quality, room, &good);
        if (!good) {
            return false;
        }
        look->room[i] = room;
    }
    struct es_series mine = *s;
    *s = *live;
    s->t = mine.t;
    s->y = mine.y;
    s->quality = mine.quality;
    if (live->count) {
        memcpy(s->t, live->t, live->count * sizeof *s->t);
        memcpy(s->y, live->y, live->count * sizeof *s->y);
        memcpy(s->quality, live->quality, live->count);
    }
    return true;
}

const struct es_trace *es_look_copy(struct es_look *look, const struct es_trace *live)
{
    if (!live) {
        return NULL;
    }
    if (look->command_room < live->command_count) {
        struct es_command *more = realloc(look->trace.commands, 2 * live->command_count * sizeof *more);
        if (!more) {
            return NULL;
        }
        look->trace.commands = more;
        look->command_room = 2 * live->command_count;
    }
    struct es_command *commands = look->trace.commands;
    look->trace = *live;
    look->trace.commands = commands;
    look->trace.series = look->series;
    if (live->command_count) {
        memcpy(commands, live->commands, live->command_count * sizeof *commands);
    }
    for (size_t i = 0; i < live->series_count; i++) {
        if (!look_series(look, i, &live->series[i])) {
            return NULL;
        }
    }
    return &look->trace;
}

void es_look_free(struct es_look *look)
{
    for (size_t i = 0; i < ES_ROLE_COUNT; i++) {
        free(look->series[i].t);
        free(look->series[i].y);
        free(look->series[i].quality);
    }
    free(look->trace.commands);
    memset(look, 0, sizeof *look);
}
