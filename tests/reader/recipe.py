"""Contents written down as recipes (fixtures/parcels/README.md): a list of pieces, one after another."""

from parcel_writer import noise


def made(pieces):
    """`["fill", hex, size]`, `["noise", name, size]`, `["text", words]`, `["hex", digits]`, `["times", count, [piece…]]`, `["edit", [piece…], offset, hex]`."""
    return b"".join(piece_of(*piece) for piece in pieces)


def piece_of(kind, first, *more):
    if kind == "fill":
        return bytes.fromhex(first) * more[0]
    if kind == "noise":
        return noise(first, more[0])
    if kind == "text":
        return first.encode("utf-8")
    if kind == "hex":
        return bytes.fromhex(first)
    if kind == "times":
        return made(more[0]) * first
    content, new = bytearray(made(first)), bytes.fromhex(more[1])
    content[more[0]:more[0] + len(new)] = new
    return bytes(content)
