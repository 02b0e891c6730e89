"""The table of advice for two readers (src/calseal/cli/console/advice.inc) against the sources: every text that sends its reader to the
shop has a row, and every row is used.

usage: advice_test.py [PROJECT_ROOT]
"""

import pathlib
import re
import sys
import unittest

ROOT = pathlib.Path(__file__).resolve().parents[2]
# Layers whose errors reach both programs.
SHARED = ("base", "bundle", "image", "map", "change", "trust", "check")
TO_THE_SHOP = re.compile(r"\b(ask|tell) the shop\b|\b(its|the) sender\b|the shop gave you|the shop confirms|with the shop\b|\blay \w+")
LITERALS = re.compile(r'(?:"(?:[^"\\\n]|\\.)*"\s*)+')


def literals(text):
    """String literals, those that stand one after another joined."""
    for found in LITERALS.finditer(text):
        yield "".join(re.findall(r'"((?:[^"\\\n]|\\.)*)"', found.group()))


def rows(text):
    """(reader, as raised, as told) of each row."""
    return re.findall(r'^CALSEAL_TO_(SHOP|CUSTOMER)\("(.*)", "(.*)"\)$', text, flags=re.M)


def without_a_row(texts, table):
    return [text for text in texts if TO_THE_SHOP.search(text) and not any(raised in text for reader, raised, _ in table if reader == "SHOP")]


class Table(unittest.TestCase):
    @classmethod
    def setUpClass(cls):
        cls.table = rows((ROOT / "src/calseal/cli/console/advice.inc").read_text())
        cls.texts = [text for layer in SHARED for path in sorted((ROOT / "src/calseal" / layer).glob("*.cc")) for text in literals(path.read_text())]

    def test_every_text_that_sends_to_the_shop_has_a_row(self):
        self.assertGreater(len(self.table), 50)
        self.assertEqual(without_a_row(self.texts, self.table), [])

    def test_every_row_is_used(self):
        self.assertEqual([row for row in self.table if not any(row[1] in text for text in self.texts)], [])

    def test_a_longer_row_stands_before_one_that_is_a_part_of_it(self):
        for i, (reader, raised, _) in enumerate(self.table):
            self.assertEqual([later for later in self.table[i + 1:] if later[0] == reader and raised in later[1]], [], raised)

    def test_no_row_sends_the_shop_to_itself(self):
        self.assertEqual([row for row in self.table if row[0] == "SHOP" and TO_THE_SHOP.search(row[2])], [])

    def test_the_test_notices(self):
        self.assertEqual(list(literals('f("do not use it; "\n  "ask the shop");')), ["do not use it; ask the shop"])
        self.assertEqual(without_a_row(["do not use it; ask the shop"], [("SHOP", "tell the shop", "x")]), ["do not use it; ask the shop"])


if __name__ == "__main__":
    if len(sys.argv) > 1:
        ROOT = pathlib.Path(sys.argv.pop(1)).resolve()
    unittest.main()
