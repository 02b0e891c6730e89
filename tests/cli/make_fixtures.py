"""Writes the small images that the cases run on; the checks in them come from zlib and from plain code here, so that
calseal is judged by something else than itself.

tiny.json describes them: 256 bytes at 0x80000000.

    00  10  locked     "TINY", software number at 04 (8 bytes)
    10  10  locked     CRC-32 of the calibration (10), CRC-16 of 00..13 (14): nested; the rest is blank
    20  20  locked     code; a permitted patch at 24
    40  40  editable   calibration
    80  40  derived    its complement
    c0  20  volatile   learned values, CRC-16 in the last two bytes: floating
    e0  11  locked     VIN, binding
    f1  0f  locked     blank
"""

import binascii
import hashlib
import json
import pathlib
import shutil
import zlib

FIXTURES = pathlib.Path(__file__).resolve().parent / "fixtures"


def crc16(data):
    """CRC-16/IBM-3740: poly 1021, init ffff."""
    return binascii.crc_hqx(data, 0xFFFF)


def corrected(image):
    image = bytearray(image)
    image[0x10:0x14] = zlib.crc32(image[0x40:0x80]).to_bytes(4, "little")
    image[0x14:0x16] = crc16(image[0x00:0x14]).to_bytes(2, "big")
    image[0x80:0xC0] = bytes(byte ^ 0xFF for byte in image[0x40:0x80])
    image[0xDE:0xE0] = crc16(image[0xC0:0xDE]).to_bytes(2, "little")
    return bytes(image)


def edited(image, at, data):
    return image[:at] + data + image[at + len(data):]


def tiny_image():
    image = bytearray(b"\xff" * 256)
    image[0x00:0x0C] = b"TINYTN-00001"
    image[0x20:0x40] = bytes(range(0x20, 0x40))
    image[0x40:0x80] = bytes((7 * i) & 0xFF for i in range(0x40))
    image[0xC0:0xDE] = bytes((11 * i + 3) & 0xFF for i in range(0x1E))
    image[0xE0:0xF1] = b"0T1NYCAR2TA000001"  # the maker's code stands for no maker; the check digit is right (49 CFR 565.15(c))
    return corrected(image)


def intel_hex(image, origin):
    def record(kind, at, data):
        body = bytes([len(data), at >> 8 & 0xFF, at & 0xFF, kind]) + data
        return ":" + (body + bytes([-sum(body) & 0xFF])).hex().upper() + "\r\n"

    text = record(4, 0, (origin >> 16).to_bytes(2, "big"))
    for at in range(0, len(image), 16):
        text += record(0, (origin + at) & 0xFFFF, image[at:at + 16])
    return text + record(1, 0, b"")


def named_map(tiny):
    """tiny.json with calibration items: a table of 4 by 2 cells over speed and mass, and a limit."""
    items = [
        {"name": "speed", "kind": "axis", "memory": "flash", "start": "0x80000040", "type": "u8", "points": 4, "factor": "100",
         "unit": "1/min"},
        {"name": "mass", "kind": "axis", "memory": "flash", "start": "0x80000044", "type": "u8", "points": 2, "unit": "mg"},
        {"name": "torque-limit", "title": "torque limit", "kind": "table", "memory": "flash", "start": "0x80000048", "type": "u8",
         "x": "speed", "y": "mass", "factor": "0.5", "unit": "Nm"},
        {"name": "rev-limit", "kind": "scalar", "memory": "flash", "start": "0x80000050", "type": "u16", "unit": "1/min"},
    ]
    return json.dumps(json.loads(tiny) | {"items": items})


def write_all(folder):
    for path in FIXTURES.iterdir():
        shutil.copy(path, folder)
    tiny = tiny_image()
    if json.loads((FIXTURES / "tiny.json").read_text())["evidence"]["verified_on"] != [hashlib.sha256(tiny).hexdigest()]:
        raise SystemExit("tiny.json says that it was verified on another image than tiny.bin")
    edit = edited(tiny, 0x48, b"\x01\x02\x03\x04")
    files = {
        "tiny.bin": tiny,
        "edited.bin": edit,
        "wanted.bin": corrected(edit),
        "patched.bin": edited(corrected(edit), 0x24, b"\xde\xad\xbe\xef"),
        "half-patched.bin": edited(tiny, 0x24, b"\xde\xad"),
        "locked.bin": edited(corrected(edit), 0x30, b"\x00\x00"),
        "volatile.bin": corrected(edited(tiny, 0xC4, b"\x55")),
        "copy.bin": edited(tiny, 0x90, b"\x00"),
        "both.bin": edited(edit, 0x90, b"\x00"),
        "other.bin": edited(tiny, 0x00, b"TONY"),
        "damaged.bin": edited(tiny, 0x12, b"\x00"),
        "steeper.bin": corrected(edited(edit, 0x41, b"\x09\x0f\x14\x1c\x23\x2a\x31\x01\x02\x03\x05")),
        "limit.bin": edited(tiny, 0x50, b"\x58\x1b"),
        "short.bin": tiny[:-1],
        "empty.bin": b"",
    }
    for name, data in files.items():
        (folder / name).write_bytes(data)
    (folder / "tiny.hex").write_text(intel_hex(tiny, 0x80000000), newline="")
    (folder / "edited.hex").write_text(intel_hex(edit, 0x80000000), newline="")
    (folder / "wanted.hex").write_text(intel_hex(corrected(edit), 0x80000000), newline="")
    (folder / "partial.hex").write_text(intel_hex(tiny[:0x40], 0x80000000), newline="")
    (folder / "gap.hex").write_text("".join(line for line in intel_hex(tiny, 0x80000000).splitlines(True) if line[3:7] != "0050"), newline="")
    (folder / "named.json").write_text(named_map((FIXTURES / "tiny.json").read_text()))
    (folder / "deep.json").write_text("[" * 100000 + "]" * 100000)
    (folder / "repeated.json").write_text('{"calseal":"region-map/1","name":"a","name":"b"}\n')
    (folder / "huge-number.json").write_text('{"calseal":"region-map/1","name":"a","version":' + "9" * 40 + "}\n")
    bare = (FIXTURES / "bare.json").read_text()
    (folder / "escape.json").write_text(bare.replace('"name": "bare"', '"name": "bare", "na\\u001b[31mme\\u202e": 1'))
