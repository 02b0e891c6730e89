"""Parcels (docs/parcel.md): the order of checks, what must fit together, and what is given beside one."""

import re
import struct
import zlib

import ed25519
from closed import is_closed, opened
from framing import check_framing, content_of, local_header
from manifest import ENTRY
from refused import Refused, require, sha256
from shapes import DIGEST, LINE, NAME, TEXT, ascending, is_choice, is_integer, is_list, is_object, is_text, is_time, or_empty, signed_json
from sheet import differ, read_sheet
from trust import Chain

FIRST = "parcel.json"
BEGINNING = rb'\{"calseal":"parcel/1","key":"([0-9a-f]{64})",'
SIGNATURE = 30 + 79 + 64
MOST = 64  # of reads, and of logs
PARCEL = {
    "calseal": is_choice("parcel/1"), "key": DIGEST, "number": is_integer(1, 2**40), "claimed_time": is_time, "root": or_empty(DIGEST),
    "sheet": or_empty(DIGEST), "job": or_empty(NAME), "vehicle_reference": LINE, "words": TEXT, "order": is_list(256, NAME),
    "answers": is_list(64, is_object({"question": NAME, "answer": is_text(4096)})), "accepted": is_list(1024, LINE),
    "reads": is_list(MOST, is_object({"entry": LINE, "controller": or_empty(NAME), "memory": or_empty(NAME), "series": is_integer(1, 16),
                                      "file_name": LINE})),
    "logs": is_list(MOST, is_object({"entry": LINE, "revision": or_empty(DIGEST), "file_name": LINE})),
    "findings": is_list(448, is_object({"entry": LINE, "code": NAME})), "tool": LINE, "entries": is_list(2 * MOST, is_object(ENTRY)),
}


# ---- checks 1 and 2

def has_signature(data, at):
    return len(data) - at >= 41 and data[at:at + 4] == b"PK\x03\x04" and data[at + 30:at + 41] == b"signatures/"


def read_prefix(data):
    """(the bytes of parcel.json, the key, (key id, signature))."""
    require(98 <= len(data) <= 2147483647, "parcel-invalid", "size of the file")
    like = local_header(FIRST, False, 0, 0, 0)
    require(data[:14] == like[:14] and data[26:41] == like[26:41], "type-wrong", "first local header")
    crc32, stored_size, size = struct.unpack("<III", data[14:26])
    require(1 <= stored_size <= 1048576 and 41 + stored_size <= len(data) and size == stored_size, "parcel-invalid", "size of parcel.json")
    text, at = data[41:41 + size], 41 + size
    require(zlib.crc32(text) == crc32, "parcel-invalid", "CRC-32")
    require(has_signature(data, at) and len(data) - at >= SIGNATURE, "parcel-invalid", "no signature")
    name, signature = data[at + 30:at + 109], data[at + 109:at + SIGNATURE]
    match = re.fullmatch(rb"signatures/([0-9a-f]{64})\.sig", name)
    require(match and data[at:at + 109] == local_header(name.decode(), False, zlib.crc32(signature), 64, 64), "parcel-invalid", "signature")
    require(not has_signature(data, at + SIGNATURE), "parcel-invalid", "two signatures")
    begins = re.match(BEGINNING, text)
    require(begins, "parcel-invalid" if text.startswith(b'{"calseal":"parcel/1",') else "format-unknown" if text.startswith(b'{"calseal":"parcel/') else "type-wrong", "beginning")
    key, identity = bytes.fromhex(begins[1].decode()), match[1].decode()
    require(ed25519.key_id(key) == identity, "parcel-invalid", "the signature is another key's")
    ed25519.check_key(key)
    return text, key, (identity, signature)


# ---- what must fit together

def check_words(fields, rule):
    rule(1, ascending(fields["order"]))
    rule(1, differ([answer["question"] for answer in fields["answers"]]) and all(answer["answer"] for answer in fields["answers"]))
    rule(1, fields["sheet"] != "" or not (fields["order"] or fields["answers"] or fields["accepted"]))


def check_reads(reads, rule):
    seen = set()
    for read in reads:
        place = (read["controller"], read["memory"], read["series"])
        rule(2, read["memory"] == "" or place not in seen)
        rule(2, read["series"] == 1 or (*place[:2], read["series"] - 1) in seen)
        seen.add(place)


def check_entries(fields, rule):
    reads = [f"reads/{i}.bin" for i in range(1, len(fields["reads"]) + 1)]
    logs = [f"logs/{i}.log" for i in range(1, len(fields["logs"]) + 1)]
    rule(3, [read["entry"] for read in fields["reads"]] == reads and [log["entry"] for log in fields["logs"]] == logs)
    rule(3, [entry["name"] for entry in fields["entries"]] == reads + logs)
    for entry in fields["entries"]:
        if entry["method"] == "stored":
            rule(3, entry["stored_size"] == entry["size"] and entry["stored_digest"] == entry["digest"])
        else:
            rule(3, entry["stored_size"] < entry["size"] <= 1032 * entry["stored_size"])
    rule(3, sum(entry["size"] for entry in fields["entries"]) <= 536870912)
    return reads


def check_parcel(fields):
    def rule(number, condition):
        require(condition, "parcel-invalid", f"rule {number}")
    check_words(fields, rule)
    check_reads(fields["reads"], rule)
    reads = check_entries(fields, rule)
    rule(4, all(finding["entry"] in reads for finding in fields["findings"]))
    rule(4, ascending([(reads.index(finding["entry"]), finding["code"].encode()) for finding in fields["findings"]]))
    rule(5, fields["reads"] or fields["logs"] or fields["words"] or fields["order"])


# ---- the parcel alone: checks 1 to 7

def read_parcel(data):
    """The fields, with the key id as `id`, the `digest` of parcel.json and the `contents`."""
    text, key, pair = read_prefix(data)
    require(ed25519.good(key, text, pair[1]), "signature-bad")
    try:
        fields = signed_json(text, PARCEL)
    except Refused as refused:
        raise Refused("parcel-invalid", f"{refused.reason} {refused.why}") from None
    check_parcel(fields)
    stored = check_framing(data, text, [pair], fields, FIRST)
    for entry, content in zip(fields["entries"], stored):
        require(sha256(content) == entry["stored_digest"], "stored-digest", entry["name"])
    contents = [content_of(entry, content) for entry, content in zip(fields["entries"], stored)]
    return {**fields, "id": pair[0], "digest": sha256(text), "contents": contents}


# ---- beside what is given: checks 8 to 12

def judge_beside(parcel, chain, sheet, job):
    """The cautions. chain, sheet and job are nothing where they were not given."""
    require(chain is None or parcel["root"] in ("", *chain.ids), "parcel-other", "root")
    cautions = ["sheet-other"] if sheet and parcel["sheet"] not in ("", sheet["digest"]) else []
    if job is None:
        return cautions
    require(parcel["job"] in ("", job["name"]), "parcel-other", "job")
    require(not job["vehicle_reference"] or parcel["vehicle_reference"] in ("", job["vehicle_reference"]), "parcel-other", "vehicle_reference")
    if job["earlier"]:
        require(job["customer_changed"] or parcel["id"] == job["earlier"][-1]["id"], "parcel-other", "another customer")
        numbers = [earlier["number"] for earlier in job["earlier"] if earlier["id"] == parcel["id"]]
        require(not numbers or parcel["number"] > max(numbers), "parcel-old")
    return cautions


def judge_parcel(data, given):
    """(parcel, cautions, the parcel's file where it was closed). Trust file and sheet are judged before the parcel."""
    chain = Chain(given["trust"], given["successions"], "") if given["trust"] is not None else None
    sheet = read_sheet(given["sheet"], chain.trust) if given["sheet"] is not None else None
    job = given["job"]
    if job is not None:
        job = {**job, "earlier": [read_parcel(earlier) for earlier in job["earlier"]]}
    inside = opened(data, given["parcel_key"]) if is_closed(data) else data
    parcel = read_parcel(inside)
    return parcel, judge_beside(parcel, chain, sheet, job), inside if is_closed(data) else None
