/* Reads a station of a bench file and checks its parts against each other. */
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "rig/bench/bench_reader.h"

static const cJSON *role_item(const cJSON *object)
{
    return cJSON_GetObjectItemCaseSensitive(object, "role");
}

/* The station's channel of the role named in `object`; a finding when there is none. */
static struct es_bench_channel *named_channel(struct es_bench_reader *r, struct es_bench_station *s,
                                              const cJSON *object, const char *name)
{
    enum es_role role = es_role_find(name);
    for (size_t i = 0; role != ES_ROLE_NONE && i < s->channel_count; i++) {
        if (s->channels[i].role == role) {
            return &s->channels[i];
        }
    }
    es_document_fault(r->doc, role_item(object), r->findings, NULL,
                      role == ES_ROLE_NONE ? "a role, as docs/bench-file.md lists them"
                                           : "the role of a channel of this station");
    return NULL;
}

/* A channel of this or an earlier station, read before `c`, that cannot be meant beside it; NULL: none. */
static const struct es_bench_channel *clashing(const struct es_bench *b, const struct es_bench_station *last,
                                               const struct es_bench_channel *c,
                                               const struct es_bench_station **at)
{
    const struct es_driver *d = b->buses[b->instruments[c->instrument].bus].driver;
    for (*at = b->stations; d->clash && *at <= last; ++*at) {
        for (size_t i = 0; i < (*at)->channel_count; i++) {
            const struct es_bench_channel *o = &(*at)->channels[i];
            if (o == c) {
                return NULL;
            }
            if (o->address && o->instrument == c->instrument &&
                d->clash(c->address, c->writable, o->address, o->writable)) {
                return o;
            }
        }
    }
    return NULL;
}

static void check_clash(struct es_bench_reader *r, const cJSON *object, const struct es_bench_station *s,
                        const struct es_bench_channel *c)
{
    const struct es_bench_station *at = NULL;
    const struct es_bench_channel *o = clashing(r->bench, s, c, &at);
    if (o) {
        es_document_fault(r->doc, cJSON_GetObjectItemCaseSensitive(object, "address"), r->findings, NULL,
                          c->writable && o->writable
                              ? "an address of its own: station %s already writes here for \"%s\""
                              : "an address of its own: it shares a part of station %s's \"%s\"",
                          at->name ? at->name : "?", es_role_info(o->role)->name);
    }
}

static void read_channels(struct es_bench_reader *r, const cJSON *array, struct es_bench_station *s)
{
    s->channels = es_bench_new(r, (size_t)cJSON_GetArraySize(array), sizeof *s->channels);
    if (!s->channels) {
        return;
    }
    const cJSON *item;
    cJSON_ArrayForEach(item, array)
    {
        struct es_bench_channel *c = &s->channels[s->channel_count++];
        es_bench_read_channel(r, item, c);
        if (c->role == ES_ROLE_NONE) {
            continue;
        }
        if (es_station_channel(s, c->role) != c) {
            es_document_fault(r->doc, role_item(item), r->findings, NULL,
                              "each role once a station: there is a channel for \"%s\" above",
                              es_role_info(c->role)->name);
        }
        if (c->address) {
            check_clash(r, item, s, c);
        }
    }
}

static void read_slew(struct es_bench_reader *r, const struct es_bench_channel *c, const cJSON *item,
                      struct es_ceiling *out)
{
    enum es_dimension d = es_dimension_rate(c->unit->dimension);
    out->slew = INFINITY;
    if (!item) {
        return;
    }
    if (!c->writable || d == ES_DIM_COUNT) {
        es_document_fault(r->doc, item, r->findings, NULL, "a slew limit on analogue outputs only");
        return;
    }
    double slew;
    if (es_bench_quantity(r, item, d, true, &slew)) {
        if (slew <= 0) {
            es_document_fault(r->doc, item, r->findings, NULL, "a slew limit above 0");
            return;
        }
        out->slew = slew;
    }
}

static void read_ceiling(struct es_bench_reader *r, const cJSON *object, struct es_bench_station *s)
{
    struct es_ceiling_text t = {0};
    struct es_bench_channel *c = NULL;
    if (es_bench_read(r, object, "ceiling", &t)) {
        c = named_channel(r, s, object, t.role);
    }
    if (c) {
        struct es_ceiling *out = &s->ceilings[s->ceiling_count];
        *out = (struct es_ceiling){c->role, INFINITY, -INFINITY, INFINITY};
        if (es_station_ceiling(s, c->role)) {
            es_document_fault(r->doc, role_item(object), r->findings, NULL, "one ceiling a role");
        }
        bool good = es_bench_quantity(r, t.highest, c->unit->dimension, false, &out->highest);
        if (t.lowest) {
            good &= es_bench_quantity(r, t.lowest, c->unit->dimension, false, &out->lowest);
        } else if (c->writable) {
            es_document_fault(r->doc, object, r->findings, "no member \"lowest\"",
                              "the lowest value that may be written to \"%s\"", t.role);
        }
        if (good && out->lowest >= out->highest) {
            es_document_fault(r->doc, t.highest, r->findings, NULL, "highest above lowest");
        }
        read_slew(r, c, t.slew, out);
        s->ceiling_count++;
    }
    es_bench_rows_free("ceiling", &t);
}

static void read_ceilings(struct es_bench_reader *r, const cJSON *array, const cJSON *channels,
                          struct es_bench_station *s)
{
    s->ceilings = es_bench_new(r, (size_t)cJSON_GetArraySize(array), sizeof *s->ceilings);
    if (!s->ceilings) {
        return;
    }
    const cJSON *item;
    cJSON_ArrayForEach(item, array)
    {
        read_ceiling(r, item, s);
    }
    for (size_t i = 0; i < s->channel_count; i++) {
        const struct es_bench_channel *c = &s->channels[i];
        if (c->role == ES_ROLE_NONE || !c->writable || es_role_info(c->role)->is_state ||
            c->role == ES_ROLE_WATCHDOG || es_station_ceiling(s, c->role)) {
            continue;
        }
        es_document_fault(r->doc, cJSON_GetArrayItem(channels, (int)i), r->findings, "no ceiling",
                          "a ceiling with highest and lowest for the output \"%s\"",
                          es_role_info(c->role)->name);
    }
}

static void read_safe_write(struct es_bench_reader *r, const cJSON *object, struct es_bench_station *s)
{
    struct es_safe_write_text t = {0};
    struct es_bench_channel *c = NULL;
    if (es_bench_read(r, object, "safe write", &t)) {
        c = named_channel(r, s, object, t.role);
    }
    if (!c) {
        es_bench_rows_free("safe write", &t);
        return;
    }
    struct es_safe_write *w = &s->safe_writes[s->safe_write_count];
    *w = (struct es_safe_write){c->role, 0, t.wait};
    const struct es_role_info *role = es_role_info(c->role);
    for (size_t i = 0; i < s->safe_write_count; i++) {
        if (s->safe_writes[i].role == c->role) {
            es_document_fault(r->doc, role_item(object), r->findings, NULL, "one safe write a role");
        }
    }
    if (!c->writable || c->role == ES_ROLE_WATCHDOG) {
        es_document_fault(r->doc, role_item(object), r->findings, NULL, "an output of this station");
    } else if (es_bench_quantity(r, t.value, c->unit->dimension, false, &w->value)) {
        const struct es_ceiling *ceiling = es_station_ceiling(s, c->role);
        if (role->is_state && w->value != 0 && w->value != 1) {
            es_document_fault(r->doc, t.value, r->findings, NULL, "0 or 1 for the state \"%s\"", role->name);
        }
        if (ceiling && (w->value > ceiling->highest || w->value < ceiling->lowest)) {
            es_document_fault(r->doc, t.value, r->findings, NULL, "a value within the ceiling of \"%s\"",
                              role->name);
        }
        if (c->role == ES_ROLE_SUPPLY_VALVE && w->value != 0) {
            es_document_fault(r->doc, t.value, r->findings, NULL, "0: the supply is shut in the safe state");
        }
        s->safe_write_count++;
    }
    es_bench_rows_free("safe write", &t);
}

static size_t safe_index(const struct es_bench_station *s, enum es_role role)
{
    size_t i = 0;
    while (i < s->safe_write_count && s->safe_writes[i].role != role) {
        i++;
    }
    return i;
}

/* Vents blow with the whole supply behind them until it is shut. */
static void check_safe_order(struct es_bench_reader *r, const cJSON *writes, const struct es_bench_station *s)
{
    static const enum es_role vents[] = {ES_ROLE_OUTPUT_1_VENT, ES_ROLE_OUTPUT_2_VENT};
    size_t valve = safe_index(s, ES_ROLE_SUPPLY_VALVE);
    for (size_t i = 0; i < 2; i++) {
        size_t at = safe_index(s, vents[i]);
        if (valve < s->safe_write_count && at < valve && s->safe_writes[at].value == 1) {
            es_document_fault(r->doc, cJSON_GetArrayItem(writes, (int)at), r->findings, NULL,
                              "the supply valve shut before \"%s\" is opened", es_role_info(vents[i])->name);
        }
    }
}

static void read_safe_state(struct es_bench_reader *r, const cJSON *object, const cJSON *channels,
                            struct es_bench_station *s)
{
    struct es_safe_text t = {0};
    if (!es_bench_read(r, object, "safe state", &t)) {
        return;
    }
    s->safe_within = t.within;
    s->safe_writes = es_bench_new(r, (size_t)cJSON_GetArraySize(t.writes), sizeof *s->safe_writes);
    if (!s->safe_writes) {
        return;
    }
    size_t before = r->findings->count;
    double waits = 0;
    const cJSON *item;
    cJSON_ArrayForEach(item, t.writes)
    {
        read_safe_write(r, item, s);
    }
    for (size_t i = 0; i < s->safe_write_count; i++) {
        waits += s->safe_writes[i].wait_after;
    }
    if (waits >= t.within) {
        es_document_fault(r->doc, cJSON_GetObjectItemCaseSensitive(object, "within"), r->findings, NULL,
                          "more than the waits between the writes, %g s", waits);
    }
    for (size_t i = 0; i < s->channel_count; i++) {
        const struct es_bench_channel *c = &s->channels[i];
        if (c->role != ES_ROLE_NONE && c->writable && c->role != ES_ROLE_WATCHDOG &&
            safe_index(s, c->role) == s->safe_write_count) {
            es_document_fault(r->doc, cJSON_GetArrayItem(channels, (int)i), r->findings, "no safe write",
                              "a write in \"safe state\" that says where the output \"%s\" goes",
                              es_role_info(c->role)->name);
        }
    }
    if (r->findings->count == before) {
        check_safe_order(r, t.writes, s);
    }
}

static void read_fact(struct es_bench_reader *r, const cJSON *object, struct es_fact *fact)
{
    struct es_fact_text t = {.dof = INFINITY};
    fact->dof = INFINITY;
    if (es_bench_read(r, object, "fact", &t)) {
        struct es_quantity q;
        struct es_error err;
        const char *text = cJSON_GetStringValue(t.value);
        if (!text || es_quantity_parse(text, &q, &err) != ES_OK) {
            es_document_fault(r->doc, t.value, r->findings, NULL, "a quantity as text with its unit");
        } else {
            fact->name = es_bench_copy(r, t.name);
            fact->dimension = q.unit->dimension;
            fact->value = q.value;
            fact->dof = t.dof;
            if (es_bench_quantity(r, t.uncertainty, fact->dimension, true, &fact->u) && fact->u < 0) {
                es_document_fault(r->doc, t.uncertainty, r->findings, NULL, "0 or more");
            }
        }
    }
    es_bench_rows_free("fact", &t);
}

static void read_facts(struct es_bench_reader *r, const cJSON *array, struct es_bench_station *s)
{
    s->facts = es_bench_new(r, (size_t)cJSON_GetArraySize(array), sizeof *s->facts);
    if (!s->facts) {
        return;
    }
    const cJSON *item;
    cJSON_ArrayForEach(item, array)
    {
        struct es_fact *fact = &s->facts[s->fact_count];
        read_fact(r, item, fact);
        for (size_t i = 0; fact->name && i < s->fact_count; i++) {
            if (!strcmp(s->facts[i].name, fact->name)) {
                es_document_fault(r->doc, item, r->findings, fact->name, "each fact once");
            }
        }
        if (fact->name) {
            s->fact_count++;
        }
    }
}

static void read_watchdog(struct es_bench_reader *r, const cJSON *station, const cJSON *object,
                          struct es_bench_station *s)
{
    const struct es_bench_channel *c = es_station_channel(s, ES_ROLE_WATCHDOG);
    struct es_watchdog_text t = {0};
    if (!object) {
        if (c) {
            es_document_fault(r->doc, station, r->findings, "a watchdog channel without its period",
                              "a member \"watchdog\": {\"period\": ...}");
        }
        return;
    }
    if (!c) {
        es_document_fault(r->doc, object, r->findings, "a watchdog without its channel",
                          "a channel with the role \"watchdog\"");
    }
    if (es_bench_read(r, object, "watchdog", &t)) {
        s->watchdog_period = t.period;
    }
}

static void check_read_backs(struct es_bench_reader *r, const cJSON *channels, struct es_bench_station *s)
{
    for (size_t i = 0; i < s->channel_count; i++) {
        const struct es_bench_channel *c = &s->channels[i];
        if (c->role != ES_ROLE_NONE && c->read_back != ES_ROLE_NONE && !es_station_channel(s, c->read_back)) {
            const cJSON *item = cJSON_GetArrayItem(channels, (int)i);
            es_document_fault(r->doc, cJSON_GetObjectItemCaseSensitive(item, "read back"), r->findings,
                              es_role_info(c->read_back)->name, "the role of a channel of this station");
        }
    }
}

void es_bench_read_station(struct es_bench_reader *r, const cJSON *object, struct es_bench_station *s)
{
    struct es_station_text t = {0};
    /* Faults of its own members do not keep its parts from being read: all faults at once. */
    es_bench_read(r, object, "station", &t);
    s->name = t.name;
    if (t.channels) {
        read_channels(r, t.channels, s);
        check_read_backs(r, t.channels, s);
    }
    if (t.ceilings && t.channels) {
        read_ceilings(r, t.ceilings, t.channels, s);
    }
    if (t.safe_state && t.channels) {
        read_safe_state(r, t.safe_state, t.channels, s);
    }
    if (t.facts) {
        read_facts(r, t.facts, s);
    }
    if (t.channels) {
        read_watchdog(r, object, t.watchdog, s);
    }
}
