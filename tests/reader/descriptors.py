"""What region map and plan say of the shape of an image: kinds, spans, areas, write ranges, payload (docs/proof.md, words and claims)."""

from ranges import cut, merged, overlap, touches, without

PINNED = ("locked", "editable", "derived")


class Shape:
    """Everything here is in offsets. `known` are the bytes that the base knew."""

    def __init__(self, plan, known):
        region_map, space = plan.map, plan.map.space
        self.space, self.plan, self.known = space, plan, known
        whole = [(memory.base, memory.base + memory.size) for memory in space.memories]
        floating = plan.owned_by(lambda at: at in plan.floats)
        self.patched = merged((a, b) for a, b, _ in region_map.patches)
        kinds, left = [], merged(whole)
        for kind, places in (("binding", plan.binding), ("floating", floating), ("derived", region_map.owned),
                             ("volatile", region_map.policy("volatile")), ("editable", region_map.policy("editable"))):
            kinds.append((kind, overlap(left, places)))
            left = without(left, places)
        kinds.append(("locked", left))
        self.kinds = dict(kinds)
        edges = [edge for place in [(a, b) for a, b, _, _ in region_map.regions] + [p for node in plan.nodes for p in node.owned]
                 + [(a, b) for a, b, _ in region_map.binding()] + known for edge in place]
        self.spans = sorted((first, last, kind) for kind, places in kinds for first, last in cut(places, edges))
        changing = merged(self.kinds["editable"] + self.kinds["derived"] + self.patched)
        self.areas = overlap(changing, known)
        self.write_ranges = merged(self.areas + overlap(self.floating_with(self.areas), known))
        self.pinned = overlap(merged(p for kind in PINNED for p in self.kinds[kind]), known)

    def floating_with(self, places):
        plan = self.plan
        return plan.owned_by(lambda at: at in plan.floats and touches(plan.through[at], places))

    def is_known(self, first, last):
        return touches([(first, last)], self.known)

    def is_pinned(self, span):
        return span[2] in PINNED and self.is_known(*span[:2])

    def carried(self, kind, revision):
        if kind == "areas":
            return self.areas
        return self.known if revision == 0 else self.pinned


def described(space, first, last):
    """A range as a manifest writes it."""
    name, address = space.place(first)
    return {"memory": name, "start": f"0x{address:08x}", "size": last - first}


def parts_of(space, controller, carried):
    out = []
    for memory in space.memories:
        ranges = overlap(carried, [(memory.base, memory.base + memory.size)])
        if ranges:
            places = [{key: value for key, value in described(space, *r).items() if key != "memory"} for r in ranges]
            out.append({"memory": memory.name, "entry": f"payload/{controller}/{memory.name}.bin", "ranges": places})
    return out


def text_of(field, content):
    """An identity field's text, by its encoding."""
    encoding = field["encoding"]
    if encoding == "ascii":
        text = content.rstrip(b"\x00\x20\xff")
        if all(0x20 <= byte <= 0x7E for byte in text):
            return text.decode("ascii")
    if encoding == "bcd" and content.hex().isdigit():
        return content.hex()
    if encoding.startswith("integer"):
        return str(int.from_bytes(content, encoding[8:]))
    return content.hex()
