"""Bytes and fields that are bent by chance."""

from lies_manifest import at, bend_list, leaves, other_value
from refused import sha256


def bend_bytes(rng, data):
    out = bytearray(data)
    way = rng.choice(("bit", "bit", "bit", "append", "cut", "insert", "line end", "twice"))
    i = rng.randrange(len(out))
    if way == "bit":
        out[i] ^= 1 << rng.randrange(8)
    elif way == "append":
        out += bytes([rng.choice((0, 10, 32, 65))])
    elif way == "cut":
        del out[-rng.randint(1, 40):]
    elif way == "insert":
        out.insert(i, rng.randrange(256))
    elif way == "line end":
        out = bytearray(data.replace(b"\n", b"\r\n", 1))
    else:
        out += bytes(out)
    return way, bytes(out)


def bend_field(rng, fields):
    """The name of one field that now says something else of its type; nothing when the change came to the same."""
    path = rng.choice([path for path in leaves(fields) if path and path != ("calseal",)])
    value = at(fields, path)
    lie = bend_list(rng, value) if isinstance(value, list) else other_value(rng, value)
    if lie == value:
        return None
    at(fields, path[:-1])[path[-1]] = lie
    return ".".join(str(one) for one in path if not isinstance(one, int))


def digests(rng, count):
    salt = rng.randbytes(4)
    return sorted(sha256(salt + i.to_bytes(4, "big")) for i in range(count))
