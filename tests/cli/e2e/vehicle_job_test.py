"""A job of engine and transmission with the real programs: reads sorted by the region maps, sets, hand-overs, controllers that come and
go, a region map mended on the way, and the list of all jobs. The customer's side is calseal-check on what was handed over."""

import json
import os
import pathlib
import re
import shutil
import subprocess
import unittest

from demo_desk import MAPS, DemoDesk
from desk import CALSEAL, CALSEAL_CHECK

SUPPORT = pathlib.Path(__file__).resolve().parents[2] / "support"


class TwoControllers(unittest.TestCase):
    def setUp(self):
        self.desk = DemoDesk()
        self.addCleanup(self.desk.close)
        self.desk.quicken("author.key")
        self.folder = str(self.desk.root / "oak-17")
        self.engine = [self.desk.data("engine-a-flash.bin"), self.desk.data("engine-a-eeprom.bin")]
        self.transmission = self.desk.data("transmission-a.s19")
        shutil.copytree(MAPS, self.desk.at("maps"), ignore=lambda _, names: [n for n in names if not n.endswith(".regions.json")])

    def job(self, verb, *more, status=0):
        return self.desk.json(CALSEAL, "job", verb, self.folder, *more, status=status)

    def send(self, *more, status=0):
        return self.job("send", *more, *self.desk.signing(), status=status)

    def new(self, *reads, status=0):
        return self.desk.json(CALSEAL, "job", "new", *(reads or (*self.engine, self.transmission)), "--regions", self.desk.at("maps"), "--vehicle",
                              "blue estate", *self.desk.signing(), "-o", self.folder, status=status)

    def both(self, number=1):
        return ["flash=" + self.desk.data(f"engine-r{number}-flash.bin"), self.desk.data("transmission-r1.s19")]

    def handed(self, name):
        return str(pathlib.Path(self.folder, name))

    def check(self, handover, controller, partners=(), status=0):
        """The customer's check of one bundle of a hand-over."""
        bundles = {n.split("-")[0]: self.handed(f"{handover}/{n}") for n in os.listdir(self.handed(handover)) if n.endswith(".calseal")}
        reads = {"engine": ["--read", "flash=" + self.engine[0], "--read", "eeprom=" + self.engine[1]], "transmission": ["--read", self.transmission]}
        return self.desk.json(CALSEAL_CHECK, bundles[controller], "--trust", self.desk.at("shop.trust"), "--salt", self.folder + "/engine/job.salt",
                              "--read-is-fresh", *reads[controller], *(word for name in partners for word in ("--partner", bundles[name])),
                              status=status)

    def test_reads_are_sorted_by_the_maps_that_recognise_them(self):
        made = self.new()
        self.assertEqual([one["controller"] for one in made["controllers"]], ["engine", "transmission"])
        self.assertEqual(made["handover"], "handover-1")
        self.assertEqual(sorted(os.listdir(self.handed("handover-1"))), ["engine-r0.calseal", "message.txt", "transmission-r0.calseal"])
        self.assertEqual(pathlib.Path(self.folder, "engine/base-1/read/eeprom.bin").read_bytes(), self.desk.bytes_of("engine-a-eeprom.bin"))
        salts = {pathlib.Path(self.folder, name, "job.salt").read_bytes() for name in ("engine", "transmission")}
        self.assertEqual(len(salts), 1)
        for controller in ("engine", "transmission"):
            self.assertEqual(self.check("handover-1", controller)["verdict"], "accepted")

    def test_what_no_map_takes_or_two_might(self):
        stray = self.desk.put("stray.bin", bytes(1234))
        self.assertEqual(self.new(*self.engine, stray, status=1)["reason"], "family-mismatch")
        self.assertEqual(self.new("brakes.flash=" + self.engine[0], status=2)["reason"], "usage")
        # A second map whose EEPROM is of the same size: a file fits both and must be named.
        twin = json.loads((MAPS / "engine.regions.json").read_text())
        twin["controller"] = "brakes"
        pathlib.Path(self.desk.at("maps/brakes.regions.json")).write_text(json.dumps(twin))
        refused = self.new(*self.engine, status=2)
        self.assertIn(".MEMORY=FILE", refused["next"])
        self.assertFalse(os.path.exists(self.folder))
        made = self.new("engine.flash=" + self.engine[0], "engine.eeprom=" + self.engine[1])
        self.assertEqual([one["controller"] for one in made["controllers"]], ["engine"])

    def deliver(self):
        for fact in (["sent", "--detail", "mail"], ["acknowledged"]):
            noted = self.job("note", *fact)["noted"]
            self.assertEqual({one["controller"] for one in noted}, {"engine", "transmission"})

    def test_a_set_is_made_renewed_and_left(self):
        self.new()
        self.deliver()
        sent = self.send(*self.both(), "--write-order", "transmission,engine", "--title", "first tune")
        self.assertNotEqual(sent["set"], "")
        self.assertEqual(sent["write_order"], ["transmission", "engine"])
        self.assertEqual([(one["controller"], one["revision"]) for one in sent["revisions"]], [("engine", 1), ("transmission", 1)])
        self.assertEqual(self.check("handover-2", "engine", status=1)["reason"], "set-incomplete")
        accepted = self.check("handover-2", "engine", ["transmission"])
        self.assertEqual(accepted["verdict"], "accepted")
        message = pathlib.Path(self.handed("handover-2/message.txt")).read_text()
        for word in ("engine-r1.calseal", "transmission-r1.calseal", "transmission, then engine", "first tune", "requested torque"):
            self.assertIn(word, " ".join(message.split()))
        self.assertTrue(all(len(line) <= 76 for line in message.splitlines()))
        self.assertEqual(self.job("next")["next"][0]["code"], "deliver")
        self.assertEqual(self.job("next")["next"][0]["controller"], "")
        # One member alone: nothing happens to the other silently.
        before = sorted(os.listdir(self.folder))
        self.assertEqual(self.send(self.both(2)[0], status=2)["reason"], "usage")
        self.assertEqual(sorted(os.listdir(self.folder)), before)
        renewed = self.send(self.both(2)[0], "--set", "renew")
        self.assertEqual([(one["controller"], one["revision"], one["sequence"]) for one in renewed["revisions"]], [("engine", 2, 3), ("transmission", 2, 3)])
        self.assertEqual(self.check("handover-3", "transmission", ["engine"])["verdict"], "accepted")
        left = self.send(self.both(1)[0], "--set", "leave")
        self.assertEqual((left["set"], [one["controller"] for one in left["revisions"]]), ("", ["engine"]))
        self.assertEqual(self.check("handover-4", "engine")["verdict"], "accepted")
        # A fact about a member of a set is about the set.
        noted = self.job("note", "withdrawn", "--controller", "transmission", "--revision", 2, "--detail", "too lean")["noted"]
        self.assertEqual({(one["controller"], one["event"]["revision"]) for one in noted}, {("engine", 2), ("transmission", 2)})
        state = self.job("status")
        self.assertEqual([one["findings"] for one in (state, *state["controllers"])], [[], [], []])

    def test_numbers_of_several_controllers_are_named(self):
        """--parent and --permit-return: whose revision a number is, must be plain."""
        self.new()
        self.deliver()
        sent = self.send(*self.both())["revisions"] + self.send(self.both(2)[0], "--set", "renew")["revisions"]
        identity = {(one["controller"], one["revision"]): one["identity"] for one in sent}
        again = [*self.both(), "--unchanged"]

        def refused(*more):
            got = self.send(*again, *more, status=2)
            self.assertEqual((got["reason"], got["place"]), ("usage", more[0]))
            return got

        before = sorted(os.listdir(self.folder))
        self.assertEqual(refused("--parent", 1)["next"], "type --parent engine=1, or --parent transmission=1, or both")
        self.assertEqual(refused("--permit-return", 1)["next"], "type --permit-return engine=1, or --permit-return transmission=1, or both")
        self.assertIn("engine, transmission", refused("--parent", "brakes=1")["expected"])
        for more in (["--parent", "engine=9"], ["--parent", "engine=x"], ["--parent", "engine="], ["--parent", "=1"], ["--permit-return", "engine=9"],
                     ["--permit-return", "engine=x"], ["--permit-return", "0" * 64], ["--parent", "engine=1", "--parent", "engine=2"]):
            refused(*more)
        # A member that is only sealed again has no edit that could follow something else.
        member = self.send(self.both(1)[0], "--set", "renew", "--parent", "transmission=1", status=2)
        self.assertEqual((member["reason"], member["place"]), ("usage", "--parent"))
        self.assertEqual(sorted(os.listdir(self.folder)), before)

        self.send(*again, "--parent", "engine=1", "--permit-return", "transmission=2", "--permit-return", identity["engine", 2])
        shown = {name: self.desk.json(CALSEAL, "show", self.handed(f"{name}/base-1/r3.calseal"))["manifest"] for name in ("engine", "transmission")}
        first = identity["engine", 1]
        self.assertEqual({name: one["parent"] for name, one in shown.items()}, {"engine": first, "transmission": identity["transmission", 2]})
        for name in shown:
            self.assertEqual(shown[name]["permitted_returns"], [identity[name, 2]])
        # Where one controller is edited, a bare number is plain.
        self.send("--set", "renew", "--parent", 1, self.both(2)[0])
        engine = self.desk.json(CALSEAL, "show", self.handed("engine/base-1/r4.calseal"))["manifest"]
        self.assertEqual(engine["parent"], first)

    def test_the_members_of_a_set_are_handed_over_together(self):
        self.new()
        self.deliver()
        self.send(*self.both())
        made = self.job("handover", "--controller", "engine")
        self.assertEqual(sorted(os.listdir(self.handed(made["handover"]))), ["engine-r1.calseal", "message.txt", "transmission-r1.calseal"])
        # A member that is gone is found: nobody would accept the other one alone.
        os.remove(self.handed("transmission/base-1/r1.calseal"))
        shutil.rmtree(self.handed("handover-2"))
        shutil.rmtree(self.handed(made["handover"]))
        state = self.job("status", status=1)
        self.assertEqual([finding["code"] for finding in state["findings"]], ["set-incomplete"])

    def test_a_set_that_was_left_is_renewed_whole(self):
        self.new()
        self.deliver()
        self.send(*self.both())
        self.send(self.both(2)[0], "--set", "leave")
        renewed = self.send("--set", "renew")
        self.assertEqual([(one["controller"], one["revision"]) for one in renewed["revisions"]], [("engine", 3), ("transmission", 2)])
        self.assertNotEqual(renewed["set"], "")
        self.assertEqual(self.check(renewed["handover"], "transmission", ["engine"])["verdict"], "accepted")

    def test_a_fact_is_about_what_was_handed_over(self):
        """Whatever has been given under the same number since: here by a run that was cut off before its hand-over."""
        self.new(*self.engine)
        self.job("note", "sent", "--detail", "mail")
        self.job("note", "acknowledged")
        first = self.send(self.both()[0])["revisions"][0]["identity"]
        self.job("note", "sent", "--detail", "mail")
        self.job("reissue", 1, *self.desk.signing())
        shutil.rmtree(self.handed("handover-3"))
        noted = self.job("note", "acknowledged")["noted"]
        self.assertEqual([one["event"]["identity"] for one in noted], [first])

    def test_what_cannot_be_listed_is_not_taken_for_absent(self):
        """A disk whose readdir fails at any call: the same answer or an error, and no member of a set is sealed alone."""
        if b"__asan_init" in subprocess.run(["nm", CALSEAL], capture_output=True, check=False).stdout:
            self.skipTest("the sanitizers' runtime must be loaded first")
        library = self.desk.at("fail_looking.so")
        subprocess.run(["cc", "-shared", "-fPIC", "-O1", "-o", library, SUPPORT / "fail_looking.c"], check=True)
        self.new()
        self.send(*self.both())
        whole = self.desk.run(CALSEAL, "job", "status", self.folder, "--json")
        names = sorted(os.listdir(self.folder))
        failed = 0
        for number in range(1, 200):
            failing = {"LD_PRELOAD": library, "FAIL_READDIR": str(number)}
            look = self.desk.run(CALSEAL, "job", "status", self.folder, "--json", env=failing)
            self.assertIn((look.returncode, look.stdout == whole.stdout), ((0, True), (3, False)), number)
            sent = self.desk.run(CALSEAL, "job", "send", self.folder, self.both(2)[0], *self.desk.signing(), "--json", env=failing)
            self.assertIn((sent.returncode, json.loads(sent.stdout)["reason"]), ((2, "usage"), (3, "file-unreadable")), number)
            failed += look.returncode == 3
            if (look.returncode, sent.returncode) == (0, 2):
                break
        self.assertGreater(failed, 5)
        self.assertEqual(sorted(os.listdir(self.folder)), names)

    def test_controllers_come_and_go(self):
        self.new(*self.engine)
        self.job("note", "sent", "--detail", "mail")
        added = self.desk.json(CALSEAL, "job", "add", self.folder, self.transmission, "--regions", self.desk.at("maps"), *self.desk.signing())
        self.assertEqual([one["controller"] for one in added["controllers"]], ["transmission"])
        self.assertEqual(self.check("handover-2", "transmission")["verdict"], "accepted")
        self.assertEqual(self.desk.json(CALSEAL, "job", "add", self.folder, self.transmission, "--regions", self.desk.at("maps"),
                                        *self.desk.signing(), status=2)["reason"], "output-exists")
        self.assertEqual({step["code"] for step in self.job("next")["next"]}, {"await-way-back", "deliver-way-back"})
        self.send(*self.both())
        self.job("note", "closed", "--controller", "transmission", "--detail", "he keeps the old gearbox")
        self.assertEqual([step["controller"] for step in self.job("next")["next"]], ["engine"])
        # Its partner is closed, so the engine goes on alone.
        self.assertEqual(self.send(self.desk.data("engine-r2-flash.bin"))["set"], "")
        self.job("note", "closed", "--detail", "paid")
        self.assertEqual(self.job("next")["next"][0]["code"], "closed")
        self.job("note", "reopened", "--controller", "engine")
        self.assertEqual([step["code"] for step in self.job("next")["next"]], ["await-way-back"])

    def option(self, name, controller, base, edited):
        """Made from the demo's edit of a controller."""
        file = self.desk.at(name + ".json")
        images = [word for kind, paths in (("--base", base), ("--image", edited)) for path in paths for word in (kind, path)]
        self.desk.json(CALSEAL, "option", "make", "--regions", MAPS / f"{controller}.regions.json", *images, "--name", name, "--title", name, "-o", file)
        return file

    def torque(self):
        eeprom = "eeprom=" + self.engine[1]
        return self.option("torque", "engine", ["flash=" + self.engine[0], eeprom], [self.both()[0], eeprom])

    def test_an_option_of_one_controller_leaves_the_others_theirs(self):
        self.new()
        self.deliver()
        shift = self.option("shift", "transmission", [self.transmission], [self.both()[1]])
        torque = self.torque()
        self.send("--option", torque, "--option", shift)
        # The read of the transmission as an edit: its own option is put in again, though only the engine's is named.
        sent = self.send(self.transmission, "--option", torque, "--unchanged")
        self.assertEqual({one["controller"]: one["put_in"] for one in sent["revisions"]}, {"engine": ["torque"], "transmission": ["shift"]})
        without = self.send("--no-options", self.engine[0], self.transmission, "--unchanged")
        self.assertEqual({one["controller"]: one["put_in"] for one in without["revisions"]}, {"engine": [], "transmission": []})
        state = self.job("status")
        self.assertEqual([[revision["options"] for revision in one["bases"][0]["revisions"]] for one in state["controllers"]],
                         [[[], [name], [name], []] for name in ("torque", "shift")])

    def test_options_are_put_in(self):
        self.new()
        self.deliver()
        option = self.torque()
        sent = self.send("--option", option)
        self.assertEqual((sent["revisions"][0]["put_in"], sent["revisions"][0]["unaccounted_bytes"]), (["torque"], 0))
        self.assertEqual(self.send("--option", option, status=1)["reason"], "job-order")
        out = self.desk.at("rebuilt.bin")
        self.desk.must(CALSEAL_CHECK, self.handed("handover-2/engine-r1.calseal"), "--trust", self.desk.at("shop.trust"), "--salt",
                       self.folder + "/engine/job.salt", "--read-is-fresh", *self.desk.engine_read(), "--image", "flash=" + out, "--image",
                       "eeprom=" + self.desk.at("rebuilt-e.bin"))
        self.assertEqual(pathlib.Path(out).read_bytes(), self.desk.bytes_of("engine-r1-corrected-flash.bin"))

    def test_a_map_is_mended_on_the_way(self):
        self.new(*self.engine)
        self.job("note", "sent", "--detail", "mail")
        self.job("note", "acknowledged")
        regions = json.loads((MAPS / "engine.regions.json").read_text())
        tables = next(region for region in regions["regions"] if region["name"] == "scalars")

        def mended(version, policy):
            tables["policy"] = policy
            return self.desk.put(f"engine-{version}.json", json.dumps({**regions, "version": version}).encode())

        same = self.desk.put("same.json", json.dumps(regions).encode())
        self.assertEqual(self.job("regions", same, status=2)["reason"], "usage")
        edit = self.desk.data("engine-r1-flash.bin")
        wide = next(region for region in regions["regions"] if region["name"] == "tail")
        narrow = self.job("regions", mended(2, "editable"))
        self.assertEqual((narrow["before"], narrow["after"], narrow["widens"]), (1, 2, False))
        sent = self.send(edit)["revisions"][0]
        shown = self.desk.json(CALSEAL, "show", self.handed("engine/base-1/r1.calseal"))["manifest"]
        self.assertEqual(shown["controllers"][0]["region_map"]["version"], 2)
        self.assertEqual(self.check("handover-2", "engine")["verdict"], "accepted")
        self.assertEqual(sent["revision"], 1)
        wide["policy"] = "editable"
        self.assertTrue(self.job("regions", mended(3, "editable"))["widens"])
        self.assertEqual(self.send(self.desk.data("engine-r2-flash.bin"), status=1)["reason"], "rules-widened")
        approval = self.desk.at("engine-3.approval")
        self.desk.json(CALSEAL, "regions", "approve", self.desk.at("engine-2.json"), self.desk.at("engine-3.json"), "--text", "the tail is ours", "--key",
                       self.desk.at("root.key"), "--trust", self.desk.at("shop.trust"), "--passphrase-file", self.desk.at("word.txt"), "-o", approval)
        self.send(self.desk.data("engine-r2-flash.bin"), "--approval", approval)
        self.assertEqual(self.check("handover-3", "engine")["verdict"], "accepted")
        state = self.job("status")
        self.assertEqual(state["controllers"][0]["findings"], [])

    def test_a_mended_map_that_is_not_as_it_was_noted(self):
        """Altered, unreadable, gone, or the earlier one put over it: found, and nothing is sealed by it."""
        self.new(*self.engine)
        self.deliver_alone()
        maps = {}
        for version in (2, 3):
            text = json.dumps({**json.loads((MAPS / "engine.regions.json").read_text()), "version": version}).encode()
            maps[version] = self.desk.put(f"engine-{version}.json", text)
            self.job("regions", maps[version])
        second, third = (pathlib.Path(self.handed(f"engine/base-1/regions-v{version}.json")) for version in (2, 3))
        good = third.read_bytes()

        def found(status):
            return [(one["code"], one["file"]) for one in self.job("status", status=status)["controllers"][0]["findings"]]

        self.assertEqual(found(0), [])
        differs = ("regions-differ", "base-1/regions-v3.json")
        edit = self.both()[0]
        before = sorted(os.listdir(self.folder))
        for data, more in ((good.replace(b'"grade": "', b'"grade":  "'), []), (second.read_bytes(), []), (None, []),
                           (b"{", [("regions-unreadable", "base-1/regions-v3.json")])):
            self.assertNotEqual(data, good)
            third.write_bytes(data) if data is not None else third.unlink()
            self.assertEqual(sorted(found(1)), sorted([differs, *more]))
            refused = self.send(edit, status=1)
            self.assertEqual((refused["reason"], "regions-v3.json" in refused["found"], "job regions" in refused["next"]), ("job-damaged", True, True))
            carried = self.job("carry", edit, "eeprom=" + self.engine[1], "--reason", "update", *self.desk.signing(), status=1)
            self.assertEqual(carried["reason"], "job-damaged")
        self.assertEqual(sorted(os.listdir(self.folder)), before)
        # A higher version goes on, and the finding stays until the file is put back.
        fourth = self.desk.put("engine-4.json", json.dumps({**json.loads(good), "version": 4}).encode())
        third.write_bytes(good.replace(b'"grade": "', b'"grade":  "'))
        self.assertEqual(self.job("regions", fourth)["after"], 4)
        self.send(edit)
        self.assertEqual(found(1), [differs])
        third.write_bytes(good)
        self.assertEqual(found(0), [])

    def deliver_alone(self):
        self.job("note", "sent", "--detail", "mail")
        self.job("note", "acknowledged")

    def test_an_audit_knows_the_maps_of_a_job(self):
        """The one that the base was sealed with, and each that was noted since."""
        self.new(*self.engine)
        self.deliver_alone()
        text = json.dumps({**json.loads((MAPS / "engine.regions.json").read_text()), "version": 2}).encode()
        self.job("regions", self.desk.put("engine-2.json", text))
        self.send(self.both()[0])
        first, second = (pathlib.Path(self.handed("engine/base-1/" + name)) for name in ("regions.json", "regions-v2.json"))

        def audited(path, data):
            good = path.read_bytes()
            path.write_bytes(data)
            answer = json.loads(self.desk.must(CALSEAL, "audit", self.folder, "--trust", self.desk.at("shop.trust"), "--json", status=1).stdout)
            path.write_bytes(good)
            return [(one["code"], one["path"]) for one in answer["findings"] if one["severity"] != "note"]

        self.assertEqual(audited(second, first.read_bytes()), [("file-changed", "engine/base-1/regions-v2.json")])
        self.assertEqual(audited(first, second.read_bytes()), [("map-altered", "engine/base-1/regions.json")])

    def test_an_audit_finds_the_options_that_came_with_a_send(self):
        self.new(*self.engine)
        self.send("--option", self.torque())
        audit = [CALSEAL, "audit", self.folder, "--trust", self.desk.at("shop.trust"), "--json"]
        self.assertTrue(json.loads(self.desk.must(*audit).stdout)["clean"])
        os.remove(self.handed("engine/base-1/edited/r1-torque.option.json"))
        missing = json.loads(self.desk.must(*audit, status=1).stdout)["findings"]
        self.assertEqual([one["code"] for one in missing if one["severity"] != "note"], ["option-missing"])

    def test_all_jobs_and_who_must_act(self):
        self.new()
        second = str(self.desk.root / "more/elm-4")
        os.mkdir(self.desk.root / "more")
        self.desk.json(CALSEAL, "job", "new", self.transmission, "--regions", self.desk.at("maps"), *self.desk.signing(), "-o", second)
        self.desk.json(CALSEAL, "job", "note", second, "sent", "--detail", "mail")
        page = self.desk.root / "jobs.html"
        listed = self.desk.json(CALSEAL, "job", "list", self.desk.root, "--page", page)
        self.assertEqual([(job["folder"], job["waits_for"], job["next"][0]["code"]) for job in listed["jobs"]],
                         [("oak-17", "shop", "deliver-way-back"), ("more/elm-4", "customer", "await-way-back")])
        self.assertIn("more/elm-4", page.read_text())
        self.assertIsNone(re.search(r"<script|https?://", page.read_text()))
        # A job that cannot be read is on the list, first, and the exit status says so.
        pathlib.Path(second, "vehicle.json").write_text("{}")
        listed = self.desk.json(CALSEAL, "job", "list", self.desk.root, status=1)
        self.assertEqual([job["folder"] for job in listed["jobs"]], ["more/elm-4", "oak-17"])
        self.assertEqual(listed["jobs"][0]["fault"]["reason"], "job-damaged")
        self.assertEqual(self.desk.json(CALSEAL, "job", "list", self.desk.root / "nowhere", status=3)["reason"], "file-missing")


if __name__ == "__main__":
    unittest.main()
