/* A run of a shipped plan on the virtual bench, with its recordings and inputs kept and its certificate
 * signed: recompute_probe FOLDER [part-turn SEED]. Makes FOLDER/recordings, FOLDER/certificate.json,
 * FOLDER/bench.pub.pem. */
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "drivers/virtual/virtual_bench.h"
#include "procedures/judgement/type_sheet.h"
#include "results/certificate/certificate.h"
#include "rig/base/file.h"
#include "rig/bench/run.h"
#include "rig/bench/virtual_station.h"

#define ROOT ES_SOURCE_DIR "/"

static void must(enum es_status st, const struct es_error *err, const struct es_findings *findings)
{
    if (st != ES_OK) {
        es_findings_print(findings, stderr);
        (void)fprintf(stderr, "recompute_probe: %s\n", err->text);
        exit(3);
    }
}

static void put_signed(const char *payload, size_t length, const struct es_key *key, const char *folder)
{
    struct es_error err;
    struct es_findings none = {0};
    char path[512], pem[ES_PUBLIC_KEY_TEXT_MAX];
    char *file = NULL;
    must(es_certificate_sign(payload, length, key, "bench", "2026-02-03T11:00:00Z", &file, &length, &err),
         &err, &none);
    (void)snprintf(path, sizeof path, "%s/certificate.json", folder);
    must(es_file_write(NULL, path, ES_FILE_REPLACE, 0644, file, length, &err), &err, &none);
    (void)snprintf(path, sizeof path, "%s/bench.pub.pem", folder);
    es_public_key_pem(es_key_public(key), pem);
    must(es_file_write(NULL, path, ES_FILE_REPLACE, 0644, pem, strlen(pem), &err), &err, &none);
    free(file);
}

/* A bench that lies: signs whatever it is given, with the key it has. */
static int sign_again(const char *folder, const char *path)
{
    struct es_key *key = NULL;
    struct es_error err;
    struct es_findings none = {0};
    char own[512];
    char *payload = NULL;
    size_t length = 0;
    (void)snprintf(own, sizeof own, "%s/bench.pem", folder);
    must(es_key_load(own, &key, &err), &err, &none);
    must(es_file_read(NULL, path, 1u << 20, &payload, &length, &err), &err, &none);
    put_signed(payload, length, key, folder);
    es_key_free(key);
    free(payload);
    return 0;
}

static void write_certificate(const struct es_outcome *outcome, const char *folder)
{
    struct es_key *key = NULL;
    struct es_error err;
    struct es_findings none = {0};
    char path[512];
    char *payload = NULL;
    size_t length = 0;
    must(es_key_create(&key, &err), &err, &none);
    (void)snprintf(path, sizeof path, "%s/bench.pem", folder);
    must(es_key_save(key, path, &err), &err, &none);
    const struct es_certificate_meta meta = {.number = "VB-000001",
                                             .issued = "2026-02-03T11:00:00Z",
                                             .software_version = "0.1.0",
                                             .issuer_thumbprint = es_key_public(key)->thumbprint,
                                             .virtual_bench = true};
    must(es_certificate_build(outcome, &meta, &payload, &length, &err), &err, &none);
    put_signed(payload, length, key, folder);
    es_key_free(key);
    free(payload);
}

int main(int argc, char **argv)
{
    struct es_error err = {0};
    struct es_findings findings = {0};
    struct es_bench *bench = NULL;
    struct es_virtual *unit = NULL;
    struct es_virtual_config config;
    struct es_virtual_station *station = NULL;
    struct es_outcome outcome;
    char recordings[512];
    bool turn = argc == 4 && strcmp(argv[2], "part-turn") == 0;
    const uint64_t seed = turn ? strtoull(argv[3], NULL, 10) : 7;
    if (argc == 3) {
        return sign_again(argv[1], argv[2]);
    }
    if (argc != 2 && !turn) {
        return 2;
    }
    (void)snprintf(recordings, sizeof recordings, "%s/recordings", argv[1]);
    must(es_bench_load(turn ? ROOT "rig/bench/examples/virtual-bench-part-turn.json"
                            : ROOT "rig/bench/examples/virtual-bench.json",
                       &findings, &bench, &err),
         &err, &findings);
    for (size_t i = 0; i < bench->stations[0].channel_count; i++) {
        bench->stations[0].channels[i].watched = false;
    }
    enum es_virtual_type kind = ES_VIRTUAL_TYPE_COUNT;
    if (!es_virtual_type_find(turn ? "part-turn-double-acting" : "linear-single-acting", &kind)) {
        return 3;
    }
    es_virtual_config_init(&config, kind);
    es_virtual_config_from_station(&bench->stations[0], &config);
    config.seed = seed;
    must(es_virtual_new(&config, &unit, &err), &err, &findings);
    must(es_virtual_station_open(bench, &bench->stations[0], unit, NULL, &station, &err), &err, &findings);
    const struct es_run_order order = {.plan_path = ROOT "procedures/library/after-relay-swap.plan.json",
                                       .type_path = turn ? ROOT
                                                        "procedures/types/part-turn-double-acting.json"
                                                         : ROOT "procedures/types/linear-single-acting.json",
                                       .serial = "EX-7",
                                       .person = "A. Example",
                                       .state = "as left",
                                       .unattended = true,
                                       .seed = seed};
    const struct es_run_places places = {
        .recordings = recordings, .now = "2026-02-03T10:00:00Z", .run = "probe"};
    es_outcome_init(&outcome);
    must(es_run_execute(&order, es_virtual_station_site(station), &places, NULL, &findings, &outcome, NULL,
                        &err),
         &err, &findings);
    write_certificate(&outcome, argv[1]);
    (void)printf("%zu lines, %zu recordings, %s\n", outcome.line_count, outcome.recording_count,
                 outcome.completed ? es_verdict_word(outcome.verdict) : outcome.ended_because);
    es_outcome_free(&outcome);
    es_virtual_station_close(station);
    es_virtual_free(unit);
    es_bench_free(bench);
    es_findings_free(&findings);
    return 0;
}
