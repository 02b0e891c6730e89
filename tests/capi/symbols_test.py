"""The shared library gives out exactly the functions that the header declares, docs/c-api.md explains and the version script lists.

    symbols_test.py LIBRARY PROJECT
"""

import pathlib
import re
import subprocess
import sys
import unittest

LIBRARY, PROJECT = sys.argv[1], pathlib.Path(sys.argv[2])


def exported():
    lines = subprocess.run(["nm", "-D", "--defined-only", LIBRARY], capture_output=True, text=True, check=True).stdout.splitlines()
    found = {}
    for line in lines:
        kind, name = line.split()[-2:]
        if kind != "A":  # the version's own name
            found[name] = kind
    return found


def declared(text):
    text = re.sub(r"/\*.*?\*/", "", text, flags=re.S)
    return set(re.findall(r"\b(calseal_[a-z_]+)\(", text))


class Symbols(unittest.TestCase):
    def test_exactly_the_documented_functions(self):
        header = declared((PROJECT / "src/calseal/capi/calseal.h").read_text())
        self.assertGreater(len(header), 15)
        found = exported()
        self.assertEqual({name.replace("@@CALSEAL_0", "") for name in found}, header)
        self.assertEqual(set(found.values()), {"T"})
        listed = set(re.findall(r"(calseal_[a-z_]+);", (PROJECT / "src/calseal/capi/exports.map").read_text()))
        self.assertEqual(listed, header)
        explained = set(re.findall(r"`(calseal_[a-z_]+)\(\)`", (PROJECT / "docs/c-api.md").read_text()))
        self.assertEqual(explained, header)

    def test_the_header_is_the_abi_of_the_library(self):
        header = (PROJECT / "src/calseal/capi/calseal.h").read_text()
        number = re.search(r"#define CALSEAL_ABI (\d+)", header).group(1)
        dynamic = subprocess.run(["readelf", "-d", LIBRARY], capture_output=True, text=True, check=True).stdout
        self.assertIn(f"[libcalseal.so.{number}]", dynamic)

    def test_no_signing_code(self):
        names = subprocess.run(["nm", "-C", LIBRARY], capture_output=True, text=True, check=True).stdout
        self.assertIn("calseal::check_bundle", names)  # not stripped
        for name in ("PrivateKey", "calseal::seal"):
            self.assertNotIn(name, names)


if __name__ == "__main__":
    unittest.main(argv=sys.argv[:1])
