"""A region map, read and judged in the order of docs/region-map.md, with every repetition written out.

All bytes of all memories are numbered through: an offset is a memory's base plus the distance from its origin. One number lies free between
two memories, so ranges of two memories never touch.
"""

import map_checksums
import map_rules
from algorithms import algorithm
from json_text import Strict
from map_fields import read_fields
from ranges import merged
from refused import require


class Memory:
    def __init__(self, fields, base):
        self.name, self.origin, self.size, self.base = fields["name"], fields["origin"], fields["size"], base
        self.fill, self.hole_is_fill = fields["fill"][0], fields["hole_is_fill"]
        parts = fields["segments"] or [{"start": self.origin, "size": self.size}]
        self.segments = merged((p["start"] - self.origin + base, p["start"] - self.origin + base + p["size"]) for p in parts)

    def range(self, start, size):
        first = start - self.origin + self.base
        return first, first + size

    def space_holds(self, address, length):
        first, last = self.range(address, length)
        return any(a <= first and last <= b for a, b in self.segments)


class Space:
    """The memories, by name and by offset."""

    def __init__(self, memories):
        self.memories, base = [], 0
        for fields in memories:
            self.memories.append(Memory(fields, base))
            base += fields["size"] + 1
        self.size = base
        self.named = {memory.name: memory for memory in self.memories}

    def range(self, place, i=0, key="start", size=None):
        step = (place.get("stride") or 0) * i
        return self.named[place["memory"]].range(place[key] + step, place["size"] if size is None else size)

    def memory_at(self, offset):
        return next(memory for memory in self.memories if memory.base <= offset < memory.base + memory.size)

    def place(self, offset):
        memory = self.memory_at(offset)
        return memory.name, memory.origin + offset - memory.base

    def exists(self, memory, start, size):
        return size > 0 and memory.space_holds(start, size)


class Node:
    """A checksum, or a copy. `owned` are its places in the map's order; `balance` the one of a rule."""

    def __init__(self, name, kind, fields, i, space):
        self.name, self.kind, self.fields, self.i, self.space = name, kind, fields, i, space
        self.balance = None
        if kind == "copy":
            self.owned = [space.range(fields)]
            self.original = space.range({**fields["of"], "size": fields["size"]})
            return
        self.algorithm = algorithm(fields["algorithm"])
        self.bits = fields["bits"] or self.algorithm.width
        self.unconfirmed = fields["drafted"] is not None and fields["confirmed"] is None
        if fields["rule"] is None:
            self.slots = [(slot, space.range(slot, i, "at")) for slot in fields["slots"]]
            self.stored = [place for _, place in self.slots]
            self.owned = [] if self.unconfirmed else self.stored
        else:
            balance = fields["rule"]["balance"]
            self.balance = space.range(balance, i, "at") if balance else None
            self.owned = [self.balance] if balance else []
            self.equals = self.algorithm.residue() if fields["rule"]["equals"] == "residue" else fields["rule"]["equals"]
        self.substitutes = [(*space.range(s, i), s["as"][0]) for s in fields["substitute"]]


def repeated(fields, key):
    """(name, i) of every repetition."""
    if fields[key] is None:
        return [(fields["name"], 0)]
    return [(f"{fields['name']}[{i}]", i) for i in range(fields[key])]


class RegionMap:
    def __init__(self, fields):
        self.fields, space = fields, Space(fields["memories"])
        self.space, self.name, self.controller, self.version = space, fields["name"], fields["controller"], fields["version"]
        self.grade, self.recognise, self.forms = fields["evidence"]["grade"], fields["recognise"], fields["forms"]
        self.regions = sorted((*space.range(r, i), name, r["policy"]) for r in fields["regions"] for name, i in repeated(r, "count"))
        self.patches = [(*space.range({**p, "size": len(p["before"])}, 0, "at"), p) for p in fields["permitted_patches"]]
        self.fields_of_identity = [(*space.range(f, 0, "at"), f) for f in fields["identity"]]
        self.signed = merged(space.range(place) for part in fields["manufacturer_signed"] for place in part["places"])
        self.sectors = sorted(self.sector(s, i) for s in fields["erase_sectors"] for i in range(s["count"]))

    def sector(self, fields, i):
        return self.space.named[fields["memory"]].range(fields["start"] + i * fields["size"], fields["size"])

    def make_nodes(self):
        self.nodes = [Node(name, "checksum", c, i, self.space) for c in self.fields["checksums"] for name, i in repeated(c, "repeat")]
        self.nodes += [Node(c["name"], "copy", c, 0, self.space) for c in self.fields["copies"]]
        self.owned = merged(place for node in self.nodes for place in node.owned)

    def policy(self, name):
        return merged((first, last) for first, last, _, policy in self.regions if policy == name)

    def binding(self):
        return [entry for entry in self.fields_of_identity if entry[2]["binds"]]


def check_kind(value):
    require(isinstance(value, dict), "json-type", "top")
    require("calseal" in value, "json-missing-key", "calseal")
    kind = value["calseal"]
    require(isinstance(kind, str), "json-type", "calseal")
    if kind != "region-map/1":
        require(not kind.startswith("region-map/"), "format-unknown", kind)
        require(False, "type-wrong", kind)


def read_region_map(data):
    require(data, "file-empty")
    require(len(data) <= 1048576, "file-too-large")
    value = Strict(data).whole()
    check_kind(value)
    fields = read_fields(value)
    map_rules.check_names(fields)
    map_rules.check_ranges(fields)
    region_map = RegionMap(fields)
    form_maps = [map_rules.file_of(form) for form in fields["forms"] if form.get("checksums")]
    map_rules.check_overlaps(region_map, form_maps)
    map_rules.check_policies(region_map, form_maps)
    for each in [region_map] + [form for _, form in form_maps]:
        map_checksums.check_declarations(each)
    for each in [region_map] + [form for _, form in form_maps]:
        each.make_nodes()
        map_checksums.check_places(each)
    map_checksums.check_amount(region_map, [form for _, form in form_maps])
    return region_map
