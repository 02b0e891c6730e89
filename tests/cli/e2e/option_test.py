"""Options with the real programs: made, checked, composed, carried, accounted for. Composition is judged by patch tools of the
distribution: xxd writes the edits by address, bsdiff and bspatch carry each option's difference onto the others' result."""

import json
import pathlib
import random
import subprocess
import unittest
import zlib

import jsonschema

import desk as desks
from desk import CALSEAL, edited

SIZE, CALIBRATION, SLOT = 65536, (0x4000, 0xC000), 0xFF00
ORIGIN = 0x80000000

REGIONS = {
    "calseal": "region-map/1", "name": "solo", "controller": "engine", "version": 1,
    "memories": [{"name": "flash", "origin": "0x80000000", "size": SIZE}],
    "regions": [{"name": "calibration", "memory": "flash", "start": "0x80004000", "size": 0x8000, "policy": "editable"}],
    "checksums": [{
        "name": "calibration", "algorithm": {"crc": "CRC-32/ISO-HDLC"},
        "coverage": [{"memory": "flash", "start": "0x80004000", "size": 0x8000}],
        "slots": [{"memory": "flash", "at": "0x8000ff00", "size": 4}],
    }],
    "identity": [{"name": "software", "kind": "software-number", "memory": "flash", "at": "0x80000010", "size": 8, "encoding": "ascii"}],
    "items": [
        {"name": "idle", "kind": "scalar", "memory": "flash", "start": "0x80004100", "type": "u16", "order": "big", "factor": "0.25",
         "unit": "1/min", "least": "500", "most": "1500"},
        {"name": "rpm", "kind": "axis", "memory": "flash", "start": "0x80004110", "type": "u8", "points": 4, "factor": "50", "unit": "1/min"},
    ],
    "evidence": {"author": "tests", "verified_on": [], "guesses": [], "grade": "draft"},
}


def corrected(flash):
    return edited(flash, SLOT, zlib.crc32(flash[CALIBRATION[0]:CALIBRATION[1]]).to_bytes(4, "little"))


def first_flash():
    flash = bytearray(random.Random(20261125).randbytes(SIZE))
    flash[0x10:0x18] = b"SO-00001"
    flash[0x4100:0x4102] = (3200).to_bytes(2, "big")  # 800 1/min
    flash[0x4110:0x4114] = bytes([10, 20, 30, 40])
    return corrected(bytes(flash))


class Options(unittest.TestCase):
    @classmethod
    def setUpClass(cls):
        cls.desk = desks.Desk()
        cls.base = first_flash()
        cls.desk.put("solo.json", json.dumps(REGIONS).encode())
        cls.desk.put("base.bin", cls.base)
        # Three of an editor's results, apart from each other; two of them agree on one byte.
        cls.edits = {
            "idle-up": [(0x4100, (3600).to_bytes(2, "big")), (0x7000, bytes(range(40)))],
            "fuel": [(0x5000, b"fuel grade one"), (0x7FF0, b"\x01")],
            "fan": [(0x9000, bytes(16)), (0x7FF0, b"\x01")],
        }
        for name, edits in cls.edits.items():
            cls.desk.put(name + ".bin", cls.laid(cls.base, edits))
            cls.make(name)

    @classmethod
    def tearDownClass(cls):
        cls.desk.close()

    @staticmethod
    def laid(flash, edits):
        for at, new in edits:
            flash = edited(flash, at, new)
        return flash

    @classmethod
    def ground(cls):
        return ["--regions", cls.desk.at("solo.json"), "--base", cls.desk.at("base.bin")]

    @classmethod
    def make(cls, name, image=None):
        return cls.desk.json(CALSEAL, "option", "make", *cls.ground(), "--image", cls.desk.at((image or name) + ".bin"), "--name", name,
                             "--title", "Option " + name, "-o", cls.desk.at(name + ".json"))

    def compose(self, *names, status=0, more=(), out="out.bin"):
        options = [word for name in names for word in ("--option", self.desk.at(name + ".json"))]
        path = self.desk.out / out
        path.unlink(missing_ok=True)
        value = self.desk.json(CALSEAL, "compose", *self.ground(), *options, *more, "-o", path, status=status)
        return value, path.read_bytes() if path.exists() else None

    def test_an_option_is_split_by_item_and_holds_no_derived_byte(self):
        option = json.loads((self.desk.inputs / "idle-up.json").read_text())
        self.assertEqual(option["software_numbers"], ["SO-00001"])
        self.assertEqual([e.get("item", e.get("memory")) for e in option["edits"]], ["idle", "flash"])
        self.assertEqual(option["edits"][0]["before"], "0c80")

    def test_the_schema_knows_what_is_written(self):
        schema = json.loads((pathlib.Path(__file__).resolve().parents[3] / "docs/option.schema.json").read_text())
        validator = jsonschema.Draft202012Validator(schema)
        for name in self.edits:
            option = json.loads((self.desk.inputs / (name + ".json")).read_text())
            self.assertEqual(list(validator.iter_errors(option)), [])
            self.assertEqual(set(option), set(schema["properties"]))
            self.assertFalse(validator.is_valid({**option, "script": "x"}))
            self.assertFalse(validator.is_valid({**option, "edits": [{**option["edits"][-1], "item": "idle"}]}))

    def test_composing_is_what_patch_tools_give_then_corrected(self):
        patched = self.desk.put("patched.bin", self.base)
        hexed = self.desk.put("hexed.bin", self.base)
        for name, edits in self.edits.items():
            delta = self.desk.at(name + ".bsdiff")
            subprocess.run(["bsdiff", self.desk.at("base.bin"), self.desk.at(name + ".bin"), delta], check=True)
            result = self.desk.at("next.bin")
            subprocess.run(["bspatch", patched, result, delta], check=True)
            patched = self.desk.put("patched.bin", (self.desk.inputs / "next.bin").read_bytes())
            lines = "".join(f"{at + i:08x}: {byte:02x}\n" for at, new in edits for i, byte in enumerate(new))
            subprocess.run(["xxd", "-r", "-", hexed], input=lines.encode(), check=True)
        outside = (self.desk.inputs / "patched.bin").read_bytes()
        # bspatch adds differences: a byte that two options change alike must be set once, as xxd does.
        outside = edited(outside, 0x7FF0, b"\x01")
        self.assertEqual(outside, (self.desk.inputs / "hexed.bin").read_bytes())
        for order in (("idle-up", "fuel", "fan"), ("fan", "idle-up", "fuel")):
            value, image = self.compose(*order)
            self.assertTrue(value["composed"])
            self.assertEqual(edited(image, SLOT, self.base[SLOT:SLOT + 4]), outside)
            self.assertEqual(image, corrected(outside))
        _, without = self.compose("idle-up", "fan")
        self.assertEqual(without, corrected(self.laid(self.base, self.edits["idle-up"] + self.edits["fan"])))

    def test_a_conflict_names_both_options_item_and_bytes(self):
        self.desk.put("idle-down.bin", edited(self.base, 0x4100, (2800).to_bytes(2, "big")))
        self.make("idle-down")
        value, image = self.compose("idle-up", "idle-down", status=1)
        self.assertIsNone(image)
        self.assertEqual([p["reason"] for p in value["problems"]], ["option-conflict"])
        text = json.dumps(value["problems"])
        for word in ("idle-up", "idle-down", "(idle)", "0x80004100", "0af0", "0e10"):
            self.assertIn(word, text.replace("0a f0", "0af0").replace("0e 10", "0e10"))

    def test_requirements_and_exclusions_have_reasons_of_their_own(self):
        option = json.loads((self.desk.inputs / "fuel.json").read_text())
        option.update(name="rich", requires={"fuel": ["e85"]}, excludes={"options": ["fan"]})
        self.desk.put("rich.json", json.dumps(option).encode())
        value, _ = self.compose("rich", status=1)
        self.assertEqual([p["reason"] for p in value["problems"]], ["option-requires"])
        value, _ = self.compose("rich", "fan", status=1, more=("--fuel", "e85"))
        self.assertEqual([p["reason"] for p in value["problems"]], ["option-excludes"])
        self.assertTrue(self.compose("rich", more=("--fuel", "e85"))[0]["composed"])

    def test_an_option_that_does_not_fit_is_refused(self):
        other = self.desk.put("other.bin", corrected(edited(self.base, 0x5000, b"\x00")))
        value = self.desk.json(CALSEAL, "option", "check", self.desk.at("fuel.json"), "--regions", self.desk.at("solo.json"), "--base",
                               other, status=1)
        self.assertIn("option-before", json.dumps(value))
        self.desk.json(CALSEAL, "option", "check", self.desk.at("fuel.json"), *self.ground())

    def test_faults_of_an_option_have_reasons_of_their_own(self):
        option = json.loads((self.desk.inputs / "fuel.json").read_text())

        def refused(reason, **changed):
            path = self.desk.put("bent.json", json.dumps({**option, **changed}).encode())
            value = self.desk.json(CALSEAL, "option", "check", path, *self.ground(), status=1)
            reasons = [value["reason"]] if "reason" in value else [p["reason"] for p in value["problems"]]
            self.assertEqual(reasons, [reason])

        refused("option-invalid", requires={"options": ["fuel"]})
        refused("option-invalid", edits=[{"item": "idle", "offset": 0, "before": "0c80", "after": "0c80"}])
        refused("option-foreign", family={"controller": "engine", "region_map": "other"})
        refused("option-foreign", software_numbers=["SO-00009"])
        refused("option-place", edits=[{"memory": "flash", "at": "0x80000100", "before": self.base[0x100:0x101].hex(), "after": "00"}])
        refused("option-place", edits=[{"memory": "flash", "at": "0x8000ff00", "before": self.base[SLOT:SLOT + 1].hex(), "after": "00"}])
        refused("json-unknown-key", script="x")

    def test_what_finds_no_sure_place_is_not_carried(self):
        stranger = bytearray(random.Random(1).randbytes(SIZE))
        stranger[0x10:0x18] = b"SO-00003"
        stranger[0x4100:0x4114] = self.base[0x4100:0x4114]
        self.desk.put("stranger.bin", corrected(bytes(stranger)))
        twins = bytearray(self.base)
        twins[0xA000:0xA200] = self.base[0x4F80:0x5180]  # the surroundings of one edit stand twice
        self.desk.put("twins.bin", corrected(bytes(twins)))
        for base, outcome in (("stranger", "weak"), ("twins", "ambiguous")):
            target = self.desk.out / "none.json"
            done = self.desk.must(CALSEAL, "option", "carry", self.desk.at("fuel.json"), *self.ground(), "--new-base",
                                  self.desk.at(base + ".bin"), "-o", target, "--json", status=1)
            value = json.loads(done.stdout)
            self.assertEqual(value["reason"], "option-not-carried")
            self.assertIn(outcome, [edit["outcome"] for edit in value["edits"]])
            self.assertFalse(target.exists())

    def test_an_option_is_carried_to_another_software_number(self):
        moved = bytearray(self.base)
        moved[0x10:0x18] = b"SO-00002"
        moved[0x4240:0x9000] = self.base[0x4200:0x9000 - 0x40]  # the calibration behind the items moves by 0x40
        moved = corrected(bytes(moved))
        self.desk.put("moved.bin", moved)
        target = self.desk.out / "carried.json"
        self.desk.json(CALSEAL, "option", "carry", self.desk.at("fuel.json"), *self.ground(), "--new-base", self.desk.at("moved.bin"), "-o",
                       target)
        option = json.loads(target.read_text())
        self.assertEqual(option["software_numbers"], ["SO-00002"])
        self.assertEqual([e["at"] for e in option["edits"]], ["0x80005040", "0x80008030"])

    def test_sealing_accounts_for_every_byte(self):
        self.desk.open_shop()
        seal = ["seal", *self.desk.signing()]
        self.desk.json(CALSEAL, *seal, "--job", "oak-1", "--regions", self.desk.at("solo.json"), "--base", self.desk.at("base.bin"),
                       "--vehicle", "blue estate", "-o", self.desk.at("r0.calseal"))
        _, image = self.compose("idle-up", "fuel")
        self.desk.put("composed.bin", image)
        revision = [*seal, "--base-bundle", self.desk.at("r0.calseal")]
        both = ["--option", self.desk.at("idle-up.json"), "--option", self.desk.at("fuel.json")]
        self.desk.json(CALSEAL, *revision, "--image", self.desk.at("composed.bin"), *both, "--account", "-o", self.desk.at("r1.calseal"))
        shown = self.desk.json(CALSEAL, "show", self.desk.at("r1.calseal"))
        text = json.dumps(shown)
        for word in ("idle-up", "fuel", "900", "1/min"):
            self.assertIn(word, text)

        stray = self.desk.put("stray.bin", corrected(edited(image, 0xA000, bytes([image[0xA000] ^ 1]))))
        half = self.desk.put("half.bin", corrected(edited(image, 0x5000, self.base[0x5000:0x5001])))
        high = self.desk.put("high.bin", corrected(edited(self.base, 0x4100, (8000).to_bytes(2, "big"))))
        flat = self.desk.put("flat.bin", corrected(edited(self.base, 0x4111, bytes([10]))))
        for path, options, reason in ((stray, both, "change-unaccounted"), (half, both, "option-half"), (high, [], "item-limit"),
                                      (flat, [], "item-limit")):
            account = ["--account"] if options else []
            error = self.desk.json(CALSEAL, *revision, "--image", path, *options, *account, "--dry-run", status=1)
            self.assertEqual(error["reason"], reason, error)
        self.desk.json(CALSEAL, *revision, "--image", stray, *both, "--account", "--unaccounted", "a stray byte, agreed by phone", "-o",
                       self.desk.at("r2.calseal"))
        self.assertIn("agreed by phone", json.dumps(self.desk.json(CALSEAL, "show", self.desk.at("r2.calseal"))))
        self.desk.json(CALSEAL, *revision, "--image", high, "--beyond-limits", "bench only", "--dry-run")

        compare = ["compare", "--regions", self.desk.at("solo.json"), "--before", self.desk.at("base.bin"), "--after"]
        account = self.desk.json(CALSEAL, *compare, stray, *both, status=1)
        self.assertIn("unaccounted", json.dumps(account))
        text = self.desk.run(CALSEAL, *compare, self.desk.at("composed.bin"), *both).stdout.decode()
        for word in ("idle-up", "fuel", "800", "900"):
            self.assertIn(word, text)


if __name__ == "__main__":
    unittest.main()
