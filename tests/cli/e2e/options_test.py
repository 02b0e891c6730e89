#!/usr/bin/env python3
"""Options with the real programs: composing against bspatch and xdelta3, the account in a sealed bundle, carrying.

bsdiff makes a patch for each edit alone; bspatch then applies all of them one after another, in any order. That image is
what composing must give before correction.
"""

import itertools
import json
import pathlib
import random
import subprocess
import sys
import unittest

import jsonschema

sys.path.insert(0, str(pathlib.Path(__file__).resolve().parent))
from desk import CALSEAL, Desk  # noqa: E402

ROOT = pathlib.Path(__file__).resolve().parents[3]
SIZE = 65536


def run(*arguments):
    done = subprocess.run([CALSEAL, *map(str, arguments), "--json"], capture_output=True, text=True, timeout=60)
    return done.returncode, json.loads(done.stdout) if done.stdout else {}


def tool(*arguments):
    subprocess.run(list(map(str, arguments)), check=True, timeout=60, capture_output=True)


class Options(unittest.TestCase):
    def setUp(self):
        self.desk = Desk()
        self.root = self.desk.root
        self.random = random.Random(20260304)

    def tearDown(self):
        self.desk.close()

    def map(self, name, checksum):
        regions = {
            "calseal": "region-map/1", "name": "plain", "controller": "engine", "version": 1,
            "memories": [{"name": "flash", "origin": "0x00000000", "size": SIZE}],
            "regions": [{"name": "calibration", "memory": "flash", "start": "0x00001000", "size": 0xC000, "policy": "editable"}],
            "items": [{"name": "limit", "kind": "scalar", "memory": "flash", "start": "0x00002000", "type": "u16", "factor": "0.25", "unit": "1/min"}],
            "evidence": {"author": "tests", "verified_on": [], "guesses": [], "grade": "draft"},
        }
        if checksum:
            regions["checksums"] = [{
                "name": "all", "algorithm": {"crc": "CRC-32/ISO-HDLC"},
                "coverage": [{"memory": "flash", "start": "0x00001000", "size": 0xC000}],
                "slots": [{"memory": "flash", "at": "0x0000e000", "size": 4}]}]
        path = self.root / name
        path.write_text(json.dumps(regions))
        return path

    def file(self, name, data):
        path = self.root / name
        path.write_bytes(data)
        return path

    def test_composing_is_what_a_patch_tool_gives_and_correction_on_top(self):
        plain, checked = self.map("plain.json", False), self.map("checked.json", True)
        base = self.file("base.bin", self.random.randbytes(SIZE))
        tool(CALSEAL, "correct", "--regions", checked, base, "--output", self.root / "good.bin")
        base = self.root / "good.bin"
        data = base.read_bytes()
        options, patches, edits = [], [], []
        for number in range(4):
            image = bytearray(data)
            for _ in range(6):
                at = 0x1000 + 0x3000 * number + self.random.randrange(0x2F00)
                for i in range(self.random.randrange(1, 40)):
                    image[at + i] ^= self.random.randrange(256)
            edits.append(bytes(image))
            edited = self.file(f"e{number}.bin", bytes(image))
            option = self.root / f"o{number}.json"
            code, made = run("option", "make", "--regions", plain, "--base", base, "--image", edited, "--name", f"o{number}",
                             "--title", "t", "-o", option)
            self.assertEqual(code, 0, made)
            schema = json.loads((ROOT / "docs/option.schema.json").read_text())
            jsonschema.Draft202012Validator(schema).validate(json.loads(option.read_text()))
            options.append(option)
            patches.append(self.root / f"p{number}.bsdiff")
            tool("bsdiff", base, edited, patches[-1])
        results = set()
        for order in list(itertools.permutations(range(4)))[::5]:
            now = data
            for number in order:  # each patch was made from the base; what it does not edit it leaves alone
                tool("bspatch", self.file("from.bin", now), self.root / "to.bin", patches[number])
                now = (self.root / "to.bin").read_bytes()
            chosen = list(itertools.chain.from_iterable(("--option", options[n]) for n in order))
            code, told = run("option", "compose", "--regions", plain, "--base", base, *chosen, "-o", self.root / "composed.bin")
            self.assertEqual(code, 0, told)
            composed = (self.root / "composed.bin").read_bytes()
            self.assertEqual(composed, now)
            self.assertTrue(told["account"]["complete"])
            results.add(composed)
            # With a checksum: the patch tool's image, corrected.
            tool(CALSEAL, "correct", "--regions", checked, self.root / "to.bin", "--output", self.root / "right.bin")
            code, told = run("option", "compose", "--regions", checked, "--base", base, *chosen, "-o", self.root / "both.bin")
            self.assertEqual(code, 0, told)
            self.assertEqual((self.root / "both.bin").read_bytes(), (self.root / "right.bin").read_bytes())
        self.assertEqual(len(results), 1)
        # And the whole difference as one patch of another tool.
        tool("xdelta3", "-e", "-f", "-s", base, self.root / "composed.bin", self.root / "all.vcdiff")
        tool("xdelta3", "-d", "-f", "-s", base, self.root / "all.vcdiff", self.root / "again.bin")
        self.assertEqual((self.root / "again.bin").read_bytes(), composed)

    def test_conflicts_and_conditions_are_refused_and_nothing_is_written(self):
        plain = self.map("plain.json", False)
        data = self.random.randbytes(SIZE)
        base = self.file("base.bin", data)

        def option(name, at, before, after, **more):
            value = {"calseal": "option/1", "name": name, "title": name, "family": {"controller": "engine", "region_map": "plain"},
                     "edits": [{"memory": "flash", "at": f"0x{at:08x}", "before": before.hex(), "after": after.hex()}], **more}
            return self.file(f"{name}.json", json.dumps(value).encode())

        before = data[0x2000:0x2004]
        a = option("a", 0x2000, before, b"\1\2\3\4")
        b = option("b", 0x2000, before, b"\1\2\3\5")
        out = self.root / "out.bin"
        code, told = run("option", "compose", "--regions", plain, "--base", base, "--option", b, "--option", a, "-o", out)
        self.assertEqual((code, [p["reason"] for p in told["problems"]]), (1, ["option-conflict"]))
        self.assertIn("options a and b, flash 0x00002003", told["problems"][0]["place"])
        self.assertFalse(out.exists())
        needy = option("c", 0x3000, data[0x3000:0x3001], b"\7", requires={"options": ["a"], "fuel": ["e85"]},
                       excludes={"hardware": ["old-pump"]})
        code, told = run("option", "compose", "--regions", plain, "--base", base, "--option", needy, "--hardware", "old-pump", "-o", out)
        self.assertEqual([p["reason"] for p in told["problems"]], ["option-requires", "option-requires", "option-excludes"])
        code, told = run("option", "compose", "--regions", plain, "--base", base, "--option", needy, "--option", a, "--fuel", "e85", "-o", out)
        self.assertEqual(code, 0, told)
        self.assertEqual(told["items"]["changed"][0]["name"], "limit")
        self.assertEqual(told["items"]["changed"][0]["elements"][0]["after"], "128.25")
        # check and show
        code, told = run("option", "check", a, "--regions", plain, "--base", out)
        self.assertEqual((code, told["problems"][0]["reason"]), (1, "option-before"))
        code, told = run("option", "check", a, "--regions", plain, "--base", base)
        self.assertEqual((code, told["fits"]), (0, True))
        code, told = run("option", "show", needy)
        self.assertEqual((code, told["option"]["requires"]["fuel"]), (0, ["e85"]))
        # from the composed image back to the base: taken back
        code, told = run("compare", "--regions", plain, "--before", out, "--after", base, "--option", a, "--option", needy)
        self.assertEqual({e["origin"] for e in told["account"]["entries"]}, {"taken-back"})

    def test_carrying_all_or_nothing(self):
        plain = self.map("plain.json", False)
        block = self.random.randbytes(0x400)
        old = bytearray(self.random.randbytes(SIZE))
        new = bytearray(self.random.randbytes(SIZE))
        old[0x4000:0x4400] = block
        new[0x5150:0x5550] = block
        twin = bytearray(old)
        edited = bytearray(old)
        edited[0x4200:0x4203] = bytes(v ^ 0x55 for v in old[0x4200:0x4203])
        twin[0x9000:0x9400] = block
        option = self.root / "o.json"
        base = self.file("old.bin", bytes(old))
        code, _ = run("option", "make", "--regions", plain, "--base", base, "--image", self.file("e.bin", bytes(edited)), "--name",
                      "o", "--title", "t", "-o", option)
        self.assertEqual(code, 0)
        made = option.read_bytes()
        carried = self.root / "carried.json"
        for words in (["make", "--image", self.root / "e.bin", "--name", "o", "--title", "other"], ["carry", option, "--new-base", self.file("new.bin", bytes(new))]):
            code, told = run("option", *words, "--regions", plain, "--base", base, "-o", self.file("taken.json", made))
            self.assertEqual((code, told["reason"], (self.root / "taken.json").read_bytes()), (2, "output-exists", made))
        code, told = run("option", "carry", option, "--regions", plain, "--base", base, "--new-base", self.file("new.bin", bytes(new)),
                         "-o", carried)
        self.assertEqual((code, told["edits"][0]["outcome"], told["edits"][0]["to"]["start"]), (0, "carried", "0x00005350"))
        code, told = run("option", "compose", "--regions", plain, "--base", self.root / "new.bin", "--option", carried, "-o", self.root / "n.bin")
        self.assertEqual(code, 0, told)
        new[0x5350:0x5353] = edited[0x4200:0x4203]
        self.assertEqual((self.root / "n.bin").read_bytes(), bytes(new))
        for name, image, outcome in (("twin", twin, "ambiguous"), ("other", self.random.randbytes(SIZE), "weak")):
            never = self.root / f"{name}.json"
            code, told = run("option", "carry", option, "--regions", plain, "--base", base, "--new-base",
                             self.file(f"{name}.bin", bytes(image)), "-o", never)
            self.assertEqual((code, told["reason"], told["edits"][0]["outcome"]), (1, "option-not-carried", outcome))
            self.assertFalse(never.exists())


if __name__ == "__main__":
    unittest.main()
