"""Ed25519 (RFC 8032, the pure variant) in plain integers, with the key checks of docs/bundle-format.md. Not for secrets: it takes its time openly."""

import hashlib

from refused import require, sha256

P = 2**255 - 19
ORDER = 2**252 + 27742317777372353535851937790883648493
D = -121665 * pow(121666, P - 2, P) % P
ROOT_OF_MINUS_ONE = pow(2, (P - 1) // 4, P)
NEUTRAL = (0, 1, 1, 0)
WEAK = {"00" * 32, "01" + "00" * 31, "ec" + "ff" * 30 + "7f",
        "26e8958fc2b227b045c3f489f2ef98f0d5dfac05d3c63339b13802886d53fc05",
        "c7176a703d4dd84fba3c0b760d10670f2a2053fa2c39ccc64ec7fd7792ac037a"}


def add(p, q):
    """RFC 8032, section 5.1.4: extended coordinates."""
    a = (p[1] - p[0]) * (q[1] - q[0]) % P
    b = (p[1] + p[0]) * (q[1] + q[0]) % P
    c = 2 * p[3] * q[3] * D % P
    d = 2 * p[2] * q[2] % P
    e, f, g, h = b - a, d - c, d + c, b + a
    return e * f % P, g * h % P, f * g % P, e * h % P


def double(p):
    a, b, c = p[0] * p[0] % P, p[1] * p[1] % P, 2 * p[2] * p[2] % P
    h, s = a + b, p[0] + p[1]
    e, g = h - s * s, a - b
    f = c + g
    return e * f % P, g * h % P, f * g % P, e * h % P


def times(scalar, table):
    """The multiple of a point, four bits at a time, from its table of the multiples 0 to 15."""
    out = NEUTRAL
    for shift in range((scalar.bit_length() + 3) // 4 * 4 - 4, -1, -4):
        out = double(double(double(double(out))))
        digit = scalar >> shift & 15
        if digit:
            out = add(out, table[digit])
    return out


def table_of(point):
    table = [NEUTRAL]
    for _ in range(15):
        table.append(add(table[-1], point))
    return table


def point(encoded):
    """The point of 32 bytes, or nothing (section 5.1.3)."""
    y = int.from_bytes(encoded, "little") & (1 << 255) - 1
    sign = encoded[31] >> 7
    if y >= P:
        return None
    u, v = (y * y - 1) % P, (D * y * y + 1) % P
    x = u * pow(v, 3, P) * pow(u * pow(v, 7, P), (P - 5) // 8, P) % P
    if v * x * x % P == -u % P:
        x = x * ROOT_OF_MINUS_ONE % P
    if v * x * x % P != u or (x == 0 and sign):
        return None
    x = P - x if x & 1 != sign else x
    return x, y, 1, x * y % P


def encoded(p):
    inverse = pow(p[2], P - 2, P)
    x, y = p[0] * inverse % P, p[1] * inverse % P
    return (y | (x & 1) << 255).to_bytes(32, "little")


BASE = table_of(point(bytes.fromhex("58" + "66" * 31)))
TABLES = {}


def hashed(*parts):
    return int.from_bytes(hashlib.sha512(b"".join(parts)).digest(), "little") % ORDER


def good(key, message, signature):
    """Whether the first half is, byte for byte, the encoding of [S]B - [k]A, with S reduced."""
    scalar = int.from_bytes(signature[32:], "little")
    if len(signature) != 64 or scalar >= ORDER:
        return False
    if key not in TABLES:
        a = point(key)
        TABLES[key] = a and table_of((P - a[0], a[1], 1, P - a[3]))
    if TABLES[key] is None:
        return False
    k = hashed(signature[:32], key, message)
    return encoded(add(times(scalar, BASE), times(k, TABLES[key]))) == signature[:32]


def secret_scalar(secret):
    digest = hashlib.sha512(secret).digest()
    scalar = int.from_bytes(digest[:32], "little") & ((1 << 254) - 8) | 1 << 254
    return scalar, digest[32:]


def public_key(secret):
    return encoded(times(secret_scalar(secret)[0], BASE))


def sign(secret, message):
    scalar, prefix = secret_scalar(secret)
    public = public_key(secret)
    r = hashed(prefix, message)
    first = encoded(times(r, BASE))
    return first + ((r + hashed(first, public, message) * scalar) % ORDER).to_bytes(32, "little")


def key_id(key):
    return sha256(bytes.fromhex("302a300506032b6570032100") + key)


def check_key(key):
    y = key[:31] + bytes([key[31] & 0x7F])
    require(int.from_bytes(y, "little") < P and y.hex() not in WEAK, "key-weak", key.hex())
