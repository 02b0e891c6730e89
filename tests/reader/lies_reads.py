"""Reads that are not what they seem: another vehicle, other software, another bank, half a patch, a part, a drive."""

from lies_manifest import ACCEPTED, AGREE, REFUSED
from ranges import overlap, size, touches, without


def intel_hex(image, memory):
    """The known bytes of a memory as records of at most 16 bytes."""
    lines = [":02000004" + f"{memory.origin >> 16:04X}"]
    for first, last in overlap(image.known, [(memory.base, memory.base + memory.size)]):
        for at in range(first, last, 16):
            content = image.bytes(at, min(at + 16, last))
            lines.append(f":{len(content):02X}{memory.origin + at - memory.base & 0xFFFF:04X}00{content.hex().upper()}")
    lines.append(":00000001FF")
    out = []
    for line in lines:
        check = -sum(bytes.fromhex(line[1:])) % 256 if line != ":00000001FF" else None
        out.append(line if check is None else f"{line}{check:02X}")
    return ("\r\n".join(out) + "\r\n").encode("ascii")


def s_record(image, memory):
    out = []
    for first, last in overlap(image.known, [(memory.base, memory.base + memory.size)]):
        for at in range(first, last, 20):
            record = (memory.origin + at - memory.base).to_bytes(4, "big") + image.bytes(at, min(at + 20, last))
            record = bytes([len(record) + 1]) + record
            out.append(f"S3{record.hex()}{255 - sum(record) % 256:02x}")
    return ("\n".join(out + ["S70500000000fa"]) + "\n").encode("ascii")


def files_of(image, rng):
    """Raw where the whole memory is known; else, and sometimes anyway, records."""
    out = []
    for memory in image.space.memories:
        known = overlap(image.known, [(memory.base, memory.base + memory.size)])
        if known == memory.segments and rng.random() < 0.8:
            out.append((memory.name, b"".join(image.bytes(first, last) for first, last in memory.segments)))
        elif known:
            out.append((memory.name, rng.choice((intel_hex, s_record))(image, memory)))
    return out


def flip(rng, image, places):
    if not places:
        return False
    first, last = rng.choice(places)
    image.data[rng.randrange(first, last)] ^= 1 << rng.randrange(8)
    return True


def foreign(rng, ctx):
    locked = overlap(without(ctx.draft.shape.kinds["locked"], ctx.draft.shape.patched), ctx.draft.base.known)
    return (REFUSED, {"read-foreign"}) if flip(rng, ctx.read, locked) else None


def unknown_software(rng, ctx):
    """Bytes that the base did not know, and the recognition rule does."""
    space, recognise = ctx.read.space, ctx.world.fields.get("recognise", {})
    for element in ctx.world.region_map.recognise["all"] if recognise else []:
        place = space.range(element, 0, "at", len(element["bytes"]))
        if not touches([place], ctx.draft.base.known) and ctx.read.knows([place]):
            ctx.read.data[place[0]] ^= 0x40
            return REFUSED, {"family-mismatch"}
    return None


def other_vehicle(rng, ctx):
    ctx.read = ctx.world.other_vehicle(rng, ctx.read)
    told = any(b["digest"] for b in ctx.draft.controller["binding"]) and ctx.request["salt"] is not None
    return (REFUSED, {"vehicle-mismatch"}) if told else None


def other_bank(rng, ctx):
    for node in ctx.world.region_map.nodes:
        if node.kind == "copy" and node.fields["active_bank"]:
            first, _ = ctx.read.space.range(node.fields["active_bank"], 0, "at", 2)
            ctx.read.data[first] ^= 1
            return REFUSED, {"bank-not-active"}
    return None


def half_patch(rng, ctx):
    patches = [p for p in ctx.world.region_map.patches if ctx.draft.base.knows([p[:2]]) and p[1] - p[0] > 1]
    if not patches:
        return None
    first, last, patch = rng.choice(patches)
    ctx.read.data[first:last] = patch["before"][:1] + patch["after"][1:] if rng.random() < 0.5 else bytes(b ^ 0x55 for b in patch["before"])
    return REFUSED, {"change-patch"}


def part(rng, ctx):
    first, last = rng.choice(ctx.read.known)
    start = rng.randrange(first, last)
    hole = [(start, min(last, start + rng.choice((1, 2, 8, 30))))]
    ctx.read.known = without(ctx.read.known, hole)
    needed = touches(hole, overlap(ctx.draft.base.known, ctx.draft.shape.pinned))
    return (REFUSED, {"read-incomplete"}) if needed else (AGREE, None)


def stale(rng, ctx):
    ctx.request["read_is_fresh"] = False
    return AGREE, None


def stale_and_driven(rng, ctx):
    ctx.read = ctx.world.driven(rng, ctx.read)
    ctx.request["read_is_fresh"] = rng.random() < 0.5
    return AGREE, None


def wrong_salt(rng, ctx):
    ctx.request["salt"] = rng.randbytes(32)
    return (REFUSED, {"salt-wrong"}) if ctx.draft.manifest["salt_digest"] else (AGREE, None)


def wrong_reference(rng, ctx):
    ctx.request["vehicle_reference"] = "red van"
    return REFUSED, {"vehicle-reference"}


def no_word(rng, ctx):
    ctx.request.update(salt=None, vehicle_reference="")
    return REFUSED, {"vehicle-not-provable"}


def missing(rng, ctx):
    ctx.request["reads"] = []
    return REFUSED, {"read-missing"}


def revived(rng, ctx):
    ctx.request.update(reads=[], revive=True)
    if ctx.draft.revision > 0:
        return REFUSED, {"read-missing"}
    if not ctx.request["vehicle_reference"]:
        return REFUSED, {"vehicle-not-provable"}
    return AGREE, None


def any_byte(rng, ctx):
    return (AGREE, None) if flip(rng, ctx.read, ctx.read.known) else None


def wrong_floating(rng, ctx):
    """A value over learned values that came wrong is computed anew; the verdict only says so."""
    floating = overlap(ctx.draft.shape.kinds["floating"], ctx.draft.base.known)
    if not flip(rng, ctx.read, floating):
        return None
    return (ACCEPTED if ctx.honest_reason == "" and ctx.fully_known() else AGREE), None


def short(rng, ctx):
    memory = ctx.read.space.memories[0]
    ctx.request["reads"] = [(memory.name, bytes(size(memory.segments) - 1))]
    return REFUSED, None


READS = [foreign, foreign, unknown_software, unknown_software, other_vehicle, other_bank, half_patch, half_patch, part, part, stale, stale_and_driven, wrong_salt,
         wrong_reference, no_word, missing, revived, any_byte, wrong_floating, short]
