"""Every include against the layer graph: a layer may include its own headers and those of layers that it links.

usage: layering_test.py [PROJECT_ROOT]
The graph is read from the calseal_layer() lines of src/CMakeLists.txt; a layer may only use layers of earlier lines, so
there can be no circle. Nothing of a library may show in a public header.
"""

import pathlib
import re
import sys
import unittest

ROOT = pathlib.Path(__file__).resolve().parents[2]
LAYER = re.compile(r"^calseal_layer\((\S+)(?: SEPARATE)?(?: USES ([^)]*?))?(?: PRIVATE [^)]*)?\)$", re.M)
INCLUDE = re.compile(r'^\s*#\s*include\s+"calseal/(.+)/[^/"]+"', re.M)
LIBRARY = re.compile(r"^\s*#\s*include\s+<((?:openssl|nlohmann|CLI)/.*|zlib\.h|libdeflate\.h|sqlite3\.h)>", re.M)
SIGNING = "sign"


def graph(text):
    """Layer -> set of all layers that it may include, itself apart."""
    reach = {}
    for name, uses in LAYER.findall(text):
        reach[name] = set()
        for target in (uses or "").split():
            if not target.startswith("calseal_"):
                continue
            layer = next((l for l in reach if "calseal_" + l.replace("/", "_") == target and l != name), None)
            if layer is None:
                raise ValueError(f"{name} uses {target}, which is no earlier layer")
            reach[name] |= {layer} | reach[layer]
    return reach


def faults(reach, files):
    """(file, what) for every include that the graph does not allow; `files` gives layer, name and text."""
    for layer, name, text in files:
        for included in INCLUDE.findall(text):
            if included not in reach:
                yield name, f"includes unknown layer {included}"
            elif included != layer and included not in reach[layer]:
                yield name, f"includes {included}, which {layer} does not link"
        if name.endswith(".h"):
            for library in LIBRARY.findall(text):
                yield name, f"a public header includes <{library}>"


def sources():
    base = ROOT / "src/calseal"
    for path in sorted(base.rglob("*")):
        if path.suffix in (".h", ".cc", ".inc"):
            yield str(path.parent.relative_to(base)), str(path.relative_to(ROOT)), path.read_text()


class Layering(unittest.TestCase):
    def setUp(self):
        self.reach = graph((ROOT / "src/CMakeLists.txt").read_text())

    def test_every_include_follows_the_graph(self):
        files = list(sources())
        self.assertGreater(len(files), 100)
        self.assertEqual(list(faults(self.reach, files)), [])

    def test_every_folder_is_a_layer(self):
        self.assertEqual({layer for layer, _, _ in sources()}, set(self.reach))

    def test_the_checker_does_not_reach_signing(self):
        self.assertNotIn(SIGNING, self.reach["cli/check"])
        self.assertIn("check", self.reach["cli/check"])

    def test_the_test_notices(self):
        backward = [("digest", "x.h", '#include "calseal/map/plan.h"\n#include <openssl/evp.h>\n')]
        self.assertEqual(len(list(faults(self.reach, backward))), 2)
        with self.assertRaises(ValueError):
            graph("calseal_layer(a USES calseal_b)\ncalseal_layer(b USES calseal_a)\n")


if __name__ == "__main__":
    if len(sys.argv) > 1:
        ROOT = pathlib.Path(sys.argv.pop(1)).resolve()
    unittest.main()
