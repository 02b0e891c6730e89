"""Lies of the manifest, field by field: another value of the same type, items missing, doubled, swapped or added."""

import hashlib

REFUSED, ACCEPTED, AUTHENTIC, AGREE = "refused", "accepted", "authentic", "agree"
FREE = {"title", "notes", "requirements", "cautions", "annotations", "tool", "permitted_returns"}
WORD = {"job", "base", "revision", "sequence", "parent", "claimed_time", "trial", "expires", "required_roles", "salt_digest", "options", "ordered", "set",
        "vehicle_reference", "attachments"}


def other_value(rng, value):
    if isinstance(value, bool):
        return not value
    if isinstance(value, int):
        return rng.choice([max(0, value + rng.choice((-2, -1, 1, 2, 16))), value ^ 1])
    if len(value) == 64 and all(c in "0123456789abcdef" for c in value):
        return rng.choice((hashlib.sha256(rng.randbytes(4)).hexdigest(), value[:-1] + ("0" if value[-1] != "0" else "1")))
    if value.startswith("0x") and len(value) == 10:
        return f"0x{max(0, int(value, 16) + rng.choice((-16, -1, 1, 16))) % 2**32:08x}"
    choices = {"locked", "editable", "derived", "floating", "volatile", "binding"}, {"holds", "fails", "not-provable"}, {"before", "after"}, \
        {"full", "areas"}, {"draft", "verified"}, {"author", "reviewer"}
    for group in choices:
        if value in group:
            return rng.choice(sorted(group - {value}))
    if value == "":
        return rng.choice(("00", "a", hashlib.sha256(b"lie").hexdigest()))
    return rng.choice((value + "x", value[:-1] + "q", ""))


def leaves(value, path=()):
    """Every path to a plain value, and to every list."""
    if isinstance(value, dict):
        for key, item in value.items():
            yield from leaves(item, path + (key,))
        return
    if isinstance(value, list):
        yield path
        for i, item in enumerate(value):
            yield from leaves(item, path + (i,))
        return
    yield path


def at(value, path):
    for key in path:
        value = value[key]
    return value


def bend_list(rng, items):
    """Another list: one item less, doubled, two swapped, moved to the end, or turned round."""
    way = rng.choice(("drop", "double", "swap", "reverse", "empty", "rotate"))
    out = list(items)
    if way == "drop" and out:
        out.pop(rng.randrange(len(out)))
    elif way == "double" and out:
        i = rng.randrange(len(out))
        out.insert(i, out[i])
    elif way == "swap" and len(out) > 1:
        i, j = rng.sample(range(len(out)), 2)
        out[i], out[j] = out[j], out[i]
    elif way == "reverse":
        out.reverse()
    elif way == "rotate":
        out = out[1:] + out[:1]
    elif way == "empty":
        out = []
    return out


def demand_of(draft, path):
    """What the text demands of a manifest that lies in this field, where that can be said from the field alone."""
    top = path[0]
    if top in FREE:
        return AGREE if top == "permitted_returns" else ACCEPTED
    if top in WORD or len(path) < 3:
        return AGREE
    field = path[2]
    if field == "memories" and "known" in path:
        return AGREE
    if field == "spans" and path[-1] == "before" and draft.revision > 0:
        return REFUSED if at(draft.manifest, path[:-1])["kind"] == "locked" else AGREE
    if field == "binding" and path[-1] == "digest":
        return AGREE
    if field == "files" and draft.revision == 0:
        return AGREE
    if field == "checksums" and path[-1] == "state" and draft.revision == 0 and path[3] in draft.plan.floats:
        return AGREE  # what floats is corrected, whether it failed in the first read or not
    return REFUSED


def field_lie(rng, draft, only=None):
    """(kind, demand) after one field was changed, of those that are named; nothing when the change came to the same."""
    paths = [path for path in leaves(draft.manifest) if path[0] not in ("calseal", "format")]
    tops = sorted({path[2] if path[0] == "controllers" and len(path) > 2 else path[0] for path in paths})
    tops = [top for top in tops if only is None or top in only]
    top = rng.choice(tops)
    path = rng.choice([p for p in paths if (p[2] if p[0] == "controllers" and len(p) > 2 else p[0]) == top])
    value = at(draft.manifest, path)
    lie = bend_list(rng, value) if isinstance(value, list) else other_value(rng, value)
    if lie == value:
        return None
    demand = demand_of(draft, path)
    if path[-1] == "title" and lie == "" or path[0] in ("requirements", "cautions", "annotations") and not isinstance(lie, list):
        demand = AGREE
    at(draft.manifest, path[:-1])[path[-1]] = lie
    pinned = rng.random() < 0.7
    if "spans" in path and pinned:
        repin(draft)
    return f"field {'.'.join(str(p) for p in path if not isinstance(p, int))}{' pinned' if 'spans' in path and pinned else ''}", demand


def repin(draft):
    """`pinned` of the spans as they are now, so that step 5c finds no fault with it."""
    if all(isinstance(s["size"], int) for s in draft.controller["spans"]):
        draft.pin()
