/* What the test of the archive needs beside endstop itself:
 *   archive_probe make N FROM  a state folder with N sealed certificates of units from FROM on; prints its
 * path archive_probe year N       the same with N certificates as a year of a workshop brings them, to try
 * questions archive_probe send FOLDER ADDRESS K  sends; before statement K it prints "paused" and waits for a
 * line
 */
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "results/archive/outbox.h"
#include "tests/support/archive/visits.h"

static void add(struct visits *v, int n, int from)
{
    for (int i = from; i < from + n; i++) {
        char issued[32], serial[16];
        (void)snprintf(issued, sizeof issued, "2026-%02d-05T08:%02d:00Z", 1 + i / 60 % 12, i % 60);
        (void)snprintf(serial, sizeof serial, "EX-%d", i % 3);
        visits_add(v, &(struct visit){.serial = serial,
                                      .state = i % 2 ? "as left" : "as found",
                                      .issued = issued,
                                      .leak = i % 4 == 2 ? 5.0 : 0.5 + 0.01 * i,
                                      .U = 0.3});
    }
}

/* A year of a workshop: units that come back, faults of lots, a bench that drifts in autumn; all invented. */
static void add_year(struct visits *v, int n)
{
    static const char *const customers[] = {"Example Quarry", "Example Dairy", "Example Paper Mill",
                                            "Example Waterworks"};
    static const char *const suppliers[] = {"Example Spares North", "Example Spares South"};
    static const char *const causes[] = {"relay seat leaks", "dirt in the nozzle", "worn sensor track"};
    unsigned state = 20260101;
    for (int i = 0; i < n; i++) {
        char issued[32], serial[16], lot[16], number[ES_STORE_NUMBER_MAX];
        state = state * 1103515245u + 12345u;
        unsigned draw = state >> 16 & 0x7fff;
        int day = (int)((long)i * 360 / n), unit = i / 2 % (n / 6 + 1);
        bool found = i % 2 == 0, bad = found && (draw % 100 < 35 || (unit % 7 == 3 && draw % 100 < 80));
        (void)snprintf(issued, sizeof issued, "2026-%02d-%02dT%02d:%02d:00Z", 1 + day / 30, 1 + day % 30,
                       8 + i % 8, (int)(draw % 60));
        (void)snprintf(serial, sizeof serial, "EX-%05d", unit);
        (void)snprintf(lot, sizeof lot, "LOT-%02d", unit % 7);
        const struct visit visit = {.serial = serial,
                                    .type = unit % 3 ? "linear-single-acting" : "part-turn-double-acting",
                                    .state = found ? "as found" : "as left",
                                    .issued = issued,
                                    .customer = customers[unit % 4],
                                    .lot = lot,
                                    .supplier = suppliers[unit % 7 % 2],
                                    .cause = bad ? causes[draw % 3] : NULL,
                                    .leak = bad ? 3.5 + draw % 30 / 10.0
                                                : 0.6 + draw % 40 / 100.0 + (day > 270 ? 0.25 : 0),
                                    .U = 0.15};
        if (visits_issue(v, &visit, number) != ES_OK) {
            abort();
        }
    }
    if (es_store_seal(v->store, v->key, NULL, "2026-12-31T10:00:00.000Z", NULL) != ES_OK) {
        abort();
    }
}

struct pausing {
    long calls, begins, at;
};

static enum es_status pause_at(void *self, enum es_statement statement, struct es_error *err)
{
    struct pausing *p = self;
    char line[8];
    p->calls++;
    p->begins += statement == ES_SQL_BEGIN;
    if (p->calls == p->at || (statement == ES_SQL_BEGIN && p->begins == -p->at)) {
        puts("paused");
        (void)fflush(stdout);
        if (!fgets(line, sizeof line, stdin)) {
            return es_fail(err, ES_CANCELLED, "nobody answered");
        }
    }
    return ES_OK;
}

static int send_paused(const char *folder, const char *address, long at)
{
    struct es_store *store = NULL;
    struct es_archive *archive = NULL;
    struct es_outbox_report report = {0};
    struct es_error err = {0};
    struct pausing p = {.at = at};
    enum es_status st = es_store_open(folder, ES_STORE_READ, &store, &err);
    if (st == ES_OK) {
        st = es_archive_open(address, ES_ARCHIVE_WRITE, &archive, &err);
    }
    if (st == ES_OK) {
        archive->db.before = pause_at;
        archive->db.before_self = &p;
        st = es_outbox_send(store, archive, NULL, NULL, &report, &err);
    }
    printf("%s %d statements %ld\n", es_status_word(st), (int)report.fresh, p.calls);
    es_archive_close(archive);
    es_store_close(store);
    return es_exit_status(st);
}

int main(int argc, char **argv)
{
    struct visits v;
    if (argc == 4 && strcmp(argv[1], "make") == 0) {
        char pem[ES_PUBLIC_KEY_TEXT_MAX];
        visits_open(&v);
        add(&v, (int)strtol(argv[2], NULL, 10), (int)strtol(argv[3], NULL, 10));
        es_public_key_pem(&v.trusted.key, pem);
        visits_write(&v, "keys/bench.pub.pem", pem, strlen(pem));
        puts(v.folder);
    } else if (argc == 3 && strcmp(argv[1], "year") == 0) {
        char pem[ES_PUBLIC_KEY_TEXT_MAX];
        visits_open(&v);
        add_year(&v, (int)strtol(argv[2], NULL, 10));
        es_public_key_pem(&v.trusted.key, pem);
        visits_write(&v, "keys/bench.pub.pem", pem, strlen(pem));
        puts(v.folder);
    } else if (argc == 5 && strcmp(argv[1], "send") == 0) {
        return send_paused(argv[2], argv[3], strtol(argv[4], NULL, 10));
    } else {
        return 2;
    }
    es_key_free(v.key);
    es_store_close(v.store);
    return 0;
}
