"""What a checksum reads, in an image: pieces, tables looked up, swaps and substitutes applied. And what it comes to."""

import bisect

from map_checksums import part, partners_exist, swapped, swapped_range
from ranges import merged, without
from refused import require

PIECES = 131072  # of all checksums together


def record_range(space, table, image, record):
    """The range that a record names; nothing for a blank one."""
    values = []
    for key in ("start_at", "end_at"):
        first, last = space.named[table["memory"]].range(table["at"] + record * table["record_size"] + table[key], 4)
        require(image.knows([(first, last)]), "read-incomplete", "a table that is not known")
        values.append(int.from_bytes(image.bytes(first, last), table["order"]))
    start, end = values
    if table["skip_blank"] and start == end == 0xFFFFFFFF:
        return None
    length = {"last": end - start + 1, "after": end - start, "length": end}[table["end"]]
    memory = space.named[table["points_into"]]
    require(length > 0 and space.exists(memory, start, length), "descriptor-invalid", f"{start:08x} {end:08x}")
    return memory.range(start, length)


def replaced_by(node):
    """The addresses for which substituted bytes are read: (first, end), apart for each substitute."""
    swap = node.fields["swap"]
    return sorted(r for a, b, _ in node.substitutes for r in merged(swapped_range(node.space, a, b, swap)))


def runs_in(first, last, replaced):
    """How many runs of a range no substitute touches, or one substitute replaces."""
    count, at = 0, first
    for a, b in replaced[max(bisect.bisect_right(replaced, (first,)) - 1, 0):]:
        if a >= last:
            break
        if b > at:
            count += (at < a) + 1
            at = min(b, last)
    return count + (at < last)


class Pieces(list):
    """The coverage of one checksum in the order read; `room` is what the checksums before it left of the limit."""

    def __init__(self, node, room):
        super().__init__()
        self.replaced, self.room = replaced_by(node), room

    def append(self, piece):
        super().append(piece)
        self.room -= 1 if piece[0] == "literal" else runs_in(*piece[1:], self.replaced)
        require(self.room >= 0, "descriptor-invalid", f"more than {PIECES} pieces")


def pieces_of(node, image, room):
    """("literal", bytes) and ("range", first, end), in the order read."""
    space, swap, out = node.space, node.fields["swap"], Pieces(node, room)
    for piece in node.fields["coverage"]:
        if "literal" in piece:
            out.append(("literal", piece["literal"]))
        elif "memory" in piece:
            out.append(("range", *space.range(piece, node.i)))
        else:
            table = piece["table"]
            for record in range(table["records"]) if table["record"] == "all" else [node.i]:
                named = record_range(space, table, image, record)
                if named:
                    require(not swap or partners_exist(space, *named, swap), "descriptor-invalid", "swap partner")
                    out.append(("range", *named))
    return out


def length_of(pieces):
    return sum(len(piece[1]) if piece[0] == "literal" else piece[2] - piece[1] for piece in pieces)


class Message:
    def __init__(self, node, pieces):
        self.node, self.pieces = node, pieces
        taken = [r for piece in pieces if piece[0] == "range" for r in swapped_range(node.space, piece[1], piece[2], node.fields["swap"])]
        self.taken = without(merged(taken), merged((a, b) for a, b, _ in node.substitutes))
        own = [node.balance] if node.balance else []
        self.reads = without(self.taken, own)

    def bytes(self, image):
        swap, out = self.node.fields["swap"], bytearray()
        data = image.data
        if self.node.substitutes:
            data = bytearray(data)
            for first, last, value in self.node.substitutes:
                data[first:last] = bytes([value]) * (last - first)
        for piece in self.pieces:
            if piece[0] == "literal":
                out += piece[1]
            elif swap:
                out += bytes(data[swapped(self.node.space, at, swap)] for at in range(piece[1], piece[2]))
            else:
                out += data[piece[1]:piece[2]]
        return bytes(out)

    def positions(self, at):
        """Where in the message a real byte is taken."""
        out, position = [], 0
        offset = swapped(self.node.space, at, self.node.fields["swap"]) if self.node.fields["swap"] else at
        for piece in self.pieces:
            if piece[0] == "literal":
                position += len(piece[1])
                continue
            if piece[1] <= offset < piece[2]:
                out.append(position + offset - piece[1])
            position += piece[2] - piece[1]
        return out

    def result(self, image):
        fields, algorithm = self.node.fields, self.node.algorithm
        value = algorithm.value(self.bytes(image))
        value = {"ones": -1 - value, "twos": -value}.get(fields["complement"], value)
        return (value + (fields["add"] or 0)) % (1 << algorithm.width) % (1 << self.node.bits)


def transformed(value, count, transform):
    if transform == "complement":
        return value ^ (1 << count) - 1
    if transform == "negate":
        return -value % (1 << count)
    return int(f"{value:0{count}b}"[::-1], 2) if transform == "reverse" else value


def slot_bytes(node, slot, result):
    """What a slot must hold for this result."""
    if "sha" in node.fields["algorithm"]:
        out = result.to_bytes(32, "big")[slot["from"]:slot["from"] + slot["size"]]
        return bytes(byte ^ 0xFF for byte in out) if slot["transform"] == "complement" else out
    first, count = part(slot, node.bits)
    value = transformed(result >> first & (1 << count) - 1, count, slot["transform"])
    encoding, size = slot["encoding"] or "binary", slot["size"]
    if encoding == "binary":
        return value.to_bytes(size, slot["order"] or "little")
    digits = f"{value:0{size}d}" if encoding == "decimal" else f"{value:0{size}x}"
    return (digits.upper() if encoding == "hex-upper" else digits).encode("ascii")


def copied(node, image):
    out = image.bytes(*node.original)
    if node.fields["transform"] == "complement":
        return bytes(byte ^ 0xFF for byte in out)
    if node.fields["transform"] == "offset":
        return bytes((byte + node.fields["offset"]) % 256 for byte in out)
    return out
