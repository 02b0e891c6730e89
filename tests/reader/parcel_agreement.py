#!/usr/bin/env python3
"""Parcels, sheets, customer files and looks by chance through several readers: all must say the same.

usage: parcel_agreement.py [--count N] [--seed S] [--reader NAME=COMMAND]... [--kind KIND]... [--keep FOLDER]

Without --reader the reader in Python judges alone, and must answer. COMMAND is run with --lines (fixtures/parcels/README.md). Each difference is listed
with its seed; with --keep its request is written to FOLDER for replay. Looks and parcels are drawn by parcel_draws.py, where a seed always gives the same.
"""

import argparse
import collections
import json
import os
import sys
import time

from agreement import Reader
from parcel_conformance import KINDS
from parcel_draws import request_of
from read_parcel import judge


def judged_here(request):
    try:
        return judge(request)
    except Exception as error:  # noqa: BLE001  a reader that crashes is a finding like another
        return {"outcome": "crashed", "reason": type(error).__name__, "cautions": [], "results": {}, "why": repr(error)}


def differences(answers):
    """Names of the members in which two answers differ; of results, those that both give."""
    run = [answer for answer in answers if answer["outcome"] != "not-run"]
    out = [key for key in ("outcome", "reason", "cautions") if any(answer.get(key) != run[0].get(key) for answer in run)]
    for key in sorted({key for answer in run for key in answer.get("results", {})}):
        given = [answer["results"][key] for answer in run if key in answer.get("results", {})]
        if any(value != given[0] for value in given):
            out.append(f"results.{key}")
    return out + ["crashed"] * any(answer["outcome"] in ("crashed", "no answer") for answer in run)


def keep(request, folder):
    os.makedirs(folder, exist_ok=True)
    with open(os.path.join(folder, request["id"].replace(" ", "-") + ".json"), "w", encoding="utf-8") as file:
        json.dump(request, file)


def main():
    parser = argparse.ArgumentParser()
    parser.add_argument("--count", type=int, default=400)
    parser.add_argument("--seed", type=int, default=int(time.time()))
    parser.add_argument("--reader", action="append", default=[])
    parser.add_argument("--kind", action="append", choices=KINDS)
    parser.add_argument("--keep")
    options = parser.parse_args()
    print(f"seeds {options.seed} to {options.seed + options.count - 1}", flush=True)
    readers = [Reader(*word.split("=", 1)) for word in options.reader]
    found, outcomes, codes = [], collections.Counter(), collections.Counter()
    for first in range(options.seed, options.seed + options.count, 50):
        requests = [request_of(seed) for seed in range(first, min(first + 50, options.seed + options.count))]
        requests = [request for request in requests if request["kind"] in (options.kind or KINDS)]
        answered = {reader.name: reader.ask(requests) for reader in readers}
        for i, request in enumerate(requests):
            answers = {"python": judged_here(request), **{name: all_of[i] for name, all_of in answered.items()}}
            outcomes[answers["python"]["reason"] or answers["python"]["outcome"]] += 1
            codes.update(word.split()[1] for word in answers["python"]["results"].get("findings", []))
            wrong = differences(answers.values())
            if wrong:
                found.append(f"{request['id']} {request['kind']}: {', '.join(wrong)}: {answers}")
                if options.keep:
                    keep(request, options.keep)
    for reader in readers:
        reader.close()
    print("\n".join(found + [f"{sum(outcomes.values())} requests, {dict(outcomes.most_common())}, findings {dict(codes.most_common())}, {len(found)} differ"]))
    # Draws that are all refused, or all accepted, would prove nothing.
    return 0 if not found and outcomes["accepted"] >= options.count // 8 and len(outcomes) > min(8, options.count // 20) else 1


if __name__ == "__main__":
    sys.exit(main())
