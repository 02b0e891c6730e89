"""A job from the first read to the dealer's update with the real programs, through the job folder alone; and everything that a
folder may have suffered, which `status` must read and explain."""

import fcntl
import hashlib
import json
import os
import pathlib
import shutil
import stat
import unittest

import desk as desks
import job_desk
from demo_desk import MAPS, DemoDesk
from desk import CALSEAL
from job_desk import JobDesk


class Story(unittest.TestCase):
    """One job, told in order; each step leans on those before."""

    def setUp(self):
        self.desk = JobDesk()
        self.addCleanup(self.desk.close)

    def test_from_first_read_to_update(self):
        desk = self.desk
        made = desk.new()
        self.assertEqual(made["job"], "oak-17")
        self.assertEqual(made["next"]["code"], "deliver-way-back")
        self.assertEqual(stat.S_IMODE(os.stat(desk.folder + "/job.salt").st_mode), 0o600)
        self.assertEqual(pathlib.Path(desk.folder, "base-1/read/flash.bin").read_bytes(), desk.flash)

        # Nothing newer is offered or noted before the customer holds the way back; it may be sealed, and says so.
        desk.note("sent", 0, "--detail", "mail")
        self.assertEqual(desk.next()["code"], "await-way-back")
        sent = desk.send(1)
        self.assertFalse(sent["way_back_acknowledged"])
        self.assertEqual(desk.next()["code"], "await-way-back")
        self.assertEqual(desk.note("sent", 1, "--detail", "mail", status=1)["reason"], "job-order")
        desk.note("acknowledged", 0)
        self.assertEqual((sent["revision"], sent["sequence"], sent["bundle"]), (1, 2, "base-1/r1.calseal"))
        _, expected = desk.edited(1)
        self.assertEqual(desk.customer("base-1/r1.calseal", desk.at("flash.bin"), desk.at("eeprom.bin")), expected)
        self.assertEqual(desk.next()["code"], "deliver")
        self.assertEqual(desk.note("written", 1, status=1)["reason"], "job-order")
        for fact, more, then in (("sent", ["--detail", "stick"], "await-receipt"), ("acknowledged", [], "await-write"), ("written", [], "confirm"),
                                 ("confirmed", ["--detail", "bytes"], "attach-log")):
            self.assertEqual(desk.note(fact, 1, *more)["next"]["code"], then)

        # What was read back is the revision: the grade that was noted is the one that confirm gives.
        confirmed = desk.json(CALSEAL, "confirm", desk.folder + "/base-1/r1.calseal", "--trust", desk.at("shop.trust"), "--salt",
                              desk.folder + "/job.salt", "--read", "flash=" + desk.put("back-f.bin", expected[0]), "--read",
                              "eeprom=" + desk.put("back-e.bin", expected[1]))
        self.assertEqual(confirmed["grade"], "bytes")

        # Logs: by our mark, by the verification number, by word, by nothing.
        by_mark = desk.job("log", desk.put("mark.csv", b"Time (s),rpm,mark\r\n0.0,900,R1-00111\r\n0.1,910,R1-00111\r\n"))
        self.assertEqual((by_mark["event"]["revision"], by_mark["event"]["log"]["by"], by_mark["event"]["log"]["rows"]), (1, "revision-mark", 2))
        number = desk.crc(expected[0]).upper()
        by_number = desk.job("log", desk.put("cvn.csv", f"time [ms],rpm,cvn\n0,900,0x{number}\n10,910,0x{number}\n20,910,0x{number}\n120,910,0x{number}\n".encode()))
        self.assertEqual((by_number["event"]["revision"], by_number["event"]["log"]["by"], by_number["event"]["log"]["gaps"]), (1, "verification-number", 1))
        self.assertEqual(by_number["event"]["log"]["longest_gap"], "0.100")
        bare = desk.put("bare.csv", b"Time (s),rpm\n1,900\n2,900\n")
        self.assertEqual(desk.job("log", bare, "--revision", 1, status=2)["reason"], "usage")
        by_word = desk.job("log", bare, "--revision", 1, "--word", "driven by me")
        self.assertEqual((by_word["event"]["log"]["by"], by_word["event"]["detail"]), ("word", "driven by me"))
        self.assertTrue(desk.job("log", bare, "--revision", 1, "--word", "driven by me")["was_there"])
        nothing = desk.job("log", desk.put("other.csv", b"Time (s),rpm\n1,901\n2,900\n"))
        self.assertEqual((nothing["event"]["log"]["by"], "revision" in nothing["event"]), ("nothing", False))
        self.assertEqual(desk.next()["code"], "edit")

        # The next revision, and a log that contradicts the word.
        self.assertEqual(desk.send(2)["sequence"], 3)
        self.assertEqual(desk.job("log", desk.at("mark.csv"), "--revision", 2, "--word", "surely", status=1)["reason"], "log-revision")
        self.assertEqual(desk.job("log", desk.put("both.csv", b"time (s),a,b\n1,R1-00111,R2-00222\n"), status=1)["reason"], "log-revision")

        # Again with the whole image: another identity, the same content; revision 2 remains a permitted return.
        again = desk.job("reissue", 1, *desk.signing())
        self.assertEqual((again["bundle"], again["passed_over"]), ("base-1/r1-full-4.calseal", [2]))
        shown = desk.json(CALSEAL, "show", desk.folder + "/" + again["bundle"])
        first = desk.json(CALSEAL, "show", desk.folder + "/base-1/r1.calseal")
        text = json.dumps(shown)
        self.assertIn(sent["identity"], text)
        self.assertNotEqual(again["identity"], sent["identity"])
        pinned = [bundle["manifest"]["controllers"][0]["pinned"] for bundle in (shown, first)]
        self.assertEqual(pinned[0], pinned[1])
        self.assertEqual(desk.customer(again["bundle"], desk.at("back-f.bin"), desk.at("back-e.bin")), expected)
        self.assertTrue(desk.job("reissue", 0, *desk.signing())["already_whole"])
        self.assertEqual(desk.job("reissue", 9, *desk.signing(), status=2)["reason"], "usage")

        # Withdrawn: nobody hands it out or gives it again.
        desk.note("withdrawn", 2, "--detail", "too lean")
        self.assertEqual(desk.note("sent", 2, "--detail", "mail", status=1)["reason"], "withdrawn")
        self.assertEqual(desk.job("reissue", 2, *desk.signing(), status=1)["reason"], "withdrawn")
        self.assertEqual(desk.note("withdrawn", 0, "--detail", "x", status=2)["reason"], "usage")

        # The dealer's update: the old base's bundles fit no more, the job goes on.
        updated = desk.put("updated.bin", job_desk.updated_flash())
        desk.customer("base-1/r1.calseal", updated, desk.at("eeprom.bin"), status=1)
        carry = [*desk.signing(), "--reason", "dealer's update"]
        same = desk.job("carry", *desk.read(), *carry, status=2)
        self.assertEqual(same["reason"], "usage")
        carried = desk.job("carry", "flash=" + updated, "eeprom=" + desk.at("eeprom.bin"), *carry)
        self.assertEqual((carried["base"], carried["bundle"]), (2, "base-2/r0.calseal"))
        self.assertEqual(desk.next()["code"], "deliver-way-back")
        state = desk.status()
        self.assertEqual([base["reason"] for base in state["bases"]], ["first read", "dealer's update"])
        self.assertEqual([r["sequence"] for r in state["bases"][0]["revisions"]], [1, 2, 3, 4])
        self.assertEqual(state["bases"][1]["revisions"][0]["sequence"], 5)
        self.assertEqual(state["findings"], [])
        self.assertEqual([r["withdrawn"] for r in state["bases"][0]["revisions"]], [False, False, True, False])
        self.assertEqual(desk.customer("base-2/r0.calseal", updated, desk.at("eeprom.bin")), (job_desk.updated_flash(), desk.eeprom))
        kept = {event["digest"] for event in state["logs"]}
        self.assertEqual(len(kept), 4)
        for event in state["logs"]:
            self.assertEqual(hashlib.sha256(pathlib.Path(desk.folder, event["file"]).read_bytes()).hexdigest(), event["digest"])


class Options(unittest.TestCase):
    """Options in the loop: made from edits, composed, sent, accounted for, given again, carried to a new base."""

    def setUp(self):
        self.desk = JobDesk()
        self.addCleanup(self.desk.close)

    def make(self, name, at, new):
        flash = self.desk.put(name + ".bin", desks.edited(self.desk.flash, at, new))
        base = [part for file in self.desk.read() for part in ("--base", file)]
        file = self.desk.at(name + ".json")
        self.desk.json(CALSEAL, "option", "make", "--regions", self.desk.at("duo.json"), *base, "--image", "flash=" + flash, "--image",
                       "eeprom=" + self.desk.at("eeprom.bin"), "--name", name, "--title", name, "-o", file)
        return file

    def test_ordered_accounted_carried(self):
        desk = self.desk
        desk.new()
        desk.deliver_way_back()
        towing, cold = self.make("towing", 0x30, b"TOW"), self.make("cold-start", 0x60, b"COLD")
        flash = desks.edited(desks.edited(desk.flash, 0x30, b"TOW"), 0x60, b"COLD")
        edit = desk.put("both.bin", flash)
        with_both = ["--option", towing, "--option", cold, *desk.signing()]
        sent = desk.job("send", "flash=" + edit, *with_both)
        self.assertEqual((sent["accounted"], sent["unaccounted_bytes"]), (True, 0))
        self.assertEqual(desk.customer(sent["bundle"], desk.at("flash.bin"), desk.at("eeprom.bin")), (desks.corrected(flash), desk.eeprom))
        before = desk.tree()
        self.assertIn("base-1/edited/r1-towing.option.json", before)
        # Half an option, and a stray byte: refused, and nothing is kept. The options of the newest revision count without being named.
        half = desk.put("half.bin", desks.edited(desk.flash, 0x30, b"TO"))
        self.assertEqual(desk.job("send", "flash=" + half, *with_both, status=1)["reason"], "option-half")
        # An option of which the edit holds nothing is put in, and then it is the revision that is there.
        one = desk.put("one.bin", desks.edited(desk.flash, 0x30, b"TOW"))
        self.assertEqual(desk.job("send", "flash=" + one, *with_both, status=1)["reason"], "job-order")
        stray = desk.put("stray.bin", desks.edited(flash, 0x50, b"\x01"))
        self.assertEqual(desk.job("send", "flash=" + stray, *desk.signing(), status=1)["reason"], "change-unaccounted")
        self.assertEqual(desk.tree(), before)
        stated = desk.job("send", "flash=" + stray, "--unaccounted", "tried on the ramp", *desk.signing())
        self.assertEqual(stated["unaccounted_bytes"], 1)
        state = desk.status()
        self.assertEqual([(r["options"], r["unaccounted_bytes"]) for r in state["bases"][0]["revisions"]],
                         [([], 0), (["cold-start", "towing"], 0), (["cold-start", "towing"], 1)])
        # Given again with its options and its stated reason.
        again = desk.job("reissue", 2, *desk.signing())
        shown = desk.json(CALSEAL, "show", desk.folder + "/" + again["bundle"])["manifest"]
        first = desk.json(CALSEAL, "show", desk.folder + "/base-1/r2.calseal")["manifest"]
        self.assertEqual(shown["options"], first["options"])
        self.assertEqual([a for a in shown["annotations"] if "reissue-of" not in json.dumps(a)], first["annotations"])
        # A dealer's update leaves one option's place alone and rewrites the other's.
        updated = desks.corrected(desks.edited(job_desk.updated_flash(), 0x58, bytes(range(200, 224))))
        carried = desk.job("carry", "flash=" + desk.put("updated.bin", updated), "eeprom=" + desk.at("eeprom.bin"), "--reason", "update", *desk.signing())
        self.assertEqual([(o["option"], o["fits"]) for o in carried["options"]], [("cold-start", False), ("towing", True)])
        desk.deliver_way_back()
        desk.must(CALSEAL, "option", "compose", "--base", "flash=" + desk.at("updated.bin"), "--base", "eeprom=" + desk.at("eeprom.bin"), "--regions", desk.at("duo.json"),
                  "--option", desk.folder + "/base-2/options/towing.json", "-o", f"flash={desk.inputs}/composed.bin", "-o", f"eeprom={desk.inputs}/composed-e.bin")
        sent = desk.job("send", "flash=" + desk.at("composed.bin"), *desk.signing())
        self.assertEqual((sent["base"], sent["accounted"]), (2, True))
        expected = desks.corrected(desks.edited(updated, 0x30, b"TOW"))
        self.assertEqual(desk.customer(sent["bundle"], desk.at("updated.bin"), desk.at("eeprom.bin")), (expected, desk.eeprom))


class Large(unittest.TestCase):
    """Images of megabytes, whose bundles are larger than any prefix."""

    def test_status_with_and_without_trust(self):
        desk = DemoDesk()
        self.addCleanup(desk.close)
        folder = str(desk.root / "elm-3")
        read = ["flash=" + desk.data("engine-a-flash.bin"), "eeprom=" + desk.data("engine-a-eeprom.bin")]
        desk.json(CALSEAL, "job", "new", *read, "--regions", MAPS / "engine.regions.json", *desk.signing(), "-o", folder)
        for fact in (["sent", "--detail", "stick"], ["acknowledged"]):
            desk.json(CALSEAL, "job", "note", folder, fact[0], "--revision", 0, *fact[1:])
        desk.json(CALSEAL, "job", "send", folder, "flash=" + desk.data("engine-r1-flash.bin"), *desk.signing())
        for more in ([], ["--trust", desk.at("shop.trust")]):
            state = desk.json(CALSEAL, "job", "status", folder, *more)
            self.assertEqual([r["seal"] for r in state["controllers"][0]["bases"][0]["revisions"]], ["holds" if more else "not-looked-at"] * 2)
        desk.json(CALSEAL, "job", "reissue", folder, 1, *desk.signing())
        self.assertEqual(len(desk.json(CALSEAL, "job", "status", folder)["controllers"][0]["bases"][0]["revisions"]), 3)


class Refused(unittest.TestCase):
    @classmethod
    def setUpClass(cls):
        cls.desk = JobDesk.with_revision()
        cls.before = cls.desk.tree()

    @classmethod
    def tearDownClass(cls):
        cls.desk.close()

    def refused(self, reason, *arguments, status=1):
        got = self.desk.json(CALSEAL, "job", *arguments, status=status)
        self.assertEqual(got["reason"], reason)
        self.assertEqual(self.desk.tree(), self.before)
        for text in ("found", "expected", "next"):
            self.assertTrue(got[text], got)

    def test_what_any_part_refuses(self):
        desk, signing = self.desk, self.desk.signing()
        locked = desk.put("locked.bin", desks.edited(desk.flash, 0x90, b"x"))
        self.refused("change-locked", "send", desk.folder, "flash=" + locked, *signing)
        self.refused("image-size", "send", desk.folder, "flash=" + desk.put("short.bin", b"abc"), *signing)
        self.refused("usage", "send", desk.folder, "flash=" + desk.at("flash.bin"), "--parent", 7, *signing, status=2)
        self.refused("usage", "send", desk.folder, *signing, status=2)
        self.refused("job-order", "send", desk.folder, "flash=" + desk.at("flash.bin"), *signing)
        self.refused("job-order", "send", desk.folder, *desk.edited(1)[0], *signing)
        self.refused("job-order", "send", desk.folder, *desk.edited(2)[0], *signing[:-1], "2020-01-01T00:00:00Z")
        self.refused("job-order", "send", desk.folder, *desk.edited(2)[0], *signing[:-1], "2120-01-01T00:00:00Z")
        self.refused("usage", "send", desk.folder, "brakes.flash=" + desk.at("flash.bin"), *signing, status=2)
        self.refused("file-missing", "send", desk.folder, "flash=nothing.bin", *signing, status=3)
        self.refused("file-missing", "status", desk.folder + "-2", status=3)
        self.refused("file-missing", "note", desk.folder + "-2", "remark", "--detail", "x", status=3)
        self.refused("job-order", "note", desk.folder, "sent", "--revision", 1, "--detail", "x", "--time", "2020-01-01T00:00:00Z")
        self.refused("job-order", "note", desk.folder, "sent", "--revision", 1, "--detail", "x", "--time", "2120-01-01T00:00:00Z")
        self.refused("usage", "note", desk.folder, "withdrawn", "--detail", "x", status=2)
        self.refused("usage", "note", desk.folder, "closed", status=2)
        self.refused("usage", "note", desk.folder, "sent", "--revision", 4, "--detail", "x", status=2)
        self.refused("usage", "note", desk.folder, "sent", "--revision", 1, status=2)
        self.refused("usage", "note", desk.folder, "confirmed", "--revision", 1, "--detail", "certain", status=2)
        self.refused("usage", "note", desk.folder, "sealed", "--revision", 1, status=2)
        self.refused("job-order", "note", desk.folder, "confirmed", "--revision", 1, "--detail", "bytes")
        self.refused("job-order", "note", desk.folder, "acknowledged", "--revision", 1)
        self.refused("usage", "log", desk.folder, desk.put("l.csv", b"Time (s),rpm\n1,2\n"), "--word", "x", status=2)

    def test_logs_that_are_none(self):
        for data in (b"rpm\n1\n", b"rpm,load\n1,2\n", b"time,rpm\n1,2\n", b"Time (h),rpm\n1,2\n", b"Time (s),rpm\n", b"Time (s),rpm\n2,1\n1,1\n",
                     b"Time (s),rpm\n1,2,3\n", b"Time (s),rpm\n1e3,2\n", b'Time (s),rpm\n1,"2\n', b'Time (s),rpm\n1,2"\n', b"Time (s),time (s)\n1,2\n",
                     b"Time (s),rpm\n1,\x81\n", b"Time (s),rpm\n1,\x00\n", b"Time (s),rpm\n1,2\r3,4\n", b'Time (s),rpm\n1,"2"3\n'):
            with self.subTest(log=data):
                self.refused("log-malformed", "log", self.desk.folder, self.desk.put("bad.csv", data), "--separator", "comma")

    def test_a_name_that_is_taken(self):
        got = self.desk.json(*self.desk.new_arguments(), status=2)
        self.assertEqual(got["reason"], "output-exists")
        self.assertEqual(self.desk.tree(), self.before)

    def test_a_map_that_does_not_hold(self):
        bad = self.desk.put("bad-flash.bin", desks.edited(self.desk.flash, 0x10, b"\0\0\0\0"))
        arguments = [a.replace(self.desk.at("flash.bin"), bad) if isinstance(a, str) else a for a in self.desk.new_arguments(self.desk.whole + "-3")]
        self.assertEqual(self.desk.json(*arguments, status=1)["reason"], "map-not-believed")
        self.assertFalse(os.path.exists(self.desk.whole + "-3"))
        self.assertEqual([n for n in os.listdir(self.desk.root) if n.startswith(".")], [])

    def test_one_command_at_a_time(self):
        held = os.open(self.desk.folder, os.O_RDONLY | os.O_DIRECTORY)
        try:
            fcntl.flock(held, fcntl.LOCK_EX)
            self.refused("job-busy", "note", self.desk.folder, "remark", "--detail", "x", status=3)
            self.refused("job-busy", "send", self.desk.folder, *self.desk.edited(2)[0], *self.desk.signing(), status=3)
            self.assertEqual(self.desk.status()["findings"], [])  # looking needs no lock
        finally:
            os.close(held)

    def test_wrong_usage(self):
        for arguments in ((), ("new",), ("status",), ("send",), ("note", self.desk.folder), ("reissue", self.desk.folder), ("carry", self.desk.folder),
                          ("log", self.desk.folder), ("fly",)):
            self.desk.must(CALSEAL, "job", *arguments, status=2)


class Suffered(unittest.TestCase):
    """A folder that somebody or something has changed: read, explained, and the bundles win."""

    @classmethod
    def setUpClass(cls):
        cls.desk = JobDesk.with_revision()
        cls.whole = cls.desk.whole + "-whole"
        shutil.copytree(cls.desk.whole, cls.whole)

    @classmethod
    def tearDownClass(cls):
        cls.desk.close()

    def setUp(self):
        shutil.rmtree(self.desk.whole)
        shutil.copytree(self.whole, self.desk.whole)
        self.top = pathlib.Path(self.desk.folder)

    def findings(self):
        state = self.desk.status(status=1)
        return state, [finding["code"] for finding in state["findings"]]

    def test_events(self):
        events = self.top / "events.jsonl"
        text = events.read_text()
        events.write_text(text[:-20])
        state, codes = self.findings()
        self.assertEqual(codes, ["event-unreadable", "sealed-not-noted"])
        self.assertEqual(state["bases"][0]["revisions"][1]["revision"], 1)
        # A line that was cut off keeps to itself; the next one is whole.
        self.desk.job("note", "remark", "--detail", "found the folder like this")
        self.assertTrue(events.read_text().startswith(text[:-20] + "\n"))
        events.unlink()
        state, codes = self.findings()
        self.assertEqual(codes, ["events-unreadable", "sealed-not-noted", "sealed-not-noted"])
        self.assertEqual(state["next"]["code"], "deliver-way-back")  # nothing says that it was delivered
        wrong = text.replace('"revision":1,', '"revision":3,')
        self.assertNotEqual(wrong, text)
        events.write_text(wrong)
        state, codes = self.findings()
        self.assertEqual((codes, state["bases"][0]["revisions"][1]["revision"]), (["event-contradicts"], 1))

    def test_bundles(self):
        bundle = self.top / "base-1/r1.calseal"
        data = bundle.read_bytes()
        bundle.write_bytes(desks.edited(data, len(data) // 2, bytes([data[len(data) // 2] ^ 1])))
        state, codes = self.findings()
        self.assertEqual(codes, ["bundle-refused", "bundle-missing"])
        self.assertEqual(len(state["bases"][0]["revisions"]), 1)
        bundle.unlink()
        self.assertEqual(self.findings()[1], ["bundle-missing"])
        # Nothing can be noted of it, though the newest hand-over names it.
        self.assertEqual(self.desk.job("note", "sent", "--detail", "mail", status=2)["reason"], "usage")
        # Its numbers stay taken: the customer may hold it.
        sent = self.desk.send(2)
        self.assertEqual((sent["revision"], sent["sequence"]), (2, 3))
        (self.top / sent["bundle"]).unlink()
        (self.top / "base-1/r0.calseal").rename(bundle)
        state, codes = self.findings()
        self.assertIn("bundle-missing", codes)
        self.assertEqual([r["revision"] for r in state["bases"][0]["revisions"]], [0])  # by what it says, not by its name
        (self.top / "base-2").mkdir()
        shutil.copy(bundle, self.top / "base-2/r0.calseal")
        self.assertIn("bundle-of-another-base", self.findings()[1])

    def test_reads_and_maps(self):
        read = self.top / "base-1/read/flash.bin"
        read.write_bytes(desks.edited(read.read_bytes(), 0x30, b"!"))
        self.assertEqual(self.findings()[1], ["read-differs"])
        _, expected = self.desk.edited(2)
        self.desk.send(2)  # from the read that the bundle holds
        self.assertEqual(self.desk.customer("base-1/r2.calseal", self.desk.at("flash.bin"), self.desk.at("eeprom.bin")), expected)
        read.write_bytes(self.desk.flash)
        regions = self.top / "base-1/regions.json"
        regions.write_text(regions.read_text().replace('"version": 1', '"version": 2'))
        self.assertEqual(self.findings()[1], ["regions-differ"])

    def test_an_altered_map_is_not_carried(self):
        """The region map that revision 0 was sealed with counts, whatever has become of the file beside it."""
        regions = self.top / "base-1/regions.json"
        for text in (regions.read_text().replace('"version": 1', '"version": 2'), "{"):
            regions.write_text(text)
            shutil.rmtree(self.top / "base-2", ignore_errors=True)
            self.desk.job("carry", "flash=" + self.desk.put("updated.bin", job_desk.updated_flash()), "eeprom=" + self.desk.at("eeprom.bin"), "--reason",
                          "update", *self.desk.signing())
            shown = self.desk.json(CALSEAL, "show", self.desk.folder + "/base-2/r0.calseal")["manifest"]
            self.assertEqual(shown["controllers"][0]["region_map"]["version"], 1)

    def test_salt(self):
        salt = self.top / "job.salt"
        salt.chmod(0o644)
        self.assertEqual(self.findings()[1], ["salt-open"])
        salt.chmod(0o600)
        salt.write_text("0" * 64 + "\n")
        self.assertEqual(self.findings()[1], ["salt-differs"])
        self.assertEqual(self.desk.send(2, status=1)["reason"], "salt-wrong")
        salt.unlink()
        self.assertEqual(self.findings()[1], ["salt-missing"])

    def test_left_overs_and_nothing(self):
        (self.top / "base-1/.r2.calseal.Ab12Cd").write_bytes(b"half")
        (self.top / ".base-2.Ab12Cd").mkdir()
        self.assertEqual(self.findings()[1], ["left-over", "left-over"])
        self.assertEqual(self.desk.send(2)["revision"], 2)
        (self.top / "job.json").write_text("{}")
        self.assertEqual(self.desk.status(status=1)["reason"], "job-damaged")
        (self.top / "job.json").unlink()
        self.assertEqual(self.desk.status(status=3)["reason"], "file-missing")

    def test_new_without_a_key(self):
        folder = self.desk.whole + "-late"
        arguments = [a for a in self.desk.new_arguments(folder)]
        for name in ("--key", "--trust", "--passphrase-file", "--claimed-time"):
            at = arguments.index(name)
            del arguments[at:at + 2]
        self.addCleanup(shutil.rmtree, folder)
        made = job_desk.of_one(self.desk.json(*arguments))
        self.assertEqual((made["bundle"], made["handover"], made["next"]["code"]), ("", "", "seal-way-back"))
        sent = self.desk.json(CALSEAL, "job", "send", folder, *self.desk.edited(1)[0], *self.desk.signing(), status=1)
        self.assertEqual(sent["reason"], "job-order")
        sealed = job_desk.of_one(self.desk.json(CALSEAL, "job", "send", folder, *self.desk.signing()))
        self.assertEqual((sealed["revision"], sealed["bundle"]), (0, "base-1/r0.calseal"))
        self.assertEqual(self.desk.json(CALSEAL, "job", "next", folder)["next"][0]["code"], "deliver-way-back")


if __name__ == "__main__":
    unittest.main()
