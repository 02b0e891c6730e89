"""Steps 4 to 7 of a region map: names, ranges, overlaps, policies."""

from algorithms import algorithm
from map_items import axes_of, size_of
from ranges import inside, merged, touches, without
from refused import require

CONTENT = 268435456


# ---- step 4

def named_places(fields):
    """Every object that names a memory."""
    yield from (fields["recognise"] or {"all": []})["all"]
    for form in fields["forms"]:
        yield from (block for block in form.get("blocks", []) if "memory" in block)
        yield from form.get("omitted") or []
    yield from fields["regions"] + fields["permitted_patches"] + fields["identity"] + fields["erase_sectors"] + fields["items"]
    for copy in fields["copies"]:
        yield from (copy, copy["of"])
        yield from [copy["active_bank"]] if copy["active_bank"] else []
    for part in fields["manufacturer_signed"]:
        yield from part["places"]
    yield from (place for checksum in fields["checksums"] for place, _ in places_of(checksum))


def places_of(checksum):
    """(place, key of its address) of a checksum's coverage, substitutes, slots and balance."""
    for piece in checksum["coverage"]:
        if "memory" in piece:
            yield piece, "start"
        elif "table" in piece:
            table = piece["table"]
            yield {**table, "size": table["records"] * table["record_size"]}, "at"
    for place in checksum["substitute"]:
        yield place, "start"
    for slot in checksum["slots"] or []:
        yield slot, "at"
    if checksum["rule"] and checksum["rule"]["balance"]:
        yield checksum["rule"]["balance"], "at"


def check_checksum_names(checksums, memories):
    require(len({c["name"] for c in checksums}) == len(checksums), "map-name", "a checksum twice")
    for checksum in checksums:
        require(algorithm(checksum["algorithm"]), "map-name", "no such CRC")
        for place, _ in places_of(checksum):
            require(place["memory"] in memories and place.get("points_into", place["memory"]) in memories, "map-name", "memory")


def check_names(fields):
    memories = {memory["name"] for memory in fields["memories"]}
    for key in ("memories", "forms", "regions", "permitted_patches", "copies", "identity", "manufacturer_signed", "items"):
        require(len({item["name"] for item in fields[key]}) == len(fields[key]), "map-name", f"{key}: a name twice")
    require(all(place["memory"] in memories for place in named_places(fields)), "map-name", "a memory that is not declared")
    numbers = fields["recognise"] and fields["recognise"]["software_numbers"]
    require(not numbers or any(f["kind"] == "software-number" for f in fields["identity"]), "map-name", "software_numbers without a field")
    for form in fields["forms"]:
        check_checksum_names(form.get("checksums", []), {"file"})
    check_checksum_names(fields["checksums"], memories)
    require(all(fits for item in fields["items"] for _, fits in axes_of(item, fields["items"])), "map-name", "an axis")


# ---- step 5

def check_memories(memories):
    total = 0
    for memory in memories:
        total += memory["size"]
        require(memory["size"] > 0 and memory["origin"] + memory["size"] <= 2**32 and total <= CONTENT, "map-range", memory["name"])
        last = -1
        for segment in memory["segments"] or []:
            end = segment["start"] + segment["size"]
            fits = segment["size"] > 0 and memory["origin"] <= segment["start"] and end <= memory["origin"] + memory["size"]
            require(fits and segment["start"] > last, "map-range", "segment")
            last = segment["start"]


def check_ranges(fields):
    from region_map import Space
    check_memories(fields["memories"])
    space = Space(fields["memories"])

    def need(place, key="start", length=None, i=0, holes=False):
        memory = space.named[place["memory"]]
        start, length = place[key] + (place.get("stride") or 0) * i, place["size"] if length is None else length
        first, last = memory.range(start, length)
        good = memory.base <= first and last <= memory.base + memory.size and length > 0 if holes else space.exists(memory, start, length)
        require(good, "map-range", place)

    for element in (fields["recognise"] or {"all": []})["all"]:
        need(element, "at", len(element["bytes"]))
    for form in fields["forms"]:
        check_form_ranges(form, need)
    for region in fields["regions"]:
        for i in (0, (region["count"] or 1) - 1):
            need(region, i=i)
        require(all(space.exists(space.named[region["memory"]], region["start"] + region["stride"] * i, region["size"])
                    for i in range(region["count"] or 0)), "map-range", region)
    for patch in fields["permitted_patches"]:
        need(patch, "at", len(patch["before"]))
    for copy in fields["copies"]:
        need(copy)
        need(copy["of"], length=copy["size"])
        if copy["active_bank"]:
            need(copy["active_bank"], "at", len(copy["active_bank"]["equals"]))
    for checksum in fields["checksums"]:
        for place, key in places_of(checksum):
            for i in range((checksum["repeat"] or 1) if place.get("stride") else 1):
                need(place, key, i=i)
    for field in fields["identity"]:
        need(field, "at")
    for part in fields["manufacturer_signed"]:
        for place in part["places"]:
            need(place)
    for sectors in fields["erase_sectors"]:
        require(sectors["size"] > 0, "map-range", "empty sectors")
        need(sectors, length=sectors["size"] * sectors["count"], holes=True)
    for item in fields["items"]:
        for i in range(item["count"] or 1):
            need(item, length=size_of(item, fields["items"]), i=i)


def check_form_ranges(form, need):
    if "signature" in form:
        return
    for place in [b for b in form["blocks"] if "memory" in b] + (form["omitted"] or []):
        need(place)
    length = form_size(form)
    require(length <= CONTENT, "map-range", "a form too large")
    for checksum in form["checksums"]:
        for place, key in places_of(checksum):
            for i in range(checksum["repeat"] or 1):
                at = place[key] + (place.get("stride") or 0) * i
                require(place["size"] > 0 and at + place["size"] <= length, "map-range", "of a form's checksum")


def block_size(block):
    return len(block["constant"]) if "constant" in block else block.get("opaque", block.get("size"))


def form_size(form):
    return sum(block_size(block) for block in form["blocks"])


def file_of(form):
    """A form's file as the one memory of a region map of its own."""
    from region_map import RegionMap
    empty = {key: [] for key in ("forms", "regions", "permitted_patches", "copies", "identity", "manufacturer_signed", "erase_sectors", "items")}
    memory = {"name": "file", "origin": 0, "size": form_size(form), "segments": None, "fill": b"\xff", "hole_is_fill": False}
    return form, RegionMap({**empty, "name": form["name"], "controller": "", "version": 1, "recognise": None, "memories": [memory],
                            "checksums": form["checksums"], "evidence": {"grade": "draft"}})


# ---- step 6

def apart(places):
    places = sorted(places)
    return all(a[1] <= b[0] for a, b in zip(places, places[1:]))


def claimed_places(region_map, written=False):
    """Slots, balances and copies; with `written` without the slots of unconfirmed checksums."""
    space = region_map.space
    for c in region_map.fields["checksums"]:
        if written and c["drafted"] is not None and c["confirmed"] is None:
            continue
        own = [(slot, "at") for slot in c["slots"] or []] + ([(c["rule"]["balance"], "at")] if c["rule"] and c["rule"]["balance"] else [])
        yield from (space.range(place, i, key) for i in range(c["repeat"] or 1) for place, key in own)
    yield from (space.range(copy) for copy in region_map.fields["copies"])


def check_substitutes(region_map):
    for c in region_map.fields["checksums"]:
        for i in range(c["repeat"] or 1):
            require(apart(region_map.space.range(s, i) for s in c["substitute"]), "map-overlap", "substitutes")


def check_overlaps(region_map, form_maps):
    fields, space = region_map.fields, region_map.space
    for memory in fields["memories"]:
        require(apart((s["start"], s["start"] + s["size"]) for s in memory["segments"] or []), "map-overlap", "segments")
    for form in fields["forms"]:
        places = [b for b in form.get("blocks", []) if "memory" in b] + (form.get("omitted") or [])
        require(apart(space.range(place) for place in places), "map-overlap", "a byte twice in a form")
    require(apart((first, last) for first, last, _, _ in region_map.regions), "map-overlap", "regions")
    owners = [(a, b) for a, b, _ in region_map.patches] + list(claimed_places(region_map)) + [(a, b) for a, b, _ in region_map.binding()]
    owners += [space.range(place) for part in fields["manufacturer_signed"] for place in part["places"]]
    require(apart(owners), "map-overlap", "patches, copies, slots, balances, binding fields, signed parts")
    for copy in fields["copies"]:
        require(not touches([space.range(copy)], [space.range({**copy["of"], "size": copy["size"]})]), "map-overlap", "a copy over its original")
    check_substitutes(region_map)
    require(apart(region_map.sectors), "map-overlap", "sectors")
    lengths = [(item, size_of(item, fields["items"])) for item in fields["items"]]
    require(apart(space.range(item, i, size=n) for item, n in lengths for i in range(item["count"] or 1)), "map-overlap", "items")
    for _, each in form_maps:
        require(apart(claimed_places(each)), "map-overlap", "slots of a form")
        check_substitutes(each)


# ---- step 7

def check_policies(region_map, form_maps):
    fields, space = region_map.fields, region_map.space
    derived = merged(claimed_places(region_map, written=True))
    locked = without(merged(part for memory in space.memories for part in memory.segments),
                     merged([(a, b) for a, b, _, policy in region_map.regions if policy != "locked"] + derived))
    editable = without(region_map.policy("editable"), derived)
    patches = merged((a, b) for a, b, _ in region_map.patches)
    require(inside(region_map.policy("derived"), derived), "map-policy", "a derived region with bytes that nothing derives")
    require(inside(patches, locked), "map-policy", "a patch not all locked")
    for copy in fields["copies"]:
        if copy["active_bank"]:
            marker = [space.range(copy["active_bank"], 0, "at", len(copy["active_bank"]["equals"]))]
            require(inside(marker, merged(locked + without(region_map.policy("volatile"), derived))), "map-policy", "marker")
    for checksum in fields["checksums"]:
        for piece in checksum["coverage"]:
            if "table" in piece:
                values = merged(value_places(space, piece["table"]))
                require(inside(values, without(locked, patches)), "map-policy", "table")
    for first, last, field in region_map.fields_of_identity:
        mark = field["kind"] == "revision-mark"
        require(not mark or (inside([(first, last)], editable) and not field["binds"]), "map-policy", "revision mark")
        require(field["kind"] not in ("vin", "serial") or field["binds"], "map-policy", "a vin or serial that does not bind")
    require(inside(region_map.signed, locked), "map-policy", "a signed part not all locked")
    for form, each in form_maps:
        opaque, at = [], 0
        for block in form["blocks"]:
            opaque += [(at, at + block["opaque"])] if "opaque" in block else []
            at += block_size(block)
        require(inside(merged(claimed_places(each)), merged(opaque)), "map-policy", "a form's slot")


def value_places(space, table):
    for i in range(table["records"]):
        for key in ("start_at", "end_at"):
            yield space.named[table["memory"]].range(table["at"] + i * table["record_size"] + table[key], 4)
