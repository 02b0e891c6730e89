"""AES (FIPS 197) and GCM (NIST SP 800-38D) with nonces of 96 bits, in plain Python. Not for secrets: tables are looked up openly.

All blocks of a message go through AES at once: the state is sixteen strings, one for each place in a block.
"""

import functools
import hmac
import struct


def doubled(value):
    return value << 1 ^ (0x11B if value & 0x80 else 0)


def substitution():
    """The S-box from its definition: the inverse in GF(2^8), then the affine map."""
    powers, value = [], 1
    for _ in range(255):
        powers.append(value)
        value ^= doubled(value)  # 3 generates the group
    box = [0x63] * 256
    for i, value in enumerate(powers):
        inverse = powers[-i % 255]
        for turn in range(5):
            box[value] ^= inverse << turn & 0xFF | inverse >> 8 - turn
    return box


BOX = substitution()
# Where ShiftRows takes the byte of each place from: column by column, four rows each.
SHIFTED = [4 * ((place // 4 + place % 4) % 4) + place % 4 for place in range(16)]


@functools.lru_cache(None)
def tables(key):
    """For each byte: AddRoundKey and SubBytes; the same, doubled; AddRoundKey alone."""
    return bytes(BOX[x ^ key] for x in range(256)), bytes(doubled(BOX[x ^ key]) for x in range(256)), bytes(x ^ key for x in range(256))


def expanded(key):
    """The round keys, one after another."""
    size = len(key) // 4
    words, constant = [key[at:at + 4] for at in range(0, len(key), 4)], 1
    for i in range(size, 4 * (size + 7)):
        word = words[-1]
        if i % size == 0:
            word = bytes([BOX[word[1]] ^ constant, BOX[word[2]], BOX[word[3]], BOX[word[0]]])
            constant = doubled(constant)
        elif size > 6 and i % size == 4:
            word = bytes(BOX[byte] for byte in word)
        words.append(bytes(a ^ b for a, b in zip(words[i - size], word)))
    return b"".join(words)


def encrypted(keys, planes):
    """The sixteen strings of all blocks, encrypted."""
    count = len(planes[0])
    for at in range(0, len(keys) - 32, 16):
        once = [int.from_bytes(planes[i].translate(tables(keys[at + i])[0]), "big") for i in SHIFTED]
        twice = [int.from_bytes(planes[i].translate(tables(keys[at + i])[1]), "big") for i in SHIFTED]
        planes = []
        for first in range(0, 16, 4):
            for row in range(4):
                b, c, d = (first + (row + step) % 4 for step in (1, 2, 3))
                planes.append((twice[first + row] ^ twice[b] ^ once[b] ^ once[c] ^ once[d]).to_bytes(count, "big"))
    last = [planes[i].translate(tables(keys[len(keys) - 32 + i])[0]) for i in SHIFTED]
    return [plane.translate(tables(key)[2]) for plane, key in zip(last, keys[-16:])]


class Gcm:
    def __init__(self, key):
        self.keys = expanded(key)
        value, products = int.from_bytes(self.stream(bytes(12), 0, 1), "big"), []
        for _ in range(128):
            products.append(value)
            value = value >> 1 ^ (0xE1 << 120 if value & 1 else 0)
        self.tables = []  # of each byte of a block: its product with H
        for place in range(0, 128, 8):
            table = [0] * 256
            for i in range(1, 256):
                low = i & -i
                table[i] = table[i ^ low] ^ products[place + 8 - low.bit_length()]
            self.tables.append(table)

    def stream(self, nonce, first, count):
        """The encrypted counters from `first` on."""
        counters = struct.pack(f">{count}I", *range(first, first + count))
        out = bytearray(16 * count)
        for place, plane in enumerate(encrypted(self.keys, [bytes([byte]) * count for byte in nonce] + [counters[i::4] for i in range(4)])):
            out[place::16] = plane
        return bytes(out)

    def counted(self, nonce, data):
        """Data and the key stream, exclusive or."""
        stream = self.stream(nonce, 2, (len(data) + 15) // 16)
        return (int.from_bytes(data, "big") ^ int.from_bytes(stream[:len(data)], "big")).to_bytes(len(data), "big")

    def tag(self, nonce, aad, sealed):
        text = aad + bytes(-len(aad) % 16) + sealed + bytes(-len(sealed) % 16) + struct.pack(">QQ", 8 * len(aad), 8 * len(sealed))
        value = 0
        for at in range(0, len(text), 16):
            block = (value ^ int.from_bytes(text[at:at + 16], "big")).to_bytes(16, "big")
            value = 0
            for table, byte in zip(self.tables, block):
                value ^= table[byte]
        return (value ^ int.from_bytes(self.stream(nonce, 1, 1), "big")).to_bytes(16, "big")

    def seal(self, nonce, aad, text):
        sealed = self.counted(nonce, text)
        return sealed + self.tag(nonce, aad, sealed)

    def open(self, nonce, aad, sealed):
        """The text, or nothing."""
        if len(sealed) < 16 or not hmac.compare_digest(self.tag(nonce, aad, sealed[:-16]), sealed[-16:]):
            return None
        return self.counted(nonce, sealed[:-16])
