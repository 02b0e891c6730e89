"""Step 3 of the region map's order of checks: keys, types, values and limits, in the order of docs/region-map.md."""

import re

from map_items import is_item
from refused import require
from shapes import DIGEST, NAME, is_boolean, is_choice, is_text

MOST = 4096  # items of any list, after repetition
PLACES = 65536  # places of all checksums; erase sectors
REQUIRED = object()
LINE = is_text(1024, r"[^\x00-\x1f\x7f]+")
DATED = is_text(1024, r"[0-9]{4}-(0[1-9]|1[0-2])-(0[1-9]|[12][0-9]|3[01]) [^\x00-\x1f\x7f]+")
TEXT = is_text(1024)


def is_number(least, most):
    def check(value):
        if isinstance(value, str):
            require(re.fullmatch("0x[0-9a-f]{1,16}", value), "json-value", value)
            value = int(value, 16)
        require(isinstance(value, int) and not isinstance(value, bool), "json-type", value)
        require(least <= value <= most, "json-value", value)
        return value
    return check


def is_whole(least, most):
    def check(value):
        require(isinstance(value, int) and not isinstance(value, bool), "json-type", value)
        require(least <= value <= most, "json-value", value)
        return value
    return check


def is_bytes(least, most):
    def check(value):
        require(isinstance(value, str), "json-type", value)
        require(re.fullmatch("([0-9a-f]{2})*", value) and 2 * least <= len(value) <= 2 * most, "json-value", value)
        return bytes.fromhex(value)
    return check


def is_address(value):
    require(isinstance(value, str), "json-type", value)
    require(re.fullmatch("0x[0-9a-f]{8}", value), "json-value", value)
    return int(value, 16)


def is_list(shape, least=0, most=MOST, weight=None, total=MOST):
    """A list; with a weight, what all its items count together stays within the total."""
    def check(value):
        require(isinstance(value, list), "json-type", value)
        require(least <= len(value) <= most, "json-value", "number of items")
        out, counted = [], 0
        for item in value:
            out.append(shape(item))
            counted += weight(out[-1]) if weight else 0
            require(counted <= total, "json-value", "items after repetition")
        return out
    return check


def is_object(fields, afterwards=None):
    """fields: key -> (shape, default); a key that is REQUIRED has no default. Keys that the page does not list come last."""
    def check(value):
        require(isinstance(value, dict), "json-type", value)
        out = {}
        for key, (shape, default) in fields.items():
            require(key in value or default is not REQUIRED, "json-missing-key", key)
            out[key] = shape(value[key]) if key in value else default
        if afterwards:
            afterwards(out)
        for key in value:
            require(key in fields, "json-unknown-key", key)
        return out
    return check


def need(shape):
    return shape, REQUIRED


SIZE = is_number(0, 2**32)
STRIDE = is_number(1, 2**32)
ANY = is_number(0, 2**64 - 1)
BYTE = is_bytes(1, 1)
ORDER = is_choice("little", "big")
PLACE = {"memory": need(NAME), "start": need(is_address), "size": need(SIZE)}
STEPPING = {**PLACE, "stride": (STRIDE, None)}


def both_or_neither(a, b, reason):
    def check(value):
        require((value[a] is None) == (value[b] is None), reason, f"{a} and {b}")
    return check


# ---- checksums

def is_crc(value):
    if isinstance(value, str):
        return value
    return is_object({"width": need(ANY), "poly": need(ANY), "init": need(ANY), "refin": need(is_boolean), "refout": need(is_boolean),
                      "xorout": need(ANY)})(value)


SUM = is_object({"unit": need(ANY), "order": (ORDER, "little"), "operation": (is_choice("add", "add-end-around", "xor"), "add"),
                 "accumulator": (ANY, None), "init": (ANY, 0)})


def one_of(*allowed):
    def check(value):
        require(is_number(0, 2**53)(value) in allowed, "json-value", value)
        return is_number(0, 2**53)(value)
    return check


def is_algorithm(value):
    require(isinstance(value, dict), "json-type", value)
    kinds = {"crc": {"crc": need(is_crc)}, "sum": {"sum": need(SUM)}, "fletcher": {"fletcher": need(one_of(16, 32))},
             "adler": {"adler": need(one_of(32))}, "sha": {"sha": need(one_of(256))}}
    for kind, fields in kinds.items():
        if kind in value:
            if value.get("fletcher") == 32:
                fields = {**fields, "order": (ORDER, "little")}
            return is_object(fields)(value)
    require(False, "json-missing-key", "no algorithm")


TABLE = is_object({"memory": need(NAME), "at": need(is_address), "records": need(is_number(1, MOST)), "record_size": need(is_number(1, 2**32)),
                   "order": need(ORDER), "start_at": need(is_number(0, 2**32)), "end_at": need(is_number(0, 2**32)),
                   "end": need(is_choice("last", "after", "length")), "points_into": need(NAME), "skip_blank": (is_boolean, False),
                   "record": (is_choice("all", "own"), "all")})


def is_piece(value):
    require(isinstance(value, dict), "json-type", value)
    if "literal" in value:
        return is_object({"literal": need(is_bytes(1, 256))})(value)
    if "table" in value:
        return is_object({"table": need(TABLE)})(value)
    return is_object(STEPPING)(value)


def is_equals(value):
    return value if value == "residue" else ANY(value)


SLOT = is_object({"memory": need(NAME), "at": need(is_address), "size": need(is_number(1, 32)), "order": (ORDER, None),
                  "encoding": (is_choice("binary", "hex-lower", "hex-upper", "decimal"), None),
                  "transform": (is_choice("plain", "complement", "negate", "reverse"), "plain"), "from": (ANY, 0), "bits": (ANY, None),
                  "stride": (STRIDE, None)})
BALANCE = is_object({"memory": need(NAME), "at": need(is_address), "size": need(is_number(1, 8)), "order": (ORDER, "little"),
                     "stride": (STRIDE, None)})
RULE = is_object({"equals": need(is_equals), "balance": (BALANCE, None)})
PLAIN_CHECKSUM = is_object({"name": need(NAME), "note": (TEXT, ""), "repeat": (is_number(1, MOST), None), "algorithm": need(is_algorithm),
                            "coverage": need(is_list(is_piece, 1)), "substitute": (is_list(is_object({**STEPPING, "as": need(BYTE)})), []),
                            "swap": (one_of(16, 32), 0), "complement": (is_choice("none", "ones", "twos"), None), "add": (ANY, None),
                            "bits": (ANY, None), "slots": (is_list(SLOT, 1), None), "rule": (RULE, None), "drafted": (LINE, None),
                            "confirmed": (DATED, None)})


def is_checksum(value):
    checksum = PLAIN_CHECKSUM(value)
    require(checksum["confirmed"] is None or checksum["drafted"] is not None, "json-value", "confirmed without drafted")
    return checksum


CHECKSUMS = is_list(is_checksum, weight=lambda item: item["repeat"] or 1)


def places_of(checksum):
    records = sum(p["table"]["records"] for p in checksum["coverage"] if "table" in p and p["table"]["record"] == "all")
    return (checksum["repeat"] or 1) * (len(checksum["coverage"]) + len(checksum["substitute"]) + len(checksum["slots"] or []) + records)


# ---- the other sections

def is_block(value):
    require(isinstance(value, dict), "json-type", value)
    if "constant" in value:
        return is_object({"constant": need(is_bytes(1, 65536))})(value)
    if "opaque" in value:
        return is_object({"opaque": need(is_number(1, 268435456))})(value)
    return is_object(PLACE)(value)


def is_form(value):
    require(isinstance(value, dict), "json-type", value)
    if "signature" in value:
        return is_object({"name": need(NAME), "note": (TEXT, ""), "signature": need(is_bytes(1, 64))})(value)

    def whole(form):
        require((form["omitted"] is None) == (form["fill"] is None), "json-value", "omitted and fill")
        require(any("memory" in block for block in form["blocks"]), "json-value", "a form without a memory")
    return is_object({"name": need(NAME), "note": (TEXT, ""), "blocks": need(is_list(is_block)), "omitted": (is_list(is_object(PLACE), 1), None),
                      "fill": (BYTE, None), "checksums": (CHECKSUMS, [])}, whole)(value)


def patch_differs(patch):
    require(len(patch["before"]) == len(patch["after"]) and patch["before"] != patch["after"], "json-value", "before and after")


def mask_fits(element):
    require(element["mask"] is None or len(element["mask"]) == len(element["bytes"]), "json-value", "mask")


def offset_fits(copy):
    require((copy["transform"] == "offset") == (copy["offset"] is not None), "json-value", "offset")


def something(recognise):
    require(recognise["all"] or recognise["software_numbers"], "json-value", "nothing to recognise by")


def is_pattern(value):
    is_text(256, r"[ -~]+")(value)
    require(re.fullmatch(r"([ -)+-\[\]-~]|\\[ -~])*\*?", value), "json-value", value)
    return value


def field_fits(field):
    require(not field["encoding"].startswith("integer") or field["size"] <= 8, "json-value", "an integer wider than 8 bytes")


def verified(evidence):
    require(evidence["grade"] == "draft" or evidence["verified_on"], "json-value", "verified without an image")


MEMORY = is_object({"name": need(NAME), "origin": need(is_address), "size": need(SIZE), "fill": (BYTE, b"\xff"),
                    "hole_is_fill": (is_boolean, False),
                    "segments": (is_list(is_object({"start": need(is_address), "size": need(SIZE)}), 1), None)})
RECOGNISE = is_object({"all": (is_list(is_object({"memory": need(NAME), "at": need(is_address), "bytes": need(is_bytes(1, 65536)),
                                                  "mask": (is_bytes(1, 65536), None)}, mask_fits)), []),
                       "software_numbers": (is_list(LINE), [])}, something)
REGION = is_object({"name": need(NAME), **PLACE, "policy": need(is_choice("locked", "editable", "volatile", "derived")), "note": (TEXT, ""),
                    "count": (is_number(1, MOST), None), "stride": (STRIDE, None)}, both_or_neither("count", "stride", "json-missing-key"))
PATCH = is_object({"name": need(NAME), "memory": need(NAME), "at": need(is_address), "before": need(is_bytes(1, 65536)),
                   "after": need(is_bytes(1, 65536)), "note": (TEXT, "")}, patch_differs)
COPY = is_object({"name": need(NAME), **PLACE, "of": need(is_object({"memory": need(NAME), "start": need(is_address)})),
                  "transform": (is_choice("plain", "complement", "offset"), "plain"), "offset": (is_whole(0, 255), None),
                  "active_bank": (is_object({"memory": need(NAME), "at": need(is_address), "equals": need(is_bytes(1, 32))}), None)}, offset_fits)
FIELD = is_object({"name": need(NAME), "kind": need(is_choice("software-number", "calibration-id", "verification-number", "vin", "serial",
                                                             "hardware-number", "revision-mark", "other")), "memory": need(NAME),
                   "at": need(is_address), "size": need(is_number(1, 256)),
                   "encoding": need(is_choice("ascii", "bcd", "integer-little", "integer-big", "hex")), "pattern": (is_pattern, None),
                   "binds": (is_boolean, False)}, field_fits)
SECTORS = is_object({**PLACE, "count": need(is_number(1, PLACES))})
RATE = is_whole(1, 100000000)
REGION_MAP = is_object({
    "calseal": need(is_text(64)), "name": need(NAME), "title": (LINE, ""), "controller": need(NAME), "version": need(is_whole(1, 2**53 - 1)),
    "note": (TEXT, ""), "memories": need(is_list(MEMORY, 1, 16)), "recognise": (RECOGNISE, None), "forms": (is_list(is_form), []),
    "regions": need(is_list(REGION, weight=lambda item: item["count"] or 1)), "permitted_patches": (is_list(PATCH), []),
    "copies": (is_list(COPY), []), "checksums": (CHECKSUMS, []), "identity": (is_list(FIELD), []),
    "manufacturer_signed": (is_list(is_object({"name": need(NAME), "places": need(is_list(is_object(PLACE), 1))})), []),
    "erase_sectors": (is_list(SECTORS, weight=lambda item: item["count"], total=PLACES), []),
    "items": (is_list(is_item, weight=lambda item: item["count"] or 1), []),
    "link": (is_object({"read_rate": need(RATE), "write_rate": need(RATE)}), None), "succeeds": (DIGEST, ""),
    "evidence": need(is_object({"author": need(LINE), "verified_on": need(is_list(DIGEST)), "guesses": need(is_list(LINE)),
                                "grade": need(is_choice("draft", "verified"))}, verified)),
})


def read_fields(value):
    fields = REGION_MAP(value)
    every = fields["checksums"] + [c for form in fields["forms"] for c in form.get("checksums", [])]
    require(sum(places_of(c) for c in every) <= PLACES, "json-value", "places of all checksums")
    return fields
