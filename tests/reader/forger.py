#!/usr/bin/env python3
"""Bundles from a seed, signed by a listed key, whose contents lie; and the honest twin of each.

A case says what the text demands where that can be known (`refused`, with the reasons that may be given, or `accepted`); elsewhere (`agree`)
only that all readers say the same counts.

usage: forger.py SEED FOLDER   writes the case and its twin, each with a request that a reader can be given
"""

import json
import os
import random
import sys

import chance
import lies_contents
import lies_maps
import lies_options
import lies_order
from image import Image
from json_text import canonical
from lies_manifest import ACCEPTED, AGREE, AUTHENTIC, REFUSED, field_lie
from lies_reads import READS, files_of
from protocol import ONE_FILE, inline
from ranges import overlap, touches, without
from refused import Refused, sha256
from shops import Shop
from worlds import WORLDS
from writer import SALT, TIME, Draft, corrected, sealed, trust_file

TRUST = trust_file()


class Context:
    """An honest bundle, the read it is for and the evidence, before anybody lies."""

    def __init__(self, rng):
        self.rng, self.honest_reason = rng, ""
        self.world = rng.choice([WORLDS[name] for name in sorted(WORLDS)] + 3 * [chance.chance_world])(rng)
        revision = rng.choice((0, 0, 1, 1, 1, 7))
        self.base = self.world.base
        self.result = self.base.copy() if revision == 0 else self.world.edited(rng)
        self.kind = "full" if revision == 0 else rng.choice(("areas", "areas", "full"))
        self.salt = SALT if rng.random() < 0.85 else None
        self.draft = Draft(self.world, self.base, self.result, revision, self.kind, self.salt)
        if revision == 0 and rng.random() < 0.1:
            lies_contents.honest_set(rng, self.draft)
        if rng.random() < 0.5:
            lies_options.honest_order(rng, self.draft)
        self.read, self.read_is_base = self.choose_read()
        proves = self.salt and any(b["digest"] for b in self.draft.controller["binding"])
        self.request = {"stated_root": "", "salt": SALT if rng.random() < 0.8 else None, "vehicle_reference": "blue estate", "read_is_fresh": True,
                        "revive": False, "seal_only": False, "now": TIME, "reads": None, "trust": TRUST}
        if proves and self.request["salt"] and rng.random() < 0.4:
            self.request["vehicle_reference"] = ""
        # What lies beside the bundle about its place in time; without it the bundle is judged alone.
        self.shop = Shop(rng, self.draft) if not self.draft.set and rng.random() < 0.5 else None
        if self.shop:
            self.request["seal_only"] = rng.random() < 0.1

    def choose_read(self):
        rng, world = self.rng, self.world
        way = rng.choice(("base", "base", "edited", "driven"))
        read = world.whole.copy()
        if way == "edited":
            read = world.edited(rng).over(read)
        elif way == "driven":
            read = world.driven(rng, read)
        return (read if rng.random() < 0.7 else read.cut(self.base.known)), way == "base"

    def fully_known(self):
        return self.base.known == self.world.whole.known

    def case(self, kind, bundle, demand, reasons=None):
        request = dict(self.request)
        request["reads"] = files_of(self.read, self.rng) if request["reads"] is None else request["reads"]
        if self.shop:
            files = self.shop.files()
            request.update(files if request["trust"] is TRUST else {**files, "trust": request["trust"]})
        return {"kind": f"{self.world.name}/{self.draft.revision}: {kind}", "bundle": bundle, "demand": demand, "reasons": reasons, "request": request}


def context(rng):
    """A context by chance; one whose bytes no balance can correct is passed over."""
    while True:
        try:
            return Context(rng)
        except Refused:
            continue


def accepted(ctx):
    return AUTHENTIC if ctx.request["seal_only"] else ACCEPTED


def honest(ctx):
    bundle = ctx.shop.bundle if ctx.shop else sealed(ctx.draft)
    return ctx.case("honest", bundle, accepted(ctx))


# ---- lies about time: the bundle is honest, what lies beside it is not

def of_order(rng, ctx):
    found = rng.choice(lies_order.LIES)(rng, ctx.shop)
    if not found:
        return None
    kind, demand, reasons = found
    bundle = sealed(ctx.draft, ctx.shop.signers)
    return ctx.case(f"order {kind}", bundle, accepted(ctx) if demand == ACCEPTED else demand, reasons)


def beside_order(lie, ctx):
    """A lie of another kind beside a state and lists: these may refuse it first, and who looks at the seal alone sees no lie about the read."""
    if lie and (lie["demand"] == ACCEPTED or ctx.request["seal_only"]):
        lie["demand"] = AGREE
    return lie and {**lie, "reasons": None}


def some_lie(rng, ctx):
    if ctx.shop is None:
        return rng.choice(LIES)(rng, ctx)
    return of_order(rng, ctx) if rng.random() < 0.75 else beside_order(rng.choice(LIES)(rng, ctx), ctx)


# ---- whole lies: the manifest agrees with itself, the image or the word does not

def uncorrected(rng, ctx):
    """Editable bytes changed after correction; the manifest says so, or says that all holds."""
    result = ctx.result.copy()
    first, last = rng.choice(ctx.world.edits)
    result.data[rng.randrange(first, last)] ^= 1 << rng.randrange(8)
    if ctx.draft.revision == 0 or result.data == corrected(ctx.world.region_map, result).data:
        return None
    draft = Draft(ctx.world, ctx.base, result, ctx.draft.revision, ctx.kind, ctx.salt)
    failing = [c for at, c in enumerate(draft.controller["checksums"]) if c["state"] == "fails" and at not in draft.plan.floats]
    if rng.random() < 0.6:
        for checksum in draft.controller["checksums"]:
            checksum["state"] = "holds" if checksum["state"] == "fails" else checksum["state"]
    return ctx.case("uncorrected", sealed(draft), REFUSED if failing else AGREE)


def locked_change(rng, ctx):
    places = without(overlap(ctx.draft.shape.kinds["locked"], ctx.base.known), ctx.draft.shape.patched if rng.random() < 0.7 else [])
    result = ctx.result.copy()
    if not places or ctx.draft.revision == 0:
        return None
    first, last = rng.choice(places)
    result.data[rng.randrange(first, last)] ^= 1 << rng.randrange(8)
    try:
        draft = Draft(ctx.world, ctx.base, result, ctx.draft.revision, ctx.kind, ctx.salt)
    except Refused:
        return None  # a table that points nowhere now
    for patch in draft.controller["patches"]:
        patch["base"] = patch["base"] or "before"
        patch["result"] = patch["result"] or rng.choice(("before", "after"))
    return ctx.case("locked byte", sealed(draft), REFUSED)


def patch_base(rng, ctx):
    """The base's side of a patch turned, with every digest that follows from it: the shop's word about its own base."""
    draft, region_map = ctx.draft.clone(), ctx.world.region_map
    if not region_map.patches or draft.revision == 0:
        return None
    i = rng.randrange(len(region_map.patches))
    base = ctx.base.copy()
    first, last, patch = region_map.patches[i]
    side = "after" if draft.controller["patches"][i]["base"] == "before" else "before"
    if not base.knows([(first, last)]):
        return None
    base.data[first:last] = patch[side]
    lying = Draft(ctx.world, base, ctx.result, draft.revision, ctx.kind, ctx.salt)
    return ctx.case("base of a patch", sealed(lying), AGREE)


def other_before(rng, ctx):
    """`before` of an editable span, pinned with it: the shop's word."""
    draft = ctx.draft.clone()
    spans = [s for s in draft.controller["spans"] if s["before"] and s["kind"] != "locked"]
    if draft.revision == 0 or not spans:
        return None
    span = rng.choice(spans)
    span["before"] = sha256(rng.randbytes(8))
    draft.pin()
    return ctx.case("before of a span", sealed(draft), AGREE)


def failing_base(rng, ctx):
    """A base that came with a failing check: honest in revision 0, and the lie that it holds."""
    base = ctx.world.whole.copy()
    base.data[rng.choice([p for p in overlap(ctx.world.region_map.owned, ctx.base.known)])[0]] ^= 1 << rng.randrange(8)
    base = base.cut(ctx.base.known)
    draft = Draft(ctx.world, base, base, 0, "full", ctx.salt)
    ctx.read, ctx.read_is_base = base.over(ctx.world.whole), True
    failing = [c for c in draft.controller["checksums"] if c["state"] == "fails"]
    if not failing:
        return None
    if rng.random() < 0.5:
        return ctx.case("failing base", sealed(draft), AGREE)
    rng.choice(failing)["state"] = "holds"
    return ctx.case("failing base that holds", sealed(draft), AGREE)


def claimed_failing(rng, ctx):
    draft = ctx.draft.clone()
    if not draft.controller["checksums"]:
        return None
    i = rng.randrange(len(draft.controller["checksums"]))
    floats = i in draft.plan.floats and draft.controller["checksums"][i]["state"] == "holds" and draft.revision == 0
    draft.controller["checksums"][i]["state"] = "fails"
    return ctx.case("claimed failing", sealed(draft), AGREE if floats else REFUSED)


def known_less(rng, ctx):
    """The same base, said to know less: honest, when everything follows from it."""
    first, last = rng.choice(ctx.base.known)
    start = rng.randrange(first, last)
    known = without(ctx.base.known, [(start, min(last, start + rng.choice((1, 3, 9))))])
    try:
        draft = Draft(ctx.world, ctx.base.cut(known), ctx.result.cut(known), ctx.draft.revision, ctx.kind, ctx.salt)
    except Refused:
        return None
    if any(p["base"] is None or p["result"] is None for p in draft.controller["patches"]):
        return None
    ctx.draft = draft
    return ctx.case("known less", sealed(draft), AGREE)


def carried_vehicle(rng, ctx):
    """A full payload of revision 0 that carries another vehicle's bytes, or other locked ones; the files follow."""
    image = ctx.result.copy()
    if ctx.draft.revision != 0:
        return None
    first, last = rng.choice(image.known)
    at = rng.randrange(first, last)
    image.data[at] ^= 1 << rng.randrange(8)
    draft = ctx.draft.clone()
    draft.result = image
    draft.controller["files"] = Draft(ctx.world, image, image, 0, "full", ctx.salt).controller["files"] if readable_base(ctx, image) else draft.controller["files"]
    pinned = touches([(at, at + 1)], ctx.draft.shape.pinned)
    return ctx.case("carried byte", sealed(draft), REFUSED if pinned else AGREE)


def readable_base(ctx, image):
    try:
        return all(p["base"] for p in Draft(ctx.world, image, image, 0, "full", ctx.salt).controller["patches"])
    except Refused:
        return False


def other_map(rng, ctx):
    """Another region map in the bundle: sealed with its digest only, or with a manifest made from it."""
    found = lies_maps.map_lie(rng, ctx.world.fields)
    if not found:
        return None
    kind, data, demand = found
    draft = ctx.draft.clone()
    world = type("Lying", (), {"name": ctx.world.name, "map_bytes": data})()
    if rng.random() < 0.6:
        try:
            world.region_map = lies_maps.readable(data)
            base = Image(world.region_map.space, bytearray(ctx.base.data), ctx.base.known)
            result = Image(world.region_map.space, bytearray(ctx.result.data), ctx.result.known)
            if [m.name for m in world.region_map.space.memories] != [m.name for m in ctx.base.space.memories]:
                return None
            draft = Draft(world, base, corrected(world.region_map, result) if draft.revision and rng.random() < 0.7 else result, draft.revision, ctx.kind, ctx.salt)
            kind += " followed"
        except (Refused, ZeroDivisionError):
            return None
        if any(p["base"] is None or p["result"] is None for p in draft.controller["patches"]):
            return None
    draft.world = world if hasattr(world, "region_map") else type("Lying", (), {"name": ctx.world.name, "map_bytes": data, "region_map": ctx.world.region_map})()
    draft.controller["region_map"]["digest"] = sha256(data)
    return ctx.case(kind, sealed(draft), demand)


def of_manifest(rng, ctx):
    draft = ctx.draft.clone()
    found = field_lie(rng, draft)
    if not found:
        return None
    kind, demand = found
    try:
        contents = draft.contents()
    except (KeyError, TypeError, ValueError, AttributeError):
        contents = ctx.draft.contents()
    return ctx.case(kind, sealed(draft, contents=contents), demand)


def of_contents(rng, ctx):
    draft = ctx.draft.clone()
    way = rng.choice(("payload", "changes", "changes", "set", "entry", "deflate", "seal", "file"))
    if way == "payload":
        found = lies_contents.payload_lie(rng, draft)
        return found and ctx.case(found[1], sealed(draft, contents=found[0]), found[2])
    if way == "changes":
        found = lies_contents.changes_lie(rng, draft, ctx.read_is_base)
    elif way == "set":
        found = lies_contents.set_lie(rng, draft)
    elif way in ("entry", "deflate"):
        found = (lies_contents.entry_lie if way == "entry" else lies_contents.deflate_lie)(rng, draft)
    elif way == "file":
        bundle = sealed(draft)
        lying, kind, demand = lies_contents.byte_lie(rng, bundle)
        return None if lying == bundle else ctx.case(kind, lying, demand)
    else:
        bundle, ctx.request["trust"], kind, demand = lies_contents.seal_lie(rng, draft)
        return ctx.case(kind, bundle, demand)
    return found and ctx.case(found[0], sealed(draft), found[1])


def of_options(rng, ctx):
    draft = ctx.draft.clone()
    kind, demand, reasons = lies_options.ordered_lie(rng, draft)
    return ctx.case(kind, sealed(draft), demand, reasons)


def of_read(rng, ctx):
    lie = rng.choice(READS)
    found = lie(rng, ctx)
    return found and ctx.case(f"read {lie.__name__}", sealed(ctx.draft), *found)


# What the manifest's own rules find no fault with: such lies get as far as the proof.
LATE = ("region_map", "identity", "binding", "checksums", "patches", "spans", "write_ranges", "files", "salt_digest", "vehicle_reference")


def several(rng, ctx):
    """Faults that meet: the order of checks says which one counts."""
    draft, kinds = ctx.draft.clone(), []
    for _ in range(rng.choice((1, 2, 2))):
        found = lies_contents.changes_lie(rng, draft, False) if rng.random() < 0.3 else field_lie(rng, draft, LATE if rng.random() < 0.8 else None)
        kinds += [found[0].split(" ")[0]] if found else []
    if rng.random() < 0.7:
        read = rng.choice(READS)
        kinds += [read.__name__] if read(rng, ctx) else []
    try:
        contents = draft.contents()
    except (KeyError, TypeError, ValueError, AttributeError):
        contents = ctx.draft.contents()
    return ctx.case(f"several {' '.join(kinds)}", sealed(draft, contents=contents), AGREE) if len(kinds) > 1 else None


LIES = [of_manifest] * 8 + [of_contents] * 5 + [of_options] * 3 + [of_read] * 6 + [other_map] * 4 + [several] * 5 + [uncorrected, locked_change, patch_base, other_before, failing_base,
                                                                             claimed_failing, known_less, carried_vehicle]


def cases(seed):
    """The honest twin, then the lie."""
    rng = random.Random(f"calseal {seed}")
    ctx = context(rng)
    out, lie = [honest(ctx)], None
    while lie is None:
        # A lie that came to nothing leaves no trace: it is tried on an honest context of its own.
        again = random.Random(f"calseal {seed}")
        fresh = context(again)
        try:
            lie = some_lie(rng, fresh)
        except Refused:
            lie = None  # a result that cannot be corrected
        if lie and lie["bundle"] == out[0]["bundle"] and lie["request"] == out[0]["request"]:
            lie = None
    out.append(lie)
    return [{"id": f"{seed}-{name}", **case} for name, case in zip(("honest", "lie"), out)]


def request_of(case):
    """The request as a reader is given it, with every file inside."""
    request = dict(case["request"])
    request.update(bundle=inline(case["bundle"]), trust=inline(request["trust"]), salt=inline(request["salt"].hex().encode("ascii") + b"\n") if request["salt"] else "",
                   reads=[f"{memory}={inline(content)}" for memory, content in request["reads"]],
                   successions=[inline(content) for content in request.get("successions", [])],
                   **{key: inline(request[key]) if request.get(key) is not None else "" for key in ONE_FILE})
    return {"id": case["id"], **request}


def write_out(case, folder):
    """The case as files, for a person or a reader: its request names them."""
    where = os.path.join(folder, case["id"])
    os.makedirs(where, exist_ok=True)

    def put(name, content):
        with open(os.path.join(where, name), "wb") as out:
            out.write(content)
        return os.path.join(where, name)
    request = {"id": case["id"], **case["request"]}
    request.update(bundle=put("lie.calseal", case["bundle"]), trust=put("shop.trust", request["trust"]),
                   salt=put("job.salt", request["salt"].hex().encode("ascii") + b"\n") if request["salt"] else "",
                   reads=[f"{memory}={put(memory + '.read', content)}" for memory, content in request["reads"]],
                   successions=[put(f"{i}.succession", content) for i, content in enumerate(request.get("successions", []))],
                   **{key: put(key, request[key]) if request.get(key) is not None else "" for key in ONE_FILE})
    put("request.json", canonical(request).encode("utf-8"))
    put("case.json", json.dumps({key: case[key] if key != "reasons" else sorted(case[key] or []) for key in ("id", "kind", "demand", "reasons")}).encode("utf-8"))


def main():
    for case in cases(int(sys.argv[1])):
        write_out(case, sys.argv[2])
        print(f"{case['id']}: {case['kind']}: {case['demand']} {sorted(case['reasons'] or [])}")
    return 0


if __name__ == "__main__":
    sys.exit(main())
