"""The customer file in checks: it gives the salt and the state, keeps them, and signs the receipts. The file is read here by Python's json."""

import hashlib
import json
import os
import pathlib
import stat
import unittest

import desk as desks
from desk import CALSEAL, CALSEAL_CHECK
from parcel_test import ParcelDesk, parcel_json


def inside(path):
    line, digest, rest = pathlib.Path(path).read_text().split("\n")
    assert (hashlib.sha256(line.encode()).hexdigest(), rest) == (digest, "")
    return json.loads(line)


class CustomerInCheck(unittest.TestCase):
    def setUp(self):
        self.desk = desk = ParcelDesk()
        self.addCleanup(desk.close)
        desk.new()
        desk.deliver_way_back()
        desk.send(1)
        desk.send(2)
        self.parcel = desk.parcel("--words", "one")[0]
        self.salt = bytes.fromhex(pathlib.Path(desk.folder, "job.salt").read_text()).hex()

    def check(self, number, *more, status=0, image=False):
        self.desk.clear_out()
        return self.desk.json(CALSEAL_CHECK, f"{self.desk.folder}/base-1/r{number}.calseal", "--trust", self.desk.at("shop.trust"), "--customer",
                              self.desk.me, "--read-is-fresh", *[part for file in self.desk.read() for part in ("--read", file)],
                              *(self.desk.image_arguments() if image else []), *more, status=status)

    def with_salt(self):
        return ["--salt", os.path.join(self.desk.folder, "job.salt")]

    def test_the_salt_is_given_once(self):
        self.assertEqual(self.check(1, status=1)["reason"], "vehicle-not-provable")
        self.assertEqual(inside(self.desk.me)["salts"], [])
        self.assertEqual(self.check(1, *self.with_salt())["vehicle_proof"], "proved")
        self.assertEqual(inside(self.desk.me)["salts"], [{"job": "oak-17", "salt": self.salt}])
        self.assertEqual(self.check(1)["vehicle_proof"], "proved")
        # A salt of another job proves nothing, and is not kept.
        wrong = self.desk.put("wrong.salt", b"ab" * 32 + b"\n")
        self.assertEqual(self.check(1, "--salt", wrong, status=1)["reason"], "salt-wrong")
        self.assertEqual(inside(self.desk.me)["salts"], [{"job": "oak-17", "salt": self.salt}])

    def test_the_state_refuses_what_is_old(self):
        self.check(2, *self.with_salt(), image=True)
        self.assertEqual(self.desk.written()["flash.new"], self.desk.edited(2)[1][0])
        kept = inside(self.desk.me)["state"]
        self.assertEqual(self.check(1, status=1)["reason"], "sequence-old")
        # A state file beside it counts instead, and stays out of it.
        own = str(self.desk.root / "own.state")
        self.check(1, "--state", own)
        self.assertEqual(inside(self.desk.me)["state"], kept)
        self.assertTrue(os.path.exists(own))

    def test_looking_does_not_count_as_writing(self):
        self.check(2, *self.with_salt())
        self.assertEqual(self.check(1, *self.with_salt(), image=True)["verdict"], "accepted")

    def test_every_judgement_leaves_a_receipt_by_his_key(self):
        self.check(1, *self.with_salt())
        receipt = str(self.desk.root / "r2.receipt")
        said = self.check(2, "--receipt", receipt, image=True)
        self.check(2, "--salt", self.desk.put("wrong.salt", b"ab" * 32 + b"\n"), status=1)
        receipts = inside(self.desk.me)["receipts"]
        told = [json.loads(text.split("\n")[0]) for text in receipts]
        self.assertEqual([(one["revision"], one["outcome"]) for one in told],
                         [(self.identity(1), "accepted"), (self.identity(2), "accepted"), (self.identity(2), "refused")])
        self.assertEqual(pathlib.Path(receipt).read_text(), receipts[1])
        self.assertEqual({one["key"] for one in told}, {parcel_json(self.parcel)["key"]})
        self.assertEqual(said["receipt"]["key_fingerprint"], self.desk.json(CALSEAL, "parcel", "show", self.parcel)["key_fingerprint"])
        # What was there stays: his number, so that the next parcel is newer.
        self.assertEqual(self.desk.parcel("--words", "two")[1]["number"], 2)
        self.assertEqual(len(inside(self.desk.me)["receipts"]), 3)
        self.assertEqual(stat.S_IMODE(os.stat(self.desk.me).st_mode), 0o600)

    def identity(self, number):
        return next(r["identity"] for r in self.desk.status()["bases"][0]["revisions"] if r["revision"] == number)

    def test_a_code_needs_no_salt_file(self):
        self.check(1, *self.with_salt())
        self.assertTrue(self.check(1, "--receipt-code")["receipt"]["code"].startswith("Q"))

    def test_a_customer_file_that_is_damaged_ends_it(self):
        before = pathlib.Path(self.desk.me).read_bytes()
        for data in (b"", b"x", before[:-1], before.replace(b'"number":1', b'"number":2')):
            pathlib.Path(self.desk.me).write_bytes(data)
            self.assertEqual(self.check(1, status=1, image=True)["reason"], "customer-file-invalid" if data else "file-empty")
            self.assertEqual((self.desk.written(), pathlib.Path(self.desk.me).read_bytes()), ({}, data))
        os.unlink(self.desk.me)
        self.assertEqual(self.check(1, status=3)["reason"], "file-missing")

    def test_what_does_not_go_together(self):
        key = str(self.desk.root / "receipt.key")
        for more in (["--receipt", key + "r", "--receipt-key", key], ["--receipt", self.desk.me], ["--state", self.desk.me]):
            self.assertEqual(self.check(1, *more, status=2)["reason"], "usage", more)
        self.assertFalse(os.path.exists(key))

    def test_a_bundle_that_is_none_changes_nothing(self):
        before = pathlib.Path(self.desk.me).read_bytes()
        bad = self.desk.put("bad.calseal", b"PK\x03\x04 nothing")
        self.desk.json(CALSEAL_CHECK, bad, "--trust", self.desk.at("shop.trust"), "--customer", self.desk.me, status=1)
        after = inside(self.desk.me)
        self.assertEqual((after["salts"], after["receipts"], after["seed"]), ([], [], json.loads(before.split(b"\n")[0])["seed"]))


if __name__ == "__main__":
    unittest.main()
