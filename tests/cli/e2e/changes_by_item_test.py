"""What `compare` says about calibration items, against a second computation written from docs/region-map.md and
docs/json-output.md: values, axes, sums, and the words for people. Then the same between bundles as between images.

CALSEAL_SEED repeats a run."""

import json
import os
import pathlib
import random
import re
import sys
import unittest
import zlib
from fractions import Fraction

import desk as desks
from desk import CALSEAL, edited

sys.path.insert(0, str(pathlib.Path(__file__).resolve().parents[2] / "reader"))
from map_items import TYPES  # noqa: E402

ORIGIN, SIZE, SLOT = 0x80000000, 0x2000, 0x1F00
CALIBRATION = (0x100, 0x1E00)
CONVERSIONS = ({}, {"factor": "0.1"}, {"factor": "-0.25", "offset": "40"}, {"factor": "0.0000152587890625"},
               {"factor": "12.5", "offset": "-0.5"}, {"rational": ["0", "81.9175", "3", "0", "0", "1"]},
               {"rational": ["0", "0", "60000000", "0", "1", "0"]})
# A cell in its column, or a value alone.
CELL = re.compile(r"(?m)^(?: {6}(\S.*?) {2,}|  (\S+:) )(\S+) {1,2}-> +(\S+)(?:$| .*$)")
SEED = int(os.environ.get("CALSEAL_SEED", random.SystemRandom().randrange(2**32)))


def physical(item, stored):
    """Exact, or None where the conversion divides by zero."""
    if "rational" in item:
        _, b, c, _, e, f = map(Fraction, item["rational"])
        below = e * stored - b
        return None if below == 0 else (c - f * stored) / below
    return Fraction(item.get("factor", "1")) * stored + Fraction(item.get("offset", "0"))


def rounded(value, places):
    """Half away from zero, as text without needless zeros."""
    scaled = (abs(value) * 10**places * 2 + 1) // 2
    digits = str(scaled).rjust(places + 1, "0")
    text = digits[:len(digits) - places] + ("." + digits[len(digits) - places:] if places else "")
    text = text.rstrip("0").rstrip(".") if "." in text else text
    return "-" + text if value < 0 and text != "0" else text


def decimals(value):
    """How many decimals it has; None: more than 18."""
    return next((n for n in range(19) if (value * 10**n).denominator == 1), None)


def exact_text(value):
    """As JSON has it."""
    if value is None:
        return "undefined"
    if decimals(value) is not None:
        return rounded(value, decimals(value))
    text = rounded(abs(value), 6)
    whole, _, behind = text.partition(".")
    return "~" + ("-" if value < 0 else "") + whole + "." + behind.ljust(6, "0")


def places_for_people(item, stored):
    value = physical(item, stored)
    if value is None:
        return 0
    if decimals(value) is not None and decimals(value) <= 4:
        return decimals(value)
    neighbour = physical(item, stored + 1)
    step = abs((physical(item, stored - 1) if neighbour is None else neighbour) - value)
    return next(n for n in range(1, 19) if Fraction(1, 10**n) <= step / 10 or n == 18)


def grouped(text):
    whole, point, behind = text.partition(".")
    sign = "-" if whole.startswith("-") else ""
    return sign + f"{int(whole.lstrip('-')):,}" + point + behind


def words(value, places):
    return "undefined" if value is None else grouped(rounded(value, places))


def stored_of(item, flash):
    size = TYPES[item["type"]]
    at = int(item["start"], 16) - ORIGIN
    return [int.from_bytes(flash[at + i * size:at + (i + 1) * size], item.get("order", "little"), signed=item["type"][0] == "s")
            for i in range(item["elements"])]


def random_item(draw, name, at, **more):
    kind = draw.choice(["u8", "s8", "u16", "s16", "u32", "s32"])
    return {"name": name, "memory": "flash", "start": f"0x{ORIGIN + at:08x}", "type": kind, "order": draw.choice(["little", "big"]),
            **draw.choice(CONVERSIONS), **more}


def random_items(draw):
    """Tables with axes that mostly rise, curves over the same axes, and values."""
    items, at = [], CALIBRATION[0]
    for i in range(6):
        axes = []
        for name in (f"x{i}", f"y{i}"):
            points = draw.randrange(2, 6)
            axes.append({"name": name, "kind": "axis", "memory": "flash", "start": f"0x{ORIGIN + at:08x}", "type": "u16", "points": points,
                         "factor": draw.choice(["1", "0.5", "2.25"]), "unit": draw.choice(["1/min", "mg"]), "elements": points})
            at += 2 * points
        x, y = axes
        table = random_item(draw, f"t{i}", at, kind="table", x=x["name"], y=y["name"], unit="Nm", elements=x["points"] * y["points"])
        at += table["elements"] * TYPES[table["type"]]
        curve = random_item(draw, f"c{i}", at, kind="curve", x=x["name"], elements=x["points"])
        at += curve["elements"] * TYPES[curve["type"]]
        scalar = random_item(draw, f"s{i}", at, kind="scalar", elements=1)
        at += TYPES[scalar["type"]] + draw.randrange(9)
        items += [x, y, table, curve, scalar]
    return items


def regions(items):
    return {"calseal": "region-map/1", "name": "solo", "controller": "engine", "version": 1,
            "memories": [{"name": "flash", "origin": f"0x{ORIGIN:08x}", "size": SIZE}],
            "regions": [{"name": "calibration", "memory": "flash", "start": f"0x{ORIGIN + CALIBRATION[0]:08x}",
                         "size": CALIBRATION[1] - CALIBRATION[0], "policy": "editable"}],
            "checksums": [{"name": "calibration", "algorithm": {"crc": "CRC-32/ISO-HDLC"},
                           "coverage": [{"memory": "flash", "start": f"0x{ORIGIN + CALIBRATION[0]:08x}",
                                         "size": CALIBRATION[1] - CALIBRATION[0]}],
                           "slots": [{"memory": "flash", "at": f"0x{ORIGIN + SLOT:08x}", "size": 4}]}],
            "items": [{key: value for key, value in item.items() if key != "elements"} for item in items],
            "evidence": {"author": "tests", "verified_on": [], "guesses": [], "grade": "draft"}}


def corrected(flash):
    return edited(flash, SLOT, zlib.crc32(flash[CALIBRATION[0]:CALIBRATION[1]]).to_bytes(4, "little"))


def movement(changed, count):
    moved = [after - before for before, after in changed if before is not None and after is not None]
    text = [exact_text(value) for value in (min(moved), max(moved), sum(moved) / len(moved))] if moved else ["", "", ""]
    return {"changed": len(changed), "of": count, "without_value": len(changed) - len(moved),
            "least": text[0], "most": text[1], "mean": text[2]}


class Second:
    """The second computation, of two images."""

    def __init__(self, items, before, after):
        self.items = {item["name"]: item for item in items}
        self.before = {item["name"]: stored_of(item, before) for item in items}
        self.after = {item["name"]: stored_of(item, after) for item in items}

    def values(self, name, side):
        return [physical(self.items[name], stored) for stored in side[name]]

    def changed(self, name):
        return [i for i, pair in enumerate(zip(self.before[name], self.after[name])) if pair[0] != pair[1]]

    def axes_of(self, name, element):
        item = self.items[name]
        columns = self.items[item["x"]]["points"] if "x" in item else 1
        return [(key, item[key], point) for key, point in (("x", element % columns), ("y", element // columns)) if key in item]

    def element_json(self, name, element):
        value = {"element": element, "before": exact_text(self.values(name, self.before)[element]),
                 "after": exact_text(self.values(name, self.after)[element])}
        for key, axis, point in self.axes_of(name, element):
            old, new = self.values(axis, self.before)[point], self.values(axis, self.after)[point]
            value[key] = exact_text(old)
            if old != new:
                value[key + "_after"] = exact_text(new)
        return value

    def item_json(self, name):
        item = self.items[name]
        pairs = list(zip(self.values(name, self.before), self.values(name, self.after)))
        changed = self.changed(name)
        return {"name": name, "kind": item["kind"], "unit": item.get("unit", ""), "title": "",
                "elements": [self.element_json(name, i) for i in changed], "elements_left_out": 0,
                **{key + "_changed": key in item and bool(self.changed(item[key])) for key in ("x", "y")},
                "movement": movement([pairs[i] for i in changed], item["elements"])}

    def json(self):
        return [self.item_json(name) for name in self.items if self.changed(name)]

    def rises(self, axis):
        return all(a < b for side in (self.before, self.after) for a, b in zip(self.values(axis, side), self.values(axis, side)[1:]))

    def cell_name(self, name, element):
        """By its axes; a long name, or one by an axis that does not rise, is a number."""
        axes = self.axes_of(name, element)
        text = []
        for _, axis, point in axes:
            shown = [words(physical(self.items[axis], side[axis][point]), places_for_people(self.items[axis], side[axis][point]))
                     for side in (self.before, self.after)]
            text.append(" -> ".join(dict.fromkeys(shown)) + " " + self.items[axis]["unit"])
        name_by_axes = ", ".join(text)
        if axes and all(self.rises(axis) for _, axis, _ in axes) and len(name_by_axes) <= 40:
            return name_by_axes
        item = self.items[name]
        columns = self.items[item["x"]]["points"] if "x" in item else item["elements"]
        return (f"[{element // columns}]" if item["kind"] == "table" else "") + f"[{element % columns}]"

    def lines(self):
        """(cell, before, after) of all cells in reports for people."""
        for name, item in self.items.items():
            for i in self.changed(name):
                pair = (self.before[name][i], self.after[name][i])
                places = max(places_for_people(item, stored) for stored in pair)
                shown = [words(physical(item, stored), places) for stored in pair]
                if shown[0] == shown[1]:
                    shown = [exact_text(physical(item, stored)) for stored in pair]
                yield (f"{name}:" if item["kind"] == "scalar" else self.cell_name(name, i), *shown)


class ChangesByItem(unittest.TestCase):
    @classmethod
    def setUpClass(cls):
        cls.desk = desks.Desk()

    @classmethod
    def tearDownClass(cls):
        cls.desk.close()

    def world(self, draw):
        """A map, an image and two edits of it."""
        items = random_items(draw)
        flash = bytearray(draw.randbytes(SIZE))
        for item in items:
            if item["kind"] == "axis" and draw.random() < 0.8:
                at, points = int(item["start"], 16) - ORIGIN, sorted(draw.sample(range(9000), item["points"]))
                flash[at:at + 2 * len(points)] = b"".join(value.to_bytes(2, "little") for value in points)
        images = [corrected(bytes(flash))]
        for _ in range(2):
            flash = bytearray(images[-1])
            for item in items:
                if draw.random() < (0.15 if item["kind"] == "axis" else 0.6):
                    size = TYPES[item["type"]]
                    at = int(item["start"], 16) - ORIGIN + size * draw.randrange(item["elements"])
                    flash[at:at + size] = draw.randbytes(size)
            images.append(corrected(bytes(flash)))
        self.desk.put("solo.json", json.dumps(regions(items)).encode())
        for number, image in enumerate(images):
            self.desk.put(f"{number}.bin", image)
        return items, images

    def compared(self, *more):
        return [CALSEAL, "compare", self.desk.at("0.bin"), self.desk.at("1.bin"), "--regions", self.desk.at("solo.json"), *more]

    def test_values_sums_and_words_are_those_of_the_pages(self):
        cells = 0
        for round_number in range(25):
            with self.subTest(seed=SEED, round=round_number):
                items, images = self.world(random.Random(SEED + round_number))
                second = Second(items, *images[:2])
                said = self.desk.json(*self.compared())
                self.assertEqual(said["items"]["changed"], second.json())
                differing = sum(a != b for a, b in zip(images[0][:SLOT], images[1]))
                self.assertEqual(said["items"]["item_bytes"] + said["items"]["elsewhere"]["editable_bytes"], differing)
                text = self.desk.must(*self.compared("--all")).stdout.decode().partition("\n\n")[0]
                found = [(cell or alone, *values) for cell, alone, *values in CELL.findall(text)]
                self.assertEqual(found, list(second.lines()))
                cells += len(found)
        self.assertGreater(cells, 150)

    def test_bundles_say_what_their_images_say(self):
        self.desk.open_shop()
        draw = random.Random(SEED)
        self.world(draw)
        seal = [CALSEAL, "seal", *self.desk.signing()]
        self.desk.json(*seal, "--job", "oak-1", "--regions", self.desk.at("solo.json"), "--base", self.desk.at("0.bin"), "--vehicle",
                       "blue estate", "-o", self.desk.at("r0.calseal"))
        for number, parent in ((1, []), (2, ["--parent", self.desk.at("r1.calseal")])):
            self.desk.json(*seal, "--base-bundle", self.desk.at("r0.calseal"), "--image", self.desk.at(f"{number}.bin"), *parent,
                           "--beyond-limits", "axes are random", "-o", self.desk.at(f"r{number}.calseal"))
        for before, after in ((0, 1), (1, 2), (2, 0)):
            images = self.desk.json(CALSEAL, "compare", self.desk.at(f"{before}.bin"), self.desk.at(f"{after}.bin"), "--regions",
                                    self.desk.at("solo.json"))
            for more in ([], ["--trust", self.desk.at("shop.trust")], ["--read", self.desk.at("0.bin")],
                         ["--base-bundle", self.desk.at("r0.calseal")]):
                bundles = self.desk.json(CALSEAL, "compare", self.desk.at(f"r{before}.calseal"), self.desk.at(f"r{after}.calseal"), *more)
                self.assertEqual(bundles["items"], images["items"], f"seed {SEED}")
                self.assertEqual(bundles["verified"], "--trust" in more)
                self.assertEqual(bundles["unknown_bytes"], 0)
                self.assertEqual(bundles["changed_bytes"], images["confinement"]["changed_bytes"])


if __name__ == "__main__":
    unittest.main()
