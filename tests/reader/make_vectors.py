#!/usr/bin/env python3
"""Writes fixtures/proof/: a bundle, a read and a row of index.json for each sentence of docs/proof.md. The same every time.

usage: make_vectors.py FOLDER
       make_vectors.py --check   compares what it would write with fixtures/proof, and every row's verdict with the reader's
"""

import json
import os
import sys

import vector_claims
import vector_match
from check import judge
from refused import sha256
from writer import SALT, TIME, trust_file

FOLDER = os.path.join(os.path.dirname(os.path.dirname(os.path.dirname(os.path.abspath(__file__)))), "fixtures", "proof")


class Files:
    """Files by content: the same bytes are one file, under the name that came first."""

    def __init__(self):
        self.named = {}

    def add(self, name, content):
        for known, held in self.named.items():
            if held == content and known.rpartition(".")[2] == name.rpartition(".")[2]:
                return known
        self.named[name] = content
        return name


def extension(content):
    return {b":": "hex", b"S": "s19"}.get(content[:1], "bin") if content[-1:] == b"\n" else "bin"


def make():
    files, rows, wrong = Files(), [], []
    trust = files.add("shop.trust", trust_file())
    for name, expect, sentence, maker in vector_match.ROWS + vector_claims.ROWS:
        row = maker()
        evidence = dict(row.evidence)
        reads = {} if evidence.pop("no_read", False) else row.files()
        request = {**evidence, "bundle": row.sealed(), "trust": files.named[trust], "reads": list(reads.items()), "now": TIME}
        found = judge(request)
        if (found["reason"] or found["outcome"]) != expect:
            wrong.append(f"{name}: {found['outcome']} {found['reason']} ({found['why']}), expected {expect}")
        salt = evidence["salt"]
        rows.append({
            "name": name, "bundle": files.add(f"{name}.calseal", request["bundle"]), "trust": trust, "stated_root": "",
            "salt": files.add("job.salt" if salt == SALT else "other.salt", salt.hex().encode("ascii") + b"\n") if salt else "",
            "reads": [f"{memory}={files.add(f'{name}-{memory}.{extension(content)}', content)}" for memory, content in reads.items()],
            "vehicle_reference": evidence["vehicle_reference"], "read_is_fresh": evidence["read_is_fresh"], "revive": evidence["revive"],
            "seal_only": evidence["seal_only"], "now": TIME, "expect": expect, "results": found["results"] if expect == "accepted" else {}, "note": sentence})
    lines = ",\n".join(json.dumps(row, separators=(",", ":")) for row in rows)
    files.named["index.json"] = f'{{"calseal":"bundle-vectors/1","vectors":[\n{lines}\n]}}\n'.encode("utf-8")
    return files.named, wrong


def write(named, folder):
    os.makedirs(folder, exist_ok=True)
    for name, content in named.items():
        with open(os.path.join(folder, name), "wb") as out:
            out.write(content)


def check(named):
    """Words for every file that is missing, too many, or another."""
    there = {name for name in os.listdir(FOLDER) if name != "README.md"}
    out = [f"{name}: only in one of the two" for name in sorted(there ^ set(named))]
    for name in sorted(there & set(named)):
        with open(os.path.join(FOLDER, name), "rb") as file:
            if sha256(file.read()) != sha256(named[name]):
                out.append(f"{name}: another file")
    return out


def main(maker, usage):
    if len(sys.argv) != 2:
        print(usage)
        return 2
    named, wrong = maker()
    wrong += check(named) if sys.argv[1] == "--check" else []
    if sys.argv[1] != "--check":
        write(named, sys.argv[1])
    print("\n".join(wrong + [f"{len(named)} files, {sum(map(len, named.values()))} bytes, {len(wrong)} wrong"]))
    return 1 if wrong else 0


if __name__ == "__main__":
    sys.exit(main(make, __doc__))
