"""X25519 (RFC 7748) in plain integers. Not for secrets: it takes its time openly."""

P = 2**255 - 19
BASE = (9).to_bytes(32, "little")
# The encodings of small order, with the top bit cleared: 0, 1, p - 1, p, p + 1, and the two of order 8.
SMALL = {n.to_bytes(32, "little") for n in (
    0, 1, P - 1, P, P + 1, 325606250916557431795983626356110631294008115727848805560023387167927233504,
    39382357235489614581723060781553021112529911719440698176882885853963445705823)}


def is_small(public):
    return public[:31] + bytes([public[31] & 0x7F]) in SMALL


def multiple(secret, public):
    """RFC 7748, section 5: the ladder, one bit at a time."""
    scalar = bytearray(secret)
    scalar[0] &= 248
    scalar[31] = scalar[31] & 127 | 64
    k, u = int.from_bytes(scalar, "little"), (int.from_bytes(public, "little") & (1 << 255) - 1) % P
    x2, z2, x3, z3 = 1, 0, u, 1
    for t in range(254, -1, -1):
        if k >> t & 1:
            x2, x3, z2, z3 = x3, x2, z3, z2
        a, b, c, d = x2 + z2, x2 - z2, x3 + z3, x3 - z3
        da, cb, aa, bb = d * a % P, c * b % P, a * a % P, b * b % P
        e = aa - bb
        x3, z3, x2, z2 = (da + cb) ** 2 % P, u * (da - cb) ** 2 % P, aa * bb % P, e * (aa + 121665 * e) % P
        if k >> t & 1:
            x2, x3, z2, z3 = x3, x2, z3, z2
    return (x2 * pow(z2, P - 2, P) % P).to_bytes(32, "little")


def public_key(secret):
    return multiple(secret, BASE)
