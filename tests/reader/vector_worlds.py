"""Small controllers for the vectors of docs/proof.md: each has only what one sentence needs. Bytes are counted up, so a person can see them in a dump."""

import hashlib
import random

from worlds import FLASH, World, at, bank_world, partial_world, patch_world, place, region, slot, table_world, vin_world, whole_world


class Plain(random.Random):
    """Chance that is the same under every version of Python: bytes from SHA-256."""

    def __init__(self, name):
        super().__init__(0)
        self.name, self.turn = name, 0

    def next(self):
        self.turn += 1
        return hashlib.sha256(f"{self.name} {self.turn}".encode("ascii")).digest()

    def randbytes(self, n):
        out = b""
        while len(out) < n:
            out += self.next()
        return out[:n]

    def random(self):
        return int.from_bytes(self.next()[:6], "big") / 2**48

    def randint(self, a, b):
        return a + int.from_bytes(self.next()[:8], "big") % (b - a + 1)

    def randrange(self, a, b=None):
        return self.randint(0, a - 1) if b is None else self.randint(a, b - 1)

    def choice(self, items):
        return items[self.randrange(len(items))]


def crc(name, coverage, where, algorithm="CRC-16/XMODEM"):
    return {"name": name, "algorithm": {"crc": algorithm}, "coverage": coverage, "slots": [slot("flash", FLASH + where, 2)]}


def fresh_world(rng, sectors=True, reads=True):
    """Learned values in the sector that is written; a sum over them and the calibration."""
    learned = place("flash", FLASH + 24, 8)
    fields = {
        "memories": [{"name": "flash", "origin": at(FLASH), "size": 64}],
        "regions": [region("maps", "flash", FLASH + 8, 8, "editable"), region("learned", "flash", FLASH + 24, 8, "volatile")],
        "checksums": [crc("both", [learned] + ([place("flash", FLASH + 8, 8)] if reads else []), 36)],
    }
    if sectors:
        fields["erase_sectors"] = [{**place("flash", FLASH, 32), "count": 2}]
    return World("fresh", fields, rng)


def watched_world(rng):
    """A rule without a balance over learned bytes: nobody can correct it."""
    def fields(equals):
        return {"memories": [{"name": "flash", "origin": at(FLASH), "size": 32}],
                "regions": [region("maps", "flash", FLASH, 8, "editable"), region("learned", "flash", FLASH + 16, 8, "volatile")],
                "checksums": [{"name": "watch", "algorithm": {"sum": {"unit": 8}}, "coverage": [place("flash", FLASH + 16, 8)], "rule": {"equals": equals}}]}
    learned = rng.randbytes(8)
    return World("watched", fields(sum(learned) % 256), rng, [("flash", FLASH + 16, learned)])


def marked_world(rng):
    """Recognised by bytes that a revision may change."""
    fields = {"memories": [{"name": "flash", "origin": at(FLASH), "size": 32}],
              "recognise": {"all": [{"memory": "flash", "at": at(FLASH + 4), "bytes": "4531"}], "software_numbers": ["E1"]},
              "regions": [region("maps", "flash", FLASH, 16, "editable")],
              "identity": [{"name": "number", "kind": "software-number", "memory": "flash", "at": at(FLASH + 8), "size": 3, "encoding": "ascii"}]}
    return World("marked", fields, rng, [("flash", FLASH + 4, b"E1"), ("flash", FLASH + 8, b"E1\x20")])


def unmarked_world(rng):
    """The base knows nothing of what recognises it."""
    fields = {"memories": [{"name": "flash", "origin": at(FLASH), "size": 32}],
              "recognise": {"software_numbers": ["E1"]}, "regions": [region("maps", "flash", FLASH, 16, "editable")],
              "identity": [{"name": "number", "kind": "software-number", "memory": "flash", "at": at(FLASH + 24), "size": 4, "encoding": "ascii"}]}
    return World("unmarked", fields, rng, [("flash", FLASH + 24, b"E1\x00\xff")], [("flash", FLASH + 26, 2)])


def hidden_patch_world(rng):
    """A patch of which the base knows only bytes that are the same before and after."""
    fields = {"memories": [{"name": "flash", "origin": at(FLASH), "size": 32}],
              "regions": [region("maps", "flash", FLASH, 8, "editable")],
              "permitted_patches": [{"name": "dim", "memory": "flash", "at": at(FLASH + 16), "before": "aabbcc", "after": "aabbdd"}]}
    return World("hidden-patch", fields, rng, (), [("flash", FLASH + 18, 2)])


def encodings_world(rng):
    """An identity field of every encoding, with what does and does not decode; one is not pinned, one not known whole."""
    def one(name, where, size, encoding):
        return {"name": name, "kind": "other", "memory": "flash", "at": at(FLASH + where), "size": size, "encoding": encoding}
    fields = {"memories": [{"name": "flash", "origin": at(FLASH), "size": 64}],
              "regions": [region("maps", "flash", FLASH, 8, "editable"), region("learned", "flash", FLASH + 52, 4, "volatile")],
              "identity": [one("padded", 8, 6, "ascii"), one("not-ascii", 14, 3, "ascii"), one("decimal", 17, 2, "bcd"), one("not-decimal", 19, 2, "bcd"),
                           one("little", 21, 3, "integer-little"), one("big", 24, 8, "integer-big"), one("raw", 32, 2, "hex"), one("blank", 34, 2, "ascii"),
                           one("learned", 51, 2, "hex"), one("unknown", 58, 4, "ascii")]}
    texts = [("flash", FLASH + 8, b"A b\x20\x00\xff"), ("flash", FLASH + 14, b"A\x00b"), ("flash", FLASH + 17, b"\x09\x10"), ("flash", FLASH + 19, b"\x1a\x10"),
             ("flash", FLASH + 21, b"\x01\x02\x03"), ("flash", FLASH + 24, b"\xff" * 8), ("flash", FLASH + 32, b"\x00\xff"), ("flash", FLASH + 34, b"\xff\x20")]
    return World("encodings", fields, rng, texts, [("flash", FLASH + 61, 3)])


def mirrored_world(rng):
    """Copies of every transform, one behind another, and of learned bytes."""
    def one(name, where, start, **more):
        return {"name": name, **place("flash", FLASH + where, 4), "of": {"memory": "flash", "start": at(FLASH + start)}, **more}
    fields = {"memories": [{"name": "flash", "origin": at(FLASH), "size": 64}],
              "regions": [region("maps", "flash", FLASH, 8, "editable"), region("learned", "flash", FLASH + 40, 4, "volatile")],
              "copies": [one("second", 16, 12, transform="offset", offset=200), one("first", 12, 0, transform="complement"), one("of-learned", 48, 40)]}
    return World("mirrored", fields, rng)


def sum8(name, coverage, **more):
    return {"name": name, "algorithm": {"sum": {"unit": 8}}, "coverage": coverage, **more}


def cut_world(rng):
    """As many pieces as a map may have: 64 checksums of 8 ranges, each cut into 256."""
    substitutes = [place("flash", FLASH + 4096 + 2 * i, 1, **{"as": "00"}) for i in range(128)]
    fields = {"memories": [{"name": "flash", "origin": at(FLASH), "size": 32768}], "regions": [region("maps", "flash", FLASH, 8, "editable")],
              "checksums": [sum8("cut", [place("flash", FLASH + 4096, 256)] * 8, repeat=64, substitute=substitutes,
                                 slots=[slot("flash", FLASH + 8192, 1, stride=1)])]}
    return World("cut", fields, rng)


MAKERS = {"vin": vin_world, "bank": bank_world, "partial": partial_world, "patches": patch_world, "whole": whole_world, "tables": table_world,
          "fresh": fresh_world, "fresh-no-sectors": lambda rng: fresh_world(rng, sectors=False), "fresh-apart": lambda rng: fresh_world(rng, reads=False),
          "watched": watched_world, "marked": marked_world, "unmarked": unmarked_world, "hidden-patch": hidden_patch_world, "encodings": encodings_world,
          "mirrored": mirrored_world, "cut": cut_world}


def world(name):
    return MAKERS[name](Plain(name))
