/* How fast certificates are checked, as a share of what cannot be avoided: Ed25519 over the signing input and
 * SHA-256 over the file, by libsodium, in the same run. "memory": es_certificate_verify on bytes that lie
 * there, which scans for canonical form too; "files": opened, read and checked. One core, in processor time,
 * the three taken in turn, so that a busy machine disturbs them alike. */
#include <sodium.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>
#include <unistd.h>

#include "results/certificate/format.h"
#include "rig/base/digest.h"
#include "rig/base/file.h"
#include "tests/unit/certificate/sample.h"

#define FILES 64

static double now(void)
{
    struct timespec t;
    (void)clock_gettime(CLOCK_PROCESS_CPUTIME_ID, &t);
    return (double)t.tv_sec + (double)t.tv_nsec * 1e-9;
}

static void die(const char *what)
{
    (void)fprintf(stderr, "bench-verify: %s\n", what);
    exit(3);
}

struct work {
    struct es_key *key;
    struct es_trusted_key trusted;
    char *file, *input;
    size_t length, input_length;
    unsigned char signature[ES_SIGNATURE_SIZE];
    char folder[64];
};

static void floor_once(const struct work *w, size_t i)
{
    char digest[65];
    (void)i;
    es_digest_hex(w->file, w->length, digest);
    if (crypto_sign_verify_detached(w->signature, (const unsigned char *)w->input, w->input_length,
                                    w->trusted.key.bytes) != 0) {
        die("the floor does not verify");
    }
}

static void check(const struct work *w, const char *bytes, size_t length)
{
    struct es_certificate_report report;
    if (es_certificate_verify("c", bytes, length, &w->trusted, 1, &report, NULL) != ES_OK ||
        report.finding != ES_CERTIFICATE_VALID) {
        die(report.text);
    }
}

static void memory_once(const struct work *w, size_t i)
{
    (void)i;
    check(w, w->file, w->length);
}

static void file_once(const struct work *w, size_t i)
{
    char path[128];
    char *bytes = NULL;
    size_t length = 0;
    (void)snprintf(path, sizeof path, "%s/%zu.json", w->folder, i % FILES);
    if (es_file_read(NULL, path, 1u << 20, &bytes, &length, NULL) != ES_OK) {
        die("a file cannot be read");
    }
    check(w, bytes, length);
    free(bytes);
}

/* Certificates a second, for each way the best of its rounds. */
static void rates(const struct work *w, double best[static 3])
{
    static void (*const ways[3])(const struct work *w, size_t i) = {floor_once, memory_once, file_once};
    for (int round = 0; round < 30; round++) {
        double begin = now();
        size_t n = 0;
        for (; n % 64 != 0 || now() - begin < 0.03; n++) {
            ways[round % 3](w, n);
        }
        double here = (double)n / (now() - begin);
        best[round % 3] = here > best[round % 3] ? here : best[round % 3];
    }
}

static void make(struct work *w, size_t lines, size_t points)
{
    struct es_outcome outcome;
    char header[256];
    w->key = sample_key();
    w->trusted = (struct es_trusted_key){.key = *es_key_public(w->key)};
    sample_outcome(&outcome, lines, points);
    w->file = sample_signed(&outcome, w->key, &w->length);
    es_outcome_free(&outcome);
    (void)snprintf(
        header, sizeof header,
        "{\"alg\":\"EdDSA\",\"kid\":\"%s\",\"role\":\"bench\",\"time\":\"2026-02-03T10:05:01.500Z\"}",
        w->trusted.key.thumbprint);
    if (es_signing_input(header, strlen(header), w->file, w->length - 500, &w->input, &w->input_length,
                         NULL) != ES_OK ||
        es_key_sign(w->key, w->input, w->input_length, w->signature, NULL) != ES_OK) {
        die("no signing input");
    }
    strcpy(w->folder, "/tmp/es-bench-verify-XXXXXX");
    if (!mkdtemp(w->folder)) {
        die("no folder");
    }
    for (size_t i = 0; i < FILES; i++) {
        char path[128];
        (void)snprintf(path, sizeof path, "%s/%zu.json", w->folder, i);
        if (es_file_write(NULL, path, ES_FILE_REPLACE, 0600, w->file, w->length, NULL) != ES_OK) {
            die("a file cannot be written");
        }
    }
}

static void clear(struct work *w)
{
    for (size_t i = 0; i < FILES; i++) {
        char path[128];
        (void)snprintf(path, sizeof path, "%s/%zu.json", w->folder, i);
        (void)unlink(path);
    }
    (void)rmdir(w->folder);
    es_key_free(w->key);
    free(w->file);
    free(w->input);
}

int main(void)
{
    static const size_t lines[] = {4, 25, 60};
    if (sodium_init() < 0) {
        die("libsodium does not start");
    }
    puts("bytes    floor/s   memory/s  share   files/s   share   (wanted: memory 0.70, files 0.30)");
    for (size_t i = 0; i < sizeof lines / sizeof lines[0]; i++) {
        struct work w = {0};
        make(&w, lines[i], 400);
        double r[3] = {0};
        rates(&w, r);
        printf("%-8zu %-9.0f %-9.0f %-7.2f %-9.0f %.2f\n", w.length, r[0], r[1], r[1] / r[0], r[2],
               r[2] / r[0]);
        clear(&w);
    }
    return 0;
}
