"""Checksum algorithms over bytes, after docs/region-map.md, "Exactly what is computed"."""

import functools
import hashlib
import zlib

from crc_catalogue import read_page


def mirrored(value, bits):
    return int(f"{value:0{bits}b}"[::-1], 2)


@functools.lru_cache(maxsize=None)
def crc_table(width, poly, reflected):
    """Per byte what it does to a register; one that is not reflected has at least 8 bits, the CRC's own on top."""
    table = []
    for byte in range(256):
        if reflected:
            register, low = byte, mirrored(poly, width)
            for _ in range(8):
                register = register >> 1 ^ (low if register & 1 else 0)
        else:
            wide = max(width, 8)
            register, high, mask = byte << wide - 8, poly << wide - width, (1 << wide) - 1
            for _ in range(8):
                register = (register << 1 & mask) ^ (high if register >> wide - 1 & 1 else 0)
        table.append(register)
    return table


class Crc:
    """After the Rocksoft model."""
    linear = True

    def __init__(self, entry):
        self.entry = entry
        self.width = entry["width"]

    def value(self, message):
        e, width = self.entry, self.width
        table = crc_table(width, e["poly"], e["refin"])
        if e["refin"]:
            register = mirrored(e["init"], width)
            for byte in message:
                register = register >> 8 ^ table[(register ^ byte) & 255]
            # The register holds the value bit-reversed, which is what refout asks for.
            out = register if e["refout"] else mirrored(register, width)
        else:
            wide = max(width, 8)
            register, mask = e["init"] << wide - width, (1 << wide) - 1
            for byte in message:
                register = (register << 8 & mask) ^ table[register >> wide - 8 ^ byte]
            register >>= wide - width
            out = mirrored(register, width) if e["refout"] else register
        return out ^ e["xorout"]

    def residue(self):
        if "residue" in self.entry:
            return self.entry["residue"] ^ self.entry["xorout"]
        # What the register holds after any message and its own CRC: that of the empty message, bit by bit.
        e = self.entry
        codeword = self.value(b"")
        bits = range(self.width) if e["refout"] else range(self.width - 1, -1, -1)
        register, top, mask = e["init"], 1 << self.width - 1, (1 << self.width) - 1
        for bit in bits:
            feedback = bool(register & top) != bool(codeword >> bit & 1)
            register = (register << 1 & mask) ^ (e["poly"] if feedback else 0)
        return (mirrored(register, self.width) if e["refout"] else register) ^ e["xorout"]


class Sum:
    def __init__(self, unit, order, operation, accumulator, init):
        self.unit, self.order, self.operation, self.init = unit, order, operation, init
        self.width = unit if accumulator is None else accumulator
        self.linear = operation == "xor"

    def words(self, message):
        step = self.unit // 8
        whole = message + bytes(-len(message) % step)
        return (int.from_bytes(whole[at:at + step], self.order) for at in range(0, len(whole), step))

    def value(self, message):
        limit = 1 << self.width
        if self.operation == "add":
            return (self.init + sum(self.words(message))) % limit
        if self.operation == "xor":
            return functools.reduce(lambda a, b: a ^ b, self.words(message), self.init)
        total = self.init
        for word in self.words(message):
            total += word
            while total >= limit:
                total = (total & limit - 1) + (total >> self.width)
        return total


class Fletcher:
    linear = False

    def __init__(self, width, order):
        self.width, self.order = width, order

    def value(self, message):
        half = self.width // 2
        step, modulus = half // 8, (1 << half) - 1
        whole = message + bytes(-len(message) % step)
        first = second = 0
        for at in range(0, len(whole), step):
            first = (first + int.from_bytes(whole[at:at + step], self.order)) % modulus
            second = (second + first) % modulus
        return second << half | first


class Adler:
    linear, width = False, 32

    def value(self, message):
        return zlib.adler32(message)


class Sha:
    """The value is the digest as one number, most significant byte first."""
    linear, width = False, 256

    def value(self, message):
        return int.from_bytes(hashlib.sha256(message).digest(), "big")


def algorithm(spec):
    """From the shape of map_fields; a name that is not in the catalogue is nothing."""
    if "crc" in spec:
        entry = read_page().get(spec["crc"]) if isinstance(spec["crc"], str) else spec["crc"]
        return entry and Crc(entry)
    if "sum" in spec:
        return Sum(**spec["sum"])
    if "fletcher" in spec:
        return Fletcher(spec["fletcher"], spec.get("order", "little"))
    return Adler() if "adler" in spec else Sha()
