#include "tests/unit/certificate/sample.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "procedures/judgement/judge.h"
#include "rig/base/text.h"

static void die(const char *what)
{
    (void)fprintf(stderr, "sample: %s\n", what);
    abort();
}

static void add_line(struct es_outcome *o, size_t i)
{
    char name[64];
    (void)snprintf(name, sizeof name, "leak of output 1, reading %zu", i + 1);
    struct es_limit limit = {.name = "leak of output 1",
                             .lower = -INFINITY,
                             .upper = es_from_unit(3.0, es_unit_find("Nl/h", 4)),
                             .unit = es_unit_find("Nl/h", 4),
                             .decimals = 2,
                             .rule = ES_RULE_GUARDED,
                             .guard_factor = 1,
                             .required = i != 2,
                             .source = "common practice, no published source"};
    struct es_measured m = {.name = "flow", .dimension = ES_DIM_FLOW, .valid = i != 2};
    (void)strcpy(m.reason, i == 2 ? "not settled at the end of the recording" : "");
    m.value = es_from_unit(0.4 + 0.01 * (double)i, limit.unit);
    m.u = es_from_unit(0.0712345, limit.unit);
    m.dof = 17.3;
    m.k = 2.107;
    m.U = m.k * m.u;
    struct es_line line;
    struct es_error err;
    if (es_judge_line("relay-leak", name, &m, &limit, &line, &err) != ES_OK) {
        die(err.text);
    }
    *es_outcome_add_line(o) = line;
}

static void add_curve(struct es_outcome *o, const char *recording, size_t points)
{
    struct es_curve *c = es_outcome_add_curve(o);
    c->recording = strdup(recording);
    c->role = ES_ROLE_OUTPUT_1_PRESSURE;
    c->unit = es_unit_find("bar", 3);
    c->count = points;
    c->t = calloc(points, sizeof *c->t);
    c->y = calloc(points, sizeof *c->y);
    for (size_t i = 0; i < points; i++) {
        c->t[i] = 0.005 * (double)i;
        c->y[i] = 4e5 * (1 - exp(-c->t[i] / 0.8));
    }
}

static void add_rest(struct es_outcome *o)
{
    struct es_procedure_record *p = es_outcome_add_procedure(o);
    *p = (struct es_procedure_record){.name = strdup("relay-leak"),
                                      .version = strdup("1"),
                                      .digest = strdup("00112233445566778899aabbccddeeff"
                                                       "00112233445566778899aabbccddeeff"),
                                      .title = strdup("Relay leak with no input"),
                                      .began = strdup("2026-02-03T10:00:05.000Z"),
                                      .duration = 93.25,
                                      .completed = true};
    struct es_instrument_record *i = es_outcome_add_instrument(o);
    *i = (struct es_instrument_record){.name = strdup("flow sensor 1"),
                                       .identity = strdup("EXAMPLE,F1,0007,1.0"),
                                       .calibration = strdup("EX-CAL-0042"),
                                       .calibrated = strdup("2025-09-01"),
                                       .due = strdup("2026-09-01")};
    i = es_outcome_add_instrument(o);
    *i = (struct es_instrument_record){.name = strdup("dew point")};
    struct es_confirmation *c = es_outcome_add_confirmation(o);
    *c = (struct es_confirmation){.text = strdup("Guard closed, nobody's hands near the shaft?"),
                                  .answer = strdup("yes"),
                                  .person = strdup("A. Example"),
                                  .when = strdup("2026-02-03T09:59:58.000Z")};
    struct es_recording_record *r = es_outcome_add_recording(o);
    *r = (struct es_recording_record){.name = strdup("closed"),
                                      .procedure = strdup("relay-leak"),
                                      .digest = strdup("ffeeddccbbaa99887766554433221100"
                                                       "ffeeddccbbaa99887766554433221100"),
                                      .file = strdup("x"),
                                      .bytes = 123456};
    o->environment[0] = (struct es_measured){.name = "ambient temperature",
                                             .dimension = ES_DIM_TEMPERATURE,
                                             .valid = true,
                                             .value = 294.65,
                                             .u = 0.15,
                                             .dof = INFINITY,
                                             .k = 1.96,
                                             .U = 0.294};
    o->environment_count = 1;
}

void sample_outcome(struct es_outcome *o, size_t lines, size_t points)
{
    es_outcome_init(o);
    o->run = strdup("20260203-100000-s1");
    o->began = strdup("2026-02-03T10:00:00.000Z");
    o->ended = strdup("2026-02-03T10:05:00.000Z");
    o->clock_synchronised = true;
    o->completed = true;
    o->plan = strdup("after-relay-swap");
    o->plan_title = strdup("After a relay swap");
    o->plan_version = strdup("1");
    o->plan_digest = strdup("0123456789abcdef0123456789abcdef"
                            "0123456789abcdef0123456789abcdef");
    o->type_version = strdup("2");
    o->type_digest = strdup("fedcba9876543210fedcba9876543210"
                            "fedcba9876543210fedcba9876543210");
    o->type = strdup("linear-single-acting");
    o->type_title = strdup("Example Works L1 (invented)");
    o->bench = strdup("Bench 1");
    o->station = strdup("1");
    o->place = strdup("Example Hall, bay 2");
    o->unit_serial = strdup("EX-000123");
    o->unit_tag = strdup("PV-\xC3\x84\xE2\x82\xAC-7");
    o->customer = strdup("Example \"Quarry\" & S\xC3\xB8n");
    o->state = strdup("as left");
    o->reason = strdup("relay replaced");
    o->person = strdup("A. Example");
    o->attended = true;
    o->seed = 18446744073709551615ULL;
    for (size_t i = 0; i < lines; i++) {
        add_line(o, i);
    }
    if (points > 0) {
        add_curve(o, "up", points);
        add_curve(o, "down", points);
    }
    add_rest(o);
    o->verdict = es_judge_overall(o->lines, o->line_count);
}

struct es_key *sample_key(void)
{
    unsigned char seed[32];
    struct es_key *key = NULL;
    if (es_hex_decode("9d61b19deffd5a60ba844af492ec2cc44449c5697b326919703bac031cae7f60", seed, 32, NULL) !=
            ES_OK ||
        es_key_from_seed(seed, &key, NULL) != ES_OK) {
        die("no key");
    }
    return key;
}

struct es_certificate_meta sample_meta(const struct es_key *key)
{
    return (struct es_certificate_meta){.number = "EX-000001",
                                        .issued = "2026-02-03T10:05:01.000Z",
                                        .clock_synchronised = true,
                                        .laboratory = "Example Works repair shop",
                                        .laboratory_address = "1 Example Street, Exampleton",
                                        .software_version = "0.1.0",
                                        .issuer_thumbprint = key ? es_key_public(key)->thumbprint : NULL};
}

char *sample_signed(const struct es_outcome *o, const struct es_key *key, size_t *length)
{
    struct es_certificate_meta meta = sample_meta(key);
    struct es_error err;
    char *payload = NULL;
    size_t size = 0;
    char *file = NULL;
    if (es_certificate_build(o, &meta, &payload, &size, &err) != ES_OK ||
        es_certificate_sign(payload, size, key, "bench", "2026-02-03T10:05:01.500Z", &file, length, &err) !=
            ES_OK) {
        die(err.text);
    }
    free(payload);
    return file;
}

enum es_status sample_release(const char *file, size_t length, const struct es_key *key, const char *when,
                              char **out, size_t *out_length, struct es_error *err)
{
    const struct es_signing signing = {.role = ES_ROLE_OF_RELEASE, .when = when, .name = "B. Example"};
    return es_certificate_sign_as(file, length, key, &signing, out, out_length, err);
}
