"""Whether a region map allows more than another one: docs/region-map.md, "Two maps compared"."""

from bisect import bisect_right

from map_checksums import part

WIDER = {("derived", "volatile")}  # beside what leaves `locked`, and what becomes `editable`


def widens(a, b):
    """The first reason why map b widens map a, by its name on the page; nothing when it does not."""
    for name, asked in QUESTIONS:
        if asked(a, b):
            return name
    return ""


# ---- 1: policy

def runs_of(region_map):
    """memory -> ascending (first, last, policy) in addresses; what is missing is locked."""
    runs = {}
    for memory in region_map.space.memories:
        shift, limits = memory.origin - memory.base, (memory.base, memory.base + memory.size)
        derived = [place for place in region_map.owned if limits[0] <= place[0] < limits[1]]
        found = [(first, last, "derived") for first, last in derived]
        for first, last, _, policy in region_map.regions:
            if limits[0] <= first < limits[1]:
                found += [(a, b, policy) for a, b in rest_of(first, last, derived)]
        runs[memory.name] = sorted((first + shift, last + shift, policy) for first, last, policy in found)
    return runs


def rest_of(first, last, taken):
    """A range without what others have taken, ascending."""
    for a, b in sorted(taken):
        if a < last and b > first:
            if first < a:
                yield first, a
            first = max(first, b)
    if first < last:
        yield first, last


def policy_at(runs, address):
    at = bisect_right(runs, (address, float("inf"))) - 1
    return runs[at][2] if at >= 0 and address < runs[at][1] else "locked"


def is_wider(before, after):
    return before != after and (before == "locked" or after == "editable" or (before, after) in WIDER)


def policy_widens(a, b):
    old, new = runs_of(a), runs_of(b)
    for memory in old.keys() | new.keys():
        before, after = old.get(memory, []), new.get(memory, [])
        edges = {edge for first, last, _ in before + after for edge in (first, last)}
        # Between two edges nothing changes, so the byte behind each edge speaks for all up to the next.
        if any(is_wider(policy_at(before, edge), policy_at(after, edge)) for edge in edges):
            return True
    return False


# ---- declarations, as they are compared

def memories(region_map):
    return {m["name"]: (m["origin"], m["size"], m["segments"] or [{"start": m["origin"], "size": m["size"]}], m["fill"], m["hole_is_fill"])
            for m in region_map.fields["memories"]}


def patches(region_map):
    return named(region_map.fields["permitted_patches"])


def copies(region_map):
    return named(region_map.fields["copies"])


def signed_parts(region_map):
    return named(region_map.fields["manufacturer_signed"])


def identity(region_map):
    return named(region_map.fields["identity"])


def named(declarations):
    return {one["name"]: {key: value for key, value in one.items() if key != "note"} for one in declarations}


def checksums(region_map):
    return {node.name: checksum(node) for node in region_map.nodes if node.kind == "checksum"}


def checksum(node):
    f, i = node.fields, node.i
    return {"algorithm": algorithm(f["algorithm"], node), "coverage": [piece(one, i) for one in f["coverage"]],
            "substitute": [moved(one, i, "start") for one in f["substitute"]], "swap": f["swap"], "complement": f["complement"] or "none", "add": f["add"] or 0,
            "bits": node.bits, "slots": [slot(one, i, node) for one in f["slots"] or []], "rule": rule(f["rule"], i, node)}


def algorithm(spec, node):
    if "crc" in spec:
        return {key: node.algorithm.entry[key] for key in ("width", "poly", "init", "refin", "refout", "xorout")}
    if "sum" in spec:
        return {**spec["sum"], "accumulator": node.algorithm.width}
    return spec


def moved(place, i, key):
    """One repetition of a place, without its stride."""
    return {**{name: value for name, value in place.items() if name != "stride"}, key: place[key] + i * (place["stride"] or 0)}


def piece(one, i):
    if "memory" in one:
        return moved(one, i, "start")
    if "table" in one and one["table"]["record"] == "own":
        return {**one["table"], "record": i}
    return one


def slot(one, i, node):
    place = moved(one, i, "at")
    place.update(order=one["order"] or "little", encoding=one["encoding"] or "binary")
    if "sha" not in node.fields["algorithm"]:
        place["bits"] = part(one, node.bits)[1]
    return place


def rule(one, i, node):
    return one and {"equals": node.equals, "balance": one["balance"] and moved(one["balance"], i, "at")}


# ---- 2 to 7

def memories_widen(a, b):
    return memories(a) != memories(b)


def patches_widen(a, b):
    before, after = patches(a), patches(b)
    return any(name not in before or before[name] != one for name, one in after.items())


def something_is_gone(declarations):
    def asked(a, b):
        after = declarations(b)
        return any(name not in after or after[name] != one for name, one in declarations(a).items())
    return asked


def identity_widens(a, b):
    after = identity(b)
    return any((one["binds"] if name not in after else after[name] != one) for name, one in identity(a).items())


def recognised_by(region_map):
    found = region_map.recognise or {"all": [], "software_numbers": []}
    return [{**one, "mask": one["mask"] or b"\xff" * len(one["bytes"])} for one in found["all"]], found["software_numbers"]


def recognition_widens(a, b):
    return recognised_by(a) != ([], []) and recognised_by(a) != recognised_by(b)


def sectors_of(region_map):
    places = ((memory.name, first - memory.base + memory.origin, last - first) for first, last in region_map.sectors
              for memory in region_map.space.memories if memory.base <= first < memory.base + memory.size)
    return sorted(places)


def sectors_widen(a, b):
    return bool(sectors_of(a)) and sectors_of(a) != sectors_of(b)


QUESTIONS = (("policy", policy_widens), ("memories", memories_widen), ("permitted patches", patches_widen), ("checksums", something_is_gone(checksums)),
             ("copies", something_is_gone(copies)), ("signed parts", something_is_gone(signed_parts)), ("identity", identity_widens),
             ("recognition", recognition_widens), ("erase sectors", sectors_widen))
