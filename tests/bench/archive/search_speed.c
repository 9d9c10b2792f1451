/* Searching an archive for a serial number with four certificates, at ten thousand certificates and at a
 * million. Usage: search_speed [MOST]   rows are synthetic (short files: the search does not read them);
 * MOST: 1000000. Aims: below 5 ms, and at a million at most twice the time at ten thousand. */
#include <sqlite3.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "results/archive/questions.h"
#include "rig/base/clock.h"

#define SEARCHES 500

static int grow(const char *place, long from, long to)
{
    sqlite3 *db = NULL;
    char sql[1024];
    (void)snprintf(
        sql, sizeof sql,
        "PRAGMA synchronous = OFF; WITH RECURSIVE n(i) AS (SELECT %ld UNION ALL SELECT i + 1 FROM n WHERE i "
        "< "
        "%ld) INSERT INTO certificates (content, digest, signatures, bench, number, kind, issued, serial, "
        "type, plan, state, verdict, customer, run, file) SELECT 'c' || i, 'd' || i, 1, 'b', 'EX-' || i, "
        "'certificate', '2026-01-01T00:00:00Z', CASE WHEN i <= 10000 THEN 'S' || (i %% 2500) ELSE 'T' || (i "
        "/ 4) END, 't', 'p', 'as found', 'pass', "
        "'c', 'r' || i, zeroblob(2000) FROM n",
        from + 1, to);
    int code = sqlite3_open(place, &db);
    code = code == SQLITE_OK ? sqlite3_exec(db, sql, NULL, NULL, NULL) : code;
    (void)sqlite3_close(db);
    return code;
}

static int by_size(const void *a, const void *b)
{
    double x = *(const double *)a, y = *(const double *)b;
    return (x > y) - (x < y);
}

/* Median of many searches, s; *worst too. */
static double search(struct es_archive *a, double *worst)
{
    double times[SEARCHES];
    for (int i = 0; i < SEARCHES; i++) {
        char serial[32];
        struct es_answer answer;
        (void)snprintf(serial, sizeof serial, "S%d", i * 499 % 2500);
        const struct es_question q = {.kind = ES_ASK_FIND, .serial = serial};
        es_time start = es_clock_now();
        if (es_question_ask(a, &q, &answer, NULL) != ES_OK) {
            exit(3);
        }
        times[i] = es_seconds(es_clock_now() - start);
        es_answer_free(&answer);
    }
    qsort(times, SEARCHES, sizeof times[0], by_size);
    *worst = times[SEARCHES - 1];
    return times[SEARCHES / 2];
}

int main(int argc, char **argv)
{
    long most = argc > 1 ? strtol(argv[1], NULL, 10) : 1000000;
    char folder[] = "/tmp/es-search-XXXXXX", place[64], command[64];
    struct es_archive *a = NULL;
    double worst_small = 0, worst = 0;
    if (!mkdtemp(folder)) {
        return 3;
    }
    (void)snprintf(place, sizeof place, "%s/archive.db", folder);
    if (es_archive_open(place, ES_ARCHIVE_WRITE, &a, NULL) != ES_OK || grow(place, 0, 10000) != SQLITE_OK) {
        return 3;
    }
    double small = search(a, &worst_small);
    if (grow(place, 10000, most) != SQLITE_OK) {
        return 3;
    }
    double large = search(a, &worst);
    printf("search by serial number, median of %d (worst): %.3f ms (%.3f) among 10000, %.3f ms (%.3f) among "
           "%ld; ratio "
           "%.2f (aims: 5 ms, 2)\n",
           SEARCHES, small * 1e3, worst_small * 1e3, large * 1e3, worst * 1e3, most, large / small);
    es_archive_close(a);
    (void)snprintf(command, sizeof command, "rm -rf %s", folder);
    return system(command) != 0 || large > 0.005 || large > 2 * small;
}
