"""The region map that a state keeps, made from the bundle's own: the same in other words, one that allowed more or less, or no map at all."""

import copy
import json

import lies_maps
from crc_catalogue import read_page
from refused import Refused
from region_map import read_region_map


def parameters(rng, fields):
    """An algorithm by its parameters instead of its name."""
    one = rng.choice([c for c in fields["checksums"] if isinstance(c["algorithm"].get("crc"), str)])
    entry = read_page()[one["algorithm"]["crc"]]
    one["algorithm"] = {"crc": {key: entry[key] if key in ("width", "refin", "refout") else f"0x{entry[key]:x}"
                                for key in ("width", "poly", "init", "refin", "refout", "xorout")}}


def alias(rng, fields):
    """Another name of the same entry."""
    one = rng.choice([c for c in fields["checksums"] if isinstance(c["algorithm"].get("crc"), str)])
    entry = read_page()[one["algorithm"]["crc"]]
    one["algorithm"]["crc"] = rng.choice([name for name, other in read_page().items() if other is entry and name != one["algorithm"]["crc"]])


def residue(rng, fields):
    one = rng.choice([c for c in fields["checksums"] if c.get("rule", {}).get("equals") == "residue"])
    entry = one["algorithm"]["crc"]
    entry = read_page()[entry] if isinstance(entry, str) else None
    one["rule"]["equals"] = entry["residue"] ^ entry["xorout"]


def numbers(rng, fields):
    place = rng.choice(fields["regions"] + [piece for c in fields["checksums"] for piece in c["coverage"] if "size" in piece])
    place["size"] = f"0x{place['size']:x}"


def defaults(rng, fields):
    way = rng.choice(("slot", "sum", "memory", "segments", "copy", "field", "add", "mask"))
    if way == "slot":
        one = rng.choice([s for c in fields["checksums"] if "sha" not in c["algorithm"] for s in c.get("slots", [])])
        one.update({"order": one.get("order", "little"), "encoding": one.get("encoding", "binary"), "from": one.get("from", 0)})
    elif way == "sum":
        one = rng.choice([c["algorithm"]["sum"] for c in fields["checksums"] if "sum" in c["algorithm"]])
        one.update({"order": one.get("order", "little"), "operation": one.get("operation", "add"), "accumulator": one.get("accumulator", one["unit"]), "init": 0})
    elif way == "memory":
        one = rng.choice(fields["memories"])
        one.update({"fill": one.get("fill", "ff"), "hole_is_fill": one.get("hole_is_fill", False)})
    elif way == "segments":
        one = rng.choice([m for m in fields["memories"] if "segments" not in m])
        one["segments"] = [{"start": one["origin"], "size": one["size"]}]
    elif way == "copy":
        one = rng.choice(fields["copies"])
        one["transform"] = one.get("transform", "plain")
    elif way == "field":
        one = rng.choice(fields["identity"])
        one["binds"] = one.get("binds", False)
    elif way == "mask":
        one = rng.choice(fields["recognise"]["all"])
        one["mask"] = one.get("mask", "ff" * (len(one["bytes"]) // 2))
    else:
        one = rng.choice([c for c in fields["checksums"] if "sha" not in c["algorithm"]])
        one["add"], one["swap"] = one.get("add", 0), one.get("swap", 0)
        one.pop("swap") if not one["swap"] else None


def words(rng, fields):
    """What never counts: notes, titles, names of regions, forms, evidence, order of declarations."""
    way = rng.choice(("note", "title", "region name", "evidence", "order", "form", "succeeds"))
    if way == "note":
        rng.choice(fields["regions"] + fields["checksums"] + [fields]).update(note="another note")
    elif way == "title":
        fields["title"] = "another title"
    elif way == "region name":
        rng.choice(fields["regions"])["name"] = "otherwise"
    elif way == "evidence":
        fields["evidence"] = {**fields["evidence"], "guesses": ["one"], "author": "another"}
    elif way == "form":
        fields["forms"] = [{"name": "locked-up", "signature": "00112233"}]
    elif way == "succeeds":
        fields["succeeds"] = "ab" * 32
    else:
        rng.choice([fields[key] for key in ("checksums", "regions", "identity", "memories") if fields.get(key)]).reverse()


def sectors_otherwise(rng, fields):
    """The same sectors, one by one or in another order."""
    one = rng.choice(fields["erase_sectors"])
    start, size = int(one["start"], 16), one["size"]
    fields["erase_sectors"].remove(one)
    fields["erase_sectors"] += [{**one, "start": f"0x{start + i * size:08x}", "count": 1} for i in reversed(range(one["count"]))]


def repeated(rng, fields):
    """One repetition of a region, written out with other names."""
    one = rng.choice([r for r in fields["regions"] if "count" in r])
    fields["regions"].remove(one)
    for i in range(one["count"]):
        fields["regions"].append({"name": f"{one['name']}-{i}", "memory": one["memory"], "start": f"0x{int(one['start'], 16) + i * one['stride']:08x}", "size": one["size"],
                                  "policy": one["policy"]})


def gone(rng, fields):
    """The older map declares less."""
    key = rng.choice([key for key in ("regions", "checksums", "copies", "identity", "erase_sectors", "permitted_patches", "manufacturer_signed") if fields.get(key)])
    fields[key].remove(rng.choice(fields[key]))


def more(rng, fields):
    """The older map declares more: a field, a part, a region, a memory, what it is recognised by."""
    memory = rng.choice(fields["memories"])
    at = f"0x{int(memory['origin'], 16) + rng.randrange(memory['size'] - 4):08x}"
    place = {"memory": memory["name"], "start": at, "size": rng.choice((1, 2, 4))}
    way = rng.choice(("region", "field", "binding", "signed", "memory", "recognise", "patch", "sum"))
    if way == "region":
        fields["regions"].append({"name": "further", **place, "policy": rng.choice(("editable", "volatile", "locked"))})
    elif way in ("field", "binding"):
        fields["identity"] = [*fields.get("identity", []), {"name": "further", "kind": "other", "memory": memory["name"], "at": at, "size": place["size"], "encoding": "hex",
                                                           "binds": way == "binding"}]
    elif way == "signed":
        fields["manufacturer_signed"] = [*fields.get("manufacturer_signed", []), {"name": "further", "places": [place]}]
    elif way == "memory":
        fields["memories"].append({"name": "further", "origin": "0x00000000", "size": 16})
    elif way == "recognise":
        fields.setdefault("recognise", {}).setdefault("all", []).append({"memory": memory["name"], "at": at, "bytes": "00"})
    elif way == "patch":
        fields["permitted_patches"] = [*fields.get("permitted_patches", []), {"name": "further", "memory": memory["name"], "at": at, "before": "00", "after": "01"}]
    else:
        fields["checksums"] = [*fields.get("checksums", []), {"name": "further", "algorithm": {"sum": {"unit": 8, "accumulator": 16}}, "coverage": [place],
                                                             "slots": [{"memory": memory["name"], "at": at, "size": 2}]}]


def memory_otherwise(rng, fields):
    one = rng.choice(fields["memories"])
    way = rng.choice(("fill", "holes", "larger", "segments"))
    if way == "fill":
        one["fill"] = "00"
    elif way == "holes":
        one["hole_is_fill"] = not one.get("hole_is_fill", False)
    elif way == "larger":
        one["size"] += 16
    else:
        one["segments"] = [{"start": one["origin"], "size": one["size"] // 2}, {"start": f"0x{int(one['origin'], 16) + one['size'] // 2:08x}", "size": one["size"] - one["size"] // 2}]


SAME = (parameters, alias, residue, numbers, defaults, defaults, words, words, sectors_otherwise, repeated)
OTHER = (gone, gone, more, more, memory_otherwise, *lies_maps.SECTIONS.values())


def older_map(rng, fields):
    """(word, text of an older version of this map); its text may be no map."""
    for _ in range(40):
        older = copy.deepcopy(fields)
        older["version"] -= 1
        edits = [rng.choice(SAME)] if rng.random() < 0.35 else [rng.choice(OTHER)] if rng.random() < 0.8 else [rng.choice(OTHER), rng.choice(SAME)]
        try:
            for edit in edits:
                edit(rng, older)
        except (IndexError, KeyError, TypeError):
            continue  # this map has no such thing
        text = json.dumps(older, separators=(",", ":"))
        if readable(text) or rng.random() < 0.1:
            return " and ".join(edit.__name__ for edit in edits), text
    return "version alone", json.dumps({**fields, "version": fields["version"] - 1}, separators=(",", ":"))


def readable(text):
    try:
        read_region_map(text.encode("utf-8"))
    except Refused:
        return False
    return True
