#include <math.h>

#include "rig/console/json_writer.h"
#include "rig/daemon/control_bench.h"
#include "rig/daemon/desk_report.h"

static void bus_json(const struct es_bus_status *b, struct es_text *out)
{
    es_json_object(out, NULL);
    es_json_text(out, "name", b->name);
    es_json_text(out, "driver", b->driver);
    es_json_text(out, "state", es_link_state_word(b->state));
    es_json_number(out, "scan rate", b->scan_rate);
    es_json_number(out, "line limit", b->line_limit);
    es_json_integer(out, "requests", (long long)b->requests);
    es_json_integer(out, "answers", (long long)b->answers);
    es_json_integer(out, "time-outs", (long long)b->timeouts);
    es_json_integer(out, "hang-ups", (long long)b->hangups);
    es_json_integer(out, "refused", (long long)b->refused);
    es_json_integer(out, "garbled", (long long)b->garbled);
    es_json_integer(out, "writes", (long long)b->writes);
    es_json_number(out, "worst lateness", b->late_worst);
    es_json_number(out, "retry in", b->retry_in);
    es_json_text(out, "text", b->text);
    es_json_end_object(out);
}

static void instrument_json(const struct es_instrument_status *i, struct es_text *out)
{
    es_json_object(out, NULL);
    es_json_text(out, "name", i->name);
    es_json_text(out, "bus", i->bus);
    es_json_text(out, "state", es_instrument_state_word(i->state));
    es_json_text(out, "identity", i->identity);
    es_json_text(out, "text", i->text);
    es_json_end_object(out);
}

void es_control_bench_json(const struct es_bench *bench, const struct es_live *live, struct es_text *out)
{
    es_json_text(out, "bench", bench->name);
    es_json_text(out, "place", bench->place);
    es_json_bool(out, "virtual", bench->is_virtual);
    es_json_array(out, "buses");
    for (size_t i = 0; i < es_live_bus_count(live); i++) {
        struct es_bus_status status;
        es_live_bus_status(live, i, &status);
        bus_json(&status, out);
    }
    es_json_end_array(out);
    es_json_array(out, "instruments");
    for (size_t i = 0; i < es_live_instrument_count(live); i++) {
        struct es_instrument_status status;
        es_live_instrument_status(live, i, &status);
        instrument_json(&status, out);
    }
    es_json_end_array(out);
}

static void channel_json(const struct es_channel_status *c, const struct es_bench_channel *described,
                         struct es_text *out)
{
    es_json_object(out, NULL);
    es_json_text(out, "role", es_role_info(c->role)->name);
    es_json_text(out, "instrument", c->instrument);
    es_json_bool(out, "output", c->writable);
    bool good = c->newest.quality == ES_GOOD;
    es_json_number(out, "value", good ? es_to_unit(c->newest.value, c->unit) : NAN);
    es_json_text(out, "unit", c->unit->name);
    es_json_text(out, "state", es_quality_word(c->newest.quality));
    es_json_number(out, "age", c->age);
    es_json_number(out, "rate", c->rate);
    if (described != NULL) {
        es_json_number(out, "resolution", es_to_unit_difference(described->resolution, c->unit));
        if (described->calibration.number != NULL) {
            es_json_object(out, "calibration");
            es_json_text(out, "number", described->calibration.number);
            es_json_text(out, "date", described->calibration.date);
            es_json_text(out, "due", described->calibration.due);
            es_json_bool(out, "overdue", c->overdue);
            es_json_end_object(out);
        }
    }
    es_json_end_object(out);
}

void es_control_station_json(struct es_desk *desk, struct es_text *out)
{
    struct es_station *station = es_desk_station(desk);
    const struct es_bench_station *described = es_station_site(station)->station;
    struct es_station_status status;
    es_station_status(station, &status);
    es_json_object(out, NULL);
    es_json_text(out, "name", status.name);
    es_json_text(out, "interlock", es_interlock_state_word(status.state));
    es_json_text(out, "cause", status.cause);
    es_safe_report_json(out, "safe", &status.safe);
    es_desk_describe(desk, out);
    struct es_channel_status channels[ES_ROLE_COUNT];
    size_t count = es_station_channels(station, channels, ES_ROLE_COUNT);
    es_json_array(out, "channels");
    for (size_t i = 0; i < count && i < ES_ROLE_COUNT; i++)
        channel_json(&channels[i], es_station_channel(described, channels[i].role), out);
    es_json_end_array(out);
    es_json_end_object(out);
}
