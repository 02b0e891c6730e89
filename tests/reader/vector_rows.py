"""One row for each sentence of docs/proof.md: what it says, and the bundle and read that show it."""

import json

from lies_reads import intel_hex
from ranges import overlap, without
from refused import sha256
from vector_worlds import world
from worlds import FLASH
from writer import SALT, Draft, corrected, sealed


class Row:
    """A revision of a small controller, its read and its evidence; each row bends one of them."""

    def __init__(self, name, revision=1, kind="areas", salt=SALT, edits=((0, 0x11),), base=None, patches=()):
        self.world = world(name)
        self.map, self.space = self.world.region_map, self.world.region_map.space
        self.base = base or self.world.base
        self.result = self.base.copy()
        if revision > 0:
            first = self.world.edits[0][0]
            for distance, bits in edits:
                self.result.data[first + distance] ^= bits
            for i, side in patches:
                a, b, patch = self.map.patches[i]
                self.result.data[a:b] = patch[side]
            self.result = corrected(self.map, self.result)
        self.revision, self.kind, self.draft_salt = revision, kind, salt
        self.draft = Draft(self.world, self.base, self.result, revision, kind, salt)
        self.draft.methods["changes.json"] = "stored"
        self.read, self.contents = self.world.whole.copy(), None
        self.form = {}
        self.evidence = {"stated_root": "", "salt": SALT if salt else None, "vehicle_reference": "blue estate", "read_is_fresh": True, "revive": False,
                         "seal_only": False}

    @property
    def c(self):
        return self.draft.controller

    def again(self):
        """The draft made anew, after base or result were changed."""
        self.draft = Draft(self.world, self.base, self.result, self.revision, self.kind, self.draft_salt)
        self.draft.methods["changes.json"] = "stored"
        return self

    def at(self, image, address, content, memory="flash"):
        first = self.space.named[memory].range(address, len(content))[0]
        image.data[first:first + len(content)] = content
        return self

    def flip(self, image, address, memory="flash", bits=0x01):
        image.data[self.space.named[memory].range(address, 1)[0]] ^= bits
        return self

    def unread(self, address, size, memory="flash"):
        self.read.known = without(self.read.known, [self.space.named[memory].range(address, size)])
        return self

    def given(self, **evidence):
        self.evidence.update(evidence)
        return self

    def span(self, kind, i=0):
        return [s for s in self.c["spans"] if s["kind"] == kind][i]

    def claim(self, change):
        change(self.draft)
        return self

    def carried(self, address, memory="flash"):
        """One bit of the payload, at an address."""
        self.contents = self.draft.contents()
        for part in self.c["payload"]["parts"]:
            at = 0
            for r in part["ranges"]:
                first = int(r["start"], 16)
                if part["memory"] == memory and first <= address < first + r["size"]:
                    content = bytearray(self.contents[part["entry"]])
                    content[at + address - first] ^= 1
                    self.contents[part["entry"]] = bytes(content)
                at += r["size"]
        return self

    def other_map(self, change):
        """The bundle's region map bent, with its own digest; the manifest stays that of the honest one."""
        fields = json.loads(self.world.map_bytes)
        change(fields)
        data = json.dumps(fields, separators=(",", ":")).encode("utf-8") + b"\n"
        self.world.map_bytes = data
        self.c["region_map"]["digest"] = sha256(data)
        return self

    def sealed(self):
        return sealed(self.draft, contents=self.contents)

    def files(self):
        """memory -> bytes, raw where the memory is known whole, else Intel HEX."""
        out = {}
        for memory in self.space.memories:
            known = overlap(self.read.known, [(memory.base, memory.base + memory.size)])
            form = self.form.get(memory.name)
            if form or known != memory.segments:
                if known:
                    out[memory.name] = (form or intel_hex)(self.read, memory)
            else:
                out[memory.name] = b"".join(self.read.bytes(first, last) for first, last in memory.segments)
        return out


F = FLASH


def driven(row, places, memory="flash"):
    for address in places:
        row.flip(row.read, address, memory, 0x5A)
    row.read = corrected(row.map, row.read)
    return row


def pinned(row):
    row.draft.pin()
    return row


def set_field(row, field, i, key, value):
    row.c[field][i][key] = value
    return row


def revised_read(name, patches=(), edits=((0, 0x22),), **more):
    """A controller that runs another revision already."""
    row = Row(name, **more)
    other = Row(name, edits=edits, patches=patches)
    row.read = other.result.over(row.world.whole)
    return row

