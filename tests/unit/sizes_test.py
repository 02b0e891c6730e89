"""No function of src/ is longer than 60 lines, no class than 300, no file of a command than 150.

usage: sizes_test.py [PROJECT_ROOT]
What is longer still stands in a list with its length, which may only shrink; an entry that is no longer needed must go.
"""

import pathlib
import sys
import unittest

sys.path.insert(0, str(pathlib.Path(__file__).parent))
import scopes

ROOT = pathlib.Path(__file__).resolve().parents[2]
FUNCTION, CLASS, COMMANDS = 60, 300, 150
LONGER_STILL = {
    "calseal/bundle/manifest_consistency.cc Consistency": 433,
    "calseal/check/check.cc Checking": 304,
    "calseal/check/confirm.cc Comparing": 426,
    "calseal/check/proof.cc Proving": 380,
    "calseal/map/region_map_items.cc read_items": 65,
    "calseal/report/archive/audit_page.cc AuditPage": 309,
    "calseal/report/revision/revision_html.cc RevisionPage": 319,
    "calseal/study/checksum_places.cc Finder": 360,
    "calseal/study/checksum_selection.cc Selection": 457,
    "calseal/study/map_carry.cc Carrier": 603,
    "calseal/study/pair_scan.cc Scanner": 317,
}


def longer(texts):
    """Name -> lines of every function and class that is too long; `texts` gives (file, text)."""
    found = {}
    for file, text in texts:
        for scope in scopes.scopes(text):
            if scope.lines > {"function": FUNCTION, "type": CLASS}.get(scope.kind, scope.lines):
                found[f"{file} {scope.name}"] = scope.lines
        if file.startswith("calseal/cli/") and not file.startswith("calseal/cli/console/") and text.count("\n") > COMMANDS:
            found[file] = text.count("\n")
    return found


class Sizes(unittest.TestCase):
    def test_nothing_grows_beyond_a_screen(self):
        texts = [(str(path.relative_to(ROOT / "src")), path.read_text()) for path in sorted((ROOT / "src").rglob("*"))
                 if path.suffix in (".h", ".cc")]
        self.assertGreater(len(texts), 500)
        found = longer(texts)
        self.assertEqual({name: lines for name, lines in found.items() if lines > LONGER_STILL.get(name, 0)}, {})
        self.assertEqual(set(LONGER_STILL) - set(found), set(), "shorter now: take it out of the list")

    def test_the_test_notices(self):
        self.assertEqual(longer([("a.cc", "int f() {\n" + "  g();\n" * 60 + "}\n")]), {"a.cc f": 62})
        self.assertEqual(longer([("a.cc", "class C {\n" + "  int g();\n" * 299 + "};\n")]), {"a.cc C": 301})
        self.assertEqual(longer([("calseal/cli/job/a.cc", "\n" * 151)]), {"calseal/cli/job/a.cc": 151})


if __name__ == "__main__":
    if len(sys.argv) > 1:
        ROOT = pathlib.Path(sys.argv.pop(1)).resolve()
    unittest.main()
