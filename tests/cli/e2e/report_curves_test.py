"""What a report draws of 200 random curves and tables, against the images: each side over its own axes, whichever of them moved.

CALSEAL_SEED repeats a run."""

import html.parser
import os
import random
import unittest
from fractions import Fraction

from changes_by_item_test import exact_text
from curve_desk import FIGURES, CurveDesk

SEED = int(os.environ.get("CALSEAL_SEED", random.SystemRandom().randrange(2**32)))
WIDTH, HEIGHT, MARGIN = 600, 200, 10
VOID = {"meta", "br", "col", "hr"}


class Node:
    def __init__(self, name, attributes=()):
        self.name, self.attributes, self.children = name, dict(attributes), []
        self.classes = (self.attributes.get("class") or "").split()

    def all(self, name, *classes):
        """Below this, in order."""
        found = []
        for child in self.children:
            if isinstance(child, Node):
                found += ([child] if child.name == name and set(classes) <= set(child.classes) else []) + child.all(name, *classes)
        return found

    def text(self):
        return "".join(child if isinstance(child, str) else child.text() for child in self.children)

    def own(self, name):
        """Text of the first of these below, or nothing."""
        found = self.all(name)
        return found[0].text() if found else None


class Tree(html.parser.HTMLParser):
    def __init__(self, text):
        super().__init__(convert_charrefs=True)
        self.root = Node("")
        self.open = [self.root]
        self.feed(text)
        self.close()

    def handle_starttag(self, name, attributes):
        node = Node(name, attributes)
        self.open[-1].children.append(node)
        if name not in VOID:
            self.open.append(node)

    def handle_endtag(self, name):
        assert self.open.pop().name == name

    def handle_data(self, data):
        self.open[-1].children.append(data)


def places_points(axis):
    return all(a <= b for a, b in zip(axis, axis[1:])) and axis[-1] > axis[0]


def scaled(value, values, begin, end):
    least, most = min(values), max(values)
    return float(begin + (value - least) / (most - least) * (end - begin)) if most > least else (begin + end) / 2


def points_of(node):
    return [tuple(map(float, pair.split(","))) for pair in node.attributes["points"].split()]


def words(values):
    return [exact_text(value) for value in values]


class ReportCurves(unittest.TestCase):
    @classmethod
    def setUpClass(cls):
        cls.desk = CurveDesk()

    @classmethod
    def tearDownClass(cls):
        cls.desk.close()

    def cards(self, path):
        root = Tree(path.read_text()).root
        self.lists = {article.own("h3"): article for article in root.all("article", "values")}
        return {card.own("h4"): card for card in root.all("article", "item")}

    def judge_list(self, item, axes, known=True):
        """The item's table under Values: its changed elements alone, each with its place, both sides and their difference."""
        changed = item.changed()
        self.assertEqual(item.name in self.lists, bool(changed))
        if not changed:
            return
        rows = self.lists[item.name].all("tbody")[0].all("tr")
        self.assertEqual(len(rows), len(changed))
        columns = len(axes[0].stored[1]) if len(axes) == 2 else len(item.stored[1])
        for i, row in zip(changed, rows):
            old, new = item.values(0)[i], item.values(1)[i]
            cells = [cell.text() for cell in row.all("td")]
            place = f"[{i // columns}][{i % columns}]" if len(axes) == 2 else f"[{i}]"
            self.assertEqual(row.own("th"), place)
            if axes:
                at = [(i % columns, axes[0])] + ([(i // columns, axes[1])] if len(axes) == 2 else [])
                self.assertEqual(cells.pop(0), ", ".join(f"{exact_text(axis.values(1)[k])} {axis.unit}" for k, axis in at))
            self.assertEqual(cells[:2], [exact_text(old) if known else "not known", exact_text(new)])
            if not known:
                self.assertEqual((cells[2], row.classes), ("", []))
                continue
            sign, said = cells[2].split(" ")
            self.assertEqual((sign, row.classes), ("▲", ["up"]) if new > old else ("▼", ["down"]))
            self.assertEqual(Fraction(said), new - old)
            self.assertEqual(said[0], "+" if new > old else "-")

    def assert_points(self, drawn, expected):
        self.assertEqual(len(drawn), len(expected))
        for point, right in zip(drawn, expected):
            for a, b in zip(point, right):
                self.assertAlmostEqual(a, b, delta=0.0501)

    def drawn_points(self, figure, sides):
        """Where each side must stand, and the words below."""
        axes = [figure.x.values(side) for side in sides]
        numbered = not all(places_points(axis) for axis in axes)
        if numbered:
            axes = [list(range(len(axes[0]))) for _ in sides]
        across = sum(axes, [])
        up = sum((figure.values.values(side) for side in sides), [])
        points = [[(scaled(x, across, MARGIN, WIDTH - MARGIN), scaled(y, up, HEIGHT - MARGIN, MARGIN))
                   for x, y in zip(axis, figure.values.values(side))] for axis, side in zip(axes, sides)]
        below = f"{'points ' if numbered else ''}{exact_text(min(across))} to {exact_text(max(across))}"
        return points, below + ("" if numbered else " " + figure.x.unit)

    def judge_curve(self, card, figure, sides=(0, 1)):
        points, below = self.drawn_points(figure, sides)
        lines = [card.all("polyline", name) for name in ("before", "after")]
        self.assertEqual([len(line) for line in lines], [len(sides) - 1, 1])
        for line, right in zip(sum(lines, []), points):
            self.assert_points(points_of(line), right)
        self.assertEqual(card.all("p", "axis")[1].all("span")[1].text(), below)
        if len(sides) == 2:
            differing = sum(a != b for a, b in zip(*points))
            self.assertEqual(len(card.all("circle", "moved")), differing)
        told = card.all("p", "axis-changed")
        self.assertEqual(len(told), 1 if figure.x.changed() else 0)
        if told:
            said = [span.text() for span in told[0].all("span")]
            ends = [words(figure.x.values(side)) for side in (0, 1)]
            texts = [f"{axis[0]} to {axis[-1]} {figure.x.unit}" for axis in ends]
            self.assertEqual(said[2], "after: " + texts[1])
            self.assertEqual(said[1], "before: " + (texts[0] if 0 in sides else "not known here"))
            if 0 in sides:
                self.assertEqual(said[0], f"axis changed: {len(figure.x.changed())} of {len(ends[0])} points moved")
            self.assertIn("its axis changed", card.all("svg", "curve")[0].attributes["aria-label"])

    def judge_heads(self, heads, axis):
        self.assertEqual(len(heads), len(axis.stored[0]))
        before, after = words(axis.values(0)), words(axis.values(1))
        for i, head in enumerate(heads):
            if before[i] == after[i]:
                self.assertEqual((head.text(), head.classes), (after[i], []))
            else:
                self.assertEqual((head.own("strong"), head.own("del")), (after[i], before[i]))

    def judge_grid(self, card, figure):
        grid = card.all("table", "grid")[0]
        rows = grid.all("tbody")[0].all("tr")
        self.judge_heads(grid.all("thead")[0].all("th")[1:], figure.x)
        if figure.y:
            self.judge_heads([row.all("th")[0] for row in rows], figure.y)
        before, after = words(figure.values.values(0)), words(figure.values.values(1))
        cells = grid.all("td")
        self.assertEqual(len(cells), len(after))
        for i, cell in enumerate(cells):
            if before[i] == after[i]:
                self.assertEqual(cell.text(), after[i])
            else:
                self.assertEqual((cell.own("strong")[1:], cell.own("del")), (after[i], before[i]))

    def judge_table(self, card, figure):
        drawn = {path.classes[0]: path.attributes["d"].count("M") for path in card.all("svg", "cells")[0].all("path")}
        changed = len(figure.values.changed())
        self.assertEqual(drawn.get("kept", 0), len(figure.values.stored[0]) - changed)
        self.assertEqual(drawn.get("up", 0) + drawn.get("down", 0), changed)
        self.assertEqual(drawn.get("axis-moved", 0), sum(len(axis.changed()) for axis in figure.axes))

    def judge(self, card, figure):
        axes = sum(bool(axis.changed()) for axis in figure.axes)
        line = card.all("p", "quiet")[0].text()
        self.assertRegex(line, rf"^{'table' if figure.y else 'curve'}, {len(figure.values.changed())} of {len(figure.values.stored[0])} ")
        self.assertEqual(line.partition("; ")[2], ["", "its axis changed", "its axes changed"][axes])
        self.judge_grid(card, figure)
        if figure.y:
            self.judge_table(card, figure)
        else:
            self.judge_curve(card, figure)

    def test_each_side_is_drawn_over_its_own_axes(self):
        counted = {"curves": 0, "axis alone": 0, "axis and values": 0, "nothing": 0}
        for number in range(200 // FIGURES):
            figures = self.desk.seal(random.Random(SEED + number))
            cards = self.cards(self.desk.report("--beside", self.desk.at("r0.calseal")))
            for figure in figures:
                values, axes = bool(figure.values.changed()), any(axis.changed() for axis in figure.axes)
                counted["curves"] += figure.y is None
                counted["axis alone"] += axes and not values
                counted["axis and values"] += axes and values
                counted["nothing"] += not axes and not values
                with self.subTest(seed=SEED, round=number, item=figure.values.name):
                    self.assertEqual(figure.values.name in cards, values or axes)
                    for item in (figure.values, *figure.axes):
                        self.judge_list(item, figure.axes if item is figure.values else [])
                    if values or axes:
                        self.judge(cards[figure.values.name], figure)
        self.assertTrue(all(count > 3 for count in counted.values()), counted)

    def test_without_the_values_before_the_axis_is_the_one_after(self):
        figures = self.desk.seal(random.Random(SEED + 1000))
        cards = self.cards(self.desk.report())
        for figure in figures:
            if figure.y is None and (figure.values.changed() or figure.x.changed()):
                with self.subTest(seed=SEED, item=figure.values.name):
                    self.judge_curve(cards[figure.values.name], figure, sides=(1,))


if __name__ == "__main__":
    unittest.main()
