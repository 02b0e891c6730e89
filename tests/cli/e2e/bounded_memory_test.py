"""The checker's memory stays bounded, whatever it is given: less than 64 MiB beside the image, for files of any size that nobody
sealed and for deflate bombs that a listed key has sealed."""

import json
import pathlib
import struct
import subprocess
import unittest
import zlib

import desk as desks
from desk import CALSEAL_CHECK, SANITIZED
from forge import Forgery, bomb, sha256

SUPPORT = pathlib.Path(__file__).resolve().parents[2] / "support"
LIMIT = 64 << 10  # KiB
GIB = 1 << 30


@unittest.skipIf(SANITIZED, "the sanitizers take memory of their own")
class Bounded(unittest.TestCase):
    @classmethod
    def setUpClass(cls):
        cls.desk = desks.Desk()
        cls.shop = cls.desk.open_shop()
        cls.desk.seal_base()
        cls.desk.seal_revision(1)
        cls.genuine = pathlib.Path(cls.desk.at("r1.calseal")).read_bytes()
        cls.measure = str(cls.desk.root / "peak_memory")
        subprocess.run(["cc", "-O1", "-Wall", "-Werror", "-o", cls.measure, SUPPORT / "peak_memory.c"], check=True)

    @classmethod
    def tearDownClass(cls):
        cls.desk.close()

    def sparse(self, name, beginning, size):
        path = self.desk.inputs / name
        with open(path, "wb") as out:
            out.write(beginning)
            out.truncate(size)
        self.addCleanup(path.unlink, missing_ok=True)
        return str(path)

    def peak(self, *arguments):
        done = self.desk.run(self.measure, CALSEAL_CHECK, *arguments, "--json")
        lines = done.stderr.decode().splitlines()
        self.assertEqual(len(lines), 1, done.stderr)
        return int(lines[0]), done

    def refused(self, reason, arguments):
        peak, done = self.peak(*arguments)
        verdict = json.loads(done.stdout)
        found = verdict["reason"]
        with self.subTest(reason=reason, peak=peak):
            self.assertEqual(found, reason)
            self.assertLess(peak, LIMIT)

    def check(self, bundle):
        return self.desk.check_arguments(bundle)

    def forgery(self):
        return Forgery(self.desk.at("r1.calseal"))

    def seal(self, forgery, name, **options):
        path = forgery.write(self.desk.inputs / name, self.desk.at("author.key"), self.desk.at("word.txt"), self.shop["author_id"], **options)
        self.addCleanup(pathlib.Path(path).unlink, missing_ok=True)
        return path

    def test_the_measure_sees_memory(self):
        """Otherwise everything here would hold of nothing."""
        script = "import sys; x = bytearray(100 << 20); sys.exit(7)"
        done = self.desk.run(self.measure, "/usr/bin/python3", "-c", script)
        self.assertEqual(done.returncode, 7)
        self.assertGreater(int(done.stderr), 100 << 10)

    def test_the_forger_forges(self):
        path = self.seal(self.forgery(), "same.calseal")
        self.assertEqual(pathlib.Path(path).read_bytes(), self.genuine)

    def test_large_files_that_nobody_sealed(self):
        for size in (GIB, 2 * GIB - 1):
            self.refused("not-a-bundle", self.check(self.sparse("zeros.calseal", b"", size)))
            other = self.genuine.replace(b'"revision":1', b'"revision":3', 1)
            text_end = 43 + struct.unpack_from("<I", other, 18)[0]
            other = other[:14] + struct.pack("<I", zlib.crc32(other[43:text_end])) + other[18:]
            self.refused("signature-bad", self.check(self.sparse("bent.calseal", other, size)))
            self.refused("framing-damaged", self.check(self.sparse("long.calseal", self.genuine, size)))
        self.refused("file-too-large", self.check(self.sparse("longer.calseal", self.genuine, 2 * GIB)))

    def test_an_honest_seal_over_a_large_promise(self):
        """A manifest with 256 MiB of contents, under the seal of nobody: its size is no reason to read on."""
        forgery = self.forgery()
        forgery.add_attachment("attachments/large.bin", b"", 0, 0, sha256(b""))
        forgery.entry("attachments/large.bin").update(method="stored", size=1 << 28, stored_size=1 << 28)
        path = self.seal(forgery, "promise.calseal", signature=bytes(64))
        with open(path, "r+b") as out:
            out.truncate(GIB)
        self.refused("signature-bad", self.check(path))

    def test_a_manifest_of_100_megabytes(self):
        forgery = self.forgery()
        text = forgery.text() + b" " * 100_000_000
        self.refused("prefix-damaged", self.check(self.seal(forgery, "long.calseal", text=text)))

    def test_a_bomb_as_attachment(self):
        stored, crc, digest = bomb(1 << 28)
        honest = self.forgery()
        honest.add_attachment("attachments/zeros.bin", stored, 1 << 28, crc, digest)
        peak, done = self.peak(*self.check(self.seal(honest, "honest.calseal")))
        self.assertEqual(done.returncode, 0, done.stdout)
        self.assertLess(peak, LIMIT)
        for name, change in (("other.calseal", {"digest": sha256(b"other")}), ("crc.calseal", {"crc32": "0x00000000"})):
            lying = self.forgery()
            lying.add_attachment("attachments/zeros.bin", stored, 1 << 28, crc, digest)
            lying.entry("attachments/zeros.bin").update(change)
            self.refused("content-digest", self.check(self.seal(lying, name)))

    def test_a_bomb_behind_a_small_size(self):
        """The stream gives 256 MiB where the manifest says as much as the image takes."""
        stored, _, _ = bomb(1 << 28)
        for name in ("payload/engine/flash.bin", "changes.json"):
            forgery = self.forgery()
            said = forgery.entry(name)
            size = max(said["size"], len(stored) + 1) if name == "changes.json" else said["size"]
            forgery.store(name, stored[:64] if name != "changes.json" else stored, size, int(said["crc32"], 16), said["digest"])
            if name != "changes.json":
                forgery.entry(name).update(method="deflated")
                # A payload is as long as its ranges, so its stream must be shorter still to pass the manifest's own rules.
            self.refused("content-digest", self.check(self.seal(forgery, "small.calseal")))

    def test_other_inputs_of_100_megabytes(self):
        large = self.sparse("large.json", b'{"calseal":', 100_000_000)
        bundle = self.desk.at("r1.calseal")
        trust = ["--trust", self.desk.at("shop.trust")]
        self.refused("file-too-large", [bundle, "--trust", large])
        self.refused("file-too-large", [bundle, *trust, "--salt", large])

    def test_a_region_map_of_100_megabytes(self):
        forgery = self.forgery()
        stored = b" " * (1 << 20)
        for size, reason in ((100_000_000, "manifest-invalid"), ((1 << 20) + 1, "manifest-invalid")):
            forgery.store("regions/engine.json", stored, size, 0, sha256(stored), method="stored")
            forgery.entry("regions/engine.json").update(stored_size=size)
            forgery.manifest["controllers"][0]["region_map"]["digest"] = forgery.entry("regions/engine.json")["digest"]
            self.refused(reason, self.check(self.seal(forgery, "map.calseal")))


if __name__ == "__main__":
    unittest.main()
