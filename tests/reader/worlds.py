"""Invented controllers for the forger: a region map, and a base that holds under it. Everything follows from the seed."""

import json

from algorithms import Fletcher
from image import Image
from ranges import merged, overlap, without
from region_map import read_region_map
from writer import corrected

FLASH, EEPROM = 0x80000000, 0x00000000


def at(value):
    return f"0x{value:08x}"


def place(memory, start, size, **more):
    return {"memory": memory, "start": at(start), "size": size, **more}


def slot(memory, start, size, **more):
    return {"memory": memory, "at": at(start), "size": size, **more}


def field(name, kind, memory, start, size, encoding="ascii", **more):
    return {"name": name, "kind": kind, "memory": memory, "at": at(start), "size": size, "encoding": encoding, **more}


def region(name, memory, start, size, policy, **more):
    return {"name": name, **place(memory, start, size), "policy": policy, **more}


class World:
    """`edits` are the bytes that a revision may change; `known` the ones that the base knows."""

    def __init__(self, name, fields, rng, texts=(), unknown=(), tables=()):
        fields = {"calseal": "region-map/1", "name": name, "controller": "engine", "version": 3, **fields,
                  "evidence": {"author": "tests", "verified_on": [], "guesses": [], "grade": "draft"}}
        self.name, self.fields = name, fields
        self.map_bytes = json.dumps(fields, separators=(",", ":")).encode("utf-8") + b"\n"
        self.region_map = read_region_map(self.map_bytes)
        self.region_map.make_nodes()
        space = self.region_map.space
        whole = Image(space)
        for memory in space.memories:
            for first, last in memory.segments:
                whole.lay(first, rng.randbytes(last - first))
        for memory, start, content in list(texts) + list(tables):
            whole.lay(space.named[memory].range(start, len(content))[0], content)
        for _, _, patch in self.region_map.patches:
            whole.lay(space.range({**patch, "size": len(patch["before"])}, 0, "at")[0], patch[rng.choice(("before", "before", "after"))])
        # What a revision may not touch because the world says so (markers), it says by texts; everything else is random.
        self.whole = corrected(self.region_map, whole)
        hidden = merged(space.named[memory].range(start, size) for memory, start, size in unknown)
        self.base = self.whole.cut(without(self.whole.known, hidden))
        self.edits = without(overlap(self.region_map.policy("editable"), self.base.known), self.region_map.owned)

    def edited(self, rng, image=None, patches=True):
        """An honest result over an image: some editable bytes, perhaps a patch turned, then corrected."""
        out = (image or self.base).copy()
        for _ in range(rng.randint(1, 4)):
            first, last = rng.choice(self.edits)
            start = rng.randrange(first, last)
            for offset in range(start, min(last, start + rng.randint(1, 6))):
                out.data[offset] ^= rng.randint(1, 255)
        if patches and self.region_map.patches and rng.random() < 0.6:
            first, last, patch = rng.choice(self.region_map.patches)
            side = rng.choice(("before", "after"))
            if out.knows([(first, last)]):
                out.data[first:last] = patch[side]
        return corrected(self.region_map, out)

    def driven(self, rng, image):
        """The same vehicle later: other learned values, what depends on them computed anew by the controller."""
        out = image.copy()
        fixed = merged((self.region_map.space.range(n.fields["active_bank"], 0, "at", len(n.fields["active_bank"]["equals"])))
                       for n in self.region_map.nodes if n.kind == "copy" and n.fields["active_bank"])
        for first, last in without(overlap(self.region_map.policy("volatile"), out.known), merged(fixed + self.region_map.owned)):
            for offset in range(first, last):
                out.data[offset] = rng.randint(0, 255)
        return corrected(self.region_map, out)

    def other_vehicle(self, rng, image):
        out = image.copy()
        for first, last, _ in self.region_map.binding():
            if out.knows([(first, last)]):
                out.data[first:last] = bytes(rng.choice(b"ABCDEFGHJKLMNPRSTUVWXYZ0123456789") for _ in range(last - first))
        return corrected(self.region_map, out)


def vin_text(rng, size=17):
    return bytes(rng.choice(b"ABCDEFGHJKLMNPRSTUVWXYZ0123456789") for _ in range(size))


def vin_world(rng):
    """A CRC over the VIN and calibration, a copy of the VIN, learned values with a sum of their own, sectors."""
    fields = {
        "memories": [{"name": "flash", "origin": at(FLASH), "size": 256}, {"name": "eeprom", "origin": at(EEPROM), "size": 96}],
        "recognise": {"all": [slot("flash", FLASH + 4, 0, bytes="4531")], "software_numbers": ["E1-0042"]},
        "regions": [region("fuel", "flash", FLASH + 64, 48, "editable"), region("spark", "flash", FLASH + 112, 24, "editable"),
                    region("learned", "eeprom", 40, 24, "volatile")],
        "checksums": [
            {"name": "fuel", "algorithm": {"crc": "CRC-16/IBM-3740"}, "coverage": [place("flash", FLASH + 64, 48)], "slots": [slot("flash", FLASH + 136, 2)]},
            {"name": "pairing", "algorithm": {"crc": "CRC-32/ISO-HDLC"}, "coverage": [place("eeprom", 0, 17), place("flash", FLASH + 112, 24)],
             "slots": [slot("flash", FLASH + 140, 4, order="big")]},
            {"name": "learned", "algorithm": {"sum": {"unit": 8, "accumulator": 16}}, "complement": "ones",
             "coverage": [place("eeprom", 40, 24)], "slots": [slot("eeprom", 64, 2)]},
            {"name": "program", "algorithm": {"sha": 256}, "coverage": [place("flash", FLASH, 64)], "slots": [slot("flash", FLASH + 224, 32)]}],
        "copies": [{"name": "vin-again", **place("eeprom", 20, 17), "of": {"memory": "eeprom", "start": at(0)}, "transform": "complement"}],
        "identity": [field("software", "software-number", "flash", FLASH + 16, 8), field("vin", "vin", "eeprom", 0, 17, binds=True),
                     field("day", "other", "flash", FLASH + 32, 3, "bcd"), field("count", "other", "eeprom", 44, 2, "integer-big"),
                     field("mark", "revision-mark", "flash", FLASH + 120, 8)],
        "erase_sectors": [{**place("flash", FLASH, 128), "count": 2}, {**place("eeprom", 0, 16), "count": 6}],
    }
    fields["recognise"]["all"][0].pop("size")
    texts = [("flash", FLASH + 4, b"E1"), ("flash", FLASH + 16, b"E1-0042\xff"), ("eeprom", 0, vin_text(rng)), ("flash", FLASH + 32, bytes.fromhex("071224"))]
    return World("vin", fields, rng, texts)


def bank_world(rng):
    """Two banks and a marker in volatile bytes; the copy holds only while the marker says so."""
    fields = {
        "memories": [{"name": "flash", "origin": at(FLASH), "size": 192}],
        "regions": [region("maps", "flash", FLASH + 16, 40, "editable"), region("marker", "flash", FLASH + 160, 8, "volatile"),
                    region("more", "flash", FLASH + 56, 8, "editable")],
        "checksums": [{"name": "maps", "algorithm": {"adler": 32}, "coverage": [place("flash", FLASH + 16, 40)], "slots": [slot("flash", FLASH + 64, 8, encoding="hex-upper")]}],
        "copies": [{"name": "bank", **place("flash", FLASH + 96, 56), "of": {"memory": "flash", "start": at(FLASH + 16)}, "transform": "offset", "offset": rng.randint(0, 255),
                    "active_bank": slot("flash", FLASH + 162, 0, equals="a55a")}],
        "identity": [field("serial", "serial", "flash", FLASH + 176, 8, "bcd", binds=True), field("hardware", "hardware-number", "flash", FLASH, 4, "integer-little")],
    }
    fields["copies"][0]["active_bank"].pop("size")
    texts = [("flash", FLASH + 162, bytes.fromhex("a55a")), ("flash", FLASH + 176, bytes(rng.choice((0x12, 0x34, 0x56, 0x90)) for _ in range(8)))]
    return World("bank", fields, rng, texts)


def partial_world(rng):
    """The base knows the calibration and little more: one recognition, one checksum and the VIN lie in the dark."""
    fields = {
        "memories": [{"name": "flash", "origin": at(FLASH), "size": 256}],
        "recognise": {"all": [{"memory": "flash", "at": at(FLASH + 80), "bytes": "c0ffee", "mask": "ffff0f"}, {"memory": "flash", "at": at(FLASH + 8), "bytes": "beef"}]},
        "regions": [region("maps", "flash", FLASH + 96, 64, "editable"), region("adaption", "flash", FLASH + 200, 24, "volatile")],
        "checksums": [
            {"name": "maps", "algorithm": {"fletcher": 16}, "coverage": [place("flash", FLASH + 96, 64)], "slots": [slot("flash", FLASH + 160, 2, transform="complement")]},
            {"name": "dark", "algorithm": {"crc": "CRC-8/SMBUS"}, "coverage": [place("flash", FLASH, 32), place("flash", FLASH + 96, 8)], "slots": [slot("flash", FLASH + 164, 1)]},
            {"name": "adaption", "algorithm": {"crc": "CRC-16/MODBUS"}, "coverage": [place("flash", FLASH + 200, 24)], "slots": [slot("flash", FLASH + 224, 2)]}],
        "identity": [field("vin", "vin", "flash", FLASH + 32, 17, binds=True), field("calibration", "calibration-id", "flash", FLASH + 84, 4),
                     field("across", "other", "flash", FLASH + 62, 6, "hex")],
    }
    hidden = [("flash", FLASH, 64), ("flash", FLASH + 232, 24)] + ([("flash", FLASH + 210, 6)] if rng.random() < 0.5 else [])
    return World("partial", fields, rng, [("flash", FLASH + 80, bytes.fromhex("c0ff5e")), ("flash", FLASH + 8, bytes.fromhex("beef")), ("flash", FLASH + 32, vin_text(rng))], hidden)


def patch_world(rng):
    """Patches at edges of spans and beside a signed part; one byte of one patch is unknown."""
    def patch(name, start, size):
        before = rng.randbytes(size)
        after = bytes(b ^ (rng.randint(1, 255) if i in (0, size - 1) else 0) for i, b in enumerate(before))
        return {"name": name, "memory": "flash", "at": at(start), "before": before.hex(), "after": after.hex()}
    fields = {
        "memories": [{"name": "flash", "origin": at(FLASH), "size": 160, "segments": [{"start": at(FLASH), "size": 128}, {"start": at(FLASH + 136), "size": 24}]}],
        "regions": [region("block", "flash", FLASH + 32, 8, "editable", count=3, stride=16), region("boot", "flash", FLASH + 100, 12, "locked")],
        "permitted_patches": [patch("blink", FLASH + 8, 1), patch("limit", FLASH + 96, 8), patch("edge", FLASH + 28, 4), patch("dim", FLASH + 126, 2)],
        "checksums": [
            {"name": "block", "repeat": 3, "algorithm": {"sum": {"unit": 16, "operation": "add-end-around", "order": "big"}}, "complement": "twos", "add": 7,
             "coverage": [place("flash", FLASH + 32, 8, stride=16)], "slots": [slot("flash", FLASH + 40, 2, stride=16)]},
            {"name": "all", "algorithm": {"crc": "CRC-32/MPEG-2"}, "bits": 24, "coverage": [{"literal": "c0de"}, place("flash", FLASH, 120)],
             "substitute": [place("flash", FLASH + 112, 4, **{"as": "ff"})], "slots": [slot("flash", FLASH + 112, 4)]}],
        "manufacturer_signed": [{"name": "loader", "places": [place("flash", FLASH + 12, 8), place("flash", FLASH + 136, 8)]}],
        "identity": [field("number", "software-number", "flash", FLASH, 6)],
        "recognise": {"software_numbers": ["P-7", "P-9"]},
    }
    hidden = [("flash", FLASH + 127, 1), ("flash", FLASH + 150, 4)]
    return World("patches", fields, rng, [("flash", FLASH, b"P-7\x00\x00\x20")], hidden)


def whole_world(rng):
    """Every byte pinned: later revisions name the raw files."""
    fields = {
        "memories": [{"name": "flash", "origin": at(FLASH), "size": 96}, {"name": "data", "origin": at(0x100), "size": 32}],
        "regions": [region("maps", "flash", FLASH + 8, 32, "editable"), region("sums", "flash", FLASH + 40, 2, "derived"), region("table", "data", 0x108, 8, "editable")],
        "checksums": [{"name": "maps", "algorithm": {"sum": {"unit": 16, "operation": "xor"}}, "complement": "ones", "coverage": [place("flash", FLASH + 8, 32)],
                       "slots": [slot("flash", FLASH + 40, 2)]},
                      {"name": "kept", "algorithm": {"crc": "CRC-16/XMODEM"}, "coverage": [place("data", 0x100, 32)],
                       "rule": {"equals": rng.randint(0, 65535), "balance": slot("data", 0x118, 2)}}],
        "identity": [field("number", "software-number", "flash", FLASH, 5, "hex")],
        "erase_sectors": [{**place("flash", FLASH, 32), "count": 3}],
    }
    return World("whole", fields, rng)


def table_world(rng):
    """A descriptor table, two CRCs in a circle, one circle over learned values, swapped words, a rule without a balance."""
    watched = rng.randbytes(16)
    fields = {
        "memories": [{"name": "flash", "origin": at(FLASH), "size": 320}],
        "regions": [region("maps", "flash", FLASH + 64, 64, "editable"), region("learned", "flash", FLASH + 256, 16, "volatile")],
        "checksums": [
            {"name": "listed", "algorithm": {"crc": "CRC-16/XMODEM"},
             "coverage": [{"table": {"memory": "flash", "at": at(FLASH + 16), "records": 3, "record_size": 8, "order": "big", "start_at": 0, "end_at": 4, "end": "last",
                                     "points_into": "flash", "skip_blank": True}}], "slots": [slot("flash", FLASH + 128, 2)]},
            {"name": "left", "algorithm": {"crc": "CRC-16/T10-DIF"}, "coverage": [place("flash", FLASH + 64, 32), place("flash", FLASH + 134, 2)], "slots": [slot("flash", FLASH + 132, 2)]},
            {"name": "right", "algorithm": {"crc": "CRC-16/CDMA2000"}, "coverage": [place("flash", FLASH + 96, 32), place("flash", FLASH + 132, 2)], "slots": [slot("flash", FLASH + 134, 2)]},
            {"name": "swapped", "algorithm": {"sum": {"unit": 16}}, "swap": 16, "coverage": [place("flash", FLASH + 64, 64)], "rule": {"equals": 0x1234, "balance": slot("flash", FLASH + 70, 2)}},
            {"name": "near", "algorithm": {"crc": "CRC-16/T10-DIF"}, "coverage": [place("flash", FLASH + 256, 16), place("flash", FLASH + 276, 2), place("flash", FLASH + 80, 4)], "slots": [slot("flash", FLASH + 272, 2)]},
            {"name": "far", "algorithm": {"crc": "CRC-16/ARC"}, "coverage": [place("flash", FLASH + 272, 2), place("flash", FLASH, 8)], "slots": [slot("flash", FLASH + 276, 2)]},
            {"name": "watch", "algorithm": {"fletcher": 32}, "coverage": [place("flash", FLASH + 280, 16)], "rule": {"equals": Fletcher(32, "little").value(watched)}}],
    }
    def record(start, end):
        return (FLASH + start).to_bytes(4, "big") + (FLASH + end).to_bytes(4, "big")
    table = record(64, 79) + b"\xff" * 8 + record(200, 215)
    return World("tables", fields, rng, [("flash", FLASH + 16, table), ("flash", FLASH + 280, watched)])


WORLDS = {"vin": vin_world, "bank": bank_world, "partial": partial_world, "patches": patch_world, "whole": whole_world, "tables": table_world}
