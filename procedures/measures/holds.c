#include "procedures/measures/holds.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#define GUARD 1e-6 /* s: a sample taken with the write is no longer of the hold */

void es_holds_free(struct es_holds *h)
{
    free(h->items);
    memset(h, 0, sizeof *h);
}

static void add(struct es_holds *h, double settle, const struct es_hold *hold)
{
    if (hold->to - hold->from > settle)
        h->items[h->count++] = *hold;
}

enum es_status es_holds_find(const struct es_trace *trace, enum es_role demand, double settle, double end,
                             struct es_holds *out, struct es_error *err)
{
    struct es_holds h = {.items = calloc(trace->command_count + 1, sizeof *h.items)};
    if (!h.items)
        return es_fail(err, ES_NO_MEMORY, "Not enough memory for %zu writes.", trace->command_count);
    struct es_hold now = {.demand = NAN};
    for (size_t i = 0; i < trace->command_count; i++) {
        const struct es_command *c = &trace->commands[i];
        if (c->role != demand || !isfinite(c->to))
            continue;
        if (!isfinite(now.demand))
            now.demand = c->from;
        now.to = c->t - GUARD - 3 * c->u_t;
        add(&h, settle, &now);
        if (isfinite(now.demand) && c->to != now.demand)
            now.way = c->to > now.demand ? 1 : -1;
        now.from = c->t;
        now.demand = c->to;
    }
    now.to = end;
    if (isfinite(now.demand))
        add(&h, settle, &now);
    *out = h;
    return ES_OK;
}

const struct es_command *es_last_write(const struct es_trace *trace, enum es_role role)
{
    const struct es_command *last = NULL;
    for (size_t i = 0; trace && i < trace->command_count; i++)
        if (trace->commands[i].role == role)
            last = &trace->commands[i];
    return last;
}

double es_series_end(const struct es_series *series)
{
    return series && series->count ? series->t[series->count - 1] : 0;
}
