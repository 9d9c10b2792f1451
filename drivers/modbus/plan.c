#include "drivers/modbus/plan.h"

#include <ctype.h>
#include <stdlib.h>
#include <string.h>

/* Takes one range off *text; false at the end or at a fault (then **text is not '\0'). */
static bool next_range(const char **text, long *first, long *last)
{
    const char *p = *text;
    while (isspace((unsigned char)*p) || *p == ',')
        p++;
    *text = p;
    if (!isdigit((unsigned char)*p))
        return false;
    char *end;
    *first = *last = strtol(p, &end, 10);
    while (isspace((unsigned char)*end))
        end++;
    if (*end == '-') {
        const char *second = end + 1;
        while (isspace((unsigned char)*second))
            second++;
        if (!isdigit((unsigned char)*second))
            return false;
        *last = strtol(second, &end, 10);
    }
    while (isspace((unsigned char)*end))
        end++;
    if ((*end != ',' && *end != '\0') || *first > *last || *last > UINT16_MAX)
        return false;
    *text = end;
    return true;
}

const char *es_modbus_ranges_fault(const char *text)
{
    long first, last;
    while (next_range(&text, &first, &last))
        ;
    return *text ? "addresses from 0 to 65535 as \"100-199, 300\"" : NULL;
}

bool es_modbus_ranges_touch(const char *text, long first, long last)
{
    long from, to;
    if (!text)
        return false;
    while (next_range(&text, &from, &to))
        if (from <= last && to >= first)
            return true;
    return false;
}

static long width(const struct es_modbus_channel *c)
{
    bool bits = c->table == ES_MODBUS_COIL || c->table == ES_MODBUS_DISCRETE;
    return bits ? 1 : (long)es_modbus_words((enum es_modbus_type)c->type);
}

struct sort_context {
    const struct es_point *points;
    const struct es_modbus_channel *const *channels;
};

static int compare_points(const void *a, const void *b, void *context)
{
    const struct sort_context *s = context;
    size_t i = *(const size_t *)a, j = *(const size_t *)b;
    const struct es_modbus_channel *p = s->channels[i], *q = s->channels[j];
    if (s->points[i].instrument != s->points[j].instrument)
        return s->points[i].instrument < s->points[j].instrument ? -1 : 1;
    if (p->table != q->table)
        return p->table < q->table ? -1 : 1;
    if (p->address != q->address)
        return p->address < q->address ? -1 : 1;
    return i < j ? -1 : i > j;
}

/* Can the block be stretched to take the channel? */
static bool joins(const struct es_modbus_instrument *settings, const struct es_modbus_block *block,
                  const struct es_modbus_channel *c)
{
    bool bits = c->table == ES_MODBUS_COIL || c->table == ES_MODBUS_DISCRETE;
    long end = (long)block->address + block->count; /* first address after it */
    long new_end = c->address + width(c) > end ? c->address + width(c) : end;
    if (c->address - end > (bits ? settings->gap * 16 : settings->gap))
        return false;
    if (new_end - block->address > (bits ? settings->max_bits : settings->max_registers))
        return false;
    return c->address <= end || !es_modbus_ranges_touch(settings->unreadable, end, c->address - 1);
}

static void make_blocks(const struct es_instrument_common *instruments, const struct es_point *points,
                        struct es_modbus_plan *plan)
{
    struct es_modbus_block *block = NULL;
    for (size_t k = 0; k < plan->point_count; k++) {
        size_t point = plan->order[k];
        const struct es_modbus_channel *c = plan->channels[point];
        size_t instrument = points[point].instrument;
        bool same = block && block->instrument == instrument && block->table == c->table;
        if (!same || !joins(instruments[instrument].settings, block, c)) {
            block = &plan->blocks[plan->block_count++];
            *block = (struct es_modbus_block){
                instrument, c->table, (uint16_t)c->address, (uint16_t)width(c), k, 0, true};
        }
        long end = c->address + width(c) - block->address;
        if (end > block->count)
            block->count = (uint16_t)end;
        block->settings &= points[point].writable;
        block->points++;
    }
    for (size_t b = 0; b < plan->block_count; b++)
        plan->requests[b] = (struct es_request){plan->blocks[b].instrument, plan->blocks[b].points,
                                                plan->order + plan->blocks[b].first};
}

enum es_status es_modbus_plan_make(const struct es_instrument_common *instruments,
                                   const struct es_point *points, size_t count, struct es_modbus_plan *out,
                                   struct es_error *err)
{
    struct es_modbus_plan plan = {.point_count = count};
    size_t room = count ? count : 1;
    plan.channels = calloc(room, sizeof *plan.channels);
    plan.order = calloc(room, sizeof *plan.order);
    plan.blocks = calloc(room, sizeof *plan.blocks);
    plan.requests = calloc(room, sizeof *plan.requests);
    if (!plan.channels || !plan.order || !plan.blocks || !plan.requests) {
        es_modbus_plan_free(&plan);
        return es_fail(err, ES_NO_MEMORY, "out of memory planning %zu channels", count);
    }
    for (size_t i = 0; i < count; i++) {
        plan.channels[i] = points[i].address;
        plan.order[i] = i;
    }
    struct sort_context context = {points, plan.channels};
    qsort_r(plan.order, count, sizeof *plan.order, compare_points, &context);
    make_blocks(instruments, points, &plan);
    *out = plan;
    return ES_OK;
}

void es_modbus_plan_free(struct es_modbus_plan *plan)
{
    free(plan->channels);
    free(plan->order);
    free(plan->blocks);
    free(plan->requests);
    *plan = (struct es_modbus_plan){0};
}
