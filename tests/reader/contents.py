"""Step 11: contents against the manifest (docs/proof.md)."""

from image import Image
from ranges import merged, overlap
from refused import require, sha256
from shapes import begin


def claim(condition, why):
    require(condition, "claim-mismatch", why)


def check_map(region_map, controller):
    space, stated = region_map.space, controller["region_map"]
    claim(region_map.controller == controller["name"], "controller")
    claim((region_map.name, region_map.version, region_map.grade) == (stated["name"], stated["version"], stated["grade"]), "region_map")
    memories = [(memory.name, f"0x{memory.origin:08x}", memory.size) for memory in space.memories]
    claim(memories == [(m["name"], m["origin"], m["size"]) for m in controller["memories"]], "memories")
    fields = region_map.fields_of_identity
    claim([f["name"] for _, _, f in fields if not f["binds"]] == [i["name"] for i in controller["identity"]], "identity")
    binding = [(f["name"], f["memory"], f["at"], f["size"]) for _, _, f in fields if f["binds"]]
    claim(binding == [(b["name"], b["memory"], begin(b), b["size"]) for b in controller["binding"]], "binding")
    claim([p["name"] for _, _, p in region_map.patches] == [p["name"] for p in controller["patches"]], "patches")


def known_of(controller, space):
    """The bytes that the base knew."""
    return merged(space.named[m["name"]].range(begin(k), k["size"]) for m in controller["memories"] for k in m["known"])


def spans_of(controller, space):
    """(first, end, span) of the manifest's spans."""
    return [(*space.named[s["memory"]].range(begin(s), s["size"]), s) for s in controller["spans"]]


def patched_bytes(region_map, controller, known):
    """Bytes in which before and after of the patches differ that the revision flips."""
    out = []
    for (first, last, patch), stated in zip(region_map.patches, controller["patches"]):
        if stated["base"] != stated["result"]:
            out += [(at, at + 1) for at in range(first, last) if patch["before"][at - first] != patch["after"][at - first]]
    return overlap(merged(out), known)


def region_of(region_map, first, last):
    return next((name for a, b, name, _ in region_map.regions if a <= first and last <= b), "")


def check_changes(changes, region_map, manifest):
    controller, space = manifest["controllers"][0], region_map.space
    order = [memory.name for memory in space.memories]
    options = {option["name"] for option in manifest["options"]}
    spans, last_memory, last, per_span = spans_of(controller, space), 0, (None, -1), {}
    for change in changes:
        claim(change["memory"] in order and order.index(change["memory"]) >= last_memory, "memories of changes")
        last_memory = order.index(change["memory"])
        first, after = space.named[change["memory"]].range(begin(change), change["size"])
        at = next((i for i, (a, b, _) in enumerate(spans) if a <= first and after <= b), None)
        claim(at is not None and spans[at][2]["before"] != spans[at][2]["after"], "a change outside what changes")
        claim(last != (at, first), "changes that touch")
        last = (at, after)
        claim(change["region"] == region_of(region_map, first, after), "region")
        claim(change["option"] == "" or change["option"] in options, "option")
        per_span.setdefault(at, []).append((first, after))
    flipped = patched_bytes(region_map, controller, known_of(controller, space))
    for at, (first, last, span) in enumerate(spans):
        claim(span["before"] == span["after"] or at in per_span, "a span that changes without a change")
        if span["kind"] == "locked" and span["before"]:
            claim(per_span.get(at, []) == overlap(flipped, [(first, last)]), "changes of a locked span")
    return per_span


def check_set(described, manifest):
    controller = manifest["controllers"][0]
    claim(described["job"] == manifest["job"], "job of the set")
    member = next((m for m in described["members"] if m["controller"] == controller["name"]), None)
    claim(member and member["base"] == manifest["base"]["number"] and member["sequence"] == manifest["sequence"]
          and member["map_digest"] == controller["region_map"]["digest"] and member["pinned"] == controller["pinned"]["after"], "member")


def payload_image(region_map, controller, contents):
    image = Image(region_map.space)
    for p in controller["payload"]["parts"]:
        content, at = contents[p["entry"]], 0
        for r in p["ranges"]:
            image.lay(region_map.space.named[p["memory"]].range(begin(r), r["size"])[0], content[at:at + r["size"]])
            at += r["size"]
    return image


def check_files(region_map, manifest, payload):
    controller = manifest["controllers"][0]
    if manifest["revision"] != 0:
        return
    for file in controller["files"]:
        memory = region_map.space.named.get(file["memory"])
        if file["form"] != "raw" or memory is None:
            continue
        whole = [(memory.base, memory.base + memory.size)]
        if overlap(payload.known, whole) == memory.segments:
            content = b"".join(payload.bytes(first, last) for first, last in memory.segments)
            claim((file["size"], file["digest"]) == (len(content), sha256(content)), "files")

