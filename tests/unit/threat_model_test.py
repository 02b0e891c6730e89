"""docs/threat-model.md names tests that exist: `file` or `file: test`, each file once below tests/."""

import pathlib
import re
import sys
import unittest

ROOT = pathlib.Path(sys.argv.pop(1) if len(sys.argv) > 1 else __file__).resolve()
ROOT = ROOT if ROOT.is_dir() else ROOT.parents[2]
NAMED = re.compile(r"`([a-z0-9_]+\.(?:cc|py))(?:: ([A-Za-z0-9_.]+))?`")


def exists(name, test):
    """Whether one file of that name below tests/ holds the test; several files may share a name."""
    texts = [path.read_text() for path in (ROOT / "tests").rglob(name)]
    if not test:
        return bool(texts)
    if name.endswith(".py"):
        return any(re.search(rf"def {re.escape(test)}\(", text) for text in texts)
    suite, _, case = test.partition(".")
    return any(re.search(rf"TEST(?:_F|_P)?\(\s*{re.escape(suite)}\s*,\s*{re.escape(case)}\s*\)", text) for text in texts)


class ThreatModel(unittest.TestCase):
    def setUp(self):
        self.page = (ROOT / "docs" / "threat-model.md").read_text()

    def test_every_named_test_exists(self):
        named = NAMED.findall(self.page)
        self.assertGreater(len(named), 50)
        self.assertEqual([pair for pair in named if not exists(*pair)], [])

    def test_every_reason_exists(self):
        reasons = set(re.findall(r'CALSEAL_REASON\(\w+, "([a-z0-9-]+)"', (ROOT / "src/calseal/base/reasons.inc").read_text()))
        for row in self.page.splitlines():
            cells = [cell.strip() for cell in row.split(" | ")]
            if not row.startswith("| ") or len(cells) < 4 or cells[-1].startswith("---"):
                continue
            column = re.sub(r"cautions? .*", "", cells[-2])
            for code in re.findall(r"`([a-z0-9-]+)`", column):
                self.assertIn(code, reasons, row)

    def test_what_applies_has_a_test(self):
        for row in self.page.splitlines():
            cells = [cell.strip() for cell in row.strip("| ").split(" | ")]
            if len(cells) == 5 and cells[1] in ("yes", "part"):
                self.assertTrue(NAMED.search(cells[4]), row)

    def test_a_missing_test_is_noticed(self):
        self.assertFalse(exists("order_test.cc", "Order.NoSuchTest"))
        self.assertFalse(exists("no_such_test.cc", ""))
        self.assertTrue(exists("order_test.cc", "Order.AnOlderRevisionIsRefused"))


if __name__ == "__main__":
    unittest.main()
