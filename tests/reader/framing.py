"""The framing: every byte outside the stored bytes of entries follows from the manifest and the ids of the signatures."""

import re
import struct
import zlib

from refused import Refused, require, sha256


def local_header(name, deflated, crc32, stored_size, size):
    return struct.pack("<4sHHHHHIIIHH", b"PK\x03\x04", 20 if deflated else 10, 0, 8 if deflated else 0, 0, 0x21, crc32, stored_size,
                       size, len(name), 0) + name.encode("ascii")


def central_header(name, deflated, crc32, stored_size, size, offset):
    local = local_header(name, deflated, crc32, stored_size, size)
    return b"PK\x01\x02" + struct.pack("<H", 20) + local[4:30] + struct.pack("<HHHII", 0, 0, 0, 0, offset) + local[30:]


def read_prefix(data):
    require(98 <= len(data) <= 2147483647, "bundle-size")
    like = local_header("manifest.json", False, 0, 0, 0)
    require(data[:14] == like[:14] and data[26:43] == like[26:43], "not-a-bundle")
    crc32, stored_size, size = struct.unpack("<III", data[14:26])
    require(1 <= stored_size <= 1048576 and 43 + stored_size <= len(data) and size == stored_size, "prefix-damaged", "size")
    manifest = data[43:43 + size]
    require(zlib.crc32(manifest) == crc32, "prefix-damaged", "CRC-32")
    at, signatures = 43 + size, []
    while len(data) - at >= 41 and data[at:at + 4] == b"PK\x03\x04" and data[at + 30:at + 41] == b"signatures/":
        require(len(signatures) < 8 and len(data) - at >= 30 + 79 + 64, "prefix-damaged", "signatures")
        name, signature = data[at + 30:at + 109], data[at + 109:at + 173]
        match = re.fullmatch(rb"signatures/([0-9a-f]{64})\.sig", name)
        require(match, "prefix-damaged", "name")
        identity = match[1].decode()
        require(not signatures or signatures[-1][0] < identity, "prefix-damaged", "order")
        header = local_header(name.decode(), False, zlib.crc32(signature), 64, 64)
        require(data[at:at + 109] == header, "prefix-damaged", "header")
        signatures.append((identity, signature))
        at += 173
    require(signatures, "signature-missing")
    return manifest, signatures


def check_framing(data, manifest_bytes, signatures, m, first="manifest.json"):
    entries = [(first, False, zlib.crc32(manifest_bytes), len(manifest_bytes), len(manifest_bytes))]
    entries += [(f"signatures/{identity}.sig", False, zlib.crc32(signature), 64, 64) for identity, signature in signatures]
    entries += [(e["name"], e["method"] == "deflated", int(e["crc32"], 16), e["stored_size"], e["size"]) for e in m["entries"]]
    at, directory, stored = 0, b"", []
    for entry in entries:
        header = local_header(*entry)
        require(data[at:at + len(header)] == header, "framing-damaged", f"local header at {at}")
        directory += central_header(*entry, at)
        at += len(header) + entry[3]
        require(at <= len(data), "framing-damaged", "cut")
        stored.append(data[at - entry[3]:at])
    tail = directory + struct.pack("<4sHHHHIIH", b"PK\x05\x06", 0, 0, len(entries), len(entries), len(directory), at, 0)
    require(data[at:] == tail, "framing-damaged", "central directory or end")
    return stored[1 + len(signatures):]


def content_of(entry, stored):
    content = stored
    if entry["method"] == "deflated":
        stream = zlib.decompressobj(-15)
        try:
            # One byte more than declared is asked for, so nothing large is ever made.
            content = stream.decompress(stored, entry["size"] + 1)
        except zlib.error as error:
            raise Refused("content-digest", error) from None
        require(stream.eof and not stream.unused_data, "content-digest", "stream does not end where it should")
    good = len(content) == entry["size"] and zlib.crc32(content) == int(entry["crc32"], 16) and sha256(content) == entry["digest"]
    require(good, "content-digest", entry["name"])
    return content
