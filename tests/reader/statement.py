"""Signed statements: a first line that is signed, and the signatures below it (docs/bundle-format.md, "Statements")."""

import re

import ed25519
from refused import Refused, require
from shapes import ascending, signed_json


def read_lines(data, literal, most, reason):
    """(the signed line, [(key id, signature)]): size, literal and lines."""
    require(len(data) <= most, "file-too-large")
    require(data.startswith(b'{"calseal":"' + literal + b'",'), "type-wrong")
    lines = data.split(b"\n")
    require(lines.pop() == b"" and 2 <= len(lines) <= 9, reason, "lines")
    pairs = []
    for line in lines[1:]:
        match = re.fullmatch(rb"([0-9a-f]{64}) ([0-9a-f]{128})", line)
        require(match, reason, "signature line")
        pairs.append((match[1].decode(), bytes.fromhex(match[2].decode())))
    require(ascending([identity for identity, _ in pairs]), reason, "order of signatures")
    return lines[0], pairs


def read_fields(signed, shape, reason):
    """The fields of a signed line; whatever is wrong with them has the statement's one reason."""
    try:
        return signed_json(signed, shape)
    except Refused as refused:
        raise Refused(reason, refused) from None


def signers_of(signed, pairs, trust):
    """The listed keys that signed: all listed, then all good, in file order."""
    keys = {key["id"]: key for key in trust["keys"]}
    for identity, _ in pairs:
        require(identity in keys, "signer-unknown")
    for identity, signature in pairs:
        require(ed25519.good(bytes.fromhex(keys[identity]["public_key"]), signed, signature), "signature-bad")
    return [keys[identity] for identity, _ in pairs]


def is_valid_at(key, time):
    return key["valid_from"] <= time and (not key["valid_until"] or time < key["valid_until"])
