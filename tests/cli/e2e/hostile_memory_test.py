"""Peak memory of every hostile file, printed: what a holder of a listed key seals takes the checker at most 64 MiB beside the images
(read and result), the payload and the bundle, and the page twice that. `hostile_memory_test.py NAME...` looks at these alone."""

import json
import os
import pathlib
import shutil
import subprocess
import sys
import time
import unittest

import desk as desks
import hostile
from desk import CALSEAL, CALSEAL_CHECK, SANITIZED
from forge import Forgery, sha256

TESTS = pathlib.Path(__file__).resolve().parents[2]
NODE = shutil.which("node")
MIB = 1 << 20
MOST = {"checker": 64 * MIB, "page": 128 * MIB}
SECONDS = 60  # far above what any case takes; what is quadratic takes longer
ONLY = []     # names of cases


def intel_hex(parts):
    """A read that knows bytes 00 at these offsets of flash, and no others."""
    lines, high = [], None

    def record(kind, address, data):
        body = bytes([len(data)]) + address.to_bytes(2, "big") + bytes([kind]) + data
        lines.append(":" + (body + bytes([-sum(body) & 0xFF])).hex().upper())
    for first, last in parts:
        address = hostile.FLASH + first
        if address >> 16 != high:
            high = address >> 16
            record(4, 0, high.to_bytes(2, "big"))
        record(0, address & 0xFFFF, bytes(last - first))
    record(1, 0, b"")
    return "\n".join(lines).encode() + b"\n"


class Sealed:
    """A hostile case as files, and what counts beside them."""

    def __init__(self, case, bundle, read):
        self.bundle, self.read = bundle, None if case.revive else read
        known = len(case.known) if case.known else case.size
        manifest = Forgery(bundle).manifest
        carried = {part["entry"] for part in manifest["controllers"][0]["payload"]["parts"]}
        payload = sum(entry["size"] for entry in manifest["entries"] if entry["name"] in carried)
        self.given = 2 * known + payload + os.path.getsize(bundle)


class Bench:
    def __init__(self):
        self.desk = desks.Desk()
        self.shop = self.desk.open_shop()
        self.desk.quicken("author.key")
        self.measure = str(self.desk.root / "peak_memory")
        subprocess.run(["cc", "-O1", "-Wall", "-Werror", "-o", self.measure, TESTS / "support" / "peak_memory.c"], check=True)
        self.idle = self.ask_page(self.desk.put("nothing.calseal", b"nothing"), self.desk.put("none.bin", b"0"))[0] if NODE else 0

    def seal(self, case):
        desk = self.desk
        desk.put("map.json", case.plain_map_text() if case.forged else case.map_text())
        read = desk.put("flash.bin", intel_hex(case.known) if case.known else case.flash)
        bundle = desk.at("r0.calseal")
        desk.must(CALSEAL, "seal", "--job", "oak-17", "--regions", desk.at("map.json"), "--base", "flash=" + read, "--vehicle", "blue estate",
                  *desk.signing(), "-o", bundle)
        if case.edit:
            edited = desk.put("edit.bin", b"\x11" + case.flash[1:])
            bundle = desk.at("r1.calseal")
            desk.must(CALSEAL, "seal", "--base-bundle", desk.at("r0.calseal"), "--image", "flash=" + edited, "--correct", "--title", "tune",
                      *desk.signing(), "-o", bundle)
        if case.forged or case.bend:
            bundle = self.forge(bundle, case)
        if case.misread:
            desk.put("flash.bin", case.flash[:-1] + b"\x11")
        return Sealed(case, bundle, read)

    def forge(self, bundle, case):
        desk, forgery = self.desk, Forgery(bundle)
        if case.forged:
            hostile.exchange(forgery, "regions/engine.json", case.map_text())
            forgery.manifest["controllers"][0]["region_map"]["digest"] = forgery.entry("regions/engine.json")["digest"]
        if case.bend:
            case.bend(forgery)
        return forgery.write(desk.at("forged.calseal"), desk.at("author.key"), desk.at("word.txt"), self.shop["author_id"])

    def run(self, *command):
        """(bytes at the peak, what was printed)."""
        done = self.desk.run(self.measure, *command)
        return int(done.stderr.decode().splitlines()[-1]) << 10, json.loads(done.stdout)

    def ask_checker(self, bundle, read, *more):
        given = ["--read", "flash=" + read, "--read-is-fresh"] if read else ["--revive"]
        peak, verdict = self.run(CALSEAL_CHECK, bundle, "--trust", self.desk.at("shop.trust"), "--vehicle", "blue estate", *given, *more, "--json")
        return peak, verdict["reason"] or verdict["verdict"]

    def ask_page(self, bundle, read):
        request = {"bundle": bundle, "trust": self.desk.at("shop.trust"), "stated_root": "", "reads": ["flash=" + read] if read else [], "salt": "",
                   "vehicle_reference": "blue estate", "read_is_fresh": bool(read), "revive": not read, "seal_only": False, "now": desks.TIME}
        peak, answer = self.run(NODE, "--max-old-space-size=96", "--max-semi-space-size=2", TESTS / "reader" / "adapters" / "page.mjs",
                                self.desk.put("request.json", json.dumps(request).encode()))
        return peak, answer["reason"] or answer["outcome"]


@unittest.skipIf(SANITIZED, "the sanitizers take memory of their own")
class Hostile(unittest.TestCase):
    @classmethod
    def setUpClass(cls):
        cls.bench = Bench()

    @classmethod
    def tearDownClass(cls):
        cls.bench.desk.close()

    def look(self, case, sealed, who, ask, idle):
        begin = time.monotonic()
        peak, found = ask(sealed.bundle, sealed.read)
        seconds = time.monotonic() - begin
        beside = peak - idle - sealed.given
        print(f"{case.name:18} {who:8} peak {peak / MIB:6.1f} MiB, beside images and files {beside / MIB:6.1f} MiB, {seconds:5.1f} s  {found}", flush=True)
        self.assertEqual(found, case.expect)
        self.assertLess(beside, MOST[who])
        self.assertLess(seconds, SECONDS)

    def test_peak_memory_of_every_hostile_file_printed(self):
        print(flush=True)
        for case in hostile.all_cases():
            if ONLY and case.name not in ONLY:
                continue
            with self.subTest(case=case.name):
                sealed = self.bench.seal(case)
                self.look(case, sealed, "checker", self.bench.ask_checker, 0)
            if NODE:
                with self.subTest(case=case.name, who="page"):
                    self.look(case, sealed, "page", self.bench.ask_page, self.bench.idle)


    def test_a_map_beside_the_one_that_the_state_has_kept(self):
        """Both are read, and compared, before the newer one is asked anything else."""
        first, second = hostile.two_maps()
        state = ["--state", self.bench.desk.at("job.state"), "--image", "flash=" + self.bench.desk.at("new.bin")]
        sealed = self.bench.seal(first)
        self.assertEqual(self.bench.ask_checker(sealed.bundle, sealed.read, *state)[1], "accepted")
        text = Forgery(sealed.bundle).text()
        second.bend = lambda forgery: forgery.manifest.update(sequence=3, revision=2, parent=sha256(text))
        sealed = self.bench.seal(second)
        self.look(second, sealed, "checker", lambda bundle, read: self.bench.ask_checker(bundle, read, *state), 0)


if __name__ == "__main__":
    ONLY, sys.argv[1:] = sys.argv[1:], []
    unittest.main()
