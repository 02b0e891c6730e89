#!/usr/bin/env python3
"""Runs every row of an index of bundle vectors through a reader and compares outcome, reason and results.

usage: conformance.py --reader "COMMAND" [--index fixtures/bundles/index.json]... [--only NAME]... [--lines]

COMMAND gets one argument, a request file, and prints one answer (fixtures/bundles/README.md); with --lines it gets `--lines` and all
requests on its standard input. A row that a reader answers with `not-run` is counted apart, never as right.
"""

import argparse
import json
import os
import re
import shlex
import subprocess
import sys
import tempfile

ROOT = os.path.dirname(os.path.dirname(os.path.dirname(os.path.abspath(__file__))))
FILES = ("state", "withdrawals", "job_list", "inclusion", "newest")  # and successions: a row may leave them out
FIELDS = ("bundle", "trust", "stated_root", "salt", "reads", "vehicle_reference", "read_is_fresh", "revive", "seal_only", "now")


def request_of(row, folder):
    """A row as a request: its own fields, files as whole paths."""
    def path(name):
        return os.path.join(folder, name) if name else ""

    def read(word):
        memory, name = re.fullmatch(r"([^=]*)=(.*)", word).groups() if "=" in word else ("", word)
        return f"{memory}={path(name)}" if memory else path(name)
    request = {key: row[key] for key in FIELDS}
    request.update({key: path(row[key]) for key in ("bundle", "trust", "salt")})
    request.update({key: path(row[key]) for key in FILES if key in row})
    request.update(successions=[path(name) for name in row.get("successions", [])])
    return {"id": row["name"], **request, "reads": [read(word) for word in row["reads"]]}


def ask_each(command, requests):
    for request in requests:
        with tempfile.NamedTemporaryFile("w", suffix=".json", encoding="utf-8") as file:
            json.dump(request, file)
            file.flush()
            run = subprocess.run(command + [file.name], capture_output=True, text=True, check=False, timeout=600)
        if not run.stdout.strip():
            raise SystemExit(f"{request['id']}: the reader gave no answer: {run.stderr[-2000:]}")
        yield json.loads(run.stdout)


def ask_all(command, requests):
    lines = "".join(json.dumps(request, separators=(",", ":")) + "\n" for request in requests)
    run = subprocess.run(command + ["--lines"], input=lines, stdout=subprocess.PIPE, text=True, check=False)
    answers = [json.loads(line) for line in run.stdout.splitlines()]
    if [answer["id"] for answer in answers] != [request["id"] for request in requests]:
        raise SystemExit(f"{len(answers)} answers to {len(requests)} requests, exit status {run.returncode}")
    return answers


def wrong_in(row, answer):
    """Words for what differs; nothing when the answer is the row's."""
    expected = {"outcome": row["expect"] if row["expect"] in ("accepted", "authentic") else "refused",
                "reason": "" if row["expect"] in ("accepted", "authentic") else row["expect"],
                "results": row["results"] if row["expect"] == "accepted" else {}}
    if "state_after" in row:
        expected["state"] = row["state_after"]
    for key, value in expected.items():
        if answer.get(key, {}) != value:
            return f"{row['name']}: {key} {answer.get(key)!r} ({answer.get('why', '')}), expected {value!r}: {row['note']}"
    return ""


def main():
    parser = argparse.ArgumentParser()
    parser.add_argument("--reader", required=True)
    parser.add_argument("--index", action="append")
    parser.add_argument("--only", action="append", default=[])
    parser.add_argument("--lines", action="store_true")
    options = parser.parse_args()
    rows, requests = [], []
    for index in options.index or [os.path.join(ROOT, "fixtures", "bundles", "index.json")]:
        with open(index, encoding="utf-8") as file:
            found = [row for row in json.load(file)["vectors"] if not options.only or row["name"] in options.only]
        rows += found
        requests += [request_of(row, os.path.dirname(os.path.abspath(index))) for row in found]
    command = shlex.split(options.reader)
    answers = list(ask_all(command, requests) if options.lines else ask_each(command, requests))
    run = [(row, answer) for row, answer in zip(rows, answers) if answer["outcome"] != "not-run"]
    wrong = [words for words in (wrong_in(row, answer) for row, answer in run) if words]
    print("\n".join(wrong + [f"{len(rows)} rows, {len(rows) - len(run)} not run, {len({a['reason'] for _, a in run} - {''})} reasons, {len(wrong)} wrong"]))
    return 0 if run and not wrong else 1


if __name__ == "__main__":
    sys.exit(main())
