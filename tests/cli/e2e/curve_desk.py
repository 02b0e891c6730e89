"""A desk with a controller of random curves and tables: its map, its base r0 and a revision r1 that changes values, axes, or both."""

import json
import zlib
from fractions import Fraction

import desk as desks
from desk import CALSEAL, edited

ORIGIN, SIZE, SLOT = 0x80000000, 0x4000, 0x10
AREAS = {"axes": (0x100, 0x1000), "values": (0x1000, 0x4000)}  # an axis never lies in the place of its curve
FIGURES = 25


class Words:
    """An item of u16 in the images before and after."""

    def __init__(self, name, at, factor, unit, before, after):
        self.name, self.at, self.factor, self.unit, self.stored = name, at, Fraction(factor), unit, (before, after)

    def values(self, side):
        return [self.factor * value for value in self.stored[side]]

    def changed(self):
        return [i for i, (before, after) in enumerate(zip(*self.stored)) if before != after]

    def lay(self, flash, side):
        return edited(flash, self.at, b"".join(value.to_bytes(2, "little") for value in self.stored[side]))

    def json(self, kind, **more):
        return {"name": self.name, "kind": kind, "memory": "flash", "start": f"0x{ORIGIN + self.at:08x}", "type": "u16",
                "factor": str(self.factor.numerator / self.factor.denominator).removesuffix(".0"), "unit": self.unit, **more}


class Figure:
    def __init__(self, values, x, y=None):
        self.values, self.x, self.y = values, x, y
        self.axes = [axis for axis in (x, y) if axis]


def random_axis(draw, points):
    """Mostly rising, often from 0, often with its end repeated; now and then falling, or all the same."""
    stored = sorted(draw.sample(range(1, 4000), points))
    if draw.random() < 0.5:
        stored[0] = 0
    if draw.random() < 0.3:
        repeated = draw.randrange(1, points)
        stored = stored[:points - repeated] + [stored[points - repeated]] * repeated
    if draw.random() < 0.08:
        stored = stored[::-1] if draw.random() < 0.5 else [stored[0]] * points
    return stored


def moved(draw, stored):
    new = random_axis(draw, len(stored)) if draw.random() < 0.5 else [value * 5 // 4 + 3 for value in stored]
    return new if new != stored else [value + 1 for value in stored]


def random_figures(draw):
    """Of every two one has an axis that moved, and of these half keep their values."""
    at = {area: begin for area, (begin, _) in AREAS.items()}
    figures = []

    def words(area, name, factor, unit, before, after):
        made = Words(name, at[area], factor, unit, before, after)
        at[area] += 2 * len(before)
        return made

    for i in range(FIGURES):
        table = draw.random() < 0.5
        moving = draw.choice([("x",), ("y",), ("x", "y")] if table else [("x",)]) if i % 2 else ()
        axes = []
        for key in ("x", "y") if table else ("x",):
            points = random_axis(draw, draw.randrange(2, 9))
            axes.append(words("axes", f"{key}{i}", draw.choice(["1", "0.5"]), draw.choice(["1/min", "mg"]), points,
                              moved(draw, points) if key in moving else points))
        before = [draw.randrange(9000) for _ in range(len(axes[0].stored[0]) * (len(axes[1].stored[0]) if table else 1))]
        still = draw.random() < (0.5 if moving else 0.1)
        after = before if still else [value + draw.choice([0, 100, -before[0] % 7, 400]) for value in before]
        figures.append(Figure(words("values", f"{'t' if table else 'c'}{i}", "0.1", "Nm", before, after), *axes))
    return figures


def region_map(figures):
    items = []
    for figure in figures:
        items += [axis.json("axis", points=len(axis.stored[0])) for axis in figure.axes]
        items.append(figure.values.json("table", x=figure.x.name, y=figure.y.name) if figure.y
                     else figure.values.json("curve", x=figure.x.name))
    return {"calseal": "region-map/1", "name": "solo", "controller": "engine", "version": 1,
            "memories": [{"name": "flash", "origin": f"0x{ORIGIN:08x}", "size": SIZE}],
            "regions": [{"name": name, "memory": "flash", "start": f"0x{ORIGIN + begin:08x}", "size": end - begin, "policy": "editable"}
                        for name, (begin, end) in AREAS.items()],
            "checksums": [{"name": "all", "algorithm": {"crc": "CRC-32/ISO-HDLC"},
                           "coverage": [{"memory": "flash", "start": f"0x{ORIGIN + 0x100:08x}", "size": SIZE - 0x100}],
                           "slots": [{"memory": "flash", "at": f"0x{ORIGIN + SLOT:08x}", "size": 4}]}],
            "items": items, "evidence": {"author": "tests", "verified_on": [], "guesses": [], "grade": "draft"}}


class CurveDesk(desks.Desk):
    def __init__(self):
        super().__init__()
        self.open_shop()
        self.quicken("author.key")

    def seal(self, draw):
        """New figures, sealed as r0 and r1."""
        figures = random_figures(draw)
        flash = draw.randbytes(SIZE)
        for side in (0, 1):
            for figure in figures:
                for words in (figure.values, *figure.axes):
                    flash = words.lay(flash, side)
            flash = edited(flash, SLOT, zlib.crc32(flash[0x100:]).to_bytes(4, "little"))
            self.put(f"{side}.bin", flash)
        self.put("solo.json", json.dumps(region_map(figures)).encode())
        for name in ("r0.calseal", "r1.calseal"):
            (self.inputs / name).unlink(missing_ok=True)
        seal = [CALSEAL, "seal", *self.signing()]
        self.json(*seal, "--job", "oak-1", "--regions", self.at("solo.json"), "--base", self.at("0.bin"), "--vehicle", "blue estate", "-o",
                  self.at("r0.calseal"))
        self.json(*seal, "--base-bundle", self.at("r0.calseal"), "--image", self.at("1.bin"), "--beyond-limits", "axes are random", "-o",
                  self.at("r1.calseal"))
        return figures

    def report(self, *more):
        """The page about r1."""
        path = self.inputs / "r1.html"
        path.unlink(missing_ok=True)
        self.json(CALSEAL, "report", self.at("r1.calseal"), "--trust", self.at("shop.trust"), *more, "-o", path)
        return path
