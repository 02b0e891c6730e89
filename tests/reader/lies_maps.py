"""Lies of the region map: one thing of it is another, whether the manifest was made from that map or from the honest one."""

import copy
import json

from lies_manifest import AGREE
from region_map import read_region_map


def policy(rng, fields):
    region = rng.choice(fields["regions"])
    region["policy"] = rng.choice([p for p in ("locked", "editable", "volatile", "derived") if p != region["policy"]])


def region_edge(rng, fields):
    region = rng.choice(fields["regions"])
    region["size"] = max(1, region["size"] + rng.choice((-1, 1, -4, 4)))


def slot(rng, fields):
    checksum = rng.choice([c for c in fields["checksums"] if c.get("slots")])
    one = rng.choice(checksum["slots"])
    way = rng.choice(("at", "order", "transform"))
    if way == "at":
        one["at"] = f"0x{int(one['at'], 16) + rng.choice((-2, -1, 1, 2)):08x}"
    elif way == "order":
        one["order"] = "little" if one.get("order") == "big" else "big"
    else:
        one["transform"] = rng.choice(("complement", "reverse", "negate"))


def coverage(rng, fields):
    checksum = rng.choice(fields["checksums"])
    piece = rng.choice(checksum["coverage"])
    if "size" in piece:
        piece["size"] = max(1, piece["size"] + rng.choice((-2, -1, 1, 2)))
    else:
        checksum["coverage"].append(dict(piece))


def algorithm(rng, fields):
    checksum = rng.choice(fields["checksums"])
    checksum["algorithm"] = rng.choice(({"crc": "CRC-16/XMODEM"}, {"crc": "CRC-16/ARC"}, {"fletcher": 16}, {"sum": {"unit": 16}}, {"crc": "CRC-32/BZIP2"}))


def complement(rng, fields):
    rng.choice(fields["checksums"])["complement"] = rng.choice(("ones", "twos", "none"))


def copies(rng, fields):
    one = rng.choice(fields["copies"])
    if rng.random() < 0.4 and "active_bank" in one:
        if rng.random() < 0.5:
            one.pop("active_bank")
        else:
            one["active_bank"]["equals"] = "a55b"
    elif one.get("transform") == "offset":
        one["offset"] = (one["offset"] + 1) % 256
    else:
        one["transform"] = rng.choice(("plain", "complement"))


def recognise(rng, fields):
    if rng.random() < 0.3:
        fields.pop("recognise")
    elif fields["recognise"].get("all"):
        one = rng.choice(fields["recognise"]["all"])
        one["bytes"] = f"{int(one['bytes'], 16) ^ (1 << rng.randrange(8)):0{len(one['bytes'])}x}"
    else:
        fields["recognise"]["software_numbers"] = ["other"]


def identity(rng, fields):
    one = rng.choice(fields["identity"])
    way = rng.choice(("encoding", "at", "size", "name", "drop", "binds"))
    if way == "encoding":
        one["encoding"] = rng.choice(("ascii", "bcd", "hex", "integer-big"))
    elif way == "at":
        one["at"] = f"0x{int(one['at'], 16) + 1:08x}"
    elif way == "size":
        one["size"] = max(1, one["size"] - 1)
    elif way == "name":
        one["name"] += "-2"
    elif way == "drop":
        fields["identity"].remove(one)
    else:
        one["binds"] = not one.get("binds", False)


def sectors(rng, fields):
    one = fields["memories"][0]
    fields["erase_sectors"] = [{"memory": one["name"], "start": one["origin"], "size": max(1, one["size"] // rng.choice((1, 2, 4))), "count": 1}]


def patches(rng, fields):
    one = rng.choice(fields["permitted_patches"])
    way = rng.choice(("drop", "turn", "after"))
    if way == "drop":
        fields["permitted_patches"].remove(one)
    elif way == "turn":
        one["before"], one["after"] = one["after"], one["before"]
    else:
        one["after"] = f"{int(one['after'], 16) ^ 1:0{len(one['after'])}x}"


def memories(rng, fields):
    one = rng.choice(fields["memories"])
    if rng.random() < 0.5:
        one["hole_is_fill"] = True
    else:
        one["name"] = one["name"]
        fields["memories"].reverse()


def words(rng, fields):
    key = rng.choice(("name", "version", "controller"))
    fields[key] = fields[key] + (1 if key == "version" else "x")


SECTIONS = {"policy": policy, "region edge": region_edge, "slot": slot, "coverage": coverage, "algorithm": algorithm, "complement": complement,
            "copies": copies, "recognise": recognise, "identity": identity, "sectors": sectors, "patches": patches, "memories": memories, "words": words}


def map_lie(rng, fields):
    """(kind, map bytes, region map or nothing when it cannot be read, demand)."""
    lying = copy.deepcopy(fields)
    name = rng.choice(sorted(SECTIONS))
    try:
        SECTIONS[name](rng, lying)
    except (IndexError, KeyError):
        return None  # this map has no such section
    if lying == fields:
        return None
    data = json.dumps(lying, separators=(",", ":")).encode("utf-8")
    return f"map {name}", data, AGREE


def readable(data):
    out = read_region_map(data)
    out.make_nodes()
    return out
