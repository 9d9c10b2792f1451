#include "results/log/merkle.h"

#include <sodium.h>
#include <string.h>

static const unsigned char leaf_mark = 0;
static const unsigned char node_mark = 1;

void es_merkle_leaf(const void *data, size_t length, struct es_hash *out)
{
    crypto_hash_sha256_state state;
    (void)crypto_hash_sha256_init(&state);
    (void)crypto_hash_sha256_update(&state, &leaf_mark, 1);
    (void)crypto_hash_sha256_update(&state, data, length);
    (void)crypto_hash_sha256_final(&state, out->bytes);
}

void es_merkle_node(const struct es_hash *left, const struct es_hash *right, struct es_hash *out)
{
    unsigned char bytes[1 + 2 * ES_HASH_SIZE];
    bytes[0] = node_mark;
    memcpy(bytes + 1, left->bytes, ES_HASH_SIZE);
    memcpy(bytes + 1 + ES_HASH_SIZE, right->bytes, ES_HASH_SIZE);
    (void)crypto_hash_sha256(out->bytes, bytes, sizeof bytes);
}

bool es_hash_equal(const struct es_hash *a, const struct es_hash *b)
{
    return memcmp(a->bytes, b->bytes, ES_HASH_SIZE) == 0;
}

/* Largest power of two below n; n > 1. */
static uint64_t split(uint64_t n)
{
    uint64_t k = 1;
    while (k << 1 < n) {
        k <<= 1;
    }
    return k;
}

void es_merkle_grow(struct es_merkle_frontier *f, const struct es_hash *leaf)
{
    f->items[f->count++] = *leaf;
    for (uint64_t n = f->size; n & 1; n >>= 1) { /* two of one size become one of twice that */
        f->count--;
        es_merkle_node(&f->items[f->count - 1], &f->items[f->count], &f->items[f->count - 1]);
    }
    f->size++;
}

void es_merkle_frontier_root(const struct es_merkle_frontier *f, struct es_hash *out)
{
    if (f->count == 0) {
        (void)crypto_hash_sha256(out->bytes, NULL, 0);
        return;
    }
    *out = f->items[f->count - 1];
    for (size_t i = f->count - 1; i > 0; i--) {
        es_merkle_node(&f->items[i - 1], out, out);
    }
}

void es_merkle_root(const struct es_hash *leaves, uint64_t count, struct es_hash *out)
{
    struct es_merkle_frontier f = {.count = 0};
    for (uint64_t i = 0; i < count; i++) {
        es_merkle_grow(&f, &leaves[i]);
    }
    es_merkle_frontier_root(&f, out);
}

static void add(struct es_merkle_path *path, const struct es_hash *leaves, uint64_t count)
{
    if (path->count < ES_MERKLE_PATH_MAX) {
        es_merkle_root(leaves, count, &path->items[path->count++]);
    }
}

static void turn_round(struct es_merkle_path *path)
{
    for (size_t i = 0, k = path->count; i + 1 < k; i++) {
        struct es_hash kept = path->items[i];
        path->items[i] = path->items[--k];
        path->items[k] = kept;
    }
}

/* The recursion of the RFC as a loop: it walks down, the proof is read upwards. */
void es_merkle_inclusion(const struct es_hash *leaves, uint64_t count, uint64_t index,
                         struct es_merkle_path *out)
{
    out->count = 0;
    while (count > 1) {
        uint64_t k = split(count);
        if (index < k) {
            add(out, leaves + k, count - k);
            count = k;
        } else {
            add(out, leaves, k);
            leaves += k;
            index -= k;
            count -= k;
        }
    }
    turn_round(out);
}

void es_merkle_consistency(const struct es_hash *leaves, uint64_t count, uint64_t from,
                           struct es_merkle_path *out)
{
    bool whole = true; /* the earlier tree's root is what the checker has: it need not be told */
    out->count = 0;
    while (from != count) {
        uint64_t k = split(count);
        if (from <= k) {
            add(out, leaves + k, count - k);
            count = k;
        } else {
            add(out, leaves, k);
            leaves += k;
            from -= k;
            count -= k;
            whole = false;
        }
    }
    if (!whole) {
        add(out, leaves, count);
    }
    turn_round(out);
}

bool es_merkle_includes(const struct es_hash *leaf, uint64_t index, uint64_t size, const struct es_hash *root,
                        const struct es_merkle_path *path)
{
    if (index >= size) {
        return false;
    }
    uint64_t fn = index;
    uint64_t sn = size - 1;
    struct es_hash r = *leaf;
    for (size_t i = 0; i < path->count; i++) {
        if (sn == 0) {
            return false;
        }
        if ((fn & 1) || fn == sn) {
            es_merkle_node(&path->items[i], &r, &r);
            while (!(fn & 1) && fn != 0) {
                fn >>= 1;
                sn >>= 1;
            }
        } else {
            es_merkle_node(&r, &path->items[i], &r);
        }
        fn >>= 1;
        sn >>= 1;
    }
    return sn == 0 && es_hash_equal(&r, root);
}

bool es_merkle_extends(uint64_t from_size, const struct es_hash *from_root, uint64_t to_size,
                       const struct es_hash *to_root, const struct es_merkle_path *path)
{
    if (from_size == 0 || from_size > to_size) {
        return false;
    }
    if (from_size == to_size) {
        return path->count == 0 && es_hash_equal(from_root, to_root);
    }
    bool power = (from_size & (from_size - 1)) == 0;
    if (path->count == 0 && !power) {
        return false;
    }
    size_t next = power ? 0 : 1;
    struct es_hash fr = power ? *from_root : path->items[0];
    struct es_hash sr = fr;
    uint64_t fn = from_size - 1;
    uint64_t sn = to_size - 1;
    while (fn & 1) {
        fn >>= 1;
        sn >>= 1;
    }
    for (; next < path->count; next++) {
        const struct es_hash *c = &path->items[next];
        if (sn == 0) {
            return false;
        }
        if ((fn & 1) || fn == sn) {
            es_merkle_node(c, &fr, &fr);
            es_merkle_node(c, &sr, &sr);
            while (!(fn & 1) && fn != 0) {
                fn >>= 1;
                sn >>= 1;
            }
        } else {
            es_merkle_node(&sr, c, &sr);
        }
        fn >>= 1;
        sn >>= 1;
    }
    return sn == 0 && es_hash_equal(&fr, from_root) && es_hash_equal(&sr, to_root);
}
