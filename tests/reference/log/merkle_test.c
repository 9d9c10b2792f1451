/* Published tree values. Sources: the certificate-transparency test vectors for RFC 6962 / RFC 9162 2.1
 * (leaves, roots of sizes 1 to 8, leaf and node hashes: read there); proofs marked "recomputed" were computed
 * from the definition by another program, since none is printed beside them. */
#include <criterion/criterion.h>
#include <string.h>

#include "results/log/merkle.h"
#include "rig/base/text.h"

static const char *const leaf_data[8] = {
    "", "00", "10", "2021", "3031", "40414243", "5051525354555657", "606162636465666768696a6b6c6d6e6f"};

static const char *const roots[8] = {"6e340b9cffb37a989ca544e6bb780a2c78901d3fb33738768511a30617afa01d",
                                     "fac54203e7cc696cf0dfcb42c92a1d9dbaf70ad9e621f4bd8d98662f00e3c125",
                                     "aeb6bcfe274b70a14fb067a5e5578264db0fa9b51af5e0ba159158f329e06e77",
                                     "d37ee418976dd95753c1c73862b9398fa2a2cf9b4ff0fdfe8b30cd95209614b7",
                                     "4e3bbb1f7b478dcfe71fb631631519a3bca12c9aefca1612bfce4c13a86264d4",
                                     "76e67dadbcdf1e10e1b74ddc608abd2f98dfb16fbce75277b5232a127f2087ef",
                                     "ddb89be403809e325750d3d263cd78929c2942b7942a34b77e122c9594a74c8c",
                                     "5dc9da79a70659a9ad559cb701ded9a2ab9d823aad2f4960cfe370eff4604328"};

static struct es_hash hash_of(const char *hex)
{
    struct es_hash hash;
    cr_assert_eq(es_hex_decode(hex, hash.bytes, sizeof hash.bytes, NULL), ES_OK);
    return hash;
}

static void expect_hash(const struct es_hash *got, const char *hex, const char *what)
{
    char text[ES_HASH_HEX];
    es_hex(got->bytes, sizeof got->bytes, text);
    cr_expect_str_eq(text, hex, "%s", what);
}

static void make_leaves(struct es_hash leaves[8])
{
    for (size_t i = 0; i < 8; i++) {
        unsigned char bytes[16];
        size_t n = strlen(leaf_data[i]) / 2;
        cr_assert_eq(es_hex_decode(leaf_data[i], bytes, n, NULL), ES_OK);
        es_merkle_leaf(bytes, n, &leaves[i]);
    }
}

Test(merkle_reference, empty_tree)
{
    struct es_hash root;
    es_merkle_root(NULL, 0, &root);
    expect_hash(&root, "e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855", "empty");
}

Test(merkle_reference, roots_of_sizes_1_to_8)
{
    struct es_hash leaves[8], root;
    struct es_merkle_frontier frontier = {.count = 0};
    make_leaves(leaves);
    for (size_t n = 1; n <= 8; n++) {
        es_merkle_root(leaves, n, &root);
        expect_hash(&root, roots[n - 1], "root");
        es_merkle_grow(&frontier, &leaves[n - 1]);
        es_merkle_frontier_root(&frontier, &root);
        expect_hash(&root, roots[n - 1], "growing root");
    }
}

Test(merkle_reference, single_leaf)
{
    struct es_hash hash;
    es_merkle_leaf("L123456", 7, &hash);
    expect_hash(&hash, "395aa064aa4c29f7010acfe3f25db9485bbd4b91897b6ad7ad547639252b4d56", "leaf");
}

/* recomputed */
static const char *const inclusion_5_of_8[3] = {
    "bc1a0643b12e4d2d7c77918f44e0f4f79a838b6cf9ec5b5c283e1f4d88599e6b",
    "ca854ea128ed050b41b35ffc1b87b8eb2bde461e9e3b5596ece6b9d5975a0ae0",
    "d37ee418976dd95753c1c73862b9398fa2a2cf9b4ff0fdfe8b30cd95209614b7"};
static const char *const consistency_2_to_5[2] = {
    "5f083f0a1a33ca076a95279832580db3e0ef4584bdff1f54c8a360f50de3031e",
    "bc1a0643b12e4d2d7c77918f44e0f4f79a838b6cf9ec5b5c283e1f4d88599e6b"};

Test(merkle_reference, inclusion_of_leaf_5_in_8)
{
    struct es_hash leaves[8];
    struct es_merkle_path path;
    make_leaves(leaves);
    es_merkle_inclusion(leaves, 8, 5, &path);
    cr_assert_eq(path.count, 3);
    for (size_t i = 0; i < 3; i++) {
        expect_hash(&path.items[i], inclusion_5_of_8[i], "path");
    }
    struct es_hash root = hash_of(roots[7]);
    cr_expect(es_merkle_includes(&leaves[5], 5, 8, &root, &path));
    cr_expect_not(es_merkle_includes(&leaves[5], 4, 8, &root, &path));
    cr_expect_not(es_merkle_includes(&leaves[4], 5, 8, &root, &path));
    cr_expect_not(es_merkle_includes(&leaves[5], 5, 16, &root, &path));
    cr_expect_not(es_merkle_includes(&leaves[5], 5, 5, &root, &path));
}

Test(merkle_reference, consistency_of_2_and_5)
{
    struct es_hash leaves[8];
    struct es_merkle_path path;
    make_leaves(leaves);
    es_merkle_consistency(leaves, 5, 2, &path);
    struct es_hash from = hash_of(roots[1]), to = hash_of(roots[4]);
    cr_expect(es_merkle_extends(2, &from, 5, &to, &path));
    struct es_merkle_path published = {.count = 2};
    for (size_t i = 0; i < 2; i++) {
        published.items[i] = hash_of(consistency_2_to_5[i]);
    }
    cr_assert_eq(path.count, published.count);
    cr_expect_eq(memcmp(path.items, published.items, 2 * sizeof path.items[0]), 0);
    cr_expect_not(es_merkle_extends(2, &to, 5, &to, &path));
    cr_expect_not(es_merkle_extends(3, &from, 5, &to, &path));
    cr_expect_not(es_merkle_extends(2, &from, 9, &to, &path));
    cr_expect_not(es_merkle_extends(0, &from, 5, &to, &path));
}
