"""regions carry: the map of a known software proposed for another one whose code grew, so that its calibration moved."""

import json
import os
import pathlib
import random
import struct
import subprocess
import tempfile
import unittest
import zlib

CALSEAL = os.environ["CALSEAL"]
SIZE = 0x20000


def software(number, shift, seed):
    """Header, code, then a calibration that begins at 0x10000 + shift: same order, some values others."""
    code, values = random.Random(1), random.Random(2)
    other = random.Random(seed)
    image = bytearray(b"\xff" * SIZE)
    image[0x20:0x2a] = number
    image[0x10:0x18] = b"FAMILY-X"
    for i in range(0x40, 0xf000):
        image[i] = code.getrandbits(8) & 0x7f
    for i in range(0xf000, 0xf000 + shift):
        image[i] = other.getrandbits(8) | 0x80
    at = 0x10000 + shift
    for i in range(0x8000):
        image[at + i] = values.getrandbits(7)
    for _ in range(60):
        image[at + 64 + other.randrange(0x7f00)] = other.getrandbits(8)
    struct.pack_into("<I", image, at + 0x8000, zlib.crc32(image[at:at + 0x8000]))
    struct.pack_into(">I", image, 0x30, zlib.crc32(image[0x40:0xf000]))
    return bytes(image)


MAP = {
    "calseal": "region-map/1", "name": "x-100", "controller": "engine", "version": 4,
    "memories": [{"name": "flash", "origin": "0x00000000", "size": SIZE}],
    "recognise": {"all": [{"memory": "flash", "at": "0x00000010", "bytes": b"FAMILY-X".hex()}], "software_numbers": ["XX-0000100"]},
    "regions": [{"name": "calibration", "memory": "flash", "start": "0x00010000", "size": 0x8000, "policy": "editable", "note": "kept as it is"}],
    "permitted_patches": [],
    "checksums": [
        {"name": "calibration", "algorithm": {"crc": "CRC-32/ISO-HDLC"}, "coverage": [{"memory": "flash", "start": "0x00010000", "size": 0x8000}],
         "slots": [{"memory": "flash", "at": "0x00018000", "size": 4}]},
        {"name": "code", "algorithm": {"crc": "CRC-32/ISO-HDLC"}, "coverage": [{"memory": "flash", "start": "0x00000040", "size": 0xefc0}],
         "slots": [{"memory": "flash", "at": "0x00000030", "size": 4, "order": "big"}]}],
    "identity": [{"name": "software", "kind": "software-number", "memory": "flash", "at": "0x00000020", "size": 10, "encoding": "ascii",
                  "pattern": "XX-#######"}],
    "evidence": {"author": "somebody", "verified_on": [], "guesses": ["an old guess"], "grade": "draft"},
}


class CarryMap(unittest.TestCase):
    def setUp(self):
        folder = tempfile.TemporaryDirectory()
        self.addCleanup(folder.cleanup)
        self.folder = pathlib.Path(folder.name)
        self.old = software(b"XX-0000100", 0, 3)
        self.write("old.bin", self.old)
        self.write("map.json", json.dumps(MAP).encode())

    def write(self, name, content):
        (self.folder / name).write_bytes(content)
        return name

    def json(self, *arguments, status):
        done = subprocess.run([CALSEAL, *arguments, "--json"], capture_output=True, text=True, cwd=self.folder)
        self.assertEqual(done.returncode, status, done.stderr + done.stdout)
        return json.loads(done.stdout)

    def carried(self):
        return json.loads((self.folder / "new.json").read_text())

    def test_what_moved_is_found_and_the_new_map_holds(self):
        new = software(b"XX-0000391", 0x1234, 4)
        self.write("new.bin", new)
        carried = self.json("regions", "carry", "map.json", "new.bin", "--base", "old.bin", "--name", "x-391", "-o", "new.json", status=0)
        self.assertEqual(carried["look"], [])
        moved = {place["what"]: place["to"]["start"] for place in carried["places"] if place["moved"]}
        self.assertEqual(moved, {"regions calibration": "0x00011234", "checksums calibration, coverage": "0x00011234",
                                 "checksums calibration, slots": "0x00019234"})
        self.assertEqual({check["state"] for check in carried["checks"]}, {"holds"})
        map_ = self.carried()
        self.assertEqual((map_["name"], map_["version"], map_["evidence"]["grade"]), ("x-391", 1, "draft"))
        self.assertEqual(map_["recognise"]["software_numbers"], ["XX-0000391"])
        self.assertEqual(map_["regions"][0]["note"], "kept as it is")
        self.assertIn("of the old map: an old guess", map_["evidence"]["guesses"])
        self.json("regions", "lint", "new.json", "--image", "new.bin", status=0)
        # Correction by the carried map sets what zlib computes.
        edited = bytearray(new)
        edited[0x11300] ^= 0x11
        self.write("edited.bin", bytes(edited))
        self.json("correct", "--regions", "new.json", "edited.bin", "--output", "right.bin", "--base", "new.bin", status=0)
        right = (self.folder / "right.bin").read_bytes()
        self.assertEqual(struct.unpack_from("<I", right, 0x19234)[0], zlib.crc32(right[0x11234:0x19234]))

    def test_the_text_says_what_the_json_says(self):
        self.write("new.bin", software(b"XX-0000391", 0x1234, 4))
        arguments = ["regions", "carry", "map.json", "new.bin", "--base", "old.bin", "--name", "x-391", "-o", "new.json"]
        places = self.json(*arguments, status=0)["places"]
        (self.folder / "new.json").unlink()
        done = subprocess.run([CALSEAL, *arguments], capture_output=True, text=True, cwd=self.folder)
        self.assertEqual(done.returncode, 0, done.stderr)
        moved, sure = sum(place["moved"] for place in places), sum(place["sure"] for place in places)
        self.assertIn(f"{len(places)} places, {moved} moved, {sure} sure", done.stdout)
        lines = done.stdout.splitlines()
        for place in places:
            row = [line for line in lines if line.strip().startswith(place["what"] + "  ")]
            if place["sure"] and not place["moved"]:
                self.assertEqual(row, [], place)
                continue
            self.assertEqual(len(row), 1, place)
            self.assertIn(place["to"]["start"], row[0])
            self.assertEqual(row[0].rstrip().endswith("not sure"), not place["sure"])

    def test_what_grew_is_found_by_its_checksum(self):
        new = bytearray(software(b"XX-0000391", 0x200, 4))
        at, end = 0x10200, 0x18200
        longer = new[at:at + 0x4000] + bytes(range(100)) + new[at + 0x4000:end]
        new[at:at + len(longer)] = longer
        struct.pack_into("<I", new, at + len(longer), zlib.crc32(longer))
        self.write("new.bin", bytes(new))
        carried = self.json("regions", "carry", "map.json", "new.bin", "--base", "old.bin", "--name", "x-391", "-o", "new.json", status=0)
        place = next(one for one in carried["places"] if one["what"] == "regions calibration")
        self.assertEqual((place["to"]["start"], place["to"]["size"], place["sure"]), ("0x00010200", 0x8064, True))
        self.assertEqual(self.carried()["regions"][0]["size"], 0x8064)
        self.json("regions", "lint", "new.json", "--image", "new.bin", status=0)

    def test_what_is_not_sure_is_named(self):
        new = bytearray(software(b"XX-0000391", 0x1234, 4))
        new[0x19234] ^= 1  # the calibration's checksum does not hold
        self.write("new.bin", bytes(new))
        carried = self.json("regions", "carry", "map.json", "new.bin", "--base", "old.bin", status=1)
        unsure = [place["what"] for place in carried["places"] if not place["sure"]]
        self.assertIn("regions calibration", unsure)
        for what in unsure:
            self.assertTrue(any(line.startswith(what + ": ") for line in carried["look"]), what)

    def test_nothing_moved(self):
        self.write("new.bin", software(b"XX-0000222", 0, 5))
        carried = self.json("regions", "carry", "map.json", "new.bin", "--base", "old.bin", status=0)
        self.assertFalse(any(place["moved"] for place in carried["places"]))
        self.assertEqual(carried["region_map"]["name"], "x-100-carried")
        self.assertEqual(carried["output"], "")

    def test_without_a_base_checksums_alone_speak(self):
        self.write("new.bin", software(b"XX-0000391", 0x1234, 4))
        carried = self.json("regions", "carry", "map.json", "new.bin", "-o", "new.json", status=1)
        self.assertIn("checksum calibration: does not hold in the new image", carried["look"])
        self.assertIn("--base", carried["look"][-1])
        self.assertFalse(any(place["moved"] for place in carried["places"]))
        checked = {place["what"] for place in carried["places"] if place["sure"]}
        self.assertEqual(checked, {"checksums code, coverage", "checksums code, slots"})

    def test_another_family_is_not_carried_to(self):
        self.write("new.bin", random.Random(9).randbytes(SIZE))
        carried = self.json("regions", "carry", "map.json", "new.bin", "--base", "old.bin", "-o", "new.json", status=1)
        self.assertIn("recognise all 0: its bytes do not stand in the new image; it was left out", carried["look"])
        self.assertTrue(any("does not hold" in line for line in carried["look"]))
        self.assertNotIn("recognise", self.carried())

    def test_refusals(self):
        self.write("new.bin", software(b"XX-0000222", 0, 5))
        wrong = bytearray(self.old)
        wrong[0x10000] ^= 1
        self.write("wrong.bin", bytes(wrong))
        error = self.json("regions", "carry", "map.json", "new.bin", "--base", "wrong.bin", status=1)
        self.assertEqual(error["reason"], "map-not-believed")
        self.write("short.bin", self.old[:-1])
        self.assertEqual(self.json("regions", "carry", "map.json", "short.bin", status=1)["reason"], "image-size")
        self.assertEqual(self.json("regions", "carry", "map.json", "new.bin", "-o", "map.json", status=2)["reason"], "output-is-input")


if __name__ == "__main__":
    unittest.main()
