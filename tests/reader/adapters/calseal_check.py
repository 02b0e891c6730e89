#!/usr/bin/env python3
"""The program calseal-check as a reader of fixtures/bundles/README.md. CALSEAL_CHECK names it.

It takes the time from the machine, so a trial is not run through it; nor is what order.md adds to a request.
"""

import json
import os
import subprocess
import sys
import tempfile

sys.path.insert(0, os.path.dirname(os.path.dirname(os.path.abspath(__file__))))
from protocol import DECLARED, INLINE, ONE_FILE, content_of_file, reads_of, serve  # noqa: E402


def as_file(word, folder):
    if not word.startswith(INLINE):
        return word
    path = os.path.join(folder, f"file-{len(os.listdir(folder))}")
    with open(path, "wb") as out:
        out.write(content_of_file(word))
    return path


def judge(request):
    if b'"trial":true' in content_of_file(request["bundle"]) or request.get("successions") or any(request.get(key) for key in ONE_FILE + DECLARED):
        return {"outcome": "not-run", "reason": "", "results": {}}
    with tempfile.TemporaryDirectory() as folder:
        words = [os.environ["CALSEAL_CHECK"], as_file(request["bundle"], folder), "--trust", as_file(request["trust"], folder), "--json"]
        for option, key in (("--root", "stated_root"), ("--vehicle", "vehicle_reference")):
            words += [option, request[key]] if request[key] else []
        words += ["--salt", as_file(request["salt"], folder)] if request["salt"] else []
        for memory, word in reads_of(request):
            path = as_file(word, folder)
            words += ["--read", f"{memory}={path}" if memory else path]
        words += [option for option, key in (("--read-is-fresh", "read_is_fresh"), ("--revive", "revive"), ("--seal-only", "seal_only")) if request[key]]
        run = subprocess.run(words, capture_output=True, text=True, check=False, timeout=600)
    found = json.loads(run.stdout)
    results = {file["memory"]: file["sha256"] for file in found.get("files", [])}
    return {"outcome": found["verdict"], "reason": found["reason"], "results": results if found["verdict"] == "accepted" else {}}


if __name__ == "__main__":
    sys.exit(serve(judge))
