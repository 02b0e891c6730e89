#!/usr/bin/env python3
"""A second reader of bundles, made from docs/bundle-format.md alone.

Judges every row of fixtures/bundles/index.json up to the contents: trust file, size, prefix, signatures, kind, format,
JSON, manifest, framing, stored digests, keys, clock, contents. Where a row's reason belongs to these, the same reason must
come out; any other row must pass so far. Shares no code with calseal; signatures are verified by the openssl program.

usage: vectors_reader.py
       vectors_reader.py --print FILE   a bundle of fixtures/bundles byte by byte, as the page prints it
"""

import hashlib
import json
import os
import re
import struct
import subprocess
import sys
import tempfile
import zlib

ROOT = os.path.dirname(os.path.dirname(os.path.dirname(os.path.abspath(__file__))))
FOLDER = os.path.join(ROOT, "fixtures", "bundles")

# What is judged behind the contents, with region map and read; not this reader's business.
LATER = {"accepted", "authentic", "read-missing", "read-incomplete", "read-foreign", "read-not-fresh", "change-patch",
         "set-incomplete", "set-mismatch", "salt-wrong", "vehicle-mismatch", "vehicle-not-provable", "vehicle-reference", "result-mismatch", "claim-mismatch",
         "checksum-fails", "image-size", "record-checksum"}


class Refused(Exception):
    def __init__(self, reason, why=""):
        super().__init__(reason, why)
        self.reason = reason


def require(condition, reason, why=""):
    if not condition:
        raise Refused(reason, why)


def sha256(data):
    return hashlib.sha256(data).hexdigest()


# ---- strict JSON: one pass, the first fault in the text counts

class Strict:
    SPACE = b" \t\r\n"
    NUMBER = re.compile(rb"-?(0|[1-9][0-9]*)(\.[0-9]+)?([eE][+-]?[0-9]+)?")
    ESCAPES = {0x22: '"', 0x5C: "\\", 0x2F: "/", 0x62: "\b", 0x66: "\f", 0x6E: "\n", 0x72: "\r", 0x74: "\t"}

    def __init__(self, data):
        self.data, self.at = data, 0

    def whole(self):
        try:
            self.data.decode("utf-8")
        except UnicodeDecodeError:
            raise Refused("json-syntax", "not UTF-8") from None
        value = self.value(0)
        self.space()
        require(self.at == len(self.data), "json-syntax", "something behind the end")
        return value

    def peek(self):
        return self.data[self.at:self.at + 1]

    def space(self):
        while self.peek() and self.peek() in self.SPACE:
            self.at += 1

    def take(self, token):
        require(self.data.startswith(token, self.at), "json-syntax", f"{token!r} expected at {self.at}")
        self.at += len(token)

    def value(self, depth):
        self.space()
        first = self.peek()
        if first in (b"{", b"["):
            require(depth < 32, "json-depth")
            return self.object(depth + 1) if first == b"{" else self.array(depth + 1)
        if first == b'"':
            return self.string()
        for token, meaning in ((b"true", True), (b"false", False)):
            if self.data.startswith(token, self.at):
                self.at += len(token)
                return meaning
        if self.data.startswith(b"null", self.at):
            raise Refused("json-type", "null")
        return self.number()

    def number(self):
        match = self.NUMBER.match(self.data, self.at)
        require(match, "json-syntax", f"no value at {self.at}")
        self.at = match.end()
        text = match.group()
        # With at most 16 digits before it is taken for a number: a long one costs nothing.
        require(text.isdigit() and len(text) <= 16 and int(text) < 2**53, "json-number", text)
        return int(text)

    def string(self):
        self.take(b'"')
        out, raw = [], bytearray()

        def flush():
            out.append(raw.decode("utf-8"))
            raw.clear()

        while True:
            require(self.at < len(self.data), "json-syntax", "string without end")
            byte = self.data[self.at]
            self.at += 1
            if byte == 0x22:
                flush()
                return "".join(out)
            require(byte >= 0x20, "json-syntax", "control character")
            if byte != 0x5C:
                raw.append(byte)
                continue
            flush()
            out.append(self.escape())

    def escape(self):
        kind = self.data[self.at] if self.at < len(self.data) else 0
        self.at += 1
        if kind != 0x75:
            require(kind in self.ESCAPES, "json-syntax", "unknown escape")
            return self.ESCAPES[kind]
        unit = self.unit()
        if 0xD800 <= unit < 0xDC00:
            self.take(b"\\u")
            low = self.unit()
            require(0xDC00 <= low < 0xE000, "json-syntax", "half of a pair")
            return chr(0x10000 + ((unit - 0xD800) << 10) + (low - 0xDC00))
        require(not 0xDC00 <= unit < 0xE000, "json-syntax", "half of a pair")
        return chr(unit)

    def unit(self):
        digits = self.data[self.at:self.at + 4]
        require(re.fullmatch(rb"[0-9a-fA-F]{4}", digits), "json-syntax", "four digits")
        self.at += 4
        return int(digits, 16)

    def array(self, depth):
        self.take(b"[")
        items = []
        self.space()
        if self.peek() == b"]":
            self.at += 1
            return items
        while True:
            items.append(self.value(depth))
            self.space()
            if self.peek() == b"]":
                self.at += 1
                return items
            self.take(b",")

    def object(self, depth):
        self.take(b"{")
        members = {}
        self.space()
        if self.peek() == b"}":
            self.at += 1
            return members
        while True:
            self.space()
            key = self.string()
            require(key not in members, "json-repeated-key", key)
            self.space()
            self.take(b":")
            members[key] = self.value(depth)
            self.space()
            if self.peek() == b"}":
                self.at += 1
                return members
            self.take(b",")


def canonical(value):
    if isinstance(value, dict):
        return "{" + ",".join(canonical_text(k) + ":" + canonical(v) for k, v in value.items()) + "}"
    if isinstance(value, list):
        return "[" + ",".join(canonical(v) for v in value) + "]"
    if isinstance(value, bool):
        return "true" if value else "false"
    return str(value) if isinstance(value, int) else canonical_text(value)


def canonical_text(text):
    short = {'"': '\\"', "\\": "\\\\", "\b": "\\b", "\t": "\\t", "\n": "\\n", "\f": "\\f", "\r": "\\r"}
    return '"' + "".join(short.get(c, "\\u%04x" % ord(c) if c < " " else c) for c in text) + '"'


# ---- fields: a shape is a function that checks one value

def is_text(limit, pattern=None, controls=True):
    def check(value):
        require(isinstance(value, str), "json-type", value)
        require(len(value.encode("utf-8")) <= limit, "json-value", "too long")
        require(pattern is None or re.fullmatch(pattern, value), "json-value", value)
        require(controls or not re.search("[\x00-\x1f\x7f]", value), "json-value", value)
        return value
    return check


NAME = is_text(64, r"[a-z0-9][a-z0-9_-]{0,63}")
LINE = is_text(200, controls=False)
TEXT = is_text(65536)
VALUE = is_text(1024)
DIGEST = is_text(64, r"[0-9a-f]{64}")
CRC32 = is_text(10, r"0x[0-9a-f]{8}")
ADDRESS = is_text(10, r"0x[0-9a-f]{8}")


def is_time(value):
    is_text(20, r"[0-9]{4}-[0-9]{2}-[0-9]{2}T[0-9]{2}:[0-9]{2}:[0-9]{2}Z")(value)
    year, month, day, hour, minute, second = (int(x) for x in re.findall("[0-9]+", value))
    leap = year % 4 == 0 and (year % 100 != 0 or year % 400 == 0)
    days = [31, 29 if leap else 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31]
    good = 1970 <= year and 1 <= month <= 12 and 1 <= day <= days[month - 1] and hour < 24 and minute < 60 and second < 60
    require(good, "json-value", value)
    return value


def is_boolean(value):
    require(isinstance(value, bool), "json-type", value)
    return value


def is_integer(least, most):
    def check(value):
        require(isinstance(value, int) and not isinstance(value, bool), "json-type", value)
        require(least <= value <= most, "json-value", value)
        return value
    return check


def is_choice(*choices):
    def check(value):
        require(isinstance(value, str), "json-type", value)
        require(value in choices, "json-value", value)
        return value
    return check


def or_empty(shape):
    def check(value):
        return value if value == "" else shape(value)
    return check


def is_list(limit, shape, least=0):
    def check(value):
        require(isinstance(value, list), "json-type", value)
        require(least <= len(value) <= limit, "json-value", "number of items")
        for item in value:
            shape(item)
        return value
    return check


def is_object(shapes):
    def check(value):
        require(isinstance(value, dict), "json-type", value)
        for key, shape in shapes.items():
            require(key in value, "json-missing-key", key)
            shape(value[key])
            if key == "size" and ("start" in shapes or "origin" in shapes):
                first = value["start"] if "start" in shapes else value["origin"]
                require(int(first, 16) + value["size"] <= 2**32, "json-value", "end of a range")
        for key in value:
            require(key in shapes, "json-unknown-key", key)
        return value
    return check


RANGE_SIZE = is_integer(1, 2**32)
RANGE = is_object({"start": ADDRESS, "size": RANGE_SIZE})


def is_annotation(value):
    require(isinstance(value, list), "json-type", value)
    require(len(value) == 2, "json-value", "a pair")
    NAME(value[0])
    TEXT(value[1])


def is_format(value):
    require(isinstance(value, int) and not isinstance(value, bool), "json-type", value)
    require(value == 1, "format-unknown", value)


LIST = 16384
CONTENT = 268435456
CONTROLLER = {
    "name": NAME,
    "region_map": is_object({"name": NAME, "version": is_integer(1, 2**53 - 1), "grade": is_choice("draft", "verified"), "digest": DIGEST}),
    "memories": is_list(16, is_object({"name": NAME, "origin": ADDRESS, "size": is_integer(1, CONTENT), "known": is_list(LIST, RANGE)})),
    "identity": is_list(LIST, is_object({"name": NAME, "kind": NAME, "before": VALUE, "after": VALUE})),
    "binding": is_list(LIST, is_object({"name": NAME, "memory": NAME, "start": ADDRESS, "size": RANGE_SIZE, "digest": or_empty(DIGEST)})),
    "spans": is_list(LIST, is_object({"memory": NAME, "start": ADDRESS, "size": RANGE_SIZE,
                                      "kind": is_choice("locked", "editable", "derived", "floating", "volatile", "binding"),
                                      "before": or_empty(DIGEST), "after": or_empty(DIGEST)})),
    "pinned": is_object({"before": DIGEST, "after": DIGEST}),
    "files": is_list(16, is_object({"memory": or_empty(NAME), "form": NAME, "size": is_integer(1, 2**31 - 1), "digest": DIGEST})),
    "checksums": is_list(LIST, is_object({"name": LINE, "state_before": is_choice("holds", "fails", "not-provable"),
                                          "state_after": is_choice("holds", "fails", "not-provable"), "before": VALUE, "after": VALUE})),
    "patches": is_list(LIST, is_object({"name": NAME, "state": is_choice("before", "after")})),
    "write_ranges": is_list(LIST, is_object({"memory": NAME, "start": ADDRESS, "size": RANGE_SIZE})),
    "payload": is_object({"kind": is_choice("full", "areas"),
                          "parts": is_list(16, is_object({"memory": NAME, "entry": LINE, "ranges": is_list(LIST, RANGE)}))}),
}
ENTRY = {"name": LINE, "method": is_choice("stored", "deflated"), "stored_size": is_integer(0, CONTENT), "stored_digest": DIGEST,
         "size": is_integer(0, CONTENT), "crc32": CRC32, "digest": DIGEST}
MANIFEST = {
    "calseal": is_choice("revision/1"),
    "format": is_format,
    "job": NAME,
    "base": is_object({"number": is_integer(1, 1000000), "reason": LINE}),
    "revision": is_integer(0, 2**40 - 1),
    "sequence": is_integer(1, 2**40),
    "parent": or_empty(DIGEST),
    "set": or_empty(DIGEST),
    "claimed_time": is_time,
    "trial": is_boolean,
    "expires": or_empty(is_time),
    "required_roles": is_list(2, is_choice("author", "reviewer")),
    "title": LINE,
    "notes": TEXT,
    "vehicle_reference": LINE,
    "salt_digest": or_empty(DIGEST),
    "controllers": is_list(1, is_object(CONTROLLER), 1),
    "permitted_returns": is_list(1000, DIGEST),
    "options": is_list(256, is_object({"name": NAME, "title": LINE, "digest": DIGEST})),
    "items": is_list(2000, is_object({"name": LINE, "region": LINE, "unit": LINE, "before": LINE, "after": LINE})),
    "requirements": is_list(64, LINE),
    "cautions": is_list(64, LINE),
    "attachments": is_list(64, is_object({"entry": LINE, "title": LINE})),
    "annotations": is_list(64, is_annotation),
    "tool": LINE,
    "entries": is_list(4087, is_object(ENTRY)),
}
CHANGES = {"calseal": is_choice("changes/1"),
           "changes": is_list(262144, is_object({"memory": NAME, "start": ADDRESS, "size": RANGE_SIZE, "region": LINE, "option": or_empty(NAME)}))}
SET = {"calseal": is_choice("set/1"), "job": NAME,
       "members": is_list(16, is_object({"controller": NAME, "base": is_integer(1, 1000000), "sequence": is_integer(1, 2**40),
                                         "map_digest": DIGEST, "pinned": DIGEST})),
       "write_order": is_list(16, NAME), "drivable_between": is_boolean}
TRUSTED = {"id": DIGEST, "public_key": DIGEST, "name": LINE,
           "roles": is_list(5, is_choice("author", "ledger", "map-author", "reviewer", "withdrawal")),
           "jobs": is_list(256, NAME), "controllers": is_list(256, NAME), "region_maps": is_list(256, DIGEST),
           "valid_from": is_time, "valid_until": or_empty(is_time), "state": is_choice("active", "compromised")}
HEAD = is_object({"size": is_integer(1, 2**53 - 1), "root_hash": DIGEST})
TRUST = {"calseal": is_choice("trust/1"), "version": is_integer(1, 2**53 - 1), "shop": LINE, "root": DIGEST, "claimed_time": is_time,
         "next_root": or_empty(DIGEST), "ledger_heads": is_list(64, HEAD), "policy": is_object({"threshold": is_integer(1, 8)}),
         "keys": is_list(64, is_object(TRUSTED))}


ORDERS = {frozenset(shape): list(shape) for shape in (CONTROLLER, ENTRY, MANIFEST, CHANGES, SET, TRUSTED, TRUST)}
for keys in (["number", "reason"], ["name", "version", "grade", "digest"], ["name", "origin", "size", "known"], ["start", "size"],
             ["name", "kind", "before", "after"], ["name", "memory", "start", "size", "digest"],
             ["memory", "start", "size", "kind", "before", "after"], ["before", "after"], ["memory", "form", "size", "digest"],
             ["name", "state_before", "state_after", "before", "after"], ["name", "state"], ["memory", "start", "size"],
             ["kind", "parts"], ["memory", "entry", "ranges"], ["name", "title", "digest"],
             ["name", "region", "unit", "before", "after"], ["entry", "title"], ["memory", "start", "size", "region", "option"],
             ["controller", "base", "sequence", "map_digest", "pinned"], ["threshold"], ["size", "root_hash"]):
    ORDERS[frozenset(keys)] = keys


def rewritten(value):
    """The value as the page would have it written: keys of each kind of object in their order."""
    if isinstance(value, dict):
        return {key: rewritten(value[key]) for key in ORDERS[frozenset(value)]}
    return [rewritten(item) for item in value] if isinstance(value, list) else value


def signed_json(data, shape):
    value = Strict(data).whole()
    is_object(shape)(value)
    require(canonical(rewritten(value)).encode("utf-8") == data, "json-not-canonical")
    return value


# ---- keys

WEAK = {"00" * 32, "01" + "00" * 31, "ec" + "ff" * 30 + "7f",
        "26e8958fc2b227b045c3f489f2ef98f0d5dfac05d3c63339b13802886d53fc05",
        "c7176a703d4dd84fba3c0b760d10670f2a2053fa2c39ccc64ec7fd7792ac037a"}
ORDER = 2**252 + 27742317777372353535851937790883648493


def key_info(key):
    return bytes.fromhex("302a300506032b6570032100") + key


def key_id(key):
    return sha256(key_info(key))


def check_key(key):
    y = key[:31] + bytes([key[31] & 0x7F])
    require(int.from_bytes(y, "little") < 2**255 - 19 and y.hex() not in WEAK, "key-weak", key.hex())


# ---- spoken codes

# As in docs/bundle-format.md: first and last code point of every run of separators.
SEPARATORS = """9-d 20 2c-2e 85 a0 ad b7 58a 5be 1400 1680 1806 2000-200a 2010-2015 2028-2029 202f 2053 205f 207b 208b 2212 2e17 2e1a
2e3a-2e3b 2e40 2e5d 3000-3002 301c 3030 30a0 fe31-fe32 fe58 fe63 ff0c-ff0e 10d6e 10ead"""
SEPARATOR = "[" + "".join("-".join(re.escape(chr(int(end, 16))) for end in run.split("-")) for run in SEPARATORS.split()) + "]*"


def fits(digits):
    """ISO/IEC 7064 MOD 11,10: the last digit is the check digit of those before it."""
    product = 10
    for digit in digits[:-1]:
        product = ((product + int(digit)) % 10 or 10) * 2 % 11
    return (product + int(digits[-1])) % 10 == 1


def key_code(identity):
    """Letter and groups of a key id."""
    number = f"{int(identity[:32], 16):039d}"
    groups = [number[at:at + 3] for at in range(0, 39, 3)]
    return ["K"] + [group + next(c for c in "0123456789" if fits(str(i % 10) + group + c)) for i, group in enumerate(groups, 1)]


def states_root(stated, identity):
    """Whether the text is this key's code, its letter in either case, or its id; separators may be anywhere in a code, and around an id."""
    code = SEPARATOR.join(["[Kk]"] + list("".join(key_code(identity)[1:])))
    return any(re.fullmatch(SEPARATOR + text + SEPARATOR, stated) for text in (code, identity))


class Signatures:
    """Verifies through the openssl program; the same question is asked once."""

    def __init__(self, folder):
        self.folder, self.known = folder, {}

    def path(self, name, data):
        path = os.path.join(self.folder, name)
        with open(path, "wb") as out:
            out.write(data)
        return path

    def good(self, key, message, signature):
        if int.from_bytes(signature[32:], "little") >= ORDER:
            return False
        question = (key, message, signature)
        if question not in self.known:
            run = subprocess.run(["openssl", "pkeyutl", "-verify", "-rawin", "-pubin", "-keyform", "DER",
                                  "-inkey", self.path("key", key_info(key)), "-in", self.path("message", message),
                                  "-sigfile", self.path("signature", signature)], capture_output=True, check=False)
            self.known[question] = run.returncode == 0
        return self.known[question]


# ---- trust file

def ascending(values):
    return all(a < b for a, b in zip(values, values[1:]))


def read_trust(data, stated_root, signatures):
    require(len(data) <= 262144, "file-too-large")
    require(data.startswith(b'{"calseal":"trust/1",'), "type-wrong")
    lines = data.split(b"\n")
    require(lines.pop() == b"" and 2 <= len(lines) <= 9, "trust-invalid", "lines")
    signed, pairs = lines[0], []
    for line in lines[1:]:
        match = re.fullmatch(rb"([0-9a-f]{64}) ([0-9a-f]{128})", line)
        require(match, "trust-invalid", "signature line")
        pairs.append((match[1].decode(), bytes.fromhex(match[2].decode())))
    require(ascending([identity for identity, _ in pairs]), "trust-invalid", "order of signatures")
    try:
        trust = signed_json(signed, TRUST)
    except Refused as refused:
        raise Refused("trust-invalid", refused.args) from None
    root = bytes.fromhex(trust["root"])
    check_key(root)
    if stated_root:
        require(states_root(stated_root, key_id(root)), "root-mismatch")
    require(len(pairs) == 1 and pairs[0][0] == key_id(root) and signatures.good(root, signed, pairs[0][1]), "trust-invalid", "signature")
    for key in trust["keys"]:
        check_key(bytes.fromhex(key["public_key"]))
    ids = [key["id"] for key in trust["keys"]]
    good = ascending(ids) and key_id(root) not in ids
    for key in trust["keys"]:
        good = good and key["id"] == key_id(bytes.fromhex(key["public_key"])) and key["roles"]
        good = good and all(ascending(key[field]) for field in ("roles", "jobs", "controllers", "region_maps"))
        good = good and (key["valid_until"] == "" or key["valid_from"] < key["valid_until"])
    require(good, "trust-invalid", "keys")
    require(ascending([head["size"] for head in trust["ledger_heads"]]), "trust-invalid", "order of heads")
    return trust


# ---- prefix

def local_header(name, deflated, crc32, stored_size, size):
    return struct.pack("<4sHHHHHIIIHH", b"PK\x03\x04", 20 if deflated else 10, 0, 8 if deflated else 0, 0, 0x21, crc32, stored_size,
                       size, len(name), 0) + name.encode("ascii")


def central_header(name, deflated, crc32, stored_size, size, offset):
    local = local_header(name, deflated, crc32, stored_size, size)
    return b"PK\x01\x02" + struct.pack("<H", 20) + local[4:30] + struct.pack("<HHHII", 0, 0, 0, 0, offset) + local[30:]


def read_prefix(data):
    require(98 <= len(data) <= 2147483647, "bundle-size")
    like = local_header("manifest.json", False, 0, 0, 0)
    require(data[:14] == like[:14] and data[26:43] == like[26:43], "not-a-bundle")
    crc32, stored_size, size = struct.unpack("<III", data[14:26])
    require(1 <= stored_size <= 1048576 and 43 + stored_size <= len(data) and size == stored_size, "prefix-damaged", "size")
    manifest = data[43:43 + size]
    require(zlib.crc32(manifest) == crc32, "prefix-damaged", "CRC-32")
    at, signatures = 43 + size, []
    while len(data) - at >= 41 and data[at:at + 4] == b"PK\x03\x04" and data[at + 30:at + 41] == b"signatures/":
        require(len(signatures) < 8 and len(data) - at >= 30 + 79 + 64, "prefix-damaged", "signatures")
        name, signature = data[at + 30:at + 109], data[at + 109:at + 173]
        match = re.fullmatch(rb"signatures/([0-9a-f]{64})\.sig", name)
        require(match, "prefix-damaged", "name")
        identity = match[1].decode()
        require(not signatures or signatures[-1][0] < identity, "prefix-damaged", "order")
        header = local_header(name.decode(), False, zlib.crc32(signature), 64, 64)
        require(data[at:at + 109] == header, "prefix-damaged", "header")
        signatures.append((identity, signature))
        at += 173
    require(signatures, "signature-missing")
    return manifest, signatures


# ---- manifest

def read_manifest(data):
    literal = b'{"calseal":"revision/1",'
    require(data.startswith(literal), "type-wrong")
    early = re.match(rb'"format":(0|[1-9][0-9]{0,15})(?![0-9])', data[len(literal):])
    require(not early or early[1] == b"1", "format-unknown")
    manifest = signed_json(data, MANIFEST)
    check_consistency(manifest)
    return manifest


def begin(item):
    return int(item["start"], 16)


def end(item):
    return begin(item) + item["size"]


def is_pinned(span):
    return span["kind"] in ("locked", "editable", "derived") and span["known"]


def check_consistency(m):
    def rule(number, condition):
        require(condition, "manifest-invalid", f"rule {number}")

    c = m["controllers"][0]
    names = [memory["name"] for memory in c["memories"]]

    rule(1, m["sequence"] >= m["revision"] + 1)
    rule(1, m["parent"] != "" or (m["revision"] == 0 and m["base"]["number"] == 1))
    rule(1, (m["expires"] != "") == m["trial"])
    rule(1, not m["trial"] or (m["revision"] != 0 and m["expires"] > m["claimed_time"]))
    rule(1, m["required_roles"] in (["author"], ["author", "reviewer"]))

    rule(2, names and len(set(names)) == len(names))
    for memory in c["memories"]:
        memory["begin"] = int(memory["origin"], 16)
        at = memory["begin"] - 1
        for known in memory["known"]:
            rule(2, begin(known) > at and end(known) <= memory["begin"] + memory["size"])
            at = end(known)
    rule(2, sum(memory["size"] for memory in c["memories"]) <= CONTENT)

    check_spans(c, names, m, rule)
    for side in ("before", "after"):
        lines = "".join(f"{s['memory']} {s['start']} {s['size']} {s[side]}\n" for s in c["spans"] if is_pinned(s))
        rule(4, sha256(lines.encode("ascii")) == c["pinned"][side])
    check_binding(c, names, m, rule)

    rule(6, all(len({x["name"] for x in c[field]}) == len(c[field]) for field in ("identity", "patches")))
    places = [names.index(f["memory"]) if f["memory"] in names else (-1 if f["memory"] == "" else None) for f in c["files"]]
    rule(6, None not in places and all(a < b or a == b == -1 for a, b in zip(places, places[1:])))
    rule(6, all(x[side] == "" for x in c["checksums"] for side in ("before", "after") if x["state_" + side] == "not-provable"))

    check_write_ranges(c, names, rule)
    check_payload(c, names, m, rule)
    if m["revision"] == 0:
        rule(9, c["payload"]["kind"] == "full")
        rule(9, all(x["before"] == x["after"] for x in c["spans"] + c["identity"] + c["checksums"]))
        rule(9, all(x["state_before"] == x["state_after"] for x in c["checksums"]))

    rule(10, ascending(m["permitted_returns"]) and len({o["name"] for o in m["options"]}) == len(m["options"]))
    rule(10, ascending([a["entry"] for a in m["attachments"]]) and all(attachment_name(a["entry"]) for a in m["attachments"]))

    for entry in m["entries"]:
        if entry["method"] == "stored":
            rule(11, entry["stored_size"] == entry["size"] and entry["stored_digest"] == entry["digest"])
        else:
            rule(11, entry["stored_size"] < entry["size"] <= 1032 * entry["stored_size"])
    rule(11, sum(entry["size"] for entry in m["entries"]) <= 536870912)
    check_entries(c, m, rule)


def check_spans(c, names, m, rule):
    expected = [(memory["name"], memory["begin"], memory["begin"] + memory["size"]) for memory in c["memories"]]
    at = expected[0][1]
    for span in c["spans"]:
        rule(3, expected and span["memory"] == expected[0][0] and begin(span) == at and end(span) <= expected[0][2])
        at = end(span)
        known = next(memory for memory in c["memories"] if memory["name"] == span["memory"])["known"]
        span["known"] = any(begin(k) <= begin(span) and end(span) <= end(k) for k in known)
        touched = any(begin(k) < end(span) and begin(span) < end(k) for k in known)
        rule(3, span["known"] == touched)
        rule(3, (span["before"] != "") == is_pinned(span) and (span["after"] != "") == is_pinned(span))
        rule(3, span["kind"] != "locked" or c["patches"] or span["before"] == span["after"])
        if at == expected[0][2]:
            expected.pop(0)
            at = expected[0][1] if expected else 0
    rule(3, not expected)


def merged(items):
    """(memory, begin, end) with touching ranges made one."""
    out = []
    for memory, first, last in sorted(items):
        if out and out[-1][0] == memory and out[-1][2] == first:
            out[-1] = (memory, out[-1][1], last)
        else:
            out.append((memory, first, last))
    return out


def covers(ranges, memory, first, last):
    return any(r[0] == memory and r[1] <= first and last <= r[2] for r in ranges)


def spans_as_ranges(c, wanted):
    return merged((s["memory"], begin(s), end(s)) for s in c["spans"] if wanted(s))


def check_binding(c, names, m, rule):
    rule(5, len({b["name"] for b in c["binding"]}) == len(c["binding"]))
    places = sorted((b["memory"], begin(b), end(b)) for b in c["binding"])
    rule(5, all(a[0] != b[0] or a[2] <= b[1] for a, b in zip(places, places[1:])))
    rule(5, all(b["memory"] in names for b in c["binding"]))
    rule(5, merged(places) == spans_as_ranges(c, lambda s: s["kind"] == "binding"))
    known = merged((memory["name"], begin(k), end(k)) for memory in c["memories"] for k in memory["known"])
    for binding in c["binding"]:
        rule(5, binding["digest"] == "" or (m["salt_digest"] != "" and covers(known, binding["memory"], begin(binding), end(binding))))


def check_write_ranges(c, names, rule):
    writable = spans_as_ranges(c, lambda s: s["known"] and s["kind"] != "volatile")
    last = (-1, 0)
    for item in c["write_ranges"]:
        rule(7, item["memory"] in names)
        place = (names.index(item["memory"]), begin(item))
        rule(7, place >= last and covers(writable, item["memory"], begin(item), end(item)))
        last = (place[0], end(item))


def check_payload(c, names, m, rule):
    parts, full = c["payload"]["parts"], c["payload"]["kind"] == "full"
    carried = []
    for part in parts:
        rule(8, part["memory"] in names and part["ranges"])
        rule(8, all(end(a) < begin(b) for a, b in zip(part["ranges"], part["ranges"][1:])))
        carried += [(part["memory"], begin(r), end(r)) for r in part["ranges"]]
    order = [names.index(part["memory"]) for part in parts]
    rule(8, ascending(order))
    pinned = spans_as_ranges(c, is_pinned)
    if full:
        whole = spans_as_ranges(c, lambda s: s["known"]) if m["revision"] == 0 else pinned
        rule(8, sorted(carried) == whole)
    else:
        rule(8, all(covers(pinned, *r) for r in carried))
        rule(8, all(covers(carried, *r) for r in spans_as_ranges(c, lambda s: is_pinned(s) and s["kind"] != "locked")))


def attachment_name(entry):
    if not re.fullmatch(r"attachments/[a-z0-9][a-z0-9._-]{0,99}", entry) or ".." in entry or entry.endswith("."):
        return False
    return not re.fullmatch(r"con|prn|aux|nul|com[1-9]|lpt[1-9]", entry[12:].split(".")[0])


def check_entries(c, m, rule):
    wanted = [(f"regions/{c['name']}.json", {"stored"}, 1048576), ("changes.json", {"stored", "deflated"}, 67108864)]
    if m["set"]:
        wanted.append(("set.json", {"stored"}, 65536))
    parts = {}
    for part in c["payload"]["parts"]:
        rule(12, part["entry"] == f"payload/{c['name']}/{part['memory']}.bin")
        parts[part["entry"]] = sum(r["size"] for r in part["ranges"])
        wanted.append((part["entry"], {"stored", "deflated"}, CONTENT))
    wanted += [(a["entry"], {"stored", "deflated"}, CONTENT) for a in m["attachments"]]
    rule(12, [e["name"] for e in m["entries"]] == [w[0] for w in wanted])
    for entry, (name, methods, limit) in zip(m["entries"], wanted):
        rule(12, entry["method"] in methods and entry["size"] <= limit and entry["size"] == parts.get(name, entry["size"]))
        if name.startswith("regions/"):
            rule(12, entry["digest"] == c["region_map"]["digest"])
        if name == "set.json":
            rule(12, entry["digest"] == m["set"])


# ---- framing, keys, contents

def check_framing(data, manifest_bytes, signatures, m):
    entries = [("manifest.json", False, zlib.crc32(manifest_bytes), len(manifest_bytes), len(manifest_bytes))]
    entries += [(f"signatures/{identity}.sig", False, zlib.crc32(signature), 64, 64) for identity, signature in signatures]
    entries += [(e["name"], e["method"] == "deflated", int(e["crc32"], 16), e["stored_size"], e["size"]) for e in m["entries"]]
    at, directory, stored = 0, b"", []
    for entry in entries:
        header = local_header(*entry)
        require(data[at:at + len(header)] == header, "framing-damaged", f"local header at {at}")
        directory += central_header(*entry, at)
        at += len(header) + entry[3]
        require(at <= len(data), "framing-damaged", "cut")
        stored.append(data[at - entry[3]:at])
    tail = directory + struct.pack("<4sHHHHIIH", b"PK\x05\x06", 0, 0, len(entries), len(entries), len(directory), at, 0)
    require(data[at:] == tail, "framing-damaged", "central directory or end")
    return stored[1 + len(signatures):]


def judge_keys(m, signers, trust):
    c = m["controllers"][0]

    def can_fill(roles, keys):
        return not roles or any(roles[0] in key["roles"] and can_fill(roles[1:], keys[:i] + keys[i + 1:]) for i, key in enumerate(keys))

    def enough(keys):
        counted = [key for key in keys if "author" in key["roles"] or "reviewer" in key["roles"]]
        return can_fill(m["required_roles"], keys) and len(counted) >= trust["policy"]["threshold"]

    active = [key for key in signers if key["state"] == "active"]
    if len(active) < len(signers):
        # No row gives a proof of inclusion, so the others must do alone.
        require(enough(active), "key-compromised")
    for key in active:
        for field, value in (("jobs", m["job"]), ("controllers", c["name"]), ("region_maps", c["region_map"]["digest"])):
            require(not key[field] or value in key[field], "key-scope", field)
    for key in active:
        inside = key["valid_from"] <= m["claimed_time"] and (not key["valid_until"] or m["claimed_time"] < key["valid_until"])
        require(inside, "key-validity")
    require(enough(active), "roles-missing")


def content_of(entry, stored):
    content = stored
    if entry["method"] == "deflated":
        stream = zlib.decompressobj(-15)
        try:
            # One byte more than declared is asked for, so nothing large is ever made.
            content = stream.decompress(stored, entry["size"] + 1)
        except zlib.error as error:
            raise Refused("content-digest", error) from None
        require(stream.eof and not stream.unused_data, "content-digest", "stream does not end where it should")
    good = len(content) == entry["size"] and zlib.crc32(content) == int(entry["crc32"], 16) and sha256(content) == entry["digest"]
    require(good, "content-digest", entry["name"])
    return content


def read_changes(data):
    require(data.startswith(b'{"calseal":"changes/1",'), "type-wrong")
    require(data.count(b",") + data.count(b"[") + data.count(b"{") <= 2097160, "json-value")
    seen = []
    for change in signed_json(data, CHANGES)["changes"]:
        if not seen or seen[-1][0] != change["memory"]:
            require(change["memory"] not in [memory for memory, _ in seen], "manifest-invalid", "memories of changes.json")
            seen.append((change["memory"], 0))
        require(begin(change) >= seen[-1][1], "manifest-invalid", "order of changes.json")
        seen[-1] = (change["memory"], end(change))


def read_set(data):
    require(data.startswith(b'{"calseal":"set/1",'), "type-wrong")
    described = signed_json(data, SET)
    members = [member["controller"] for member in described["members"]]
    require(ascending(members) and len(members) >= 2 and sorted(described["write_order"]) == members, "manifest-invalid", "set.json")


def judge(row, bundle, trust_bytes, signatures):
    """The reason, or nothing where all is well so far."""
    try:
        trust = read_trust(trust_bytes, row["stated_root"], signatures)
        manifest_bytes, pairs = read_prefix(bundle)
        keys = {key["id"]: key for key in trust["keys"]}
        for identity, _ in pairs:
            require(identity in keys, "signer-unknown")
        for identity, signature in pairs:
            require(signatures.good(bytes.fromhex(keys[identity]["public_key"]), manifest_bytes, signature), "signature-bad")
        manifest = read_manifest(manifest_bytes)
        stored = check_framing(bundle, manifest_bytes, pairs, manifest)
        for entry, data in zip(manifest["entries"], stored):
            require(sha256(data) == entry["stored_digest"], "stored-digest", entry["name"])
        judge_keys(manifest, [keys[identity] for identity, _ in pairs], trust)
        require(not manifest["trial"] or row["now"] < manifest["expires"], "expired")
        readers = {"changes.json": read_changes, "set.json": read_set}
        for entry, data in zip(manifest["entries"], stored):
            content = content_of(entry, data)
            if entry["name"] in readers:
                readers[entry["name"]](content)
    except Refused as refused:
        return refused.reason, refused.args[1]
    return None, ""


# ---- the bundle as the page prints it

LOCAL = [(4, "local header"), (2, "version needed"), (2, "flags"), (2, "method"), (2, "time"), (2, "date: 1980-01-01"),
         (4, "CRC-32 of the content"), (4, "stored size"), (4, "size of the content"), (2, "length of the name"),
         (2, "length of the extra field")]
CENTRAL = [(4, "central header"), (2, "version made by")] + LOCAL[1:] + [
    (2, "length of the comment"), (2, "disk"), (2, "internal attributes"), (4, "external attributes"), (4, "offset of the local header")]
END = [(4, "end record"), (2, "this disk"), (2, "disk of the directory"), (2, "number of entries"), (2, "number of entries"),
       (4, "size of all central headers"), (4, "offset of the first central header"), (2, "length of the comment")]
TOLD = ("size", "stored size", "length", "number", "method", "version", "offset of")


class Printed:
    """Blocks of the page: "hex" lines of offset, bytes and words; "text" for bytes that read well."""

    def __init__(self, data):
        self.data, self.at, self.rows, self.out = data, 0, [], []

    def row(self, size, words):
        piece = self.data[self.at:self.at + size]
        if words.startswith(TOLD):
            words += f": {int.from_bytes(piece, 'little')}"
        self.rows.append(f"{self.at:08x}  {piece.hex(' '):<47}  {words}")
        self.at += size
        return piece

    def fields(self, fields):
        for size, words in fields:
            self.row(size, words)

    def plain(self, size, words):
        last = self.at + size
        while self.at < last:
            piece = self.data[self.at:min(last, self.at + 16)]
            self.row(len(piece), piece.decode("ascii") if words == "" else words)
            words = words and "…"

    def flush(self):
        if self.rows:
            self.out.append("```hex\n" + "\n".join(self.rows) + "\n```")
        self.rows = []

    def text(self, size):
        self.flush()
        self.out.append("```text\n" + self.data[self.at:self.at + size].decode("utf-8") + "\n```")
        self.at += size


def print_bundle(data):
    page = Printed(data)
    while data[page.at:page.at + 4] == b"PK\x03\x04":
        method, stored, length = (int.from_bytes(data[page.at + at:page.at + at + size], "little") for at, size in ((8, 2), (18, 4), (26, 2)))
        page.fields(LOCAL)
        name = data[page.at:page.at + length].decode("ascii")
        page.plain(length, "")
        if name.endswith(".json") and method == 0:
            ends = data[page.at + stored - 1] == 0x0A
            page.text(stored - ends)
            if ends:
                page.row(1, "line end, a byte of the region map's file")
        elif method == 8:
            page.plain(stored, "a raw deflate stream of the content, which is shown below")
            page.flush()
            page.out.append("```json\n" + zlib.decompress(data[page.at - stored:page.at], -15).decode("utf-8") + "\n```")
        else:
            page.plain(stored, "signature" if name.startswith("signatures/") else "content")
    while data[page.at:page.at + 4] == b"PK\x01\x02":
        length = int.from_bytes(data[page.at + 28:page.at + 30], "little")
        page.fields(CENTRAL)
        page.plain(length, "")
    page.fields(END)
    page.flush()
    print("\n\n".join(page.out))
    return 0


def load(name):
    with open(os.path.join(FOLDER, name), "rb") as file:
        return file.read()


def main():
    if len(sys.argv) == 3 and sys.argv[1] == "--print":
        return print_bundle(load(sys.argv[2]))
    rows = json.loads(load("index.json"))["vectors"]
    wrong, refused = [], set()
    with tempfile.TemporaryDirectory() as folder:
        signatures = Signatures(folder)
        for row in rows:
            reason, why = judge(row, load(row["bundle"]), load(row["trust"]), signatures)
            expected = None if row["expect"] in LATER else row["expect"]
            refused.add(reason)
            if reason != expected:
                wrong.append(f"{row['name']}: {reason} ({why}), expected {expected or 'to pass so far'}: {row['note']}")
    for line in wrong:
        print(line)
    # A reader that refuses nothing, or everything, would prove nothing.
    print(f"{len(rows)} vectors, {len(refused - {None})} reasons, {len(wrong)} wrong")
    return 0 if rows and not wrong and None in refused and len(refused) > 20 else 1


if __name__ == "__main__":
    sys.exit(main())
