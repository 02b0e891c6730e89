"""Revisions of several controllers that are valid only together: nothing that is noted, offered or handed over parts them."""

import os
import shutil
import unittest

import days
from days_model import clock
from days_vehicle import KINDS
from desk import CALSEAL, CALSEAL_CHECK


class Sets(unittest.TestCase):
    @classmethod
    def setUpClass(cls):
        cls.shop = days.Shop()
        cls.folder = cls.shop.root / "oak"
        reads = [f"{name}.{memory}={cls.shop.put(memory, data)}" for name in ("engine", "transmission") for memory, data in KINDS[name].first]
        cls.shop.json(CALSEAL, "job", "new", *reads, "--regions", cls.shop.maps, "--vehicle", "blue estate", *cls.shop.sealing(0), "-o", cls.folder)
        cls.kept = cls.shop.root / "oak-kept"
        shutil.copytree(cls.folder, cls.kept)

    @classmethod
    def tearDownClass(cls):
        cls.shop.close()

    def setUp(self):
        shutil.rmtree(self.folder)
        shutil.copytree(self.kept, self.folder)
        for fact in ("sent", "acknowledged"):
            self.note(fact)
        self.number = 0

    def job(self, verb, *more, status=0):
        return self.shop.json(CALSEAL, "job", verb, self.folder, *more, status=status)

    def note(self, fact, *more, status=0):
        return self.job("note", fact, *more, *(["--detail", "mail"] if fact == "sent" else []), "--time", clock(1), status=status)

    def send(self, *names, more=(), status=0):
        self.number += 1
        files = []
        for name in names:
            kind = KINDS[name]
            images = kind.edit(dict(kind.first), 4, bytes([self.number, 200]))
            files.append(f"{name}.{kind.memory}={self.shop.put('edit-' + name, images[kind.memory])}")
        return self.job("send", *files, *self.shop.sealing(1), *more, status=status)

    def carry(self, name):
        kind = KINDS[name]
        reads = [f"{memory}={self.shop.put('up-' + memory, data)}" for memory, data in kind.updated(dict(kind.first), 2).items()]
        return self.job("carry", *reads, "--reason", "update", *self.shop.sealing(1))

    def bundles(self):
        newest = self.job("status")["handover"]
        return sorted(name for name in os.listdir(self.folder / newest) if name.endswith(".calseal"))

    def test_the_order_of_writing_is_by_name(self):
        self.send("engine", "transmission")
        self.assertEqual(self.send("transmission", more=["--set", "renew"])["write_order"], ["engine", "transmission"])
        renewed = self.send("transmission", more=["--set", "renew", "--write-order", "transmission,engine"])
        self.assertEqual(renewed["write_order"], ["transmission", "engine"])

    def test_what_is_noted_of_one_member_is_noted_of_all(self):
        self.send("engine", "transmission")
        for fact in ("sent", "acknowledged"):
            noted = self.note(fact, "--controller", "transmission")["noted"]
            self.assertEqual(sorted(one["controller"] for one in noted), ["engine", "transmission"])
        self.assertEqual([one["controller"] for one in self.note("written", "--controller", "transmission")["noted"]], ["transmission"])

    def test_two_revisions_of_one_controller_are_both_noted(self):
        """The engine's newest, and the one that the set of the transmission's newest needs."""
        self.send("engine", "transmission")
        self.send("engine", more=["--set", "leave"])
        self.job("handover")
        self.assertEqual(self.bundles(), ["engine-r1.calseal", "engine-r2.calseal", "transmission-r1.calseal"])
        self.note("sent")
        engine = self.job("status")["controllers"][0]["bases"][0]["revisions"]
        self.assertEqual([len(one["sent"]) for one in engine], [1, 1, 1])

    def test_a_set_that_a_carry_has_parted_is_renewed(self):
        self.send("engine", "transmission")
        self.carry("engine")
        self.assertEqual([(step["code"], step["controller"]) for step in self.job("next")["next"]],
                         [("deliver-way-back", "engine"), ("edit", "transmission")])
        for more in ([], ["--controller", "transmission"]):
            self.assertEqual(self.job("handover", *more, status=1)["reason"], "job-order")
        self.job("handover", "--controller", "engine")
        self.job("send", "--set", "renew", *self.shop.sealing(1))
        self.send("transmission", "engine", more=["--set", "leave"], status=1)  # the edit is of the old base

    def test_a_set_waits_for_the_way_back_of_every_member(self):
        self.send("engine", "transmission")
        self.carry("engine")
        self.send("transmission", more=["--set", "renew"])
        self.assertEqual([(step["code"], step["controller"]) for step in self.job("next")["next"]], [("deliver-way-back", "engine")])
        self.assertEqual(self.note("sent", status=1)["reason"], "job-order")
        for fact in ("sent", "acknowledged"):
            self.note(fact, "--controller", "engine", "--revision", 0)
        self.note("sent")
        self.assertEqual(self.bundles(), ["engine-r1.calseal", "transmission-r2.calseal"])

    def test_a_member_alone_is_refused(self):
        self.send("engine", "transmission")
        bundle = {name: self.folder / name / "base-1/r1.calseal" for name in ("engine", "transmission")}
        read = self.shop.put("rom", dict(KINDS["transmission"].first)["rom"])
        check = [CALSEAL_CHECK, bundle["transmission"], "--trust", self.shop.at("shop.trust"), "--salt", self.folder / "engine/job.salt", "--read", read]
        self.assertEqual(self.shop.json(*check, status=1)["reason"], "set-incomplete")
        self.assertEqual(self.shop.json(*check, "--partner", bundle["engine"])["verdict"], "accepted")


if __name__ == "__main__":
    unittest.main()
