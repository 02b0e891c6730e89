"""Holds heads, details and proofs against the entries of a ledger (RFC 9162 section 2.1, SHA-256), with Python and openssl alone.

usage: python3 ledger.py KEYS ENTRIES DETAILS FILE...      FILE: signed heads (*.head) and proofs (*.inclusion)
"""

import hashlib
import hmac
import json
import sys

from bundle import read_json, unhex, verify_signature, wrong


def leaf(line):
    return hashlib.sha256(b"\0" + line).digest()


def node(left, right):
    return hashlib.sha256(b"\1" + left + right).digest()


def root_of(leaves):
    """Section 2.1.1: the root of the first half and that of the rest, the first half being the largest power of two below."""
    if len(leaves) == 1:
        return leaves[0]
    half = 1 << (len(leaves) - 1).bit_length() - 1
    return node(root_of(leaves[:half]), root_of(leaves[half:]))


def root_from_path(index, size, value, path):
    """Section 2.1.3.2."""
    last = size - 1
    for other in path:
        if last == 0:
            wrong("a path that is too long")
        if index & 1 or index == last:
            value = node(other, value)
            while not index & 1 and index:
                index, last = index >> 1, last >> 1
        else:
            value = node(value, other)
        index, last = index >> 1, last >> 1
    if last:
        wrong("a path that is too short")
    return value


def check_head(keys, path, lines, leaves):
    with open(path, "rb") as file:
        text, *signatures = file.read().split(b"\n")
    head = read_json(text, "tree-head/1")
    if len(signatures) < 2 or signatures[-1]:
        wrong(f"{path}: no signature in a line of its own")
    for line in signatures[:-1]:
        key_id, signature = line.decode().split(" ")
        verify_signature(keys, key_id, text, unhex(signature))
    if read_json(lines[0], "ledger/1")["id"] != head["ledger"]:
        wrong(f"{path}: a head of another ledger")
    if head["size"] > len(leaves) or root_of(leaves[:head["size"]]).hex() != head["root_hash"]:
        wrong(f"{path}: the entries are not those of this head")
    print(f"{path}: signed; the first {head['size']} entries are those of this head, which claims {head['claimed_time']}")


def check_proof(path, leaves, revisions):
    with open(path, "rb") as file:
        text, end = file.read().split(b"\n")
    proof = read_json(text, "inclusion/1")
    size = proof["head"]["size"]
    value = root_from_path(proof["index"], size, leaf(proof["entry"].encode()), [unhex(x) for x in proof["path"]])
    if end or value.hex() != proof["head"]["root_hash"] or root_of(leaves[:size]) != value:
        wrong(f"{path}: the path does not lead to the head")
    subject = hmac.new(unhex(proof["salt"]), unhex(revisions[proof["index"]]), hashlib.sha256).hexdigest()
    if json.loads(proof["entry"])["subject"] != subject:
        wrong(f"{path}: an entry about another revision")
    print(f"{path}: entry {proof['index']}, revision {revisions[proof['index']]}, is under the head of {size} entries")


def check_detail(line, lines):
    """Facts, with the entry's nonce, give the salt; the salt, with the revision, gives the entry's subject."""
    detail = read_json(line, "ledger-detail/1")
    start = line.index(b'"facts":') + len(b'"facts":')
    salt = hmac.new(unhex(detail["nonce"]), line[start:-1], hashlib.sha256).digest()
    subject = hmac.new(salt, unhex(detail["facts"]["about"]), hashlib.sha256).hexdigest()
    entry = read_json(lines[1 + detail["entry"]], "entry/1")
    facts = detail["facts"]
    if (entry["subject"], entry["kind"], entry["claimed_time"]) != (subject, facts["kind"], facts["claimed_time"]):
        wrong(f"the details of entry {detail['entry']} are not what was entered")
    print(f"entry {detail['entry']}: {facts['kind']} {facts['claimed_time']}, revision {facts['about']}")
    return detail["entry"], facts["about"]


def main(keys, entries, details, files):
    with open(entries, "rb") as file:
        lines = file.read().split(b"\n")
    if lines.pop():
        wrong(f"{entries}: its last line has no end")
    leaves = [leaf(line) for line in lines[1:]]
    with open(details, "rb") as file:
        of_job = file.read().split(b"\n")
    if of_job.pop():
        wrong(f"{details}: its last line has no end")
    revisions = dict(check_detail(line, lines) for line in of_job)
    for path in files:
        if path.endswith(".inclusion"):
            check_proof(path, leaves, revisions)
        else:
            check_head(keys, path, lines, leaves)


if __name__ == "__main__":
    sys.stdout.reconfigure(errors="backslashreplace")  # names may be anything
    main(sys.argv[1], sys.argv[2], sys.argv[3], sys.argv[4:])
