#include "tests/unit/log/log_help.h"

#include <criterion/criterion.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

char log_folder[64];
char log_path[80];
static struct es_key *key;

void log_setup(void)
{
    static const unsigned char seed[32] = {7};
    strcpy(log_folder, "/tmp/es-log-XXXXXX");
    cr_assert_not_null(mkdtemp(log_folder));
    (void)snprintf(log_path, sizeof log_path, "%s/log", log_folder);
    cr_assert_eq(es_key_from_seed(seed, &key, NULL), ES_OK);
}

void log_teardown(void)
{
    char command[128];
    (void)snprintf(command, sizeof command, "rm -rf %s", log_folder);
    cr_assert_eq(system(command), 0);
    es_key_free(key);
    key = NULL;
}

struct es_key *log_key(void)
{
    return key;
}

struct es_trusted_key log_trust(void)
{
    return (struct es_trusted_key){.key = *es_key_public(key), .name = "bench"};
}

void log_leaf(int i, struct es_hash *hash, char number[32], char issued[32])
{
    char data[32];
    int n = snprintf(data, sizeof data, "leaf %d", i);
    es_merkle_leaf(data, (size_t)n, hash);
    (void)snprintf(number, 32, "EX-%06d", i + 1);
    (void)snprintf(issued, 32, "2026-02-03T10:%02d:00Z", i % 60);
}

enum es_status log_add(struct es_log *log, int i, struct es_error *err)
{
    struct es_hash hash;
    char number[32], issued[32];
    struct es_log_proof proof;
    log_leaf(i, &hash, number, issued);
    enum es_status st = es_log_append(log, &hash, number, issued, key, issued, &proof, err);
    if (st == ES_OK) {
        struct es_log_head head;
        struct es_trusted_key trusted = log_trust();
        char data[32];
        int n = snprintf(data, sizeof data, "leaf %d", i);
        cr_expect_eq(es_log_proof_check(&proof, data, (size_t)n, &trusted, 1, &head, NULL), ES_OK);
        cr_expect_eq(head.size, (uint64_t)i + 1);
        es_log_proof_clear(&proof);
    }
    return st;
}

struct es_log *log_fill(int count)
{
    struct es_log *log = NULL;
    struct es_error err = {0};
    cr_assert_eq(es_log_open(NULL, log_path, &log, &err), ES_OK, "%s", err.text);
    for (int i = (int)es_log_size(log); i < count; i++) {
        cr_assert_eq(log_add(log, i, &err), ES_OK, "%s", err.text);
    }
    return log;
}

char *log_text(size_t *length)
{
    char *text = NULL;
    cr_assert_eq(es_file_read(NULL, log_path, 1 << 24, &text, length, NULL), ES_OK);
    return text;
}

void log_put(const char *text, size_t length)
{
    cr_assert_eq(es_file_write(NULL, log_path, ES_FILE_REPLACE, 0640, text, length, NULL), ES_OK);
}
