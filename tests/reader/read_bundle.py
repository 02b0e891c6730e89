#!/usr/bin/env python3
"""The reader in plain Python as a command: one request file, or a stream of requests (fixtures/bundles/README.md).

usage: read_bundle.py REQUEST.json
       read_bundle.py --lines
"""

import re
import sys

from check import judge
from protocol import ONE_FILE, content_of_file, reads_of, serve
from refused import sha256


def salt_of(word):
    text = content_of_file(word)
    if not re.fullmatch(rb"[0-9a-f]{64}\n?", text):
        sys.exit(f"{word}: no salt")
    return bytes.fromhex(text.decode("ascii").strip())


def judge_request(request):
    answer = judge({
        **request, "bundle": content_of_file(request["bundle"]), "trust": content_of_file(request["trust"]),
        "salt": salt_of(request["salt"]) if request["salt"] else None,
        "successions": [content_of_file(word) for word in request.get("successions", [])],
        **{key: content_of_file(request[key]) if request.get(key) else None for key in ONE_FILE},
        "reads": [(memory, content_of_file(word)) for memory, word in reads_of(request)]})
    return {**answer, "state": {when: sha256(data) for when, data in answer["state"].items()}}


if __name__ == "__main__":
    sys.exit(serve(judge_request))
