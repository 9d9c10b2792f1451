/* The table of faults: the only list of them, and what each does to the parameters. */
#include <math.h>
#include <string.h>

#include "drivers/virtual/air.h"
#include "drivers/virtual/kind.h"
#include "drivers/virtual/model.h"

typedef void (*apply_fault)(struct es_parameters *p, double s);

/* Severity to leak: 2 Nl/h at 0.05 (the least worth finding), 800 at 1 (heard across the room). */
static double grown_leak(double s)
{
    return es_virtual_leak(800 * s * s);
}

static void seat_1(struct es_parameters *p, double s)
{
    p->relay.leak_seat[0] += grown_leak(s);
}
static void seat_2(struct es_parameters *p, double s)
{
    p->relay.leak_seat[1] += grown_leak(s);
}
static void seal_between(struct es_parameters *p, double s)
{
    p->relay.leak_between += 4 * grown_leak(s);
}
static void seal_air(struct es_parameters *p, double s)
{
    p->relay.leak_air += 4 * grown_leak(s);
}
static void nozzle(struct es_parameters *p, double s)
{
    p->relay.lag *= 1 + 25 * s;
    p->relay.reach_up *= 1 - 0.85 * s;
    p->relay.bleed *= 1 - 0.7 * s;
}
static void coil_open(struct es_parameters *p, double s)
{
    p->relay.open_share = s;
}
static void coil_weak(struct es_parameters *p, double s)
{
    p->relay.gain *= 1 - 0.9 * s;
}
static void spool_stick(struct es_parameters *p, double s)
{
    p->relay.stick += 0.6 * s;
}
static void spool_worn(struct es_parameters *p, double s)
{
    p->relay.overlap -= 0.09 * s;
}
static void crossed(struct es_parameters *p, double s)
{
    p->relay.crossed = s > 0;
}
static void track_worn(struct es_parameters *p, double s)
{
    p->sensor.worn_width += 3 * ES_RAD_PER_DEG * s;
    p->sensor.worn_depth = s;
}
static void disturbed(struct es_parameters *p, double s)
{
    p->sensor.shift += 60 * ES_RAD_PER_DEG * s;
}
static void bowed(struct es_parameters *p, double s)
{
    p->sensor.bow += 0.06 * s;
}
static void coupling(struct es_parameters *p, double s)
{
    p->sensor.slack += 5 * ES_RAD_PER_DEG * s;
}
static void connector(struct es_parameters *p, double s)
{
    p->sensor.unplugged = s > 0;
    p->relay.open_share = s > 0 ? 1 : p->relay.open_share;
}
static void dead(struct es_parameters *p, double s)
{
    p->electronics.dead_share = s;
}
static void hungry(struct es_parameters *p, double s)
{
    p->electronics.minimum_current += 3e-3 * s;
}
static void feedback(struct es_parameters *p, double s)
{
    p->electronics.feedback_offset += 0.8e-3 * s;
    p->electronics.feedback_gain += 0.05 * s;
}
static void never_content(struct es_parameters *p, double s)
{
    p->electronics.doubt = s;
}
static void shutdown_open(struct es_parameters *p, double s)
{
    p->electronics.shutdown_open = s > 0;
}
static void lever_short(struct es_parameters *p, double s)
{
    p->linkage.lever_length *= 1 - 0.5 * s;
}
static void lever_long(struct es_parameters *p, double s)
{
    p->linkage.lever_length *= 1 + 3 * s;
}
static void not_parallel(struct es_parameters *p, double s)
{
    p->linkage.offset += 20 * ES_RAD_PER_DEG * s;
}
static void friction(struct es_parameters *p, double s)
{
    p->actuator.coulomb *= 1 + 9 * s;
    p->actuator.adhesion *= 1 + 11 * s;
}
static void diaphragm(struct es_parameters *p, double s)
{
    p->actuator.leak += 8 * grown_leak(s);
}
static void supply_low(struct es_parameters *p, double s)
{
    p->supply.source *= 1 - 0.9 * s;
}
static void filter(struct es_parameters *p, double s)
{
    p->supply.C_filter *= pow(0.004, s);
}
static void fitting_1(struct es_parameters *p, double s)
{
    p->bench.C_fitting[0] += grown_leak(s);
}
static void fitting_2(struct es_parameters *p, double s)
{
    p->bench.C_fitting[1] += grown_leak(s);
}
static void flow_drift(struct es_parameters *p, double s)
{
    p->bench.flow_gain += 0.3 * s;
    p->bench.flow_offset += 20 * 1.087440005e-3 / 3600 * s;
}
static void loop_off(struct es_parameters *p, double s)
{
    p->bench.loop_gain += 0.03 * s;
    p->bench.loop_offset += 0.3e-3 * s;
}
static void encoder(struct es_parameters *p, double s)
{
    p->bench.encoder_slack += 4 * ES_RAD_PER_DEG * s;
}
static void slow_bus(struct es_parameters *p, double s)
{
    p->bench.bus_delay += 0.4 * s * s;
}
static void noisy(struct es_parameters *p, double s)
{
    p->bench.noise += 0.01 * s;
}

struct row {
    struct es_virtual_fault shown;
    apply_fault apply;
};

#define UNIT     ES_VIRTUAL_UNIT
#define MOUNTING ES_VIRTUAL_MOUNTING
#define BENCH    ES_VIRTUAL_BENCH

#define ANY   0
#define TWO   ES_NEEDS_OUTPUT_2
#define WHOLE ES_NEEDS_WHOLE
#define LEVER (ES_NEEDS_WHOLE | ES_NEEDS_LEVER)

/* clang-format off */
static const struct row rows[] = {
    {{"relay seat leaks to output 1", UNIT, ANY,
      "a seat lets supply air into output 1 all the time: up to 800 Nl/h from 5 bar, with the square of the severity"}, seat_1},
    {{"relay seat leaks to output 2", UNIT, TWO, "the same into output 2"}, seat_2},
    {{"seal between outputs missing", UNIT, TWO,
      "output 1 and output 2 are joined inside the relay: up to 3200 Nl/h from 5 bar"}, seal_between},
    {{"seal to atmosphere cut", UNIT, ANY,
      "output 1 leaks out of the relay: up to 3200 Nl/h from 5 bar"}, seal_air},
    {{"nozzle partly blocked", UNIT, ANY,
      "the relay follows its coil slowly (lag up to 26 times), and reaches up to 85 % less of its upward travel"}, nozzle},
    {{"coil open", UNIT, ANY,
      "the coil's circuit is interrupted for this share of the time; 1 always"}, coil_open},
    {{"coil weak", UNIT, ANY, "full drive moves the relay up to 90 % less"}, coil_weak},
    {{"spool sticking", UNIT, ANY,
      "the spool starts only when the drive differs by up to 0.6 of its travel"}, spool_stick},
    {{"spool worn", UNIT, ANY,
      "overlap goes from 4 % to -5 % of the travel: ports open at rest"}, spool_worn},
    {{"outputs crossed", UNIT, ANY,
      "reassembled the wrong way round: each output does what the other should; any severity is the whole fault"}, crossed},
    {{"sensor track worn", UNIT, WHOLE,
      "the wiper loses contact around one angle: 0.5 to 3.5 deg each way, up to the whole ratio"}, track_worn},
    {{"sensor disturbed", UNIT, WHOLE,
      "the sensor was turned against its shaft by up to 60 deg"}, disturbed},
    {{"sensor non-linear", UNIT, WHOLE, "the track is bowed by up to 6 % of its ratio"}, bowed},
    {{"coupling slack", UNIT, WHOLE, "up to 5 deg of play between shaft and sensor"}, coupling},
    {{"connector off", UNIT, WHOLE,
      "the plug with sensor and coil was left off: no ratio, no drive; any severity is the whole fault"}, connector},
    {{"electronics dead", UNIT, WHOLE,
      "the electronics does nothing for this share of the time (it restarts in between); 1 always"}, dead},
    {{"minimum current high", UNIT, WHOLE, "works only above up to 6.5 mA instead of 3.55 mA"}, hungry},
    {{"feedback drifted", UNIT, WHOLE, "feedback current off by up to 0.8 mA and 5 %"}, feedback},
    {{"auxiliary circuit open", UNIT, WHOLE,
      "the shut-down circuit is interrupted: driven down whatever is asked; any severity is the whole fault"}, shutdown_open},
    {{"lever too short", MOUNTING, LEVER, "lever down to half its length: angle beyond the window"}, lever_short},
    {{"lever too long", MOUNTING, LEVER, "lever up to four times as long: too little angle"}, lever_long},
    {{"lever not parallel", MOUNTING, WHOLE, "shaft turned against the travel by up to 20 deg"}, not_parallel},
    {{"actuator friction high", MOUNTING, WHOLE, "friction up to ten times, at rest twelve times"}, friction},
    {{"diaphragm leaking", MOUNTING, WHOLE,
      "the actuator's chamber 1 leaks to the other side: up to 6400 Nl/h from 5 bar"}, diaphragm},
    {{"supply low", BENCH, ANY, "source pressure down by up to 90 %"}, supply_low},
    {{"filter clogged", BENCH, ANY, "filter's conductance down to 0.4 %"}, filter},
    {{"fitting leaks on output 1", BENCH, ANY,
      "a fitting behind the flow sensor leaks: up to 800 Nl/h from 5 bar"}, fitting_1},
    {{"fitting leaks on output 2", BENCH, TWO, "the same on output 2"}, fitting_2},
    {{"flow sensor drifted", BENCH, ANY, "flows read up to 30 % and 20 Nl/h too high"}, flow_drift},
    {{"loop source off calibration", BENCH, ANY,
      "drives up to 3 % and 0.3 mA more than it is told"}, loop_off},
    {{"encoder slack", BENCH, WHOLE, "up to 4 deg of play in the reference encoder's coupling"}, encoder},
    {{"electrical noise", BENCH, ANY,
      "analogue readings disturbed by up to 1 % of their usual span (standard deviation)"}, noisy},
    {{"self-adjustment never ends", UNIT, WHOLE,
      "the self-adjustment does not trust the ends it finds and tries again: twelve times as long at 0.71, at 1 for ever"}, never_content},
    {{"slow bus", BENCH, ANY,
      "every exchange with an instrument takes up to 0.4 s longer, with the square of the severity"}, slow_bus},
};
/* clang-format on */

_Static_assert(sizeof rows / sizeof rows[0] == ES_FAULT_COUNT, "model.h counts the rows");

size_t es_virtual_fault_count(void)
{
    return ES_FAULT_COUNT;
}

const struct es_virtual_fault *es_virtual_fault_get(int fault)
{
    return fault >= 0 && fault < ES_FAULT_COUNT ? &rows[fault].shown : NULL;
}

/* Spaces may be written as hyphens: easier in a shell. */
static bool same_name(const char *name, const char *given)
{
    for (; *name && *given; name++, given++) {
        if (*name != *given && !(*name == ' ' && *given == '-')) {
            return false;
        }
    }
    return *name == *given;
}

int es_virtual_fault_find(const char *name)
{
    for (int i = 0; i < ES_FAULT_COUNT; i++) {
        if (same_name(rows[i].shown.name, name)) {
            return i;
        }
    }
    return -1;
}

bool es_virtual_fault_possible(int fault, enum es_virtual_type type)
{
    const struct es_virtual_fault *f = es_virtual_fault_get(fault);
    if (!f || (f->place == ES_VIRTUAL_UNIT && es_virtual_type_about(type)->block)) {
        return false;
    }
    return !(f->needs & ~es_virtual_has(type));
}

const char *es_virtual_fault_needs_text(int fault)
{
    const struct es_virtual_fault *f = es_virtual_fault_get(fault);
    if (!f || f->needs == ANY) {
        return "";
    }
    return f->needs == TWO     ? " (double-acting only)"
           : f->needs == WHOLE ? " (whole units only)"
                               : " (with a lever only)";
}

const char *es_virtual_place_name(enum es_virtual_place place)
{
    static const char *const names[] = {"unit", "mounting", "bench"};
    return names[place];
}

static void apply_place(struct es_parameters *p, enum es_virtual_type type, const double *severity,
                        bool (*wanted)(enum es_virtual_place))
{
    for (int i = 0; i < ES_FAULT_COUNT; i++) {
        if (severity[i] > 0 && wanted(rows[i].shown.place) && es_virtual_fault_possible(i, type)) {
            rows[i].apply(p, severity[i]);
        }
    }
}

static bool is_unit(enum es_virtual_place place)
{
    return place == ES_VIRTUAL_UNIT;
}
static bool is_not_unit(enum es_virtual_place place)
{
    return place != ES_VIRTUAL_UNIT;
}

/* What the sensor shows at a shaft angle, put back into an angle by the nominal slope. */
static double seen_angle(const struct es_parameters *p, double angle)
{
    const double ratio = es_sensor_track(&p->sensor, angle + p->sensor.zero);
    return (ratio - 0.5) * (58 * ES_RAD_PER_DEG / 0.48);
}

void es_parameters_apply(struct es_parameters *p, enum es_virtual_type type, const double *severity)
{
    apply_place(p, type, severity, is_not_unit);
    p->electronics.adjusted_low = seen_angle(p, es_linkage_angle(&p->linkage, p->actuator.length, 0));
    p->electronics.adjusted_high =
        seen_angle(p, es_linkage_angle(&p->linkage, p->actuator.length, p->actuator.length));
    apply_place(p, type, severity, is_unit);
}
