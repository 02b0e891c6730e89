"""The steps of docs/proof.md behind match: claims, freshness, rebuild, confinement, checksums, in the order of the page."""

from contents import claim, spans_of
from correct import correct
from descriptors import Shape, described, parts_of, text_of
from image import differences
from matching import check_family, check_match, lay_patches, stands
from plan import Plan, holds, state
from ranges import cut, inside, merged, overlap, touches
from refused import require, sha256


class Proof:
    def __init__(self, manifest, region_map, known, payload, changes):
        self.manifest, self.map, self.known, self.payload, self.changes = manifest, region_map, known, payload, changes
        self.controller, self.revision = manifest["controllers"][0], manifest["revision"]
        self.spans = [entry for entry in spans_of(self.controller, region_map.space) if touches([entry[:2]], known)]

    def run(self, read, evidence):
        """The image to write: the result laid over the read."""
        self.vehicle = check_match(self.manifest, self.map, self.known, read, evidence)
        cut_read = read.cut(self.known)
        self.claims(cut_read)
        self.freshness(cut_read, evidence["read_is_fresh"])
        result = self.rebuild(cut_read)
        self.confinement(cut_read, result)
        written = result.over(read)
        self.checksums(result, written)
        return written

    # ---- claims

    def claims(self, cut_read):
        self.plan = Plan(self.map, cut_read)
        shape = self.shape = Shape(self.plan, self.known)
        space, c = self.map.space, self.controller
        stated = [(s["memory"], s["start"], s["size"], s["kind"]) for s in c["spans"]]
        found = [(*described(space, first, last).values(), kind) for first, last, kind in shape.spans]
        claim(stated == found, "spans")
        claim(c["write_ranges"] == [described(space, *r) for r in shape.write_ranges], "write ranges")
        carried = shape.carried(c["payload"]["kind"], self.revision)
        claim(c["payload"]["parts"] == parts_of(space, self.map.controller, carried), "payload")
        bases = [patch["base"] for patch in c["patches"]]
        if c["payload"]["kind"] == "full":
            for first, last, span in self.locked():
                claim(sha256(self.payload.bytes(first, last)) == span["after"], "carried locked bytes")
        for first, last, span in self.locked():
            claim(sha256(lay_patches(self.map, cut_read, first, last, bases)) == span["before"], "before of a locked span")

    def locked(self):
        return (entry for entry in self.spans if entry[2]["kind"] == "locked")

    # ---- freshness

    def freshness(self, cut_read, fresh):
        sectors = [sector for sector in self.map.sectors if touches([sector], self.shape.write_ranges)]
        for sector in sectors:
            require(inside(overlap([sector], self.known), cut_read.known), "read-incomplete", sector)
        if fresh:
            return
        plan = self.plan
        learning = plan.owned_by(lambda at: touches(plan.through[at], plan.learned))
        for sector in sectors:
            require(not touches([sector], merged(plan.learned + learning)), "read-not-fresh", "sector")
        require(not touches(self.shape.write_ranges, learning), "read-not-fresh", "write range")

    # ---- rebuild

    def rebuild(self, cut_read):
        result, plan, kinds = cut_read.copy(), self.plan, self.shape.kinds
        for first, last in overlap(self.payload.known, merged(kinds["editable"] + kinds["derived"] + self.shape.patched)):
            result.lay(first, self.payload.bytes(first, last))
        for group in plan.groups:
            nodes = [plan.nodes[at] for at in group]
            if group[0] in plan.floats and all(result.knows(node.reads + node.owned) for node in nodes):
                if not all(holds(node, result) for node in nodes):
                    correct(plan, group, result)
        for first, last, span in self.spans:
            if span["after"]:
                require(result.knows([(first, last)]) and sha256(result.bytes(first, last)) == span["after"], "result-mismatch", span)
        if self.revision > 0:
            for file in self.controller["files"]:
                memory = self.map.space.named[file["memory"]]
                claim(file["digest"] == sha256(result.bytes(memory.base, memory.base + memory.size)), "files")
        return result

    # ---- confinement

    def confinement(self, cut_read, result):
        changes = cut(differences(cut_read, result), [edge for first, last, _ in self.shape.spans for edge in (first, last)])
        kinds, plan = self.shape.kinds, self.plan
        locked = overlap(changes, kinds["locked"])
        require(not touches(locked, self.map.signed), "change-signed")
        for patch in sorted(self.map.patches, key=lambda entry: entry[0]):
            require(stands(patch, result), "change-patch", patch[2]["name"])
        require(inside(merged(locked), self.shape.patched), "change-locked")
        require(not touches(changes, merged(kinds["volatile"] + kinds["binding"])), "change-volatile")
        unprovable = plan.owned_by(lambda at: state(plan.nodes[at], result) == "not-provable")
        require(not touches(changes, unprovable), "checksum-not-provable", "a place changed")
        for patch, stated in zip(self.map.patches, self.controller["patches"]):
            claim(stands(patch, result) == stated["result"], "patches")
        self.compare_changes(cut_read, changes)

    def compare_changes(self, cut_read, changes):
        every = spans_of(self.controller, self.map.space)
        for at, (first, last, span) in enumerate(every):
            if span["before"] == span["after"] or sha256(cut_read.bytes(first, last)) != span["before"]:
                continue
            claim([c for c in changes if first <= c[0] < last] == self.changes.get(at, []), "changes.json")

    # ---- checksums

    def checksums(self, result, written):
        plan, stated = self.plan, self.controller["checksums"]
        claim(len(stated) == len(plan.nodes), "number of checksums")
        for at, (node, one) in enumerate(zip(plan.nodes, stated)):
            found = state(node, result)
            came_failing = self.revision == 0 and one["state"] == "fails"
            require(found != "fails" or came_failing, "copy-one-sided" if node.kind == "copy" else "checksum-fails", node.name)
            require(found != "not-provable" or one["state"] != "holds", "checksum-not-provable", node.name)
            claim(one["name"] == node.name, "name of a checksum")
            claim(one["state"] == found or (came_failing and at in plan.floats and found == "holds"), "state of a checksum")
            claim(one["value"] == value_of(plan, at, found, result), "value of a checksum")
        plain = [entry for entry in self.map.fields_of_identity if not entry[2]["binds"]]
        for (first, last, field), one in zip(plain, self.controller["identity"]):
            claim(one["text"] == identity_text(self.shape, (first, last), field, result), f"identity {field['name']}")
        check_family(self.map, written)


def value_of(plan, at, found, result):
    node = plan.nodes[at]
    if node.kind == "copy" or at in plan.floats or found == "not-provable":
        return ""
    if node.fields["rule"]:
        return f"{node.message.result(result):0{(node.bits + 3) // 4}x}"
    return b"".join(result.bytes(*place) for place in node.stored).hex()


def identity_text(shape, place, field, result):
    if not result.knows([place]) or not inside([place], shape.pinned):
        return ""
    return text_of(field, result.bytes(*place))
