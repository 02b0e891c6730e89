#!/usr/bin/env python3
"""The reader of parcels, sheets and customer files as a command: one request file, or a stream of requests (fixtures/parcels/README.md).

usage: read_parcel.py REQUEST.json
       read_parcel.py --lines
"""

import json
import re
import sys

from customer import read_customer
from looks import findings
from parcel import judge_parcel
from protocol import content_of_file
from refused import Refused, sha256
from sheet import read_sheet
from trust import read_trust

KEYS = ("outcome", "reason", "cautions", "results", "why")


def key_of(word):
    """A private key of X25519: 64 hexadecimal digits and a line end."""
    text = content_of_file(word)
    if not re.fullmatch(rb"[0-9a-f]{64}\n", text):
        sys.exit(f"{word}: no key")
    return bytes.fromhex(text.decode("ascii"))


def parcel(request):
    def given(key):
        return content_of_file(request[key]) if request[key] else None
    job = {"name": request["job"], "vehicle_reference": request["vehicle_reference"], "customer_changed": request["customer_changed"],
           "earlier": [content_of_file(word) for word in request["earlier"]]} if request["job"] else None
    found, cautions, inside = judge_parcel(content_of_file(request["file"]), {
        "parcel_key": key_of(request["parcel_key"]) if request["parcel_key"] else None, "trust": given("trust"),
        "successions": [content_of_file(word) for word in request["successions"]], "sheet": given("sheet"), "job": job})
    results = {"key": found["id"], "number": found["number"], "digest": found["digest"], "contents": [sha256(content) for content in found["contents"]],
               "opened": sha256(inside) if inside is not None else ""}
    return {"cautions": cautions, "results": results}


def sheet(request):
    return {"results": {"digest": read_sheet(content_of_file(request["file"]), read_trust(content_of_file(request["trust"]), ""))["digest"]}}


def customer(request):
    fields = read_customer(content_of_file(request["file"]))
    return {"results": {"key": fields["key"], "number": fields["number"]}}


def looks(request):
    """Reads are given with their places; sizes are those of the sheet, `controller.memory=SIZE`."""
    reads = [{**read, "entry": f"reads/{i}.bin", "content": content_of_file(read["file"])} for i, read in enumerate(request["reads"], 1)]
    sizes = {tuple(word.partition("=")[0].split(".")): int(word.partition("=")[2]) for word in request["sizes"]}
    return {"results": {"findings": [f"{one['entry']} {one['code']}" for one in findings(reads, sizes)]}}


def judge(request):
    try:
        found = {"parcel": parcel, "sheet": sheet, "customer": customer, "looks": looks}[request["kind"]](request)
    except Refused as refused:
        return {"outcome": "refused", "reason": refused.reason, "cautions": [], "results": {}, "why": refused.why}
    return {"outcome": "accepted", "reason": "", "cautions": [], **found}


def answer_line(request):
    answer = judge(request)
    return json.dumps({"id": request["id"], **{key: answer[key] for key in KEYS if key in answer}}, separators=(",", ":"))


def main():
    if sys.argv[1:] == ["--lines"]:
        for line in sys.stdin:
            print(answer_line(json.loads(line)), flush=True)
        return 0
    if len(sys.argv) != 2:
        print(__doc__, file=sys.stderr)
        return 2
    with open(sys.argv[1], encoding="utf-8") as file:
        print(answer_line(json.load(file)))
    return 0


if __name__ == "__main__":
    sys.exit(main())
