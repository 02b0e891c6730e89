"""A controller by chance: checksums of every algorithm, encoding and rule over any bytes, as far as the map stays valid and can be planned."""

import json

from image import Image
from plan import Plan
from refused import Refused
from region_map import read_region_map
from worlds import FLASH, World, at, place, slot

SIZE, EEPROM = 512, 64
CRCS = ("CRC-8/SMBUS", "CRC-16/ARC", "CRC-16/XMODEM", "CRC-16/DNP", "CRC-24/OPENPGP", "CRC-32/ISO-HDLC", "CRC-32/MPEG-2", "CRC-64/XZ", "CRC-12/UMTS", "CRC-5/USB")


def some_range(rng, most=64):
    if rng.random() < 0.25:
        start = rng.randrange(EEPROM - 8)
        return place("eeprom", start, rng.randint(1, min(32, EEPROM - start)))
    start = rng.randrange(SIZE - 8)
    return place("flash", FLASH + start, rng.randint(1, min(most, SIZE - start)))


def some_algorithm(rng):
    way = rng.choice(("crc", "crc", "crc", "own", "sum", "sum", "fletcher", "adler", "sha"))
    if way == "crc":
        return {"crc": rng.choice(CRCS)}, None
    if way == "own":
        width = rng.randint(3, 40)
        return {"crc": {"width": width, "poly": f"0x{rng.getrandbits(width) | 1:x}", "init": f"0x{rng.getrandbits(width):x}", "refin": rng.random() < 0.5,
                        "refout": rng.random() < 0.5, "xorout": f"0x{rng.getrandbits(width):x}"}}, width
    if way == "sum":
        unit = rng.choice((8, 16, 32))
        return {"sum": {"unit": unit, "order": rng.choice(("little", "big")), "operation": rng.choice(("add", "add-end-around", "xor")),
                        "accumulator": rng.choice((unit, unit, 32, 64))}}, None
    if way == "fletcher":
        return rng.choice(({"fletcher": 16}, {"fletcher": 32, "order": "big"})), None
    return ({"adler": 32}, None) if way == "adler" else ({"sha": 256}, None)


def some_checksum(rng, name):
    algorithm, _ = some_algorithm(rng)
    out = {"name": name, "algorithm": algorithm, "coverage": [some_range(rng) for _ in range(rng.choice((1, 1, 2, 3)))]}
    if rng.random() < 0.2:
        out["coverage"].insert(rng.randrange(2), {"literal": rng.randbytes(rng.randint(1, 4)).hex()})
    if rng.random() < 0.2:
        out["swap"] = rng.choice((16, 32))
    if rng.random() < 0.2:
        out["substitute"] = [{**some_range(rng, 8), "as": f"{rng.randrange(256):02x}"}]
    if "sha" not in algorithm and rng.random() < 0.3:
        out["complement"] = rng.choice(("ones", "twos", "none"))
    if "sha" not in algorithm and rng.random() < 0.2:
        out["add"] = rng.randrange(8)
    if "sha" not in algorithm and rng.random() < 0.2:
        out["bits"] = rng.choice((3, 8, 12, 16))
    home = rng.choice([p for p in out["coverage"] if "memory" in p] + [some_range(rng)])
    start = int(home["start"], 16) + rng.randrange(home["size"])
    if rng.random() < 0.35:
        out["rule"] = {"equals": rng.choice((1, 0, rng.randrange(256), "residue")), "balance": slot(home["memory"], start, rng.choice((1, 2, 3, 4, 8)))}
        return out
    places, at_bit = [], 0
    for _ in range(rng.choice((1, 1, 1, 2))):
        one = slot(home["memory"], start + at_bit, rng.choice((1, 2, 4, 4, 8, 20, 32)))
        if "sha" in algorithm:
            one.update({"size": rng.choice((4, 16, 32)), "from": at_bit})
        else:
            one["encoding"] = rng.choice(("binary", "binary", "binary", "hex-lower", "hex-upper", "decimal"))
            one["transform"] = rng.choice(("plain", "plain", "complement", "negate", "reverse"))
            one["order"] = rng.choice(("little", "big"))
        at_bit += one["size"]
        places.append(one)
    out["slots"] = places
    return out


def chance_fields(rng):
    fields = {
        "memories": [{"name": "flash", "origin": at(FLASH), "size": SIZE}, {"name": "eeprom", "origin": at(0), "size": EEPROM}],
        "regions": [{"name": "maps", **place("flash", FLASH + 100, 120), "policy": "editable"}, {"name": "steps", **place("flash", FLASH + 300, 12), "policy": "editable", "count": 4, "stride": 16},
                    {"name": "learned", **place("eeprom", 0x10, 16), "policy": "volatile"}, {"name": "counter", **place("flash", FLASH + 400, 20), "policy": "volatile"}],
        "checksums": [], "copies": [],
        "identity": [{"name": "vin", "kind": "vin", "memory": "eeprom", "at": at(0x20), "size": 17, "encoding": "ascii", "binds": True},
                     {"name": "number", "kind": "software-number", "memory": "flash", "at": at(FLASH + 90), "size": 20, "encoding": "hex"}],
        "erase_sectors": [{**place("flash", FLASH, 128), "count": 4}],
    }
    return fields


def usable(fields):
    """Whether the map is valid and can be planned over bytes by chance."""
    whole = {"calseal": "region-map/1", "name": "chance", "controller": "engine", "version": 1, **fields,
             "evidence": {"author": "tests", "verified_on": [], "guesses": [], "grade": "draft"}}
    try:
        region_map = read_region_map(json.dumps(whole).encode("utf-8"))
        region_map.make_nodes()
        image = Image(region_map.space)
        for memory in region_map.space.memories:
            for first, last in memory.segments:
                image.lay(first, bytes(last - first))
        Plan(region_map, image)
    except Refused:
        return False
    return True


def chance_world(rng):
    fields, wanted = chance_fields(rng), rng.randint(1, 6)
    for turn in range(60):
        if len(fields["checksums"]) + len(fields["copies"]) >= wanted:
            break
        key, one = "checksums", some_checksum(rng, f"c{turn}")
        if rng.random() < 0.15:
            target = some_range(rng, 12)
            source = some_range(rng, 12)
            key, one = "copies", {"name": f"c{turn}", **target, "of": {"memory": source["memory"], "start": source["start"]},
                                  **rng.choice(({}, {"transform": "complement"}, {"transform": "offset", "offset": 9}))}
        fields[key].append(one)
        if not usable(fields):
            fields[key].pop()
    hidden = [("flash", FLASH + rng.randrange(SIZE - 40), rng.randint(1, 40))] if rng.random() < 0.3 else []
    try:
        return World("chance", fields, rng, [("eeprom", 0x20, rng.randbytes(17))], hidden)
    except Refused:
        # A balance that these very bytes cannot reach, an end-around sum that has no answer here: without checksums it is a world too.
        return World("chance", {**fields, "checksums": [], "copies": []}, rng)
