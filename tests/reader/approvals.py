"""Approvals: the shop stands by a change of its rules (docs/bundle-format.md, "Approval")."""

import ed25519
from refused import Refused, require
from shapes import DIGEST, LINE, NAME, is_choice, is_time
from statement import is_valid_at, read_fields, read_lines

APPROVAL = {"calseal": is_choice("approval/1"), "controller": NAME, "from": DIGEST, "to": DIGEST, "claimed_time": is_time, "text": LINE}


def read_approval(data, trust):
    signed, pairs = read_lines(data, b"approval/1", 16384, "approval-invalid")
    keys = {key["id"]: key for key in trust["keys"]}
    for identity, _ in pairs:
        require(identity in keys or identity == trust["root_id"], "signer-unknown")
    for identity, signature in pairs:
        public = trust["root"] if identity == trust["root_id"] else keys[identity]["public_key"]
        require(ed25519.good(bytes.fromhex(public), signed, signature), "signature-bad")
    fields = read_fields(signed, APPROVAL, "approval-invalid")
    require(fields["from"] != fields["to"], "approval-invalid", "from and to")
    # The root needs no role, scope or validity.
    listed = [keys[identity] for identity, _ in pairs if identity != trust["root_id"]]
    require(all(key["state"] == "active" for key in listed), "key-compromised")
    require(all("map-author" in key["roles"] for key in listed), "roles-missing")
    require(not any(key["jobs"] or (key["controllers"] and fields["controller"] not in key["controllers"]) for key in listed), "key-scope")
    require(all(is_valid_at(key, fields["claimed_time"]) for key in listed), "key-validity")
    return fields


def steps_of(m, trust):
    """(from, to) of the approvals that count for a manifest."""
    steps = set()
    for text in m["approvals"]:
        try:
            approval = read_approval(text.encode("utf-8"), trust)
        except Refused:
            continue  # as if it were not there
        if approval["controller"] == m["controllers"][0]["name"]:
            steps.add((approval["from"], approval["to"]))
    return steps


def lead(steps, first, last):
    found, new = set(), {first}
    while new:
        found |= new
        new = {after for before, after in steps if before in found} - found
    return last in found
