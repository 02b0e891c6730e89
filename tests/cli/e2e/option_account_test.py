"""Options in sealed revisions, with the real programs: every byte accounted for, what is missing or left over refused with its
reason; option files against their schema, and their own faults."""

import json
import pathlib
import random
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
        value = self.desk.json(CALSEAL, "option", "compose", *self.ground(), *options, *more, "-o", path, status=status)
        return value, path.read_bytes() if path.exists() else None

    def test_the_schema_knows_what_is_written(self):
        schema = json.loads((pathlib.Path(__file__).resolve().parents[3] / "docs/option.schema.json").read_text())
        validator = jsonschema.Draft202012Validator(schema)
        for name in self.edits:
            option = json.loads((self.desk.inputs / (name + ".json")).read_text())
            self.assertEqual(list(validator.iter_errors(option)), [])
            self.assertEqual(set(option), set(schema["properties"]))
            self.assertFalse(validator.is_valid({**option, "script": "x"}))
            self.assertFalse(validator.is_valid({**option, "edits": [{**option["edits"][-1], "item": "idle"}]}))

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
        for word in ("idle-up", "fuel"):
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
        account = self.desk.json(CALSEAL, *compare, stray, *both)
        self.assertIn("unaccounted", json.dumps(account))
        text = self.desk.run(CALSEAL, *compare, self.desk.at("composed.bin"), *both).stdout.decode()
        for word in ("idle-up", "fuel", "800", "900"):
            self.assertIn(word, text)


if __name__ == "__main__":
    unittest.main()
