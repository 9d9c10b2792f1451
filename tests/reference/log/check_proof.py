#!/usr/bin/python3
"""Checks proofs of the log of certificates with nothing of Endstop: RFC 9162 by hashlib, signatures by jwcrypto.

  check_proof.py PUBLIC-KEY.pem PROOF.json CERTIFICATE.json    the certificate stands in the log
  check_proof.py PUBLIC-KEY.pem GROWTH.json                    the log only grew between two signed heads

Exit status 0: it does; 1: it does not. docs/log.md tells the same in words.
"""
import hashlib
import json
import pathlib
import sys

from jwcrypto import jwk, jws


class Wrong(Exception):
    pass


def leaf_hash(data):
    return hashlib.sha256(b"\x00" + data).digest()


def node_hash(left, right):
    return hashlib.sha256(b"\x01" + left + right).digest()


def root_from_inclusion(leaf, index, size, path):
    """The recursion of RFC 9162 2.1.3.1 read backwards, not the loop of 2.1.3.2."""
    if not 0 <= index < size:
        raise Wrong("no such leaf")
    if size == 1:
        if path:
            raise Wrong("the path is too long")
        return leaf
    if not path:
        raise Wrong("the path is too short")
    k = 1
    while k * 2 < size:
        k *= 2
    if index < k:
        return node_hash(root_from_inclusion(leaf, index, k, path[:-1]), path[-1])
    return node_hash(path[-1], root_from_inclusion(leaf, index - k, size - k, path[:-1]))


def roots_from_consistency(first, size, path, known):
    """(root of the first `first` leaves, root of all `size`); `known` is the earlier root where the proof leaves it out."""
    if first == size:
        if known is not None:
            if path:
                raise Wrong("the path is too long")
            return known, known
        if len(path) != 1:
            raise Wrong("the path has the wrong length")
        return path[0], path[0]
    if not path:
        raise Wrong("the path is too short")
    k = 1
    while k * 2 < size:
        k *= 2
    if first <= k:
        early, late = roots_from_consistency(first, k, path[:-1], known)
        return early, node_hash(late, path[-1])
    early, late = roots_from_consistency(first - k, size - k, path[:-1], None)
    return node_hash(path[-1], early), node_hash(path[-1], late)


def head_of(text, key):
    token = jws.JWS()
    token.deserialize(text)
    token.verify(key)  # raises when it does not hold
    if token.jose_header.get("alg") != "EdDSA" or token.jose_header.get("typ") != "endstop-log-head":
        raise Wrong("this is no head of a log")
    return json.loads(token.payload)


def check_inclusion(key, proof, certificate):
    leaf = leaf_hash(certificate)
    if leaf.hex() != proof["leaf"]:
        raise Wrong("the proof belongs to another certificate")
    head = head_of(proof["head"], key)
    path = [bytes.fromhex(h) for h in proof["path"]]
    if root_from_inclusion(leaf, proof["index"], head["size"], path).hex() != head["root"]:
        raise Wrong("the path does not lead to the signed root")
    return f"{proof['number']} is leaf {proof['index']} of the log of {head['size']} signed at {head['time']}"


def check_growth(key, growth):
    early, late = head_of(growth["from"], key), head_of(growth["to"], key)
    path = [bytes.fromhex(h) for h in growth["path"]]
    if early["log"] != late["log"] or not 0 < early["size"] <= late["size"]:
        raise Wrong("these heads are not of one growing log")
    roots = roots_from_consistency(early["size"], late["size"], path, bytes.fromhex(early["root"]))
    if [r.hex() for r in roots] != [early["root"], late["root"]]:
        raise Wrong("the later log does not begin with the earlier one")
    return f"the log of {late['size']} begins with all {early['size']} of the earlier one"


def main(arguments):
    if len(arguments) not in (2, 3):
        sys.exit(__doc__)
    try:
        key = jwk.JWK.from_pem(pathlib.Path(arguments[0]).read_bytes())
        document = json.loads(pathlib.Path(arguments[1]).read_text())
        if document["endstop"] == "log-proof/1" and len(arguments) == 3:
            print(check_inclusion(key, document, pathlib.Path(arguments[2]).read_bytes()))
        elif document["endstop"] == "log-growth/1" and len(arguments) == 2:
            print(check_growth(key, document))
        else:
            raise Wrong("this is neither a proof with its certificate nor a proof of growth")
    except (Wrong, jws.InvalidJWSSignature, ValueError, KeyError) as reason:
        print(f"does NOT hold: {reason}")
        return 1
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
