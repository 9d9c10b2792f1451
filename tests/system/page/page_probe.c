/* A certificate of a shipped plan, run on the virtual bench in virtual time, with likely causes and a job's
 * visit; signed by bench and releaser: page_probe FOLDER NAME TYPE PLAN [FAULT SEVERITY]. Makes
 * FOLDER/NAME.json and, when missing, the keys FOLDER/{bench,person}.pem with their public parts. */
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "drivers/virtual/virtual_bench.h"
#include "procedures/judgement/detection.h"
#include "procedures/judgement/likely.h"
#include "procedures/judgement/type_sheet.h"
#include "results/certificate/certificate.h"
#include "rig/base/file.h"
#include "rig/bench/run.h"
#include "rig/bench/virtual_station.h"

#define ROOT ES_SOURCE_DIR "/"

static struct es_error err;
static struct es_findings findings;

static void must(enum es_status s)
{
    if (s == ES_OK)
        return;
    es_findings_print(&findings, stderr);
    (void)fprintf(stderr, "page_probe: %s\n", err.text);
    exit(3);
}

static struct es_key *key_of(const char *folder, const char *name)
{
    char path[512], pem[ES_PUBLIC_KEY_TEXT_MAX];
    struct es_key *key = NULL;
    (void)snprintf(path, sizeof path, "%s/%s.pem", folder, name);
    if (es_key_load(path, &key, &err) == ES_OK)
        return key;
    must(es_key_create(&key, &err));
    must(es_key_save(key, path, &err));
    es_public_key_pem(es_key_public(key), pem);
    (void)snprintf(path, sizeof path, "%s/%s.pub.pem", folder, name);
    must(es_file_write(NULL, path, ES_FILE_REPLACE, 0644, pem, strlen(pem), &err));
    return key;
}

static enum es_virtual_type kind_of(const struct es_type *sheet)
{
    enum es_virtual_type kind = ES_VIRTUAL_TYPE_COUNT;
    char name[64] = "self-proof-block";
    if (sheet->kind != ES_PROOF_BLOCK)
        (void)snprintf(name, sizeof name, "%s-%s",
                       sheet->kind == ES_RELAY_MODULE ? "relay-module" : es_motion_word(sheet->motion),
                       es_action_word(sheet->action));
    return es_virtual_type_find(name, &kind) ? kind : ES_VIRTUAL_TYPE_COUNT;
}

static const char *bench_for(const struct es_type *sheet)
{
    if (sheet->kind != ES_COMPLETE_UNIT)
        return ROOT "rig/bench/examples/virtual-bench-relay.json";
    return sheet->motion == ES_PART_TURN ? ROOT "rig/bench/examples/virtual-bench-part-turn.json"
                                         : ROOT "rig/bench/examples/virtual-bench.json";
}

static enum es_status say_yes(void *self, const struct es_question *q, struct es_answer *a,
                              bool (*give_up)(const void *site), const void *site, struct es_error *e)
{
    (void)self, (void)q, (void)give_up, (void)site, (void)e;
    *a = (struct es_answer){.yes = true, .person = "Ada Example"};
    return ES_OK;
}

static void run(const char *type, const char *plan, const char *fault, double severity,
                struct es_outcome *outcome)
{
    struct es_type *sheet = NULL;
    struct es_bench *bench = NULL;
    struct es_virtual *unit = NULL;
    struct es_virtual_station *station = NULL;
    struct es_virtual_config config;
    struct es_virtual_fault_setting setting = {.severity = severity};
    char type_path[512], plan_path[512];
    (void)snprintf(type_path, sizeof type_path, ROOT "procedures/types/%s.json", type);
    (void)snprintf(plan_path, sizeof plan_path, ROOT "procedures/library/%s.plan.json", plan);
    must(es_type_load(type_path, &findings, &sheet, &err));
    must(es_bench_load(bench_for(sheet), &findings, &bench, &err));
    for (size_t i = 0; i < bench->stations[0].channel_count; i++)
        bench->stations[0].channels[i].watched = false;
    es_virtual_config_init(&config, kind_of(sheet));
    es_virtual_config_from_station(&bench->stations[0], &config);
    config.seed = 7;
    config.feedback = sheet->fitted[ES_FITTED_FEEDBACK];
    config.shutdown_module = sheet->fitted[ES_FITTED_SHUTDOWN];
    if (fault != NULL && (setting.fault = es_virtual_fault_find(fault)) < 0)
        exit(2);
    config.faults = &setting;
    config.fault_count = fault != NULL;
    must(es_virtual_new(&config, &unit, &err));
    must(es_virtual_station_open(bench, &bench->stations[0], unit, NULL, &station, &err));
    const struct es_run_order order = {.plan_path = plan_path,
                                       .type_path = type_path,
                                       .serial = "EX-2231-07",
                                       .tag = "FV-2207 B",
                                       .customer = "Example Process Works (invented)",
                                       .reason = "hunts about half stroke",
                                       .state = "as left",
                                       .parts_replaced = "pneumatic relay; seal set",
                                       .person = "Ada Example",
                                       .seed = 7};
    const struct es_run_places places = {.now = "2026-11-25T08:00:00.000Z", .run = "20261125T080000Z-4d1c"};
    const struct es_run_watch watch = {.ask = say_yes};
    must(es_run_execute(&order, es_virtual_station_site(station), &places, &watch, &findings, outcome, NULL,
                        &err));
    es_virtual_station_close(station);
    es_virtual_free(unit);
    es_bench_free(bench);
    es_type_free(sheet);
}

static void interpret(struct es_outcome *outcome)
{
    struct es_detection *table = NULL;
    must(es_detection_load(ROOT "procedures/judgement/detection.json", &findings, &table, &err));
    if (outcome->completed)
        must(es_likely_make(table, NULL, outcome, &outcome->likely, &err));
    es_detection_free(table);
}

static void issue(const char *folder, const char *name, const struct es_outcome *outcome)
{
    struct es_key *bench = key_of(folder, "bench"), *person = key_of(folder, "person");
    const struct es_certificate_visit visit = {.customer_contact = "2 Invented Quay, Exampleton",
                                               .customer_reference = "order 88-1402, position 3",
                                               .job = "J-000118",
                                               .received = "2026-11-23",
                                               .condition = "dry, housing scratched",
                                               .found = "seat of the relay eroded",
                                               .before = {.number = "EX-000117",
                                                          .sha256 = "0123456789abcdef0123456789abcdef"
                                                                    "0123456789abcdef0123456789abcdef",
                                                          .state = "as found",
                                                          .verdict = "fail"}};
    const struct es_certificate_meta meta = {.number = "EX-000118",
                                             .issued = "2026-11-25T08:14:31.402Z",
                                             .clock_synchronised = true,
                                             .laboratory = "Example Repair Workshop (invented)",
                                             .laboratory_address = "1 Invented Road, Exampleton",
                                             .software_version = ES_VERSION,
                                             .issuer_thumbprint = es_key_public(bench)->thumbprint,
                                             .virtual_bench = true,
                                             .visit = &visit};
    const struct es_signing release = {
        .role = ES_ROLE_OF_RELEASE, .when = "2026-11-25T09:02:10Z", .name = "Rosa Example"};
    char path[512];
    char *payload = NULL, *issued = NULL, *file = NULL;
    size_t length = 0;
    must(es_certificate_build(outcome, &meta, &payload, &length, &err));
    must(es_certificate_sign(payload, length, bench, "bench", meta.issued, &issued, &length, &err));
    if (outcome->completed)
        must(es_certificate_sign_as(issued, length, person, &release, &file, &length, &err));
    (void)snprintf(path, sizeof path, "%s/%s.json", folder, name);
    must(es_file_write(NULL, path, ES_FILE_REPLACE, 0644, file != NULL ? file : issued, length, &err));
    free(file);
    free(issued);
    free(payload);
    es_key_free(person);
    es_key_free(bench);
}

int main(int argc, char **argv)
{
    struct es_outcome outcome;
    if (argc != 5 && argc != 7)
        return 2;
    es_outcome_init(&outcome);
    run(argv[3], argv[4], argc == 7 ? argv[5] : NULL, argc == 7 ? strtod(argv[6], NULL) : 0, &outcome);
    interpret(&outcome);
    issue(argv[1], argv[2], &outcome);
    (void)printf("%s: %zu lines, %zu curves, %s\n", argv[2], outcome.line_count, outcome.curve_count,
                 outcome.completed ? es_verdict_word(outcome.verdict) : outcome.ended_because);
    es_outcome_free(&outcome);
    es_findings_free(&findings);
    return 0;
}
