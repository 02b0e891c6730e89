#!/usr/bin/env python3
"""Runs every row of fixtures/parcels through a reader and compares outcome, reason, cautions and results.

usage: parcel_conformance.py --reader "COMMAND" [--lines] [--kind parcel|sheet|customer|looks]... [--only NAME]...

COMMAND gets one argument, a request file, and prints one answer (fixtures/parcels/README.md); with --lines it gets `--lines` and all
requests on its standard input. A row that a reader answers with `not-run` is counted apart, never as right.
"""

import argparse
import collections
import json
import os
import shlex
import sys
import tempfile

from conformance import ask_all, ask_each
from make_parcels import FOLDER, make, with_paths
from make_vectors import write
from recipe import made

KINDS = ("parcel", "sheet", "customer", "looks")
MUST_GIVE = {"parcel": "digest", "sheet": "digest", "customer": "key", "looks": "findings"}


def vectors(name):
    with open(os.path.join(FOLDER, name), encoding="utf-8") as file:
        return json.load(file)["vectors"]


def look_as_row(row):
    """A row of looks.json in the form of the others."""
    return {**row, "expect": "accepted", "cautions": [], "results": {"findings": row["expect"]}}


def look_as_request(row, folder):
    reads = []
    for i, read in enumerate(row["reads"], 1):
        name = f"{row['name']}-{i}.bin"
        write({name: made(read["content"])}, folder)
        reads.append({**{key: read[key] for key in ("controller", "memory", "series")}, "file": os.path.join(folder, name)})
    return {"id": row["name"], "kind": "looks", "reads": reads, "sizes": row["sizes"]}


def request_of(row, folder):
    if row["kind"] == "looks":
        return look_as_request(row, folder)
    request = with_paths(row, FOLDER)
    return {**request, "file": os.path.join(folder, row["file"])} if row["made"] else request


def wrong_in(row, answer):
    """Words for what differs; nothing when the answer is the row's."""
    good = row["expect"] == "accepted"
    expected = {"outcome": "accepted" if good else "refused", "reason": "" if good else row["expect"], "cautions": row["cautions"]}
    found = answer.get("results", {})
    if good:
        expected["results"] = {key: value for key, value in row["results"].items() if key in found or key == MUST_GIVE[row["kind"]]}
    for key, value in expected.items():
        if answer.get(key) != value:
            return f"{row['name']}: {key} {answer.get(key)!r} ({answer.get('why', '')}), expected {value!r}: {row['note']}"
    return ""


def asked(command, requests, lines):
    return list(ask_all(command, requests) if lines else ask_each(command, requests))


def main():
    parser = argparse.ArgumentParser()
    parser.add_argument("--reader", required=True)
    parser.add_argument("--lines", action="store_true")
    parser.add_argument("--kind", action="append", choices=KINDS)
    parser.add_argument("--only", action="append", default=[])
    options = parser.parse_args()
    rows = [row for row in vectors("index.json") + [look_as_row(row) for row in vectors("looks.json")]
            if row["kind"] in (options.kind or KINDS) and (not options.only or row["name"] in options.only)]
    with tempfile.TemporaryDirectory() as folder:
        if any(row.get("made") for row in rows):
            write(make()[1], folder)
        answers = asked(shlex.split(options.reader), [request_of(row, folder) for row in rows], options.lines)
    run = [(row, answer) for row, answer in zip(rows, answers) if answer["outcome"] != "not-run"]
    wrong = [words for words in (wrong_in(row, answer) for row, answer in run) if words]
    counted = collections.Counter(row["kind"] for row, _ in run)
    print("\n".join(wrong + [f"{len(rows)} rows, {len(rows) - len(run)} not run; {dict(counted)}; {len({a['reason'] for _, a in run} - {''})} reasons, {len(wrong)} wrong"]))
    return 0 if run and not wrong else 1


if __name__ == "__main__":
    sys.exit(main())
