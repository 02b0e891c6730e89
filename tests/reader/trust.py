"""Signed statements, and the trust file (docs/bundle-format.md)."""

import re

import ed25519
from ed25519 import check_key, key_id
from refused import Refused, require
from shapes import DIGEST, LINE, NAME, ascending, is_choice, is_integer, is_list, is_object, is_time, or_empty, signed_json
from spoken_code import states_root

TRUSTED = {"id": DIGEST, "public_key": DIGEST, "name": LINE,
           "roles": is_list(5, is_choice("author", "ledger", "map-author", "reviewer", "withdrawal")),
           "jobs": is_list(256, NAME), "controllers": is_list(256, NAME), "region_maps": is_list(256, DIGEST),
           "valid_from": is_time, "valid_until": or_empty(is_time), "state": is_choice("active", "compromised")}
HEAD = is_object({"size": is_integer(1, 2**53 - 1), "root_hash": DIGEST})
TRUST = {"calseal": is_choice("trust/1"), "version": is_integer(1, 2**53 - 1), "shop": LINE, "root": DIGEST, "claimed_time": is_time,
         "next_root": or_empty(DIGEST), "ledger_heads": is_list(64, HEAD), "policy": is_object({"threshold": is_integer(1, 8)}),
         "keys": is_list(64, is_object(TRUSTED))}


def read_trust(data, stated_root):
    require(len(data) <= 262144, "file-too-large")
    require(data.startswith(b'{"calseal":"trust/1",'), "type-wrong")
    lines = data.split(b"\n")
    require(lines.pop() == b"" and 2 <= len(lines) <= 9, "trust-invalid", "lines")
    signed, pairs = lines[0], []
    for line in lines[1:]:
        match = re.fullmatch(rb"([0-9a-f]{64}) ([0-9a-f]{128})", line)
        require(match, "trust-invalid", "signature line")
        pairs.append((match[1].decode(), bytes.fromhex(match[2].decode())))
    require(ascending([identity for identity, _ in pairs]), "trust-invalid", "order of signatures")
    try:
        trust = signed_json(signed, TRUST)
    except Refused as refused:
        raise Refused("trust-invalid", refused) from None
    root = bytes.fromhex(trust["root"])
    check_key(root)
    require(not stated_root or states_root(stated_root, key_id(root)), "root-mismatch")
    require(len(pairs) == 1 and pairs[0][0] == key_id(root) and ed25519.good(root, signed, pairs[0][1]), "trust-invalid", "signature")
    for key in trust["keys"]:
        check_key(bytes.fromhex(key["public_key"]))
    ids = [key["id"] for key in trust["keys"]]
    good = ascending(ids) and key_id(root) not in ids
    for key in trust["keys"]:
        good = good and key["id"] == key_id(bytes.fromhex(key["public_key"])) and key["roles"]
        good = good and all(ascending(key[field]) for field in ("roles", "jobs", "controllers", "region_maps"))
        good = good and (key["valid_until"] == "" or key["valid_from"] < key["valid_until"])
    require(good, "trust-invalid", "keys")
    require(ascending([head["size"] for head in trust["ledger_heads"]]), "trust-invalid", "order of heads")
    return trust
