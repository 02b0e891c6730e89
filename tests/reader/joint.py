"""Checksums that read each other's places, solved together over GF(2)."""

import gf2
from algorithms import Crc, Sum
from map_checksums import part
from message import slot_bytes
from refused import require

MOST = 1024  # bits of their places; members


def is_affine(node):
    """Whether what the node compares is an affine function of the bits that it reads and owns."""
    if node.kind == "copy" or not (isinstance(node.algorithm, Crc) or (isinstance(node.algorithm, Sum) and node.algorithm.operation == "xor")):
        return False
    f = node.fields
    if f["complement"] == "twos" or f["add"]:
        return False
    slots = [slot for slot, _ in node.slots] if not f["rule"] else []
    return all((slot["encoding"] or "binary") == "binary" and slot["transform"] != "negate" for slot in slots)


def bits_of(node):
    """(offset, mask) of every bit that the node may set, and how many of them there are, place by place."""
    out = []
    if node.balance:
        return [(at, 1 << bit) for at in range(*node.balance) for bit in range(8)]
    for slot, (first, last) in node.slots if not node.fields["rule"] else []:
        for bit in range(part(slot, node.bits)[1]):
            at = first + bit // 8 if (slot["order"] or "little") == "little" else last - 1 - bit // 8
            out.append((at, 1 << bit % 8))
    return out


def lacking(node, image):
    """What is wrong with a node, as bits: nothing when it holds."""
    result = node.message.result(image)
    if node.fields["rule"]:
        return result ^ node.equals, node.bits
    out = at = 0
    for slot, place in node.slots:
        count = part(slot, node.bits)[1]
        order = slot["order"] or "little"
        wrong = int.from_bytes(slot_bytes(node, slot, result), order) ^ int.from_bytes(image.bytes(*place), order)
        out |= (wrong & (1 << count) - 1) << at
        at += count
    return out, at


class Circle:
    def __init__(self, nodes, image):
        names = ", ".join(node.name for node in nodes)
        require(all(is_affine(node) for node in nodes), "checksum-cycle", names)
        self.nodes = nodes
        self.bits = [bit for node in nodes for bit in bits_of(node)]
        require(len(nodes) <= MOST and len(self.bits) <= MOST, "checksum-cycle", names)
        self.columns, equations = self.matrix(image)
        independent = gf2.rank(self.columns)
        require(independent == equations, "checksum-cycle", names)
        self.unique = independent == len(self.bits)

    def wrong(self, image):
        out = at = 0
        for node in self.nodes:
            bits, count = lacking(node, image)
            out |= bits << at
            at += count
        return out, at

    def matrix(self, image):
        work = image.copy()
        zero, equations = self.wrong(work)
        columns = []
        for at, mask in self.bits:
            work.data[at] ^= mask
            columns.append(self.wrong(work)[0] ^ zero)
            work.data[at] ^= mask
        return columns, equations

    def correct(self, image):
        for node in self.nodes:
            for slot, (first, last) in node.slots if not node.fields["rule"] else []:
                # What lies above the bits that a slot holds is zero.
                kept = int.from_bytes(image.bytes(first, last), slot["order"] or "little") & (1 << part(slot, node.bits)[1]) - 1
                image.data[first:last] = kept.to_bytes(last - first, slot["order"] or "little")
        columns, _ = self.matrix(image)
        choice, _ = gf2.solve(columns, self.wrong(image)[0])
        require(choice is not None, "map-unsolvable", "circle")
        for i, (at, mask) in enumerate(self.bits):
            if choice >> i & 1:
                image.data[at] ^= mask
