#!/usr/bin/env python3
"""Forged bundles through several readers: all must say the same, and what the text demands.

usage: agreement.py [--count N] [--seed S] [--reader NAME=COMMAND]... [--keep FOLDER]

Without --reader the reader in Python judges alone, and only the demands count. COMMAND is run with --lines (fixtures/bundles/README.md). Each difference
is listed with its seed; with --keep its files are written to FOLDER for replay.
"""

import argparse
import collections
import json
import shlex
import subprocess
import sys
import threading
import time

from check import judge
from forger import cases, request_of, write_out
from refused import sha256

# A reader may say that a memory looks random where another says that it is not recognised.
SAME = {"form-opaque": "family-mismatch"}


class Reader:
    """A command that answers a stream of requests."""

    def __init__(self, name, command):
        self.name = name
        self.process = subprocess.Popen(shlex.split(command) + ["--lines"], stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True)

    def ask(self, requests):
        def write():
            for request in requests:
                self.process.stdin.write(json.dumps(request, separators=(",", ":")) + "\n")
            self.process.stdin.flush()
        writer = threading.Thread(target=write)
        writer.start()
        answers = [self.process.stdout.readline() for _ in requests]
        writer.join()
        return [json.loads(line) if line else {"outcome": "no answer", "reason": "", "results": {}, "state": {}} for line in answers]

    def close(self):
        self.process.stdin.close()
        self.process.wait()


def judged_here(case):
    try:
        answer = judge({**case["request"], "bundle": case["bundle"]})
        return {**answer, "state": {when: sha256(data) for when, data in answer["state"].items()}}
    except Exception as error:  # noqa: BLE001  a reader that crashes is a finding like another
        return {"outcome": "crashed", "reason": type(error).__name__, "results": {}, "state": {}, "why": repr(error)}


def told(answer):
    """Outcome, reason, and the state file afterwards: after a look, and after a write."""
    state = answer["state"]
    return answer["outcome"], SAME.get(answer["reason"], answer["reason"]), state.get("look"), state.get("write")


def other_results(case, answers):
    """Whether two accepting readers write different files. The text of a record file made without a read is nowhere fixed, so one may leave it out."""
    accepted = [answer["results"] for answer in answers if answer["outcome"] == "accepted"]
    if not case["request"]["revive"]:
        return any(results != accepted[0] for results in accepted)
    return any(a[name] != b[name] for a in accepted for b in accepted for name in a.keys() & b.keys())


def against_the_text(case, answer):
    if answer["outcome"] == "not-run" or case["demand"] == "agree":
        return answer["outcome"] in ("crashed", "no answer")
    if answer["outcome"] != case["demand"]:
        return True
    return bool(case["reasons"]) and SAME.get(answer["reason"], answer["reason"]) not in case["reasons"]


def compare(case, answers, found):
    """Adds to `found` what is wrong with this case."""
    words = [f"{name} against the text" for name, answer in answers.items() if against_the_text(case, answer)]
    run = {name: told(answer) for name, answer in answers.items() if answer["outcome"] != "not-run"}
    if len(set(run.values())) > 1 or other_results(case, answers.values()):
        words.append("readers differ")
    if words:
        said = "; ".join(f"{name}: {a['outcome']} {a['reason']} {a['results'] if a['results'] else ''}{' '.join(digest[:8] for digest in a.get('state', {}).values())} ({a.get('why', '')[:160]})" for name, a in answers.items())
        found.append((case, f"{case['id']} {case['kind']}: demands {case['demand']} {sorted(case['reasons'] or [])}: {', '.join(words)}: {said}"))


def main():
    parser = argparse.ArgumentParser()
    parser.add_argument("--count", type=int, default=200, help="seeds; each gives two bundles")
    parser.add_argument("--seed", type=int, default=int(time.time()))
    parser.add_argument("--reader", action="append", default=[])
    parser.add_argument("--keep")
    options = parser.parse_args()
    print(f"seeds {options.seed} to {options.seed + options.count - 1}", flush=True)
    readers = [Reader(*word.split("=", 1)) for word in options.reader]
    found, outcomes, kinds = [], collections.Counter(), set()
    for first in range(options.seed, options.seed + options.count, 50):
        batch = [case for seed in range(first, min(first + 50, options.seed + options.count)) for case in cases(seed)]
        requests = [request_of(case) for case in batch] if readers else []
        answered = {reader.name: reader.ask(requests) for reader in readers}
        for i, case in enumerate(batch):
            answers = {"python": judged_here(case), **{name: all_of[i] for name, all_of in answered.items()}}
            outcomes[answers["python"]["reason"] or answers["python"]["outcome"]] += 1
            kinds.add(case["kind"].split(": ")[1])
            compare(case, answers, found)
    for reader in readers:
        reader.close()
    for case, words in found:
        print(words)
        if options.keep:
            write_out(case, options.keep)
    print(f"{2 * options.count} bundles, {len(kinds)} kinds, {dict(outcomes.most_common())}, {len(found)} differ")
    # A forger whose every lie passes, or whose honest bundles fail, would prove nothing.
    return 0 if not found and outcomes["accepted"] >= options.count // 2 and len(outcomes) > min(8, options.count // 20) else 1


if __name__ == "__main__":
    sys.exit(main())
