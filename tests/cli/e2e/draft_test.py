"""regions draft on invented images whose checksums nobody declares; what it writes is linted, and correction by the draft is
judged by zlib and by Python's own sums."""

import json
import os
import pathlib
import random
import signal
import struct
import subprocess
import tempfile
import time
import unittest
import zlib

CALSEAL = os.environ["CALSEAL"]
ORIGIN = 0x80000000


def invented(seed, size=0x40000):
    """Code, two tables of values and unused space, each block padded; a CRC-32 behind each, a table of sums in the first."""
    draw = random.Random(seed)
    image = bytearray(b"\xff" * size)
    for begin, end in ((0, 0x8000), (0x8000, 0x18000), (0x18000, 0x30000)):
        for i in range(begin, end - 300, 4):
            image[i:i + 4] = struct.pack("<I", 0x40000000 | draw.getrandbits(26) & draw.getrandbits(26))
    for begin, end in ((0x8000, 0x18000), (0x18000, 0x30000)):
        struct.pack_into(">I", image, end - 4, zlib.crc32(image[begin:end - 4]))
    for i, (begin, end) in enumerate(((0x8100, 0x9000), (0x19004, 0x2a008), (0x2b000, 0x2f000))):
        value = sum(struct.unpack("<%dI" % ((end - begin) // 4), image[begin:end])) & 0xffffffff
        struct.pack_into("<4I", image, 0x1200 + 16 * i, ORIGIN + begin, ORIGIN + end - 1, value, value ^ 0xffffffff)
    return bytes(image)


class Draft(unittest.TestCase):
    def setUp(self):
        self.folder = tempfile.TemporaryDirectory()
        self.addCleanup(self.folder.cleanup)

    def at(self, name):
        return str(pathlib.Path(self.folder.name) / name)

    def write(self, name, content):
        pathlib.Path(self.at(name)).write_bytes(content)
        return self.at(name)

    def json(self, *arguments, status=0):
        done = subprocess.run([CALSEAL, *arguments, "--json"], capture_output=True, text=True)
        self.assertEqual(done.returncode, status, done.stderr + done.stdout)
        return json.loads(done.stdout)

    def test_found_linted_and_corrected(self):
        image = invented(1)
        read = self.write("read.bin", image)
        draft = self.json("regions", "draft", read, "-o", self.at("draft.json"))
        found = {(one["slot"]["start"], one["coverage"]["start"], one["coverage"]["size"], one["found_by"]) for one in draft["found"]}
        self.assertEqual(found, {("0x80017ffc", "0x80008000", 0xfffc, "computation"),
                                 ("0x8002fffc", "0x80018000", 0x17ffc, "computation"),
                                 ("0x80001208", "0x80008100", 0xf00, "table"),
                                 ("0x80001218", "0x80019004", 0x11004, "table"),
                                 ("0x80001228", "0x8002b000", 0x4000, "table")})
        self.assertTrue(draft["whole"])
        self.assertTrue(all(one["chance_bits"] >= 7 for one in draft["found"]))
        lint = self.json("regions", "lint", self.at("draft.json"), "--image", read)
        self.assertTrue(lint["maps"][0]["holds"])
        self.assertEqual(lint["maps"][0]["region_map"]["grade"], "draft")
        self.assertTrue(all(check["state"] == "holds" for check in lint["maps"][0]["checks"]))
        # Nothing is editable in a draft; once a person opens a block, correction sets what zlib computes.
        map_ = json.loads(pathlib.Path(self.at("draft.json")).read_text())
        self.assertEqual({region["policy"] for region in map_["regions"]}, {"locked"})
        map_["regions"] = [{"name": "opened", "memory": "flash", "start": "0x80008000", "size": 0x10000, "policy": "editable"}]
        opened = self.write("opened.json", json.dumps(map_).encode())
        edited = bytearray(image)
        edited[0x8800] ^= 0x55
        # From one image nobody saw a slot change along with what it covers: nothing is written there, and nothing at all.
        edited_bin = self.write("edited.bin", bytes(edited))
        refused = self.json("correct", "--regions", opened, edited_bin, "--output", self.at("right.bin"), "--base", read, status=1)
        self.assertEqual(refused["reason"], "checksum-fails")
        self.assertFalse(pathlib.Path(self.at("right.bin")).exists())
        for one in map_["checksums"]:
            self.assertIn("from 1 image", one["drafted"])
            one["confirmed"] = "2026-12-01 A. Tuner: invented, and so is what he saw"
        opened = self.write("confirmed.json", json.dumps(map_).encode())
        self.json("correct", "--regions", opened, edited_bin, "--output", self.at("right.bin"), "--base", read)
        right = pathlib.Path(self.at("right.bin")).read_bytes()
        self.assertEqual(struct.unpack_from(">I", right, 0x17ffc)[0], zlib.crc32(right[0x8000:0x17ffc]))
        self.assertEqual(struct.unpack_from("<I", right, 0x1208)[0], sum(struct.unpack("<960I", right[0x8100:0x9000])) & 0xffffffff)

    def test_a_slot_that_changes_with_what_it_covers_is_written(self):
        first, second = invented(6), invented(7)
        self.json("regions", "draft", self.write("a.bin", first), self.write("b.bin", second), "-o", self.at("two.json"))
        checks = json.loads(pathlib.Path(self.at("two.json")).read_text())["checksums"]
        self.assertEqual(len(checks), 5)
        self.assertFalse(any("drafted" in one for one in checks))

    # An exclusive or that stays while two words under it change alike: no slot, and no rule of one image's weight twice.
    def test_a_slot_that_stays_is_none(self):
        first = bytearray(invented(8))
        second = bytearray(first)
        for at in (0x9000, 0x9800):
            second[at] ^= 0x5a
        found = 0
        for i in range(0x8000, 0x18000 - 4, 4):
            found ^= struct.unpack_from("<I", first, i)[0]
        for image in (first, second):
            struct.pack_into("<I", image, 0x18000 - 4, found)
        draft = self.json("regions", "draft", self.write("a.bin", bytes(first)), self.write("b.bin", bytes(second)))
        self.assertEqual([one for one in draft["found"] if one["slot"] and one["slot"]["start"] == "0x80017ffc"], [])

    # What correct refuses to write, a revision that is sent does not get either.
    def test_a_job_sends_nothing_that_an_unconfirmed_checksum_fails_on(self):
        image = bytearray(range(256)) * 16
        struct.pack_into("<H", image, 0x800, sum(image[0x100:0x200]))
        edited = bytearray(image)
        edited[0x110] ^= 0x55
        check = {"name": "found-0", "algorithm": {"sum": {"unit": 8, "accumulator": 16}}, "drafted": "from 1 image",
                 "coverage": [{"memory": "flash", "start": "0x00000100", "size": 256}], "slots": [{"memory": "flash", "at": "0x00000800", "size": 2}]}
        drafted = {"calseal": "region-map/1", "name": "m", "controller": "engine", "version": 1,
                   "memories": [{"name": "flash", "origin": "0x00000000", "size": 4096}],
                   "recognise": {"all": [{"memory": "flash", "at": "0x00000004", "bytes": "04050607"}]},
                   "regions": [{"name": "maps", "memory": "flash", "start": "0x00000100", "size": 256, "policy": "editable"}], "checksums": [check],
                   "evidence": {"author": "a test", "verified_on": [], "guesses": [], "grade": "draft"}}
        secret = ("--passphrase-file", self.write("word.txt", b"a word for tests\n"))
        self.json("shop", "new", self.folder.name, "--name", "Example Shop", *secret)
        read, shop = self.write("read.bin", bytes(image)), ("--shop", self.at("shop.json"))
        for confirmed, status in (({}, 1), ({"confirmed": "2026-12-01 A. Tuner: invented"}, 0)):
            map_ = self.write("map.json", json.dumps({**drafted, "checksums": [{**check, **confirmed}]}).encode())
            job = self.at("job-%d" % status)
            self.json("job", "new", "flash=" + read, "--regions", map_, "--vehicle", "blue estate", "-o", job, *shop, *secret)
            sent = self.json("job", "send", job, "flash=" + self.write("edited.bin", bytes(edited)), "--title", "first", *shop, *secret, status=status)
            self.assertEqual(sent.get("reason", ""), "checksum-fails" if status else "")

    def test_several_images_tell_what_varies(self):
        first, second = bytearray(invented(2)), bytearray(invented(2))
        second[0x30010:0x30014] = b"\x01\x02\x03\x04"
        draft = self.json("regions", "draft", self.write("a.bin", bytes(first)), self.write("b.bin", bytes(second)))
        self.assertEqual(draft["varying"], [{"memory": "flash", "start": "0x80030010", "size": 4}])
        self.assertEqual(draft["output"], "")

    def test_record_files_say_where_they_are(self):
        image = invented(3, 0x30000)
        read = self.write("read.bin", image)
        subprocess.run(["objcopy", "-I", "binary", "-O", "srec", "--change-addresses=0x10000", read, self.at("read.s19")], check=True)
        draft = self.json("regions", "draft", self.at("read.s19"))
        self.assertIn("0x00027ffc", [one["slot"]["start"] for one in draft["found"]])

    def test_refusals(self):
        read = self.write("read.bin", invented(4))
        self.assertEqual(self.json("regions", "draft", read, self.write("short.bin", b"x" * 4096), status=1)["reason"], "image-size")
        self.assertEqual(self.json("regions", "draft", read, "--origin", "80000000", status=2)["reason"], "usage")
        self.assertEqual(self.json("regions", "draft", read, "-o", read, status=2)["reason"], "output-is-input")
        taken = self.write("taken.json", b"{}")
        self.assertEqual(self.json("regions", "draft", read, "-o", taken, status=2)["reason"], "output-exists")
        self.json("regions", "draft", read, "-o", taken, "--force")

    def test_interrupted_it_gives_what_it_has(self):
        image = bytes(random.Random(5).randbytes(0x400000))
        run = subprocess.Popen([CALSEAL, "regions", "draft", self.write("large.bin", image), "--grid", "1024", "-o",
                                self.at("part.json"), "--json"], stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True)
        time.sleep(2)
        run.send_signal(signal.SIGINT)
        out, err = run.communicate(timeout=300)
        self.assertEqual(run.returncode, 130, err)
        draft = json.loads(out)
        self.assertFalse(draft["whole"])
        self.assertLess(draft["algorithms_tried"], draft["algorithms"])
        self.assertIn("interrupted", pathlib.Path(self.at("part.json")).read_text())


if __name__ == "__main__":
    unittest.main()
