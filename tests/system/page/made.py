"""Certificates made for the printed page's tests: built and signed here, by nothing of the project (jwcrypto, RFC 7515 App. F)."""
import base64
import copy
import hashlib
import json

from jwcrypto import jwk, jws

TIME = "2026-02-03T10:11:12Z"


def plain(item):
    """Whole numbers as RFC 8785 writes them: 1, not 1.0."""
    if isinstance(item, dict):
        return {name: plain(value) for name, value in item.items()}
    if isinstance(item, list):
        return [plain(value) for value in item]
    return int(item) if isinstance(item, float) and item.is_integer() and abs(item) < 1e15 else item


def canonical(document):
    """RFC 8785 for what is used here: member names in ASCII, numbers of moderate size or far from it."""
    return json.dumps(plain(document), sort_keys=True, separators=(",", ":"), ensure_ascii=False).encode()


def b64(data):
    return base64.urlsafe_b64encode(data).rstrip(b"=").decode()


class Key:
    def __init__(self):
        self.jwk = jwk.JWK.generate(kty="OKP", crv="Ed25519")
        self.public = {k: v for k, v in json.loads(self.jwk.export_public()).items() if k in ("crv", "kty", "x")}
        self.thumbprint = self.jwk.thumbprint()

    def sign(self, payload, role, **more):
        header = {"alg": "EdDSA", "kid": self.thumbprint, "role": role, "time": TIME, **more}
        token = jws.JWS(payload)
        token.add_signature(self.jwk, None, canonical(header).decode())
        head, _, signature = token.serialize(compact=True).split(".")
        return {"jws": f"{head}..{signature}", "key": {**self.public, "kid": self.thumbprint}}


def line(measurand, value=1.0, U=0.1, lower=None, upper=2, verdict="pass", procedure="first", **more):
    limit = {"name": "limit of " + measurand[:20], "required": True}
    limit.update({k: v for k, v in (("lower", lower), ("upper", upper)) if v is not None})
    out = {"procedure": procedure, "measurand": measurand, "unit": "mm", "decimals": 2, "limit": limit,
           "rule": "guarded acceptance", "verdict": verdict}
    if value is not None:
        out.update(value=value, U=U, k=2.1, guard_band=U, false_acceptance=0.25)
    if verdict != "pass":
        out["reason"] = "because of the test"
    out.update(more)
    return out


def document(key):
    sha = "0123456789abcdef" * 4
    return {
        "endstop": "certificate/1", "kind": "certificate", "title": "Certificate of a test", "number": "EX-000042",
        "issued": TIME, "issuer": {"key": key.thumbprint, "software": "endstop test", "clock_synchronised": True},
        "laboratory": {"name": "Example laboratory (invented)", "address": "1 Invented Road", "place_of_test": "Hall 7"},
        "bench": {"name": "Bench A", "sha256": sha, "station": "1", "virtual": False}, "customer": "Example customer",
        "unit": {"serial": "SN-77-0815", "tag": "FV-101", "type": "Example type"}, "state": "as left", "reason": "returned",
        "parts_replaced": "relay", "type_sheet": {"name": "t", "title": "Type sheet title", "version": "3", "sha256": sha},
        "plan": {"name": "p", "title": "Plan title", "version": "4", "sha256": sha},
        "run": {"id": "run-1", "began": TIME, "ended": TIME, "completed": True, "clock_synchronised": True,
                "person": "A. Example", "attended": True},
        "procedures": [{"name": "first", "title": "First procedure", "version": "1", "sha256": sha, "began": TIME,
                        "duration_s": 53.8, "completed": True}],
        "lines": [line("travel", 29.8126, 0.0071, 29.4, 30.6), line("leak", 0.19, 0.12, None, 3, unit="Nl/h"),
                  line("flow", 955.816, 9.94, 400, None, unit="Nl/h"), line("swing", -0.5, 0.04, -1, 1, unit="deg")],
        "verdict": "pass", "limit_sources": [{"source": "invented for the test", "limits": ["limit of travel"]}],
        "environment": [{"name": "ambient temperature", "unit": "degC", "value": 20.125, "U": 0.394, "k": 1.96}],
        "instruments": [{"name": "pressure gauge", "identity": "told", "calibration": "EX-P-1", "calibrated": "2026-01-02",
                         "due": "2027-01-02"}],
        "confirmations": [{"text": "Keep hands away.", "answer": "confirmed", "person": "A. Example", "time": TIME}],
        "curves": [{"recording": "stroke", "series": "travel", "unit": "mm", "t_s": [0, 1, 2, 3], "y": [0, 10, 30, 29]}],
        "statements": ["Statement %d of the test." % n for n in range(1, 6)],
    }


def signed(doc, signers):
    """`signers`: (key, role, further header members), the issuing key first."""
    whole = copy.deepcopy(doc)
    payload = canonical(whole)
    whole["signatures"] = [key.sign(payload, role, **more) for key, role, more in signers]
    return canonical(whole), hashlib.sha256(payload).hexdigest()
