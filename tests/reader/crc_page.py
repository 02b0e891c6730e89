#!/usr/bin/env python3
"""Prints docs/crc-catalogue.md from fixtures/vectors/crc_catalogue.json, or says whether page and vectors agree.

usage: crc_page.py           print the page
       crc_page.py --check   compare the page with the vectors, and compute every check value and residue from the page alone
"""

import json
import os
import sys

from algorithms import Crc
from crc_catalogue import PAGE, read_page

ROOT = os.path.dirname(os.path.dirname(os.path.dirname(os.path.abspath(__file__))))
TOP = """# Catalogue of CRC algorithms

Normative: an appendix of [region-map.md](region-map.md#algorithms). The names, and the aliases, that `{"crc": NAME}` may give, and what each stands for. The parameters are those of the catalogue of
parametrised CRC algorithms (RevEng project, as of 2025-02-02). A name or alias is compared byte for byte. `CRC-8`, `CRC-16/CCITT`, `CRC-24`, `CRC-32` and `CRC-CCITT`, which the
catalogue gives to one algorithm each, are no names here (`map-name`): common usage gives them to several, and a guess would be a wrong checksum later. A CRC wider than 64 bits is listed and refused (`map-checksum`).

How a CRC is computed (the Rocksoft model): a register of `width` bits begins as `init`. Each byte of the message, bit-reversed first where `refin` is true, is brought in from its highest bit on: the register's highest bit,
exclusive-or the message's bit, says whether the register, shifted up by one, is exclusive-ored with `poly`. At the end the register is bit-reversed where `refout` is true, and exclusive-ored with `xorout`.
`check` is the CRC of the nine characters `123456789`. `residue` is what the register holds, after `refout` and before `xorout`, when a message is followed by its own CRC; the value for which a rule with `"residue"` asks is `residue` exclusive-or `xorout`.
Numbers are hexadecimal; `poly` and `init` are not reflected.

This page is printed from [fixtures/vectors/crc_catalogue.json](../fixtures/vectors/crc_catalogue.json) by `tests/reader/crc_page.py`; a test compares the two, and computes every `check` from this page.

| name | aliases | width | poly | init | refin | refout | xorout | check | residue |
| --- | --- | --- | --- | --- | --- | --- | --- | --- | --- |
"""


AMBIGUOUS = {"CRC-8", "CRC-16/CCITT", "CRC-24", "CRC-32", "CRC-CCITT"}


def rows():
    """The entries, without the aliases that are no names here."""
    with open(os.path.join(ROOT, "fixtures", "vectors", "crc_catalogue.json"), encoding="utf-8") as file:
        found = json.load(file)["algorithms"]
    return [{**row, "aliases": [alias for alias in row["aliases"] if alias not in AMBIGUOUS]} for row in found]


def printed():
    def cell(value):
        return ("no", "yes")[value] if isinstance(value, bool) else str(value)
    keys = ("width", "poly", "init", "refin", "refout", "xorout", "check", "residue")
    return TOP + "".join(f"| {row['name']} | {', '.join(row['aliases'])} | {' | '.join(cell(row[key]) for key in keys)} |\n" for row in rows())


def bitwise(entry, message):
    """The CRC as the page's second paragraph says it, bit by bit."""
    top, mask, register = 1 << entry["width"] - 1, (1 << entry["width"]) - 1, entry["init"]
    for byte in message:
        for bit in range(8) if entry["refin"] else range(7, -1, -1):
            feedback = bool(register & top) != bool(byte >> bit & 1)
            register = (register << 1 & mask) ^ (entry["poly"] if feedback else 0)
    if entry["refout"]:
        register = int(f"{register:0{entry['width']}b}"[::-1], 2)
    return register ^ entry["xorout"]


def check():
    with open(PAGE, encoding="utf-8") as file:
        assert file.read() == printed(), "docs/crc-catalogue.md is not what the vectors give: print it again"
    catalogue = read_page()
    assert not AMBIGUOUS & catalogue.keys()
    for row in rows():
        for name in [row["name"]] + row["aliases"]:
            entry = catalogue[name]
            assert bitwise(entry, b"123456789") == entry["check"] == int(row["check"], 16), name
            if entry["width"] <= 64:
                assert Crc(entry).value(b"123456789") == entry["check"], name
    print(f"{len(rows())} algorithms, {len(catalogue)} names and aliases")
    return 0


def main():
    if sys.argv[1:] == ["--check"]:
        return check()
    sys.stdout.write(printed())
    return 0


if __name__ == "__main__":
    sys.exit(main())
