#!/usr/bin/env python3
"""Every row of fixtures/bundles/index.json and of fixtures/proof and fixtures/rules through the reader in Python (tests/reader).

usage: vectors_reader.py
       vectors_reader.py --print FILE   a bundle of fixtures/bundles byte by byte, as docs/bundle-format.md prints it
"""

import json
import os
import sys

ROOT = os.path.dirname(os.path.dirname(os.path.dirname(os.path.abspath(__file__))))
sys.path.insert(0, os.path.join(ROOT, "tests", "reader"))
from conformance import request_of, wrong_in  # noqa: E402
from printed import print_bundle  # noqa: E402
from read_bundle import judge_request  # noqa: E402


def run(name):
    """(words for every row that is wrong, reasons given, number of rows)."""
    folder = os.path.join(ROOT, "fixtures", name)
    with open(os.path.join(folder, "index.json"), encoding="utf-8") as file:
        rows = json.load(file)["vectors"]
    answers = [judge_request(request_of(row, folder)) for row in rows]
    return [words for words in map(wrong_in, rows, answers) if words], {answer["reason"] for answer in answers}, len(rows)


def main():
    if len(sys.argv) == 3 and sys.argv[1] == "--print":
        with open(os.path.join(ROOT, "fixtures", "bundles", sys.argv[2]), "rb") as file:
            return print_bundle(file.read())
    wrong, reasons, rows = [], set(), 0
    for name in ("bundles", "proof", "rules"):
        found, given, count = run(name)
        wrong, reasons, rows = wrong + found, reasons | given, rows + count
    # A reader that refuses nothing, or everything, would prove nothing.
    print("\n".join(wrong + [f"{rows} vectors, {len(reasons - {''})} reasons, {len(wrong)} wrong"]))
    return 0 if rows and not wrong and "" in reasons and len(reasons) > 30 else 1


if __name__ == "__main__":
    sys.exit(main())
