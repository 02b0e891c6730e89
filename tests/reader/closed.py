"""Closed parcels (docs/parcel.md): opened, and closed with an ephemeral secret that was chosen beforehand."""

import hpke
from refused import require

MAGIC = b"calseal-parcel/1\n"
INFO = b"calseal parcel/1"
PIECE, TAG = 1048576, 16


def is_closed(data):
    return data.startswith(MAGIC)


def opened(data, secret):
    """The parcel inside. `secret` is the private key, or nothing where none was given."""
    require(secret, "parcel-closed", "no key")
    require(len(data) > len(MAGIC) + 32, "parcel-closed", "nothing inside")
    context = hpke.receiver(data[len(MAGIC):len(MAGIC) + 32], secret, INFO)
    require(context, "parcel-closed", "enc")
    parts, at = [], len(MAGIC) + 32
    while at < len(data):
        sealed = data[at:at + PIECE + TAG]
        at += len(sealed)
        require(len(sealed) > TAG, "parcel-closed", "a piece without a byte")
        text = context.open(b"\x01" if at == len(data) else b"\x00", sealed)
        require(text is not None, "parcel-closed", "a piece does not open")
        parts.append(text)
    return b"".join(parts)


def closed(parcel, public, ephemeral):
    """Cut at PIECE, each piece sealed in order."""
    enc, context = hpke.sender(public, ephemeral, INFO)
    out = [MAGIC, enc]
    for at in range(0, len(parcel), PIECE):
        out.append(context.seal(b"\x01" if at + PIECE >= len(parcel) else b"\x00", parcel[at:at + PIECE]))
    return b"".join(out)
