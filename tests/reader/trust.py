"""The trust file, and the successions that lead to its root (docs/bundle-format.md)."""

import ed25519
from ed25519 import check_key, key_id
from refused import Refused, require, sha256
from shapes import DIGEST, LINE, NAME, ascending, is_choice, is_integer, is_list, is_object, is_text, is_time, or_empty
from spoken_code import states_root
from statement import read_fields, read_lines

TRUST_FILE = 262144
TRUSTED = {"id": DIGEST, "public_key": DIGEST, "name": LINE,
           "roles": is_list(6, is_choice("author", "ledger", "map-author", "reviewer", "sheet", "withdrawal")),
           "jobs": is_list(256, NAME), "controllers": is_list(256, NAME), "region_maps": is_list(256, DIGEST),
           "valid_from": is_time, "valid_until": or_empty(is_time), "state": is_choice("active", "compromised")}
HEAD = is_object({"size": is_integer(1, 2**53 - 1), "root_hash": DIGEST})
TRUST = {"calseal": is_choice("trust/1"), "version": is_integer(1, 2**53 - 1), "shop": LINE, "root": DIGEST, "claimed_time": is_time,
         "next_root": or_empty(DIGEST), "ledger_heads": is_list(64, HEAD), "policy": is_object({"threshold": is_integer(1, 8)}),
         "keys": is_list(64, is_object(TRUSTED))}
SUCCESSION = {"calseal": is_choice("succession/1"), "old_trust": is_text(TRUST_FILE), "new_root": DIGEST, "claimed_time": is_time, "reason": LINE}


def read_trust(data, stated_root):
    """The fields, with `root_id` and the `digest` of the first line."""
    signed, pairs = read_lines(data, b"trust/1", TRUST_FILE, "trust-invalid")
    trust = read_fields(signed, TRUST, "trust-invalid")
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
    return {**trust, "root_id": key_id(root), "digest": sha256(signed)}


def compromised(trust):
    return {key["id"] for key in trust["keys"] if key["state"] == "compromised"}


def read_succession(data):
    """The old root's trust file, and the key id of the root that follows."""
    signed, pairs = read_lines(data, b"succession/1", 655360, "succession-invalid")
    fields = read_fields(signed, SUCCESSION, "succession-invalid")
    new = bytes.fromhex(fields["new_root"])
    check_key(new)
    try:
        old = read_trust(fields["old_trust"].encode("utf-8"), "")
    except Refused as refused:
        raise Refused("succession-invalid", refused) from None
    require(old["next_root"] == key_id(new) != old["root_id"], "succession-invalid", "announced root")
    roots = {old["root_id"]: bytes.fromhex(old["root"]), key_id(new): new}
    good = [identity for identity, _ in pairs] == sorted(roots) and all(ed25519.good(roots[i], signed, s) for i, s in pairs)
    require(good, "succession-invalid", "signatures")
    return old, key_id(new)


class Chain:
    """A trust file and the successions that lead to its root. `ids` are the roots, oldest first; `stated` is the place of the stated one, or -1."""

    def __init__(self, trust_data, successions, stated_root):
        self.trust = read_trust(trust_data, "" if successions else stated_root)
        require(len(successions) <= 16, "succession-invalid", "too many")
        steps = [read_succession(data) for data in successions]
        self.old = [old for old, _ in steps]
        self.ids = [old["root_id"] for old in self.old] + [self.trust["root_id"]]
        require([new for _, new in steps] == self.ids[1:] and len(set(self.ids)) == len(self.ids), "succession-invalid", "chain")
        stated = [i for i, identity in enumerate(self.ids) if stated_root and states_root(stated_root, identity)]
        require(not stated_root or stated, "root-mismatch")
        self.stated = stated[0] if stated else -1
