/* Merkle tree hashing after RFC 9162 section 2.1 with SHA-256, and its proofs. Pure, thread-safe.
 * Sizes and indexes count leaves; at most 2^53. */
#ifndef ES_LOG_MERKLE_H
#define ES_LOG_MERKLE_H

#include <stddef.h>
#include <stdint.h>

#include "rig/base/error.h"

#define ES_HASH_SIZE       32
#define ES_HASH_HEX        65 /* with terminator */
#define ES_MERKLE_PATH_MAX 64
#define ES_MERKLE_SIZE_MAX ((uint64_t)1 << 53)

struct es_hash {
    unsigned char bytes[ES_HASH_SIZE];
};

/* An inclusion proof (from the leaf upwards) or a consistency proof, in the order of RFC 9162. */
struct es_merkle_path {
    struct es_hash items[ES_MERKLE_PATH_MAX];
    size_t count;
};

void es_merkle_leaf(const void *data, size_t length, struct es_hash *out); /* SHA-256(0x00 || data) */
void es_merkle_node(const struct es_hash *left, const struct es_hash *right, struct es_hash *out);
bool es_hash_equal(const struct es_hash *a, const struct es_hash *b);

/* MTH(D[n]) of 2.1.1; count 0: SHA-256 of nothing. */
void es_merkle_root(const struct es_hash *leaves, uint64_t count, struct es_hash *out);

/* A growing tree: the roots of its perfect subtrees, largest first. Starts zeroed. */
struct es_merkle_frontier {
    struct es_hash items[ES_MERKLE_PATH_MAX];
    size_t count;  /* of items */
    uint64_t size; /* of leaves */
};
void es_merkle_grow(struct es_merkle_frontier *f, const struct es_hash *leaf);
void es_merkle_frontier_root(const struct es_merkle_frontier *f, struct es_hash *out);

/* PATH(index, D[count]) of 2.1.3.1; index < count. */
void es_merkle_inclusion(const struct es_hash *leaves, uint64_t count, uint64_t index,
                         struct es_merkle_path *out);
/* PROOF(from, D[count]) of 2.1.4.1; 0 < from <= count. */
void es_merkle_consistency(const struct es_hash *leaves, uint64_t count, uint64_t from,
                           struct es_merkle_path *out);

/* 2.1.3.2: does `leaf` stand at `index` in the tree of that size and root? */
bool es_merkle_includes(const struct es_hash *leaf, uint64_t index, uint64_t size, const struct es_hash *root,
                        const struct es_merkle_path *path);
/* 2.1.4.2: does the later tree begin with all of the earlier one? Equal sizes take an empty path and equal
 * roots; `from_size` 0 is refused (nothing is said about an empty tree). */
bool es_merkle_extends(uint64_t from_size, const struct es_hash *from_root, uint64_t to_size,
                       const struct es_hash *to_root, const struct es_merkle_path *path);

#endif
