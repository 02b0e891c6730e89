"""The shop's signed lists, withdrawals and revisions of a job, and the proof of inclusion (docs/bundle-format.md)."""

import hashlib
import hmac

from refused import Refused, require, sha256
from shapes import DIGEST, LINE, NAME, ascending, is_choice, is_integer, is_list, is_object, is_text, is_time, or_empty, signed_json
from statement import is_valid_at, read_fields, read_lines, signers_of

NOTICE = is_object({"revision": DIGEST, "job": NAME, "controller": NAME, "class": is_choice("commercial", "error", "replaced", "safety"),
                    "action": is_choice("do-not-write", "go-back"), "go_to": or_empty(DIGEST), "text": LINE})
WITHDRAWALS = {"calseal": is_choice("withdrawal/1"), "root": DIGEST, "number": is_integer(1, 2**53 - 1), "claimed_time": is_time,
               "fresh_until": is_time, "notices": is_list(4096, NOTICE)}
ROW = is_object({"digest": DIGEST, "base": is_integer(1, 10**6), "revision": is_integer(0, 2**40 - 1), "sequence": is_integer(1, 2**40)})
JOB_LIST = {"calseal": is_choice("job-list/1"), "root": DIGEST, "job": NAME, "controller": NAME, "claimed_time": is_time,
            "revisions": is_list(4096, ROW, 1)}
SIZE = is_integer(1, 2**53 - 1)
INCLUSION = {"calseal": is_choice("inclusion/1"), "entry": is_text(8192), "salt": DIGEST, "head": is_object({"size": SIZE, "root_hash": DIGEST}),
             "index": is_integer(0, 2**53 - 1), "path": is_list(64, DIGEST)}
ENTRY = {"calseal": is_choice("entry/1"), "kind": is_choice("sealed"), "claimed_time": is_time, "subject": DIGEST}


def fits_together(notices):
    good = ascending([notice["revision"] for notice in notices])
    return good and all(n["go_to"] == "" or (n["action"] == "go-back" and n["go_to"] != n["revision"]) for n in notices)


def is_history(rows):
    numbers, bases = [row["sequence"] for row in rows], [row["base"] for row in rows]
    return ascending(numbers) and bases == sorted(bases) and all(row["sequence"] > row["revision"] for row in rows) and \
        len({row["digest"] for row in rows}) == len(rows)


def judge_list(fields, signers, trust, reason, role, is_restricted):
    """Checks 4 to 8 of a list."""
    require(fields["root"] == trust["root_id"], reason, "another root")
    require(all(key["state"] == "active" for key in signers), "key-compromised")
    require(all(role in key["roles"] for key in signers), "roles-missing")
    require(not any(is_restricted(key) for key in signers), "key-scope")
    require(all(is_valid_at(key, fields["claimed_time"]) for key in signers), "key-validity")


def read_withdrawals(data, trust):
    signed, pairs = read_lines(data, b"withdrawal/1", 4194304, "withdrawals-invalid")
    signers = signers_of(signed, pairs, trust)
    fields = read_fields(signed, WITHDRAWALS, "withdrawals-invalid")
    require(fields["claimed_time"] < fields["fresh_until"] and fits_together(fields["notices"]), "withdrawals-invalid", "times, order, go_to")
    judge_list(fields, signers, trust, "withdrawals-invalid", "withdrawal", lambda key: key["jobs"] or key["controllers"])
    return {**fields, "digest": sha256(signed), "keys": [key["id"] for key in signers]}


def read_job_list(data, trust):
    signed, pairs = read_lines(data, b"job-list/1", 1048576, "job-list-invalid")
    signers = signers_of(signed, pairs, trust)
    fields = read_fields(signed, JOB_LIST, "job-list-invalid")
    require(is_history(fields["revisions"]), "job-list-invalid", "order")

    def is_restricted(key):
        return (key["jobs"] and fields["job"] not in key["jobs"]) or (key["controllers"] and fields["controller"] not in key["controllers"])
    judge_list(fields, signers, trust, "job-list-invalid", "author", is_restricted)
    return fields


def read_inclusion(data):
    require(len(data) <= 65536, "file-too-large")
    require(data.startswith(b'{"calseal":"inclusion/1",'), "type-wrong")
    require(data.endswith(b"\n"), "inclusion-invalid", "line end")
    return read_fields(data[:-1], INCLUSION, "inclusion-invalid")


def leaf_hash(line):
    return hashlib.sha256(b"\x00" + line).digest()


def node_hash(left, right):
    return hashlib.sha256(b"\x01" + left + right).digest()


def root_of_path(leaf, index, size, path):
    """RFC 9162, section 2.1.3.2; nothing when the path does not have the length that index and size call for."""
    at, last, found = index, size - 1, leaf
    for other in path:
        if last == 0:
            return None
        if at % 2 == 1 or at == last:
            found = node_hash(other, found)
            while at % 2 == 0 and at != 0:
                at, last = at >> 1, last >> 1
        else:
            found = node_hash(found, other)
        at, last = at >> 1, last >> 1
    return found if last == 0 else None


def is_included(proof, manifest_digest, trust):
    line = proof["entry"].encode("utf-8")
    try:
        entry = signed_json(line, ENTRY)
    except Refused:
        return False
    subject = hmac.new(bytes.fromhex(proof["salt"]), bytes.fromhex(manifest_digest), hashlib.sha256).hexdigest()
    if entry["subject"] != subject or proof["head"] not in trust["ledger_heads"] or proof["index"] >= proof["head"]["size"]:
        return False
    root = root_of_path(leaf_hash(line), proof["index"], proof["head"]["size"], [bytes.fromhex(digest) for digest in proof["path"]])
    return root is not None and root.hex() == proof["head"]["root_hash"]
