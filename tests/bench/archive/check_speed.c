/* Checking every certificate of an archive, on all cores, against bare Ed25519 plus SHA-256 over the same
 * bytes. Usage: check_speed [CERTIFICATES]   (a copy of one signed certificate under many serial numbers:
 * 400) Prints both rates and their ratio; the aim is at least 0.70. */
#include <pthread.h>
#include <sodium.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "results/archive/outbox.h"
#include "rig/base/clock.h"
#include "rig/base/text.h"
#include "tests/support/archive/visits.h"

#define THREADS_MAX 64

struct piece {
    const char *place;
    const struct es_trusted_key *trusted;
    int64_t from, to; /* rows after from, up to to */
    long rounds, bad, done;
    /* bare: the same files' signing inputs */
    char **inputs, **files;
    size_t *input_lengths, *file_lengths;
    unsigned char (*signatures)[64];
};

struct row {
    struct piece *piece;
    int64_t last;
};

static enum es_status check_row(void *self, const struct es_value *columns, size_t count,
                                struct es_error *err)
{
    struct row *r = self;
    struct es_certificate_report report;
    (void)count;
    enum es_status st =
        es_certificate_verify("row", columns[6].bytes, columns[6].length, r->piece->trusted, 1, &report, err);
    /* The digest that the row claims, too: es_certificate_verify computes it. */
    r->piece->bad += st != ES_OK || report.finding != ES_CERTIFICATE_VALID ||
                     strcmp(report.digest, es_column_text(&columns[4])) != 0;
    r->piece->done++;
    r->last = es_column_integer(&columns[0]);
    return st;
}

static void *check_archive(void *self)
{
    struct piece *p = self;
    struct es_archive *a = NULL;
    if (es_archive_open(p->place, ES_ARCHIVE_READ, &a, NULL) != ES_OK) {
        p->bad++;
        return NULL;
    }
    for (long k = 0; k < p->rounds; k++) {
        struct row r = {.piece = p, .last = p->from};
        int64_t before;
        do {
            const struct es_value values[] = {es_value_integer(r.last), es_value_integer(64),
                                              es_value_integer(p->to)};
            before = r.last;
            p->bad += es_database_run(&a->db, ES_SQL_FILES, values, 3, check_row, &r, NULL, NULL) != ES_OK;
        } while (r.last != before);
    }
    es_archive_close(a);
    return NULL;
}

static void *check_bare(void *self)
{
    struct piece *p = self;
    unsigned char hash[32];
    for (long k = 0; k < p->rounds; k++) {
        for (int64_t i = p->from; i < p->to; i++) {
            (void)crypto_hash_sha256(hash, (const unsigned char *)p->files[i], p->file_lengths[i]);
            p->bad +=
                !es_public_key_verify(&p->trusted->key, p->inputs[i], p->input_lengths[i], p->signatures[i]);
            p->done++;
        }
    }
    return NULL;
}

static double run(struct piece *pieces, size_t threads, void *(*work)(void *))
{
    pthread_t ids[THREADS_MAX];
    es_time start = es_clock_now();
    long done = 0;
    for (size_t i = 0; i < threads; i++) {
        pieces[i].done = 0;
        if (pthread_create(&ids[i], NULL, work, &pieces[i]) != 0) {
            abort();
        }
    }
    for (size_t i = 0; i < threads; i++) {
        (void)pthread_join(ids[i], NULL);
        done += pieces[i].done;
    }
    return (double)done / es_seconds(es_clock_now() - start);
}

/* base64url(header) "." base64url(payload), and the signature, from a file with one signature. */
static void take_bare(const char *file, size_t length, char **input, size_t *input_length,
                      unsigned char signature[static 64])
{
    const char *begin = memmem(file, length, ",\"signatures\":", 14);
    const char *jws = strstr(begin, "\"jws\":\"") + 7;
    const char *dots = strstr(jws, "..");
    const char *end = strchr(begin, ']') + 1;
    struct es_text payload = {0}, text = {0};
    size_t written = 0;
    es_text_append(&payload, file, (size_t)(begin - file));
    es_text_append(&payload, end, length - (size_t)(end - file));
    es_text_append(&text, jws, (size_t)(dots - jws));
    es_text_char(&text, '.');
    es_text_base64url(&text, payload.bytes, payload.length);
    *input_length = text.length;
    if (es_text_take(&text, input, NULL) != ES_OK ||
        es_base64url_decode(dots + 2, strcspn(dots + 2, "\""), signature, 64, &written, NULL) != ES_OK) {
        abort();
    }
    es_text_free(&payload);
}

int main(int argc, char **argv)
{
    long count = argc > 1 ? strtol(argv[1], NULL, 10) : 400;
    size_t threads = (size_t)sysconf(_SC_NPROCESSORS_ONLN);
    struct visits v;
    struct es_archive *a = NULL;
    struct es_outbox_report sent;
    struct piece pieces[THREADS_MAX] = {{0}};
    char place[128];
    threads = threads < THREADS_MAX ? threads : THREADS_MAX;
    visits_open(&v);
    (void)snprintf(place, sizeof place, "%s/archive.db", v.folder);
    char **files = calloc((size_t)count, sizeof *files), **inputs = calloc((size_t)count, sizeof *inputs);
    size_t *file_lengths = calloc((size_t)count, sizeof *file_lengths);
    size_t *input_lengths = calloc((size_t)count, sizeof *input_lengths);
    unsigned char(*signatures)[64] = calloc((size_t)count, sizeof *signatures);
    for (long i = 0; i < count; i++) {
        char number[ES_STORE_NUMBER_MAX], name[128], serial[32];
        (void)snprintf(serial, sizeof serial, "EX-%ld", i);
        if (visits_issue(&v, &(struct visit){.serial = serial}, number) != ES_OK) {
            return 3;
        }
        (void)snprintf(name, sizeof name, "certificates/%s.json", number);
        files[i] = visits_read(&v, name, &file_lengths[i]);
        take_bare(files[i], file_lengths[i], &inputs[i], &input_lengths[i], signatures[i]);
    }
    if (es_store_seal(v.store, v.key, NULL, "2026-02-03T11:00:00.000Z", NULL) != ES_OK ||
        es_archive_open(place, ES_ARCHIVE_WRITE, &a, NULL) != ES_OK ||
        es_outbox_send(v.store, a, NULL, NULL, &sent, NULL) != ES_OK || sent.fresh != (uint64_t)count) {
        return 3;
    }
    es_archive_close(a);
    long bad = 0;
    for (size_t i = 0; i < threads; i++) {
        pieces[i] = (struct piece){.place = place,
                                   .trusted = &v.trusted,
                                   .rounds = 20,
                                   .files = files,
                                   .from = (int64_t)((size_t)count * i / threads),
                                   .to = (int64_t)((size_t)count * (i + 1) / threads),
                                   .inputs = inputs,
                                   .file_lengths = file_lengths,
                                   .input_lengths = input_lengths,
                                   .signatures = signatures};
    }
    double bare = run(pieces, threads, check_bare);
    double archive = run(pieces, threads, check_archive);
    for (size_t i = 0; i < threads; i++) {
        bad += pieces[i].bad;
    }
    printf("%ld certificates of %zu bytes, %zu threads: bare %.0f/s, in the archive %.0f/s, ratio %.2f (aim "
           "0.70), %ld "
           "bad\n",
           count, file_lengths[0], threads, bare, archive, archive / bare, bad);
    for (long i = 0; i < count; i++) {
        free(files[i]);
        free(inputs[i]);
    }
    free(files);
    free(inputs);
    free(file_lengths);
    free(input_lengths);
    free(signatures);
    visits_close(&v);
    return bad != 0 || archive < 0.70 * bare;
}
