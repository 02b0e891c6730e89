#!/usr/bin/env python3
"""Writes fixtures/rules/: a bundle, a state and a row of index.json for each sentence about rules and approvals. The same every time.

usage: make_rules_vectors.py FOLDER
       make_rules_vectors.py --check   compares what it would write with fixtures/rules, and every row's verdict with the reader's
"""

import json
import os
import sys

import make_vectors
import vector_rules
from check import judge
from refused import sha256
from writer import SALT, TIME

make_vectors.FOLDER = os.path.join(os.path.dirname(make_vectors.FOLDER), "rules")


def make():
    files, rows, wrong = make_vectors.Files(), [], []
    for name, expect, sentence, maker in vector_rules.ROWS:
        bundle, given = maker().files()
        request = {"stated_root": "", "salt": SALT, "vehicle_reference": "blue estate", "read_is_fresh": True, "revive": False, "seal_only": False, "now": TIME, **given,
                   "bundle": bundle}
        found = judge(request)
        if (found["reason"] or found["outcome"]) != expect:
            wrong.append(f"{name}: {found['outcome']} {found['reason']} ({found['why']}), expected {expect}")
        rows.append({
            "name": name, "bundle": files.add(f"{name}.calseal", bundle), "trust": files.add(f"{name}.trust", request["trust"]), "stated_root": "",
            "salt": files.add("job.salt", SALT.hex().encode("ascii") + b"\n"), "reads": [f"{memory}={files.add(f'{memory}.bin', content)}" for memory, content in request["reads"]],
            **{key: request[key] for key in ("vehicle_reference", "read_is_fresh", "revive", "seal_only", "now")},
            "successions": [files.add(f"{name}.succession", data) for data in request["successions"]],
            "state": files.add(f"{name}.state", request["state"]) if request["state"] is not None else "",
            "expect": expect, "results": found["results"] if expect == "accepted" else {}, "state_after": {when: sha256(data) for when, data in found["state"].items()},
            "note": sentence})
    lines = ",\n".join(json.dumps(row, separators=(",", ":")) for row in rows)
    files.named["index.json"] = f'{{"calseal":"bundle-vectors/1","vectors":[\n{lines}\n]}}\n'.encode("utf-8")
    return files.named, wrong


if __name__ == "__main__":
    sys.exit(make_vectors.main(make, __doc__))
