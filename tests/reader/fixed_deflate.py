"""Deflate (RFC 1951) in one block of fixed codes: the same stream everywhere, whatever zlib is installed. For small contents."""

LENGTHS = [(3 + i, 0) for i in range(8)] + [(base + (i << extra), extra) for extra, base in ((1, 11), (2, 19), (3, 35), (4, 67), (5, 131)) for i in range(4)]
LENGTHS[-1:] = [(227, 5), (258, 0)]
DISTANCES = [(1 + i, 0) for i in range(4)] + [((2 << extra) + 1 + (i << extra), extra) for extra in range(1, 14) for i in range(2)]


class Bits:
    def __init__(self):
        self.value, self.count = 0, 0

    def number(self, value, size):
        self.value |= value << self.count
        self.count += size

    def code(self, value, size):
        """Huffman codes go in with their most significant bit first."""
        self.number(int(f"{value:0{size}b}"[::-1], 2), size)

    def symbol(self, symbol):
        if symbol < 144:
            self.code(0x30 + symbol, 8)
        elif symbol < 256:
            self.code(0x190 + symbol - 144, 9)
        elif symbol < 280:
            self.code(symbol - 256, 7)
        else:
            self.code(0xC0 + symbol - 280, 8)

    def match(self, length, distance):
        i = max(i for i, (base, _) in enumerate(LENGTHS) if base <= length)
        self.symbol(257 + i)
        self.number(length - LENGTHS[i][0], LENGTHS[i][1])
        i = max(i for i, (base, _) in enumerate(DISTANCES) if base <= distance)
        self.code(i, 5)
        self.number(distance - DISTANCES[i][0], DISTANCES[i][1])

    def whole(self):
        return self.value.to_bytes((self.count + 7) // 8, "little")


def deflated(content):
    bits, at, last = Bits(), 0, {}
    bits.number(1, 1)
    bits.number(1, 2)
    while at < len(content):
        place = last.get(content[at:at + 3]) if at + 3 <= len(content) else None
        length = 0
        if place is not None and at - place <= 32768:
            while length < 258 and at + length < len(content) and content[place + length] == content[at + length]:
                length += 1
            bits.match(length, at - place)
        else:
            bits.symbol(content[at])
        for i in range(at, at + max(1, length)):
            last[content[i:i + 3]] = i
        at += max(1, length)
    bits.symbol(256)
    return bits.whole()
