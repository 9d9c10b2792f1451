/* What the scripts of this folder ask of the certificate library. Not installed.
 *   make FOLDER      sample certificates signed by fresh keys, keys beside them
 *   canonical        standard input in canonical form
 *   verify PUB FILE  the finding; exit status of a command
 *   sheet FILE       reads a type sheet */
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "procedures/judgement/judge.h"
#include "procedures/judgement/type_sheet.h"
#include "results/certificate/canonical.h"
#include "rig/base/file.h"
#include "tests/unit/certificate/sample.h"

static struct es_error err;

static void must(enum es_status st)
{
    if (st != ES_OK) {
        (void)fprintf(stderr, "certificate_probe: %s\n", err.text);
        exit(es_exit_status(st));
    }
}

static void put(const char *folder, const char *name, const char *bytes, size_t length)
{
    char path[512];
    (void)snprintf(path, sizeof path, "%s/%s", folder, name);
    must(es_file_write(NULL, path, ES_FILE_REPLACE, 0644, bytes, length, &err));
}

static void put_public(const char *folder, const char *name, const struct es_key *key)
{
    char text[ES_PUBLIC_KEY_TEXT_MAX];
    char file[64];
    es_public_key_pem(es_key_public(key), text);
    (void)snprintf(file, sizeof file, "%s.pub.pem", name);
    put(folder, file, text, strlen(text));
    es_public_key_jwk(es_key_public(key), text);
    (void)snprintf(file, sizeof file, "%s.pub.jwk", name);
    put(folder, file, text, strlen(text));
}

/* Non-binary lines with all five verdicts. */
static void judge_again(struct es_outcome *o)
{
    static const double values[] = {1.0, 2.95, 3.05, 9.0};
    for (size_t i = 0; i < o->line_count && i < 5; i++) {
        struct es_line *old = &o->lines[i];
        struct es_limit limit;
        struct es_line line;
        must(es_limit_copy(&old->limit, &limit, &err));
        limit.rule = ES_RULE_NON_BINARY;
        struct es_measured m = old->value;
        m.valid = i < 4;
        if (i < 4) {
            m.value = es_from_unit(values[i], limit.unit);
            if (i == 0) { /* as Monte Carlo would leave it */
                m.spread =
                    (struct es_spread){.trials = 60000, .low = m.value - m.U / 2, .high = m.value + m.U};
                for (size_t k = 0; k < ES_SPREAD_POINTS; k++)
                    m.spread.at[k] = m.value + m.u * ((double)k - 20) / 8;
            }
            limit.prior = (struct es_prior){ES_PRIOR_NORMAL, m.value, m.u + fabs(m.value)};
        }
        (void)snprintf(m.reason, sizeof m.reason, "%s", i < 4 ? "" : "too few samples");
        must(es_judge_line("relay-leak", old->measurand, &m, &limit, &line, &err));
        es_limit_clear(&limit);
        es_line_clear(old);
        *old = line;
    }
    o->verdict = es_judge_overall(o->lines, o->line_count);
}

static void make_one(const char *folder, const char *name, const struct es_outcome *o, bool virtual_bench,
                     const struct es_key *key, const struct es_key *second)
{
    struct es_certificate_meta meta = sample_meta(key);
    char *payload = NULL;
    char *file = NULL;
    char *both = NULL;
    size_t length = 0;
    meta.virtual_bench = virtual_bench;
    must(es_certificate_build(o, &meta, &payload, &length, &err));
    must(
        es_certificate_sign(payload, length, key, "bench", "2026-02-03T10:05:01.500Z", &file, &length, &err));
    if (second) {
        must(sample_release(file, length, second, "2026-02-04T08:00:00Z", &both, &length, &err));
    }
    put(folder, name, both ? both : file, length);
    free(both);
    free(file);
    free(payload);
}

static int make(const char *folder)
{
    struct es_key *key = NULL;
    struct es_key *person = NULL;
    struct es_outcome o;
    char path[512];
    must(es_key_create(&key, &err));
    must(es_key_create(&person, &err));
    (void)snprintf(path, sizeof path, "%s/bench.pem", folder);
    must(es_key_save(key, path, &err));
    put_public(folder, "bench", key);
    put_public(folder, "person", person);
    sample_outcome(&o, 5, 400);
    make_one(folder, "good.json", &o, false, key, NULL);
    make_one(folder, "virtual.json", &o, true, key, NULL);
    make_one(folder, "released.json", &o, false, key, person);
    judge_again(&o);
    make_one(folder, "failing.json", &o, false, key, NULL);
    o.completed = false;
    o.ended_because = strdup("the guard was opened");
    o.safe_state_time = 0.4;
    make_one(folder, "record.json", &o, false, key, NULL);
    es_outcome_free(&o);
    es_outcome_init(&o);
    o.run = strdup("r1");
    o.began = strdup("2026-02-03T10:00:00Z");
    o.ended_because = strdup("killed");
    make_one(folder, "bare-record.json", &o, false, key, NULL);
    es_outcome_free(&o);
    sample_outcome(&o, 45, 5000);
    make_one(folder, "long.json", &o, false, key, NULL);
    es_outcome_free(&o);
    es_key_free(person);
    es_key_free(key);
    return 0;
}

static int canonical(void)
{
    struct es_findings findings = {0};
    struct es_document *doc = NULL;
    char *out = NULL;
    size_t length = 0;
    must(es_document_load("-", &findings, &doc, &err));
    must(es_canonical_write(es_document_root(doc), &out, &length, &err));
    (void)fwrite(out, 1, length, stdout);
    free(out);
    es_document_free(doc);
    es_findings_free(&findings);
    return 0;
}

static int verify(const char *pub, const char *path)
{
    struct es_trusted_key trusted = {0};
    struct es_certificate_report report;
    char *bytes = NULL;
    size_t length = 0;
    must(es_public_key_load(pub, &trusted.key, &err));
    must(es_file_read(NULL, path, ES_DOCUMENT_MAX, &bytes, &length, &err));
    must(es_certificate_verify(path, bytes, length, &trusted, 1, &report, &err));
    (void)printf("%s: %s\n", es_certificate_finding_word(report.finding), report.text);
    int status = es_exit_status(es_certificate_status(&report, &err));
    free(bytes);
    return status;
}

static int sheet(const char *path)
{
    struct es_findings findings = {0};
    struct es_type *type = NULL;
    enum es_status st = es_type_load(path, &findings, &type, &err);
    es_findings_print(&findings, stderr);
    es_findings_free(&findings);
    es_type_free(type);
    return es_exit_status(st);
}

int main(int argc, char **argv)
{
    if (argc == 3 && strcmp(argv[1], "make") == 0) {
        return make(argv[2]);
    }
    if (argc == 2 && strcmp(argv[1], "canonical") == 0) {
        return canonical();
    }
    if (argc == 4 && strcmp(argv[1], "verify") == 0) {
        return verify(argv[2], argv[3]);
    }
    if (argc == 3 && strcmp(argv[1], "sheet") == 0) {
        return sheet(argv[2]);
    }
    (void)fprintf(stderr,
                  "usage: certificate_probe make FOLDER | canonical | verify PUB FILE | sheet FILE\n");
    return 2;
}
