"""Checks a certificate with a JOSE library (jwcrypto), and leaves what openssl needs in a folder.

Use: check-certificate.py CERTIFICATE.json PUBLIC-KEY.pem FOLDER
No part of Endstop is used. See docs/certificate.md for the format.
"""
import base64
import json
import pathlib
import re
import sys

from jwcrypto import jwk, jws


def b64(data):
    return base64.urlsafe_b64encode(data).rstrip(b"=").decode()


def unb64(text):
    return base64.urlsafe_b64decode(text + "=" * (-len(text) % 4))


def main(certificate, public_key, folder):
    text = pathlib.Path(certificate).read_text(encoding="utf-8")
    document = json.loads(text)
    signatures = document.pop("signatures")
    payload = re.sub(r'"signatures":\[[^]]*\],', "", text, count=1)
    if json.loads(payload) != document:
        sys.exit(f"jwcrypto: {certificate}: the payload could not be taken out of the file")

    key = jwk.JWK.from_pem(pathlib.Path(public_key).read_bytes())
    for entry in signatures:
        header, _, signature = entry["jws"].split(".")
        if entry["key"]["kid"] != key.thumbprint():
            continue
        token = jws.JWS()
        token.deserialize(f"{header}.{b64(payload.encode())}.{signature}")
        token.verify(key)  # raises when it does not hold
        folder = pathlib.Path(folder)
        (folder / "signing-input").write_bytes(f"{header}.{b64(payload.encode())}".encode())
        (folder / "signature").write_bytes(unb64(signature))
        print(f"jwcrypto: signature holds over {document['number']}, signed as {token.jose_header['role']} "
              f"at {token.jose_header['time']}, verdict {document.get('verdict', 'none')}")
        return
    sys.exit(f"jwcrypto: {certificate} is not signed by {public_key}")


if __name__ == "__main__":
    if len(sys.argv) != 4:
        sys.exit(__doc__)
    try:
        main(*sys.argv[1:])
    except (ValueError, KeyError, OSError, jws.InvalidJWSSignature) as reason:
        sys.exit(f"jwcrypto: does NOT accept {sys.argv[1]}: {reason}")
