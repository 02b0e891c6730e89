"""Parcels after they came in: in the ledger, in an audit, in evidence that a stranger verifies by hand."""

import hashlib
import hmac
import json
import os
import pathlib
import shutil
import subprocess
import unittest

from desk import CALSEAL, TIME
from ledger_desk import LedgerDesk
from parcel_test import ParcelDesk, rebuilt

LOG = b"Time (s),rpm\n0.0,850\n0.1,851\n"


class ShopDesk(LedgerDesk, ParcelDesk):
    """A job that a parcel made, and that reports to a ledger."""

    def __init__(self):
        super().__init__()
        self.first, self.facts = self.parcel(*self.reads(), "--vehicle", "blue estate", "--words", "It pulls \"left\".")
        self.json(CALSEAL, "job", "new", self.first, "--regions", self.at("duo.json"), *self.signing(), "-o", self.whole)
        self.json(CALSEAL, "job", "ledger", self.whole, self.ledger, "--trust", self.at("shop.trust"))
        self.second, self.more = self.parcel("--log", self.put("drive.csv", LOG))
        self.taken = self.json(CALSEAL, "job", "log", self.whole, self.second, "--time", TIME)

    def kept(self, number):
        return pathlib.Path(self.whole, f"parcels/{number}.parcel")

    def entries(self):
        shown = self.json(CALSEAL, "ledger", "show", self.ledger, "--job", "oak-17")
        return [entry for entry in shown["entries"] if entry["kind"] == "parcel-taken"]


class Entered(unittest.TestCase):
    @classmethod
    def setUpClass(cls):
        cls.desk = ShopDesk()

    @classmethod
    def tearDownClass(cls):
        cls.desk.close()

    def test_each_parcel_is_entered_once(self):
        desk = self.desk
        self.assertEqual(desk.taken["ledger"]["added"], 1)
        entries = desk.entries()
        self.assertEqual([entry["facts"]["about"] for entry in entries], [desk.facts["digest"], desk.more["digest"]])
        for entry, number in zip(entries, (1, 2)):
            self.assertEqual(entry["facts"]["words"], f"number {number} by key {desk.facts['key_fingerprint']}")
        again = desk.json(CALSEAL, "job", "ledger", desk.whole, desk.ledger, "--trust", desk.at("shop.trust"))
        self.assertEqual(again["ledger"]["added"], 0)
        desk.json(CALSEAL, "ledger", "verify", desk.ledger, "--trust", desk.at("shop.trust"))

    def test_the_entry_binds_the_parcel(self):
        """docs/ledger.md, Entries and Details, in plain code."""
        lines = pathlib.Path(self.desk.ledger, "entries.jsonl").read_bytes().splitlines()[1:]
        details = [json.loads(line) for line in pathlib.Path(self.desk.ledger, "details.jsonl").read_bytes().splitlines()]
        seen = 0
        for line, detail in zip(lines, details):
            facts = detail["facts"]
            if facts["kind"] != "parcel-taken":
                continue
            text = json.dumps(facts, separators=(",", ":"), ensure_ascii=False).encode()
            salt = hmac.new(bytes.fromhex(detail["nonce"]), text, hashlib.sha256).digest()
            about = hashlib.sha256(self.desk.kept(seen + 1).read_bytes()).digest()
            self.assertEqual(json.loads(line)["subject"], hmac.new(salt, about, hashlib.sha256).hexdigest())
            self.assertEqual((facts["job"], facts["controller"], facts["revision"], facts["sequence"]), ("oak-17", "engine", 0, 0))
            seen += 1
        self.assertEqual(seen, 2)


class Audited(unittest.TestCase):
    def setUp(self):
        self.desk = ShopDesk()

    def tearDown(self):
        self.desk.close()

    def audit(self, *more, folders=None, status=0):
        done = self.desk.must(CALSEAL, "audit", *(folders or [self.desk.whole, self.desk.ledger]), "--trust", self.desk.at("shop.trust"), *more, "--json",
                              status=status)
        root = str(self.desk.root) + "/"
        return [(finding["code"], finding["path"].removeprefix(root)) for finding in json.loads(done.stdout)["findings"] if finding["severity"] != "note"]

    def test_what_is_as_it_was_is_clean(self):
        self.assertEqual(self.audit(), [])
        self.assertEqual(self.audit("--depth", "proved"), [])
        self.assertEqual(self.audit(folders=[self.desk.folder]), [])  # the controller's folder alone

    def test_damage_loss_and_mix_ups_are_named(self):
        second = self.desk.kept(2)
        whole = second.read_bytes()
        path = "oak-17/parcels/2.parcel"
        bent = bytearray(whole)
        bent[-40] ^= 1
        for what, data, code, at in (("a bit", bytes(bent), "file-damaged", path), ("another one", self.desk.kept(1).read_bytes(), "file-changed", path),
                                     ("framed anew", rebuilt(second, lambda name, content: content), "file-damaged", path),
                                     ("zeros", bytes(len(whole)), "file-changed", path), ("gone", None, "parcel-missing", path)):
            with self.subTest(what):
                second.unlink() if data is None else second.write_bytes(data)
                self.assertEqual(self.audit(status=1), [(code, at)])
        # Without a note, the ledger still knows it.
        notes = pathlib.Path(self.desk.folder, "events.jsonl")
        lines = notes.read_text().splitlines(True)
        notes.write_text("".join(line for line in lines if '"parcels/2.parcel"' not in line))
        self.assertEqual(self.audit(status=1), [("parcel-missing", "")])
        second.write_bytes(whole)
        self.assertEqual(self.audit(), [])

    def test_a_parcel_that_nobody_took_in(self):
        third, _ = self.desk.parcel("--words", "never taken")
        shutil.copy(third, self.desk.kept(3))
        self.assertEqual(self.audit(status=1), [("parcel-unknown", "oak-17/parcels/3.parcel")])

    def test_a_lost_or_damaged_parcel_is_put_back_from_a_mirror(self):
        mirror = self.desk.root / "mirror"
        shutil.copytree(self.desk.whole, mirror / "oak-17")
        for damage in (lambda: self.desk.kept(2).unlink(), lambda: self.desk.kept(2).write_bytes(b"PK"),
                       lambda: self.desk.kept(2).write_bytes(self.desk.kept(1).read_bytes())):
            damage()
            self.audit("--mirror", str(mirror), "--heal", status=1)
            self.assertEqual(self.desk.kept(2).read_bytes(), (mirror / "oak-17/parcels/2.parcel").read_bytes())


class Evidence(unittest.TestCase):
    def setUp(self):
        self.desk = ShopDesk()
        self.out = self.desk.root / "evidence"
        self.desk.must(CALSEAL, "evidence", self.desk.whole, "--trust", self.desk.at("shop.trust"), "--ledger", self.desk.ledger, "-o", self.out)

    def tearDown(self):
        self.desk.close()

    def by_hand(self):
        lines = [line[2:] for line in (self.out / "VERIFY.txt").read_text().splitlines() if line.startswith("$ ")]
        clean = {key: value for key, value in os.environ.items() if not key.startswith("CALSEAL")}
        return subprocess.run(["sh", "-eu"], input="\n".join(lines), cwd=self.out, env=clean, capture_output=True, text=True, check=False)

    def sums(self):
        """The list of files made again, as a forger would."""
        listed = (self.out / "SHA256SUMS").read_text().splitlines()
        names = [line[66:] for line in listed]
        made = subprocess.run(["sha256sum", *names], cwd=self.out, capture_output=True, text=True, check=True).stdout
        (self.out / "SHA256SUMS").write_text(made)

    def test_a_stranger_verifies_parcels_without_calseal(self):
        readme = " ".join((self.out / "README.txt").read_text().split())
        self.assertIn("of the ledger names job/parcels/1.parcel by its SHA-256, as taken into the job.", readme)
        done = self.by_hand()
        self.assertEqual(done.returncode, 0, done.stderr)
        self.assertIn("reads/1.bin: as signed; it is controllers/engine/job/base-1/read/flash.bin", done.stdout)
        self.assertIn("logs/1.log: as signed; it is controllers/engine/job/logs/", done.stdout)
        self.assertEqual(done.stdout.count("in the ledger: engine, entry "), 2)

    def test_a_changed_bit_of_a_parcel_is_found_by_hand(self):
        kept = self.out / "job/parcels/1.parcel"
        whole = kept.read_bytes()
        signature = whole.index(b".sig")
        for at in (whole.index(b"It pulls"), signature + 10, whole.index(b"reads/1.bin", signature) + 20):
            bent = bytearray(whole)
            bent[at] ^= 4
            kept.write_bytes(bent)
            self.sums()
            self.assertNotEqual(self.by_hand().returncode, 0, at)


if __name__ == "__main__":
    unittest.main()
