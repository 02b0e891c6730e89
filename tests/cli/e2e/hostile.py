"""What a holder of a listed key can seal to make a checker take memory or time: region maps at the edge of every limit, payloads
that change every other byte, memories that nobody read. Images are zeros, and every checksum of zeros is zero here, so that a map
holds on its base whatever it says."""

import hashlib
import json
import zlib

from forge import sha256

FLASH = 0x80000000
KIB, MIB = 1 << 10, 1 << 20
NOTE = "n" * 1000


def at(address):
    return f"0x{address:08x}"


def place(start, size, memory="flash", **more):
    return {"memory": memory, "start": at(FLASH + start), "size": size, **more}


def slot(start, size, **more):
    return {"memory": "flash", "at": at(FLASH + start), "size": size, **more}


def region(start, size, name="maps", policy="editable", **more):
    return {"name": name, **place(start, size), "policy": policy, **more}


def sum8(name, coverage, where, **more):
    return {"name": name, "algorithm": {"sum": {"unit": 8}}, "coverage": coverage, "slots": [slot(where, 1)], **more}


def crc(width, poly, **more):
    return {"crc": {"width": width, "poly": poly, "init": 0, "refin": False, "refout": False, "xorout": 0, **more}}


class Case:
    """A region map over `size` bytes of flash, all zeros but for `content`. Revision 1 edits the first byte; without `edit` it is
    revision 0 that is checked. Where the honest program refuses to seal such a map, the map of a plain bundle is exchanged for it
    (`forged`). `bend(forgery)` changes the bundle before it is signed again; `known` are the parts of flash that were read."""

    def __init__(self, name, size=256 * KIB, expect="accepted", forged=False, edit=True, content=b"", memories=(), bend=None, known=None,
                 misread=False, revive=False, version=1, **sections):
        self.name, self.size, self.expect, self.forged, self.edit = name, size, expect, forged, edit
        self.flash = content + bytes(size - len(content))
        self.bend, self.known, self.misread = bend, known, misread
        self.version = version
        self.revive = revive  # no read is given: the bundle's own revision 0 is
        self.memories = [{"name": "flash", "origin": at(FLASH), "size": size}, *memories]
        self.map = {**self.head(), "memories": self.memories, "regions": [region(0, 64)], **sections,
                    "evidence": {"author": "tests", "verified_on": [], "guesses": [], "grade": "draft"}}

    def head(self):
        return {"calseal": "region-map/1", "name": "hostile", "controller": "engine", "version": self.version}

    def map_text(self):
        return json.dumps(self.map, separators=(",", ":")).encode()

    def plain_map_text(self):
        """What the forged map takes the place of."""
        plain = {**self.head(), "memories": self.memories, "regions": [region(0, 64)], "evidence": self.map["evidence"]}
        return json.dumps(plain, separators=(",", ":")).encode()


# ---- checksums: pieces

def cut_by_substitutes(ranges, substitutes, **more):
    """Each of `ranges` coverage ranges falls into 2 * `substitutes` pieces."""
    return sum8("cut", [place(4096, 2 * substitutes)] * ranges, 64,
                substitute=[place(4096 + 2 * i, 1, **{"as": "00"}) for i in range(substitutes)], **more)


def pieces():
    yield Case("pieces-most", checksums=[cut_by_substitutes(16, 4096)])
    yield Case("pieces-over", expect="descriptor-invalid", forged=True,
               checksums=[{**cut_by_substitutes(16, 4096), "coverage": cut_by_substitutes(16, 4096)["coverage"] + [{"literal": "00"}]}])
    yield Case("pieces-many", expect="descriptor-invalid", forged=True, checksums=[cut_by_substitutes(2000, 4000)], size=512 * KIB)
    yield Case("pieces-repeated", expect="descriptor-invalid", forged=True, size=MIB,
               checksums=[{**cut_by_substitutes(15, 500), "repeat": 120, "slots": [slot(64, 1, stride=1)]}])
    yield Case("pieces-swapped", expect="descriptor-invalid", forged=True, size=512 * KIB,
               checksums=[cut_by_substitutes(1000, 4000, swap=32)])
    yield Case("literals", expect="claim-mismatch", forged=True, checksums=[{"name": "words", "repeat": 4095, "algorithm": {"sum": {"unit": 8}},
                                       "coverage": [place(4096, 1)] + [{"literal": "00" * 256}] * 14,
                                       "slots": [slot(8192, 1, stride=1)]}])
    yield Case("tables", size=MIB, content=bytes(4096) + b"\0\0\1\0\1\0\0\0" * 4096,
               checksums=[{"name": f"table{i}", "algorithm": {"sum": {"unit": 8}}, "slots": [slot(128 * KIB + i, 1)],
                           "coverage": [{"table": {"memory": "flash", "at": at(FLASH + 4096), "records": 4095, "record_size": 8,
                                                   "order": "little", "start_at": 0, "end_at": 4, "end": "length",
                                                   "points_into": "low"}}]} for i in range(15)],
               memories=[{"name": "low", "origin": "0x00000000", "size": 256 * KIB}])


# ---- checksums: places read

def copies(count, size, start):
    """`count` copies of the first `size` bytes of `start`, one behind another."""
    return [{"name": f"copy{i}", **place(start + size * (i + 1), size), "of": {"memory": "flash", "start": at(FLASH + start)}}
            for i in range(count)]


def slots_of_one(count, where):
    """Sums of one byte that hold their values in `count` slots together."""
    return [{**sum8(f"many{first}", [place(4096, 1)], 0), "slots": [slot(where + i, 1) for i in range(first, min(count, first + 256))]}
            for first in range(0, count, 256)]


def dependencies():
    yield Case("slots-most", size=2 * MIB, checksums=slots_of_one(1024, 8192), copies=copies(1024, 1024, 8192))
    yield Case("slots-over", size=4 * MIB, expect="descriptor-invalid", forged=True,
               checksums=slots_of_one(1025, 8192), copies=copies(1024, 1025, 8192))
    yield Case("slots-many", size=16 * MIB, expect="descriptor-invalid", forged=True,
               checksums=slots_of_one(4095, 8192), copies=copies(4000, 4095, 8192))
    yield Case("slots-triangle", size=MIB, expect="descriptor-invalid", forged=True,
               checksums=[sum8(f"sum{i}", [place(8192, i + 1)], 8192 + i + 1) for i in range(4095)])
    yield Case("slots-circle", size=MIB, expect="descriptor-invalid", forged=True,
               checksums=[{"name": "sum", "repeat": 4095, **{k: v for k, v in sum8("sum", [place(8192, 4096)], 8192).items() if k != "name"},
                           "slots": [slot(8192, 1, stride=1)]}])
    yield Case("chain", size=MIB, checksums=[sum8(f"sum{i}", [place(8192 + i, 1)], 8192 + i + 1) for i in range(2500)])


# ---- algorithms and joint systems

def algorithms():
    yield Case("polynomials", size=MIB, expect="claim-mismatch", forged=True,
               checksums=[{"name": f"c{i}", "algorithm": crc(32, 2 * i + 1), "coverage": [place(0, 64)], "slots": [slot(8192 + 4 * i, 4)]}
                          for i in range(4000)])
    yield Case("joint", size=MIB, checksums=[
        {"name": f"c{g}-{i}", "algorithm": crc(8, 1 + 2 * i), "coverage": [place(8192 + 64 * g, 64), {"literal": "00" * (i // 8 + 1)}],
         "slots": [slot(8192 + 64 * g + i, 1)]} for g in range(59) for i in range(64)],
        expect="claim-mismatch", forged=True)
    yield Case("joint-copies", size=MIB, expect="checksum-cycle", forged=True, checksums=[
        {"name": f"c{i}", "algorithm": crc(16, 0x1021 + 2 * i, ), "bits": 8, "coverage": [place(8192, 64 * 1024)] * 4,
         "slots": [slot(8192 + i, 1)]} for i in range(112)],
        copies=[{"name": f"copy{i}", **place(8192 + 128 * (i + 1), 128), "of": {"memory": "flash", "start": at(FLASH + 8192)}} for i in range(500)])
    yield Case("balances", size=MIB, expect="claim-mismatch", forged=True, checksums=[
        {"name": "rule", "repeat": 4095, "algorithm": crc(32, 0x04C11DB7), "coverage": [place(8192, 4, stride=4)],
         "rule": {"equals": 0, "balance": {**slot(8192, 4), "stride": 4}}}])


def digests():
    coverage, times = 4096, 60
    digest = hashlib.sha256(bytes(MIB - coverage) * times).digest()
    yield Case("sha-many-times", size=MIB, content=bytes(128) + digest, checksums=[
        {"name": "sha", "algorithm": {"sha": 256}, "coverage": [place(coverage, MIB - coverage)] * times, "slots": [slot(128, 32)]}])


# ---- everything else in a map

def sections():
    yield Case("sectors", size=MIB, regions=[region(0, MIB)], erase_sectors=[{**place(0, 16), "count": 65536}])
    yield Case("sectors-learned", size=MIB, expect="claim-mismatch", forged=True, erase_sectors=[{**place(0, 16), "count": 65536}],
               regions=[region(0, 64, "maps", count=2048, stride=256), region(128, 64, "learned", "volatile", count=2048, stride=256)])
    yield Case("regions", size=MIB, expect="claim-mismatch", forged=True, regions=[region(0, 64), region(4096, 4, "area", note=NOTE, count=4095, stride=64)])
    yield Case("identity", size=4 * MIB, identity=[
        {"name": f"f{i}", "kind": "other", **slot(8192 + 256 * i, 256), "encoding": "hex"} for i in range(800)])
    yield Case("identity-short", size=MIB, identity=[
        {"name": f"f{i}", "kind": "other", **slot(8192 + i, 1), "encoding": "hex"} for i in range(4096)])
    yield Case("patches", size=MIB, permitted_patches=[
        {"name": f"p{i}", "memory": "flash", "at": at(FLASH + 8192 + 2 * i), "before": "00", "after": "01"} for i in range(4096)])
    yield Case("patches-long", size=MIB, permitted_patches=[
        {"name": f"p{i}", "memory": "flash", "at": at(FLASH + 65536 * (i + 1)), "before": "00" * 65536, "after": "01" * 65536} for i in range(3)])
    yield Case("items", size=4 * MIB, items=[
        {"name": "i", "kind": "scalar", "memory": "flash", "start": at(FLASH + 8192), "type": "u8", "title": "t" * 1000, "note": NOTE,
         "unit": "u" * 64, "count": 4096, "stride": 1}])
    yield Case("items-long", size=4 * MIB, items=[
        {"name": f"i{i}", "kind": "curve", "memory": "flash", "start": at(FLASH + 65536 * (i + 1)), "type": "u8", "points": 65536} for i in range(15)])
    yield Case("copies", size=4 * MIB, expect="claim-mismatch", forged=True, copies=[
        {"name": f"c{i}", **place(8192 + 64 * (i + 1), 64), "of": {"memory": "flash", "start": at(FLASH + 8192 + 64 * i)}} for i in range(4096)])
    yield Case("signed-parts", size=MIB, manufacturer_signed=[
        {"name": f"s{i}", "places": [place(8192 + 128 * (64 * i + k), 64) for k in range(64)]} for i in range(100)])
    yield Case("numbers", content=bytes(4096) + b"N0",
               recognise={"software_numbers": [f"N{i}" for i in range(4096)]},
               identity=[{"name": "software", "kind": "software-number", **slot(4096, 2), "encoding": "ascii"}])
    yield Case("forms", forms=[
        {"name": f"form{i}", "blocks": [{"constant": "0102"}, place(0, 64), {"opaque": 4}],
         "checksums": [{"name": "own", "repeat": 1, "algorithm": crc(32, 2 * i + 3),
                        "coverage": [{"memory": "file", "start": "0x00000000", "size": 66}],
                        "slots": [{"memory": "file", "at": "0x00000042", "size": 4}]}]} for i in range(2500)])
    yield Case("memories", expect="claim-mismatch", forged=True, memories=[{"name": f"m{i}", "origin": at(0), "size": 4096} for i in range(15)],
               checksums=[{**sum8("sum", [place(8192, 1)], 16384), "repeat": 4095, "slots": [slot(16384, 1, stride=1)]}])


def heavy_sections():
    """What takes most room above, in one map."""
    cut = cut_by_substitutes(10, 4096)
    words = {"name": "words", "repeat": 2800, "algorithm": {"sum": {"unit": 8}}, "coverage": [place(4096, 1)] + [{"literal": "00" * 256}] * 14,
             "slots": [slot(65536, 1, stride=1)]}
    return dict(size=4 * MIB, checksums=[cut, words], items=[
        {"name": "i", "kind": "scalar", "memory": "flash", "start": at(FLASH + 131072), "type": "u8", "title": "t" * 1000, "note": NOTE,
         "unit": "u" * 64, "count": 4096, "stride": 1}],
        regions=[region(0, 64), region(MIB, 4, "area", note=NOTE, count=4095, stride=64)],
        copies=[{"name": f"c{i}", **place(2 * MIB + 64 * (i + 1), 64), "of": {"memory": "flash", "start": at(FLASH + 2 * MIB + 64 * i)}} for i in range(1500)],
        forms=[{"name": f"form{i}", "note": NOTE[:64], "blocks": [{"constant": "0102"}, place(0, 64), {"opaque": 4}],
                "checksums": [{"name": "own", "algorithm": crc(32, 2 * i + 3), "coverage": [{"memory": "file", "start": "0x00000000", "size": 66}],
                               "slots": [{"memory": "file", "at": "0x00000042", "size": 4}]}]} for i in range(1000)],
        erase_sectors=[{**place(0, 64), "count": 65536}])


def together():
    yield Case("together", expect="claim-mismatch", forged=True, **heavy_sections())
    yield Case("together-keys", expect="json-unknown-key", forged=True, bend=many_keys, **heavy_sections())


def two_maps():
    """Two revisions: one whose map can be sealed, and one under another map of the same name."""
    sections = heavy_sections()
    first = Case("first-map", size=sections["size"], **{name: sections[name] for name in ("items", "forms", "erase_sectors")})
    return first, Case("second-map", expect="rules-widened", forged=True, version=2, **sections)


# ---- the image

def known_parts(count, distance):
    return [(distance * i, distance * i + 1) for i in range(count)]


def images():
    yield Case("plain", size=4 * MIB)
    yield Case("unread", memories=[{"name": "unread", "origin": at(0), "size": 255 * MIB}])
    yield Case("segments", memories=[{"name": "holes", "origin": at(0), "size": 255 * MIB, "hole_is_fill": True,
                                      "segments": [{"start": at(65536 * i), "size": 1} for i in range(4000)]}])
    yield Case("known-apart", size=128 * MIB, known=known_parts(1500, 65536), regions=[region(0, 128 * MIB)], edit=False)
    yield Case("every-other-byte", size=4 * MIB, regions=[region(0, 4 * MIB)], bend=change_every_other_byte)
    yield Case("misread", size=4 * MIB, misread=True, expect="read-foreign", edit=False)
    yield Case("revived", size=4 * MIB, edit=False, revive=True)
    yield Case("revived-opaque", edit=False, revive=True, bend=claim_padding,
               forms=[{"name": "padded", "blocks": [place(0, 256 * KIB), {"opaque": 200 * MIB}]}])
    yield Case("annotations", bend=annotate)
    yield Case("keys", bend=many_keys, expect="json-unknown-key")


def exchange(forgery, entry, content):
    """Another content of a stored entry, named as it is."""
    forgery.store(entry, content, len(content), zlib.crc32(content), sha256(content), method="stored")


def change_every_other_byte(forgery):
    """A payload that changes every other byte of a base that nobody has, under a list of one change."""
    controller = forgery.manifest["controllers"][0]
    [span] = controller["spans"]
    content = b"\x11\x00" * (span["size"] // 2)
    exchange(forgery, controller["payload"]["parts"][0]["entry"], content)
    span.update(before=sha256(b"a base that nobody has"), after=sha256(content))
    for side in ("before", "after"):
        controller["pinned"][side] = sha256(f"{span['memory']} {span['start']} {span['size']} {span[side]}\n".encode())
    controller["files"][0]["digest"] = sha256(content)


def claim_padding(forgery):
    """The first read came in a file of 200 MiB of zeros."""
    digest, piece = hashlib.sha256(bytes(256 * KIB)), bytes(MIB)
    for _ in range(200):
        digest.update(piece)
    forgery.manifest["controllers"][0]["files"] = [{"memory": "flash", "form": "padded", "size": 256 * KIB + 200 * MIB, "digest": digest.hexdigest()}]


def annotate(forgery):
    forgery.manifest["annotations"] = [[f"note{i}", "n" * 10000] for i in range(64)]


def many_keys(forgery):
    text = b'{"calseal":"changes/1","changes":[],' + b",".join(b'"%x":0' % i for i in range(0x10000, 0x10000 + 800_000)) + b"}"
    packer = zlib.compressobj(9, zlib.DEFLATED, -15)
    stored = packer.compress(text) + packer.flush()
    forgery.store("changes.json", stored, len(text), zlib.crc32(text), sha256(text))


def all_cases():
    for group in (images, pieces, dependencies, algorithms, digests, sections, together):
        yield from group()
