/* endstop-sim: a bench as a process of its own. It reads the bench file and plays every instrument that
 * stands in it, over the same wires: Modbus TCP, Modbus RTU and text lines on pseudo-terminals or TCP. What
 * the instruments say comes from the virtual bench (drivers/virtual), one for each station.
 *
 * One thread, one loop (loop.c): bytes -> request (modbus_wire.c, line_wire.c) -> due at its time -> answer
 * from the model (modbus_answer.c, line_answer.c, point.c) -> faults of the bus (delivery.c) -> bytes. */
#ifndef ES_SIMULATOR_H
#define ES_SIMULATOR_H

#include <modbus/modbus.h>
#include <stdint.h>

#include "drivers/line/line.h"
#include "drivers/modbus/modbus.h"
#include "drivers/virtual/common_supply.h"
#include "drivers/virtual/virtual_bench.h"
#include "rig/base/log.h"
#include "rig/bench/bench.h"

#define SIM_REQUEST_MAX 1024 /* bytes of one request not yet whole */
#define SIM_ANSWER_MAX  1024
#define SIM_PENDING_MAX 8
#define SIM_LINES_MAX   32 /* connections of one bus */

enum sim_wire { SIM_MODBUS_TCP, SIM_MODBUS_RTU, SIM_TEXT_TCP, SIM_TEXT_SERIAL };

/* A channel of a station as a point of an instrument. */
struct sim_point {
    const struct es_bench_channel *channel;
    struct es_virtual *model;
};

/* One Modbus table of an instrument: what a client may read and write. */
struct sim_table {
    bool used;
    int first, count; /* addresses */
};

/* What can be wrong with a bus or with an instrument: no answer, a late one, one with a wrong byte, half of
 * one, a refusal (Modbus: an exception; text lines: an error in the queue and no answer). */
enum sim_trouble_kind { SIM_SILENT, SIM_LATE, SIM_CORRUPT, SIM_CUT, SIM_REFUSE, SIM_TROUBLES };

struct sim_trouble {
    struct {
        es_time until; /* real time */
        double share;  /* of the requests that it hits */
    } of[SIM_TROUBLES];
    es_time late_by;
};

struct sim_instrument {
    const struct es_bench_instrument *about;
    struct sim_point *points;
    size_t point_count;
    struct sim_table tables[4]; /* by enum es_modbus_table */
    modbus_mapping_t *mapping;  /* NULL: not a Modbus instrument */
    char error[120];            /* text-line: the first error since it was last asked for; "" none */
    struct sim_trouble trouble;
};

struct sim_bytes {
    es_time due;
    size_t count;
    uint8_t bytes[SIM_ANSWER_MAX];
};

/* One conversation: a TCP client, or the far end of a pseudo-terminal. */
struct sim_line {
    int fd; /* -1: free */
    es_time last_byte;
    size_t have;
    uint8_t in[SIM_REQUEST_MAX];
    struct sim_bytes request; /* whole, waits for its time; count 0: none */
    struct sim_bytes pending[SIM_PENDING_MAX];
    size_t pending_count;
};

/* A pseudo-terminal under the name that the bench file gives it. */
struct sim_terminal {
    int master, slave; /* we hold the far end too, so that the line lives on when a client leaves */
    int claim;         /* abstract socket: no second simulator takes the same name */
    char *link;        /* path of the symbolic link; NULL: none made */
    char target[64];
};

struct sim_bus {
    struct simulator *sim;
    const struct es_bench_bus *about;
    enum sim_wire wire;
    int listener;
    struct sim_terminal terminal;
    struct sim_line lines[SIM_LINES_MAX];
    modbus_t *library; /* libmodbus's server side, which writes its answers into pair[0] */
    int pair[2];
    struct sim_trouble trouble;
    es_time away_until; /* hung up until then; 0: not */
    uint64_t requests, answers;
};

struct sim_station {
    const struct es_bench_station *about;
    struct es_virtual_config config;
    struct es_virtual *model;
    es_time mounted; /* virtual time of the model = this + the simulator's */
};

struct simulator {
    const struct es_bench *bench;
    struct es_virtual_supply *supply; /* of all stations */
    uint64_t seed;
    double speed;
    es_time start; /* real time at which virtual time was 0 */
    struct sim_station *stations;
    size_t station_count;
    struct sim_instrument *instruments; /* as in bench->instruments */
    struct sim_bus *buses;              /* as in bench->buses; bus_count of them begun */
    size_t bus_count;
    struct es_log log;
    bool stop;
};

/* ---- simulator.c ---- */
struct sim_unit {
    enum es_virtual_type type;
    bool without_feedback, shutdown_module;
};

#define SIM_UNITS_MAX 16

struct sim_setup {
    const char *station;  /* NULL: all */
    struct sim_unit unit; /* on every station ... */
    struct {
        const char *station;
        size_t length;
        enum es_virtual_type type;
    } others[SIM_UNITS_MAX]; /* ... but these */
    size_t other_count;
    uint64_t seed; /* of the first station; each next one has the next seed */
    double speed;
    const struct es_virtual_fault_setting *faults;
    size_t fault_count;
    bool without_wires; /* requests come by sim_modbus_answer and sim_text_answer only */
};
enum es_status sim_new(const struct es_bench *bench, const struct sim_setup *setup, struct simulator **out,
                       struct es_error *err) ES_MUST_CHECK;
void sim_free(struct simulator *sim); /* closes everything, removes the links */

void sim_advance(struct simulator *sim, es_time real_now);
/* Puts a new unit on a station: the air starts from nothing; the bench's own faults stay. */
enum es_status sim_mount(struct simulator *sim, struct sim_station *station, const struct sim_unit *unit,
                         uint64_t seed, struct es_error *err) ES_MUST_CHECK;
struct sim_station *sim_station_find(struct simulator *sim, const char *name, size_t length);

/* ---- point.c: between a channel's raw number and the model ---- */
double sim_point_read(const struct sim_point *p); /* raw */
void sim_point_write(const struct sim_point *p, struct es_raw raw, const struct es_log *log);

/* ---- modbus_answer.c ---- */
enum es_status sim_modbus_map(struct sim_instrument *instrument, struct es_error *err) ES_MUST_CHECK;
/* A whole request (with its TCP or RTU framing) to its answer; returns its length, 0: none is given. */
size_t sim_modbus_answer(struct sim_bus *bus, const uint8_t *request, size_t count,
                         uint8_t answer[static SIM_ANSWER_MAX]);

/* Whose request it is; NULL: nobody's. */
struct sim_instrument *sim_modbus_owner(const struct sim_bus *bus, const uint8_t *request, size_t count);

/* ---- line_answer.c ---- */
struct sim_instrument *sim_text_owner(const struct sim_bus *bus, const uint8_t *request, size_t count);
size_t sim_text_answer(struct sim_bus *bus, const uint8_t *request, size_t count,
                       uint8_t answer[static SIM_ANSWER_MAX]);

/* ---- wire.c: opening, accepting, framing ---- */
enum es_status sim_bus_open(struct sim_bus *bus, bool without_wire, struct es_error *err) ES_MUST_CHECK;
void sim_bus_close(struct sim_bus *bus);
void sim_bus_accept(struct sim_bus *bus);
/* The far end hangs up; a serial line comes back as another terminal under the same name. */
enum es_status sim_bus_hang_up(struct sim_bus *bus, struct es_error *err) ES_MUST_CHECK;
void sim_bus_describe(const struct sim_bus *bus, char *out, size_t size);
void sim_line_close(struct sim_line *line);

/* ---- terminal.c ---- */
enum es_status sim_terminal_open(struct sim_terminal *t, const char *path,
                                 struct es_error *err) ES_MUST_CHECK;
void sim_terminal_close(struct sim_terminal *t);

/* ---- delivery.c: requests due, answers due, and what goes wrong with them ---- */
void sim_line_readable(struct sim_bus *bus, struct sim_line *line, es_time now);
/* Does what is due; returns the time of the next thing to do, INT64_MAX for none. */
es_time sim_bus_work(struct sim_bus *bus, es_time now);

/* ---- trouble.c ---- */
struct words;
struct es_text;
/* The trouble of that kind that hits the bus's present request, from or to that instrument; NULL: none. */
const struct sim_trouble *sim_troubled(const struct sim_bus *bus, const struct sim_instrument *instrument,
                                       enum sim_trouble_kind kind, es_time now);
/* verb: silence, delay, corrupt, cut, refuse, disconnect, heal. */
enum es_status sim_trouble_command(struct simulator *sim, const char *verb, struct words *w,
                                   struct es_error *err) ES_MUST_CHECK;
void sim_show_buses(const struct simulator *sim, struct es_text *out);

/* ---- frame.c: how many of the bytes are the first whole request; 0: not whole yet; -1: not one ---- */
int sim_frame(const struct sim_bus *bus, const uint8_t *bytes, size_t count);
/* Seconds on the wire. */
double sim_wire_time(const struct sim_bus *bus, size_t count);

/* ---- command.c: one line of plain English; `answer` gets what is to be said ---- */
enum es_status sim_command(struct simulator *sim, const char *line, struct es_text *answer,
                           struct es_error *err) ES_MUST_CHECK;
extern const char sim_command_help[];

/* ---- tell.c: one command to the simulator that listens at `path`; what it shows goes to `answer`, and its
 * "error: ..." becomes ES_REFUSED with that text ---- */
enum es_status sim_tell(const char *path, const char *command, struct es_text *answer,
                        struct es_error *err) ES_MUST_CHECK;

/* ---- loop.c ---- */
struct sim_control;
enum es_status sim_run(struct simulator *sim, struct sim_control *control,
                       struct es_error *err) ES_MUST_CHECK;

/* ---- control.c: where commands come from ---- */
enum es_status sim_control_open(struct simulator *sim, const char *path, struct sim_control **out,
                                struct es_error *err) ES_MUST_CHECK;
void sim_control_close(struct sim_control *control);
/* "after SECONDS COMMAND" and plain commands alike. */
enum es_status sim_control_line(struct sim_control *control, const char *line, struct es_text *answer,
                                struct es_error *err) ES_MUST_CHECK;
struct pollfd;
size_t sim_control_poll(const struct sim_control *control, struct pollfd *fds, size_t max);
es_time sim_control_work(struct sim_control *control, const struct pollfd *fds, size_t count, es_time now);

#endif
