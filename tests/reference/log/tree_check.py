"""The log's trees and proofs against a second implementation (RFC 9162 by recursion and hashlib, jwcrypto for heads)."""
import copy
import json
import os
import pathlib
import subprocess
import sys
import tempfile
import unittest

sys.path.insert(0, os.path.dirname(os.path.abspath(__file__)))
import check_proof as second

from jwcrypto import jwk

PROBE = os.environ["ES_LOG_PROBE"]
LEAVES = [second.leaf_hash(b"leaf %d" % i) for i in range(64)]


def root(leaves):
    if not leaves:
        return second.hashlib.sha256(b"").digest()
    if len(leaves) == 1:
        return leaves[0]
    k = 1
    while k * 2 < len(leaves):
        k *= 2
    return second.node_hash(root(leaves[:k]), root(leaves[k:]))


class Trees(unittest.TestCase):
    def test_all_roots_and_proofs(self):
        counts = {"root": 0, "inclusion": 0, "consistency": 0}
        for line in subprocess.run([PROBE], stdout=subprocess.PIPE, check=True, text=True).stdout.splitlines():
            kind, a, b, *rest = line.split()
            a, b, path = int(a), int(b), [bytes.fromhex(h) for h in rest]
            counts[kind] += 1
            if kind == "root":
                self.assertEqual(path, [root(LEAVES[:a])], a)
            elif kind == "inclusion":
                self.assertEqual(second.root_from_inclusion(LEAVES[a], a, b, path), root(LEAVES[:b]), (a, b))
            else:
                early, late = root(LEAVES[:a]), root(LEAVES[:b])
                self.assertEqual(second.roots_from_consistency(a, b, path, early), (early, late), (a, b))
        self.assertEqual(counts, {"root": 34, "inclusion": 33 * 34 // 2, "consistency": 33 * 34 // 2})


class Documents(unittest.TestCase):
    def setUp(self):
        self.folder = tempfile.TemporaryDirectory(prefix="endstop-test-")
        subprocess.run([PROBE, self.folder.name], check=True)
        here = pathlib.Path(self.folder.name)
        self.key = jwk.JWK.from_pem((here / "key.pem").read_bytes())
        self.proof = json.loads((here / "proof.json").read_text())
        self.growth = json.loads((here / "growth.json").read_text())

    def tearDown(self):
        self.folder.cleanup()

    def test_a_stranger_accepts_the_proof(self):
        self.assertEqual(second.check_inclusion(self.key, self.proof, b"leaf 3"),
                         "EX-000004 is leaf 3 of the log of 5 signed at 2026-02-03T10:00:01Z")

    def test_a_stranger_accepts_the_growth(self):
        self.assertIn("begins with all 2", second.check_growth(self.key, self.growth))

    def test_a_stranger_refuses_what_is_not_so(self):
        with self.assertRaises(second.Wrong):
            second.check_inclusion(self.key, self.proof, b"leaf 2")
        for member, value in (("index", 2), ("index", 5), ("path", self.proof["path"][:-1]),
                              ("path", self.proof["path"][::-1])):
            bad = dict(self.proof, **{member: value})
            with self.assertRaises(second.Wrong):
                second.check_inclusion(self.key, bad, b"leaf 3")
        bad = copy.deepcopy(self.growth)
        bad["from"], bad["to"] = bad["to"], bad["from"]
        with self.assertRaises(second.Wrong):
            second.check_growth(self.key, bad)
        with self.assertRaises(second.jws.InvalidJWSSignature):
            second.check_growth(jwk.JWK.generate(kty="OKP", crv="Ed25519"), self.growth)


if __name__ == "__main__":
    unittest.main()
