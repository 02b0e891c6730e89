"""The vehicle of the random days: the desk's engine, and two small controllers of other sizes, other checks and other recognition
bytes. What a revision of each must be is computed here, with zlib and plain code."""

import dataclasses
import hashlib
import zlib

import desk as desks
import job_desk


def single(name, memory, size, magic, editable, slot, order):
    """A region map of one memory: magic and software number in front, a serial that binds, one editable area under a CRC-32."""
    start, length = editable
    return {
        "calseal": "region-map/1", "name": name.replace("-", "") + "map", "controller": name, "version": 1,
        "memories": [{"name": memory, "origin": "0x00000000", "size": size}],
        "recognise": {"all": [{"memory": memory, "at": "0x00000000", "bytes": magic.hex()}]},
        "regions": [{"name": "maps", "memory": memory, "start": f"0x{start:08x}", "size": length, "policy": "editable"}],
        "checksums": [{
            "name": "maps", "algorithm": {"crc": "CRC-32/ISO-HDLC"},
            "coverage": [{"memory": memory, "start": f"0x{start:08x}", "size": length}],
            "slots": [{"memory": memory, "at": f"0x{slot:08x}", "size": 4, **({"order": order} if order != "little" else {})}],
        }],
        "identity": [
            {"name": "software", "kind": "software-number", "memory": memory, "at": "0x00000004", "size": 8, "encoding": "ascii"},
            {"name": "serial", "kind": "serial", "memory": memory, "at": "0x0000000c", "size": 4, "encoding": "hex", "binds": True},
        ],
        "evidence": {"author": "tests", "verified_on": [], "guesses": [], "grade": "draft"},
    }


@dataclasses.dataclass(frozen=True)
class Kind:
    """A controller: its region map, the memory that an edit goes into, and where its editable area and its CRC-32 lie there."""

    name: str
    regions: dict
    memory: str
    area: tuple  # first address within the memory, and size
    slot: int
    order: str
    first: tuple  # the images of the first read, by memory

    def correct(self, images):
        at, size = self.area
        data = images[self.memory]
        check = zlib.crc32(data[at:at + size]).to_bytes(4, self.order)
        return {**images, self.memory: desks.edited(data, self.slot, check)}

    def edit(self, images, at, new):
        """As an editor leaves it: the checksum is still the old one."""
        return {**images, self.memory: desks.edited(images[self.memory], self.area[0] + at, new)}

    def left_over(self, base, images, spans):
        """Whether anything but these spans and the checksum differs."""
        before, after = bytearray(base[self.memory]), bytearray(images[self.memory])
        for start, end in [*spans, (self.slot, self.slot + 4)]:
            before[start:end] = after[start:end] = bytes(end - start)
        return before != after

    def updated(self, images, number):
        """After a dealer's update: another software number and other code, locked both; the calibration stays as in the read."""
        data = bytearray(images[self.memory])
        data[4:12] = b"UP-%05d" % number
        for at in range(self.area[0] + self.area[1], len(data)):
            if not self.slot <= at < self.slot + 4:
                data[at] ^= 0x5A + number & 0xFF
        return self.correct({**images, self.memory: bytes(data)})


def engine():
    kind = Kind("engine", job_desk.regions_with_mark(), "flash", (0x20, 0x60), 0x10, "little", ())
    return dataclasses.replace(kind, first=(("flash", desks.first_flash()), ("eeprom", desks.first_eeprom())))


def other(name, memory, size, magic, area, slot, order):
    kind = Kind(name, single(name, memory, size, magic, area, slot, order), memory, area, slot, order, ())
    data = bytearray(b"".join(hashlib.sha256(magic + bytes([i])).digest() for i in range(size // 32)))  # no place like another
    data[0:16] = magic.ljust(4, b"\0") + b"SW-00001" + bytes((size >> 4, 1, 2, 3))
    return dataclasses.replace(kind, first=tuple(kind.correct({memory: bytes(data)}).items()))


KINDS = {kind.name: kind for kind in (
    engine(),
    other("transmission", "rom", 512, b"GBX", (0x80, 0x100), 0x40, "big"),
    other("gearbox-pump", "prom", 128, b"PMP", (0x20, 0x40), 0x10, "little"),
)}


@dataclasses.dataclass(frozen=True)
class Option:
    """A few bytes at one place of the editable area."""

    name: str
    controller: str
    at: int
    new: bytes

    def span(self, kind):
        start = kind.area[0] + self.at
        return start, start + len(self.new)


OPTIONS = {option.name: option for option in (
    Option("towing", "engine", 0x18, b"TOW"),
    Option("cold-start", "engine", 0x40, b"COLD"),
    Option("short-shift", "transmission", 0x90, b"SHIFT"),
)}
