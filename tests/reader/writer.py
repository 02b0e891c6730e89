"""An honest writer, made from the same pages: what a shop's program would seal for a base and a result. Its keys are those of fixtures/bundles/README.md."""

import copy as copying
import struct
import zlib

import ed25519
from contents import region_of
from correct import correct
from descriptors import Shape, described, parts_of
from framing import central_header, local_header
from image import differences
from json_text import canonical
from matching import salted, stands
from plan import Plan, holds, is_provable, state
from proof import identity_text, value_of
from ranges import cut, overlap
from refused import sha256

ROOT, AUTHOR, REVIEWER, STRANGER, SECOND_AUTHOR = (bytes([n]) * 32 for n in (1, 2, 3, 4, 5))
SALT = bytes(range(32))
TIME = "2026-03-04T05:06:07Z"


def trust_file(threshold=1):
    keys = []
    for secret, name, role in ((AUTHOR, "author", "author"), (REVIEWER, "reviewer", "reviewer"), (SECOND_AUTHOR, "second author", "author")):
        public = ed25519.public_key(secret)
        keys.append({"id": ed25519.key_id(public), "public_key": public.hex(), "name": name, "roles": [role], "jobs": [], "controllers": [],
                     "region_maps": [], "valid_from": "2026-01-01T00:00:00Z", "valid_until": "", "state": "active"})
    root = ed25519.public_key(ROOT)
    signed = canonical({"calseal": "trust/1", "version": 1, "shop": "Vector shop", "root": root.hex(), "claimed_time": "2026-01-01T00:00:00Z",
                        "next_root": "", "ledger_heads": [], "policy": {"threshold": threshold},
                        "keys": sorted(keys, key=lambda key: key["id"])}).encode("utf-8")
    return signed + b"\n" + f"{ed25519.key_id(root)} {ed25519.sign(ROOT, signed).hex()}\n".encode("ascii")


def corrected(region_map, image):
    """The image with every group corrected whose bytes are known."""
    out = image.copy()
    plan = Plan(region_map, out)
    for group in plan.groups:
        nodes = [plan.nodes[at] for at in group]
        if all(is_provable(node, out) for node in nodes) and not all(holds(node, out) for node in nodes):
            if not (nodes[0].kind == "checksum" and nodes[0].fields["rule"] and not nodes[0].balance):
                correct(plan, group, out)
    return out


def span_digest(image, first, last):
    return sha256(image.bytes(first, last))


def pinned_digest(spans, side):
    lines = (f"{s['memory']} {s['start']} {s['size']} {s[side]}\n" for s in spans if s[side])
    return sha256("".join(lines).encode("ascii"))


class Draft:
    """A revision before it is sealed: the manifest without its entries, and the contents in file order."""

    def __init__(self, world, base, result, revision=1, kind="areas", salt=SALT):
        self.world, self.base, self.result, self.revision = world, base, result, revision
        region_map = world.region_map
        self.plan = Plan(region_map, base)
        self.shape = Shape(self.plan, base.known)
        self.controller = self.make_controller(region_map, kind, salt)
        self.manifest = {
            "calseal": "revision/1", "format": 1, "job": "job-7", "base": {"number": 1, "reason": "first read"}, "revision": revision,
            "sequence": revision + 1, "parent": "" if revision == 0 else sha256(b"parent"), "set": "", "claimed_time": TIME, "trial": False,
            "expires": "", "required_roles": ["author"], "title": world.name, "notes": "", "vehicle_reference": "blue estate",
            "salt_digest": sha256(salt) if salt else "", "controllers": [self.controller], "permitted_returns": [], "approvals": [],
            "options": [{"name": "quiet", "title": "Quiet", "digest": sha256(b"quiet")}], "ordered": {"time": "", "parcel": "", "options": []},
            "requirements": [], "cautions": [], "attachments": [], "annotations": [], "tool": "tests"}
        self.changes = self.make_changes()
        self.set = None
        self.methods = {}
        self.entry_lies = []

    def make_controller(self, region_map, kind, salt):
        space, shape = region_map.space, self.shape
        spans = []
        for span in shape.spans:
            pinned = shape.is_pinned(span)
            spans.append({**described(space, *span[:2]), "kind": span[2], "before": span_digest(self.base, *span[:2]) if pinned else "",
                          "after": span_digest(self.result, *span[:2]) if pinned else ""})
        memories = [{"name": m.name, "origin": f"0x{m.origin:08x}", "size": m.size,
                     "known": [{k: v for k, v in described(space, *r).items() if k != "memory"}
                               for r in overlap(self.base.known, [(m.base, m.base + m.size)])]} for m in space.memories]
        fields = region_map.fields_of_identity
        checksums = []
        for at, node in enumerate(self.plan.nodes):
            found = state(node, self.result)
            checksums.append({"name": node.name, "state": found, "value": value_of(self.plan, at, found, self.result)})
        return {
            "name": region_map.controller,
            "region_map": {"name": region_map.name, "version": region_map.version, "grade": region_map.grade, "digest": sha256(self.world.map_bytes)},
            "memories": memories,
            "identity": [{"name": f["name"], "text": identity_text(shape, (a, b), f, self.result)} for a, b, f in fields if not f["binds"]],
            "binding": [self.binding(a, b, f, salt) for a, b, f in fields if f["binds"]],
            "spans": spans, "pinned": {side: pinned_digest(spans, side) for side in ("before", "after")},
            "files": self.files(space), "checksums": checksums,
            "patches": [{"name": p[2]["name"], "base": stands(p, self.base), "result": stands(p, self.result)} for p in region_map.patches],
            "write_ranges": [described(space, *r) for r in shape.write_ranges],
            "payload": {"kind": kind, "parts": parts_of(space, region_map.controller, shape.carried(kind, self.revision))}}

    def binding(self, first, last, field, salt):
        place = {"memory": field["memory"], "start": f"0x{field['at']:08x}", "size": field["size"]}
        content = self.base.bytes(first, last)
        blank = not self.base.knows([(first, last)]) or content in (b"\x00" * len(content), b"\xff" * len(content))
        digest = "" if blank or not salt else salted(self.world.region_map.controller, place, salt, content)
        return {"name": field["name"], **place, "digest": digest}

    def files(self, space):
        known = {m.name: overlap(self.base.known, [(m.base, m.base + m.size)]) for m in space.memories}
        if self.revision == 0:
            return [{"memory": m.name, "form": "raw", "size": sum(b - a for a, b in m.segments),
                     "digest": sha256(b"".join(self.base.bytes(a, b) for a, b in m.segments))} for m in space.memories if known[m.name] == m.segments]
        if not all(self.shape.is_pinned(span) for span in self.shape.spans):
            return []
        return [{"memory": m.name, "form": "raw", "size": m.size, "digest": sha256(self.result.bytes(m.base, m.base + m.size))} for m in space.memories]

    def make_changes(self):
        region_map, space = self.world.region_map, self.world.region_map.space
        edges = [edge for first, last, _ in self.shape.spans for edge in (first, last)]
        pinned = overlap(differences(self.base, self.result), self.shape.pinned)
        return [{**described(space, *r), "region": region_of(region_map, *r), "option": "quiet" if i % 2 else ""}
                for i, r in enumerate(cut(pinned, edges))]

    def payload(self):
        """entry -> bytes, by the manifest's own ranges."""
        out = {}
        for part in self.controller["payload"]["parts"]:
            memory = self.world.region_map.space.named[part["memory"]]
            places = [memory.range(int(r["start"], 16), r["size"]) for r in part["ranges"]]
            out[part["entry"]] = b"".join(self.result.bytes(*place) for place in places)
        return out

    def contents(self):
        out = {f"regions/{self.controller['name']}.json": self.world.map_bytes,
               "changes.json": canonical({"calseal": "changes/1", "changes": self.changes}).encode("utf-8")}
        if self.set:
            out["set.json"] = canonical(self.set).encode("utf-8")
        return {**out, **self.payload()}

    def clone(self):
        other = copying.copy(self)
        other.manifest = copying.deepcopy(self.manifest)
        other.controller = other.manifest["controllers"][0]
        other.changes, other.methods, other.entry_lies = copying.deepcopy(self.changes), dict(self.methods), list(self.entry_lies)
        return other

    def pin(self):
        """Brings `pinned` in line with spans that were edited."""
        self.controller["pinned"] = {side: pinned_digest(self.controller["spans"], side) for side in ("before", "after")}


def deflated(content):
    stream = zlib.compressobj(9, zlib.DEFLATED, -15)
    return stream.compress(content) + stream.flush()


def entry_of(name, content, method):
    stored = deflated(content) if method == "deflated" else content
    if len(stored) >= len(content) or len(content) > 1032 * len(stored):
        method, stored = "stored", content
    return {"name": name, "method": method, "stored_size": len(stored), "stored_digest": sha256(stored), "size": len(content),
            "crc32": f"0x{zlib.crc32(content):08x}", "digest": sha256(content)}, stored


def archive(manifest_bytes, secrets, entries, stored, first="manifest.json"):
    """The file: every byte outside the stored ones follows from the rest."""
    signatures = sorted((ed25519.key_id(ed25519.public_key(secret)), ed25519.sign(secret, manifest_bytes)) for secret in secrets)
    rows = [((first, False, zlib.crc32(manifest_bytes), len(manifest_bytes), len(manifest_bytes)), manifest_bytes)]
    rows += [((f"signatures/{i}.sig", False, zlib.crc32(s), 64, 64), s) for i, s in signatures]
    rows += [((e["name"], e["method"] == "deflated", int(e["crc32"], 16), e["stored_size"], e["size"]), s) for e, s in zip(entries, stored)]
    out, directory = bytearray(), b""
    for header, content in rows:
        directory += central_header(*header, len(out))
        out += local_header(*header) + content
    at = len(out)
    return bytes(out) + directory + struct.pack("<4sHHHHIIH", b"PK\x05\x06", 0, 0, len(rows), len(rows), len(directory), at, 0)


def sealed(draft, secrets=(AUTHOR,), contents=None):
    """The bundle of a draft. `contents` replaces what the draft would give; entry_lies edit (entries, stored) before the signature."""
    contents = draft.contents() if contents is None else contents
    entries, stored = [], []
    for name, content in contents.items():
        entry, bytes_of = entry_of(name, content, draft.methods.get(name, "deflated" if name == "changes.json" else "stored"))
        entries.append(entry)
        stored.append(bytes_of)
    for lie in draft.entry_lies:
        lie(entries, stored)
    manifest_bytes = canonical({**draft.manifest, "entries": entries}).encode("utf-8")
    return archive(manifest_bytes, secrets, entries, stored)

