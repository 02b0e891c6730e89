"""The files of a read, laid into memories, and the result in the same form (docs/region-map.md, forms; docs/proof.md, output)."""

from correct import correct
from image import Image
from map_rules import block_size, file_of, form_size
from plan import Plan, state
from ranges import merged, overlap, size, without
from record_files import Records, kind_of
from refused import Refused, require


class RawFile:
    def __init__(self, memory, data):
        require(len(data) == size(memory.segments), "image-size", memory.name)
        self.memory, self.data, self.name = memory, data, memory.name

    def lay(self, image):
        at = 0
        for first, last in self.memory.segments:
            image.lay(first, self.data[at:at + last - first])
            at += last - first

    def written(self, result):
        return b"".join(result.bytes(first, last) for first, last in self.memory.segments)


class RecordFile:
    def __init__(self, memories, data, kind):
        self.records, self.memories, self.name = Records(data, kind), memories, memories[0].name if len(memories) == 1 else ""
        self.places = []
        for address, content, _, _ in self.records.data:
            homes = [m for m in memories if m.space_holds(address, len(content))]
            require(len(homes) == 1, "image-outside", f"{address:08x}")
            self.places.append((homes[0].range(address, len(content))[0], content))

    def lay(self, image):
        given = merged((first, first + len(content)) for first, content in self.places)
        for memory in self.memories:
            if memory.hole_is_fill and any(memory.base <= first < memory.base + memory.size for first, _ in self.places):
                for first, last in memory.segments:
                    image.lay(first, bytes([memory.fill]) * (last - first))
        for first, content in self.places:
            image.lay(first, content)
        self.fills = [(first, last) for m in self.memories if m.hole_is_fill for first, last in m.segments]
        self.given = given

    def written(self, result):
        for first, last in overlap(without(merged(self.fills), self.given), result.known):
            fill = result.space.memory_at(first).fill
            require(result.bytes(first, last) == bytes([fill]) * (last - first), "form-omits")
        where = {}
        for (first, content), (address, _, _, _) in zip(self.places, self.records.data):
            where.update({address + i: first + i for i in range(len(content))})
        return self.records.written(lambda address: result.data[where[address]])


class FormFile:
    """A file in a declared form. Its own checksums are those of a region map of one memory, the file."""

    def __init__(self, form, space, data):
        self.form, self.space, self.data = form, space, data
        self.name = form["blocks"] and next(b["memory"] for b in form["blocks"] if "memory" in b)
        self.map = file_of(form)[1]
        self.map.make_nodes()

    @staticmethod
    def fits(form, data):
        if len(data) != form_size(form):
            return False
        at = 0
        for block in form["blocks"]:
            if "constant" in block and data[at:at + len(block["constant"])] != block["constant"]:
                return False
            at += block_size(block)
        return True

    def checksums_hold(self):
        whole = Image(self.map.space, bytearray(self.data + b"\0"), [(0, len(self.data))])
        try:
            return all(state(node, whole) == "holds" for node in Plan(self.map, whole).nodes)
        except Refused:
            return False

    def blocks(self):
        at = 0
        for block in self.form["blocks"]:
            if "memory" in block:
                yield at, self.space.range(block)
            at += block_size(block)

    def lay(self, image):
        for at, (first, last) in self.blocks():
            image.lay(first, self.data[at:at + last - first])
        for place in self.form["omitted"] or []:
            first, last = self.space.range(place)
            image.lay(first, self.form["fill"] * (last - first))

    def written(self, result):
        for place in self.form["omitted"] or []:
            first, last = self.space.range(place)
            require(result.bytes(first, last) == self.form["fill"] * (last - first), "form-omits")
        out = bytearray(self.data + b"\0")
        for at, (first, last) in self.blocks():
            out[at:at + last - first] = result.bytes(first, last)
        whole = Image(self.map.space, out, [(0, len(self.data))])
        plan = Plan(self.map, whole)
        for group in plan.groups:
            if any(state(plan.nodes[at], whole) != "holds" for at in group):
                correct(plan, group, whole)
        return bytes(out[:-1])


def declared(region_map, data, memory):
    """The first declared form that fits and whose checksums hold."""
    failing = False
    for form in region_map.forms:
        if "signature" in form:
            continue
        memories = {b["memory"] for b in form["blocks"] + (form["omitted"] or []) if "memory" in b}
        if (memory and memories != {memory.name}) or not FormFile.fits(form, data):
            continue
        found = FormFile(form, region_map.space, data)
        if found.checksums_hold():
            return found
        failing = True
    require(not failing, "form-checksum")
    return None


def open_file(region_map, name, data):
    space = region_map.space
    require(not name or name in space.named, "memory-unknown", name)
    memory = space.named[name] if name else None
    only = memory or (space.memories[0] if len(space.memories) == 1 else None)
    raw = only is not None and len(data) == size(only.segments)
    kind = kind_of(data)
    if kind:
        return RecordFile([memory] if memory else space.memories, data, kind)
    signatures = [form["signature"] for form in region_map.forms if "signature" in form]
    if not (memory and raw):
        found = declared(region_map, data, memory)
        if found:
            return found
    require(not any(data.startswith(signature) for signature in signatures), "form-opaque")
    of_size = [each for each in space.memories if len(data) == size(each.segments)]
    only = only or (of_size[0] if len(of_size) == 1 else None)
    require(only, "memory-missing", "which memory")
    return RawFile(only, data)


def read_files(region_map, files):
    """(image, opened files) of [(memory or "", bytes)]."""
    image = Image(region_map.space)
    opened = [open_file(region_map, name, data) for name, data in files]
    for each in opened:
        each.lay(image)
    return image, opened
