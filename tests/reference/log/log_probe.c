/* Prints what the second implementation (tree_check.py) compares: roots, and every proof of trees up to a
 * size. With a folder it also leaves a log of five leaves, its public key, a proof and a proof of growth
 * there. */
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "results/log/log.h"
#include "rig/base/text.h"

#define MOST 33

static void print_path(const char *what, uint64_t a, uint64_t b, const struct es_merkle_path *path)
{
    printf("%s %llu %llu", what, (unsigned long long)a, (unsigned long long)b);
    for (size_t i = 0; i < path->count; i++) {
        char hex[ES_HASH_HEX];
        es_hex(path->items[i].bytes, ES_HASH_SIZE, hex);
        printf(" %s", hex);
    }
    putchar('\n');
}

static void print_trees(void)
{
    struct es_hash leaves[MOST], root;
    struct es_merkle_path path;
    for (uint64_t n = 0; n <= MOST; n++) {
        char hex[ES_HASH_HEX];
        es_merkle_root(leaves, n, &root);
        es_hex(root.bytes, ES_HASH_SIZE, hex);
        printf("root %llu 0 %s\n", (unsigned long long)n, hex);
        for (uint64_t i = 0; i < n; i++) {
            es_merkle_inclusion(leaves, n, i, &path);
            print_path("inclusion", i, n, &path);
            es_merkle_consistency(leaves, n, i + 1, &path);
            print_path("consistency", i + 1, n, &path);
        }
        if (n < MOST) {
            char data[32];
            int length = snprintf(data, sizeof data, "leaf %llu", (unsigned long long)n);
            es_merkle_leaf(data, (size_t)length, &leaves[n]);
        }
    }
}

static int write_file(const char *folder, const char *name, const char *text)
{
    char path[512];
    (void)snprintf(path, sizeof path, "%s/%s", folder, name);
    return es_file_write(NULL, path, ES_FILE_REPLACE, 0640, text, strlen(text), NULL) != ES_OK;
}

static int leave_log(const char *folder)
{
    static const unsigned char seed[32] = {1, 2, 3};
    struct es_key *key = NULL;
    struct es_log *log = NULL;
    struct es_log_proof proof;
    struct es_log_growth growth;
    char path[512], kept[ES_LOG_HEAD_MAX] = "", pem[ES_PUBLIC_KEY_TEXT_MAX];
    char *text = NULL;
    (void)snprintf(path, sizeof path, "%s/log", folder);
    if (es_key_from_seed(seed, &key, NULL) != ES_OK || es_log_open(NULL, path, &log, NULL) != ES_OK) {
        return 1;
    }
    for (int i = 0; i < 5; i++) {
        struct es_hash hash;
        char data[32], number[32];
        int length = snprintf(data, sizeof data, "leaf %d", i);
        (void)snprintf(number, sizeof number, "EX-%06d", i + 1);
        es_merkle_leaf(data, (size_t)length, &hash);
        if (es_log_append(log, &hash, number, "2026-02-03T10:00:00Z", key, "2026-02-03T10:00:01Z", &proof,
                          NULL) != ES_OK) {
            return 1;
        }
        es_log_proof_clear(&proof);
        if (i == 1) {
            (void)snprintf(kept, sizeof kept, "%s", es_log_head(log));
        }
    }
    es_public_key_pem(es_key_public(key), pem);
    int bad = write_file(folder, "key.pem", pem);
    bad |= es_log_prove(log, 3, &proof, NULL) != ES_OK || es_log_proof_write(&proof, &text, NULL) != ES_OK ||
           write_file(folder, "proof.json", text);
    free(text);
    text = NULL;
    bad |= es_log_prove_growth(log, kept, &growth, NULL) != ES_OK ||
           es_log_growth_write(&growth, &text, NULL) != ES_OK || write_file(folder, "growth.json", text);
    free(text);
    es_log_proof_clear(&proof);
    es_log_growth_clear(&growth);
    es_log_close(log);
    es_key_free(key);
    return bad;
}

int main(int argc, char **argv)
{
    if (argc == 2) {
        return leave_log(argv[1]);
    }
    print_trees();
    return 0;
}
