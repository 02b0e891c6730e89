"""A customer makes parcels with calseal-check, and a shop takes them into its jobs. Parcels and customer files are taken apart here by
Python's zipfile and json, which know nothing of ours."""

import base64
import hashlib
import io
import json
import os
import pathlib
import stat
import sys
import unittest
import zipfile

import desk as desks
from desk import CALSEAL, CALSEAL_CHECK, SANITIZED, TIME
from job_desk import JobDesk

SHEET = {
    "questions": [
        {"name": "fuel", "text": "Which fuel?", "kind": "choice", "states": "fuel", "required": True,
         "choices": [{"name": "e10", "text": "E10"}, {"name": "e85", "text": "E85"}]},
        {"name": "mass", "text": "Its mass in kg?", "kind": "number", "states": "", "required": False, "choices": []},
    ],
    "reads": [{"controller": "engine", "title": "engine controller", "memories": [{"name": "flash", "size": 256}, {"name": "eeprom", "size": 64}],
               "again": True}],
    "cautions": ["By your own risk."],
}


def option(name, title, controller="engine", **more):
    return {"calseal": "option/1", "name": name, "title": title, "family": {"controller": controller, "region_map": "duo"},
            "edits": [{"memory": "flash", "at": "0x80000024", "before": "00", "after": "01"}]} | more


def parcel_json(path):
    with zipfile.ZipFile(path) as archive:
        return json.loads(archive.read("parcel.json"))


def rebuilt(path, bend):
    """The same entries in a file that Python's zipfile writes: other framing, and what `bend` makes of the contents."""
    with zipfile.ZipFile(path) as archive:
        entries = [(info, archive.read(info)) for info in archive.infolist()]
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w") as archive:
        for info, data in entries:
            archive.writestr(info, bend(info.filename, data))
    return out.getvalue()


class ParcelDesk(JobDesk):
    def __init__(self):
        super().__init__()
        self.me = str(self.root / "me.customer")
        self.made = 0

    def parcel_arguments(self, *more, customer=None):
        self.made += 1
        who = ["--customer", self.me] if os.path.exists(self.me) else ["--new-customer", self.me]
        path = str(self.root / f"{self.made}.parcel")
        return path, [CALSEAL_CHECK, "parcel", *(customer or who), "--claimed-time", TIME, *more, "-o", path]

    def parcel(self, *more, status=0, customer=None):
        path, arguments = self.parcel_arguments(*more, customer=customer)
        return path, self.json(*arguments, status=status)

    def reads(self):
        return ["--read", "engine.flash=" + self.at("flash.bin"), "--read", "engine.eeprom=" + self.at("eeprom.bin")]

    def open_sheet(self):
        options = self.inputs / "options"
        options.mkdir()
        for file, content in {
                "towing.json": option("towing", "Towing", cautions=["Heavy."], excludes={"fuel": ["e85"]}),
                "towing-gearbox.json": option("towing", "Towing", "gearbox", cautions=["Heavy."], excludes={"fuel": ["e85"]}),
                "shift-light.json": option("shift-light", "Shift light", requires={"options": ["towing"]})}.items():
            (options / file).write_text(json.dumps(content))
        self.put("sheet.json", json.dumps(SHEET).encode())
        self.json(CALSEAL, "key", "new", self.at("sheet.key"), "--passphrase-file", self.at("word.txt"))
        self.quicken("sheet.key")
        self.json(CALSEAL, "shop", "add-key", self.at("shop.trust"), self.at("sheet.key.pub"), "--name", "Sheet", "--role", "sheet", "--root-key",
                  self.at("root.key"), "--passphrase-file", self.at("word.txt"), "--claimed-time", "2026-01-02T00:00:00Z")
        return self.json(CALSEAL, "sheet", "make", *self.sheet_arguments(), "--number", "1", "-o", self.at("shop.sheet"))

    def sheet_arguments(self):
        return ["--options", self.at("options"), "--questions", self.at("sheet.json"), "--key", self.at("sheet.key"), "--trust", self.at("shop.trust"),
                "--passphrase-file", self.at("word.txt"), "--claimed-time", TIME]

    def with_sheet(self):
        return ["--sheet", self.at("shop.sheet"), "--trust", self.at("shop.trust")]


class Making(unittest.TestCase):
    def setUp(self):
        self.desk = ParcelDesk()

    def tearDown(self):
        self.desk.close()

    def test_what_was_given_is_in_it_byte_for_byte(self):
        log = self.desk.put("drive.csv", b"Time (s),rpm\n0.0,850\n")
        path, made = self.desk.parcel(*self.desk.reads(), "--log", log, "--words", "It pulls.\nWhen cold.", "--vehicle", "blue estate")
        self.assertEqual((made["number"], made["new_customer"], made["order"]), (1, True, []))
        with zipfile.ZipFile(path) as archive:
            self.assertIsNone(archive.testzip())
            names = archive.namelist()
            self.assertEqual((names[0], names[2:]), ("parcel.json", ["reads/1.bin", "reads/2.bin", "logs/1.log"]))
            self.assertEqual(archive.read("reads/1.bin"), self.desk.flash)
            self.assertEqual(archive.read("reads/2.bin"), self.desk.eeprom)
            self.assertEqual(archive.read("logs/1.log"), b"Time (s),rpm\n0.0,850\n")
        inside = parcel_json(path)
        self.assertEqual([(r["controller"], r["memory"], r["series"], r["file_name"]) for r in inside["reads"]],
                         [("engine", "flash", 1, "flash.bin"), ("engine", "eeprom", 1, "eeprom.bin")])
        self.assertEqual((inside["words"], inside["root"], inside["sheet"]), ("It pulls.\nWhen cold.", "", ""))
        self.assertEqual([f["code"] for f in inside["findings"]], ["cut-off", "cut-off"])
        shown = self.desk.json(CALSEAL, "parcel", "show", path)
        for member in ("key", "key_fingerprint", "number", "reads", "logs", "words", "digest", "size"):
            self.assertEqual(shown[member], made[member], member)
        self.assertEqual(shown["digest"], hashlib.sha256(pathlib.Path(path).read_bytes()).hexdigest())
        self.assertNotIn(str(self.desk.root).encode(), pathlib.Path(path).read_bytes())

    def test_the_customer_file_counts_and_is_private(self):
        first = self.desk.parcel("--words", "one")[1]
        self.assertEqual(stat.S_IMODE(os.stat(self.desk.me).st_mode), 0o600)
        second = self.desk.parcel("--words", "two")[1]
        self.assertEqual((first["number"], second["number"], second["new_customer"]), (1, 2, False))
        self.assertEqual(first["key"], second["key"])
        line, digest, rest = pathlib.Path(self.desk.me).read_text().split("\n")
        self.assertEqual((hashlib.sha256(line.encode()).hexdigest(), rest), (digest, ""))
        self.assertEqual(json.loads(line)["number"], 2)
        self.assertEqual(stat.S_IMODE(os.stat(self.desk.me).st_mode), 0o600)

    def test_nothing_is_written_where_something_is_wrong(self):
        self.desk.parcel("--words", "one")
        before = pathlib.Path(self.desk.me).read_bytes()
        for more, reason, status in (
                (["--words", "x", "--read", self.desk.at("no-such.bin")], "file-missing", 3),
                ([], "parcel-invalid", 1),
                (["--words", "x", "--order", "towing"], "usage", 2),
                (["--words", "x", "--sheet", self.desk.at("duo.json")], "usage", 2)):
            with self.subTest(more):
                path, refused = self.desk.parcel(*more, status=status)
                self.assertEqual(refused["reason"], reason)
                self.assertFalse(os.path.exists(path))
                self.assertEqual(pathlib.Path(self.desk.me).read_bytes(), before)
        taken = self.desk.put("taken.parcel", b"mine")
        self.desk.must(CALSEAL_CHECK, "parcel", "--customer", self.desk.me, "--words", "x", "-o", taken, status=2)
        self.assertEqual(pathlib.Path(taken).read_bytes(), b"mine")
        self.assertEqual(pathlib.Path(self.desk.me).read_bytes(), before)
        self.desk.must(CALSEAL_CHECK, "parcel", "--new-customer", self.desk.me, "--words", "x", "-o", self.desk.at("x.parcel"), status=2)
        self.assertEqual(pathlib.Path(self.desk.me).read_bytes(), before)
        damaged = self.desk.put("damaged.customer", before[:-1])
        self.assertEqual(self.desk.parcel("--words", "x", customer=["--customer", damaged], status=1)[1]["reason"], "customer-file-invalid")

    def test_findings_are_told_while_he_is_beside_the_vehicle(self):
        blank = self.desk.put("blank.bin", b"\xff" * 8192)
        empty = self.desk.put("nothing.bin", b"")
        path, arguments = self.desk.parcel_arguments("--read", "engine.flash=" + blank, "--read", "engine.flash=" + self.desk.at("flash.bin"),
                                                     "--read", "gearbox.flash=" + empty)
        said = self.desk.must(*arguments).stdout.decode()
        for words in ("blank: it is blank", "differs: it differs", "empty: it holds nothing", "Look again while"):
            self.assertIn(words, said)
        self.assertEqual([(f["entry"], f["code"]) for f in parcel_json(path)["findings"]],
                         [("reads/1.bin", "blank"), ("reads/2.bin", "cut-off"), ("reads/2.bin", "differs"), ("reads/3.bin", "empty")])

    def test_without_a_customer_file_nothing_is_guessed(self):
        for more in ([], ["--customer", "a", "--new-customer", "b"]):
            done = self.desk.must(CALSEAL_CHECK, "parcel", *more, "--words", "x", "-o", self.desk.at("x.parcel"), status=2)
            self.assertIn(b"--new-customer", done.stderr)


class Looking(unittest.TestCase):
    @classmethod
    def setUpClass(cls):
        cls.desk = ParcelDesk()
        cls.path, cls.made = cls.desk.parcel(*cls.desk.reads(), "--trust", cls.desk.at("shop.trust"),
                                             "--read", "engine.flash=" + cls.desk.at("flash.bin"), "--log", cls.desk.put("../Drive.CSV", b"x"))
        cls.bytes = pathlib.Path(cls.path).read_bytes()

    @classmethod
    def tearDownClass(cls):
        cls.desk.close()

    def refused(self, data):
        return self.desk.json(CALSEAL, "parcel", "show", self.desk.put("bent.parcel", data), status=1)["reason"]

    def test_unpacked_under_names_of_our_own(self):
        folder = self.desk.root / "unpacked"
        said = self.desk.json(CALSEAL, "parcel", "unpack", self.path, "-o", folder)
        self.assertEqual({path.name: path.read_bytes() for path in folder.iterdir()},
                         {"1-engine-flash.bin": self.desk.flash, "2-engine-eeprom.bin": self.desk.eeprom,
                          "3-engine-flash-again-2.bin": self.desk.flash, "log-1.csv": b"x"})
        self.assertEqual([f["file"] for f in said["files"]], ["1-engine-flash.bin", "2-engine-eeprom.bin", "3-engine-flash-again-2.bin", "log-1.csv"])
        before = sorted(folder.iterdir())
        self.assertEqual(self.desk.json(CALSEAL, "parcel", "unpack", self.path, "-o", folder, status=2)["reason"], "output-exists")
        self.assertEqual(sorted(folder.iterdir()), before)
        bent = self.desk.put("bent.parcel", self.bytes[:-1])
        self.desk.must(CALSEAL, "parcel", "unpack", bent, "-o", self.desk.root / "none", status=1)
        self.assertFalse((self.desk.root / "none").exists())

    def test_damage_has_its_reason(self):
        self.assertEqual(self.refused(self.bytes[:97]), "parcel-invalid")
        self.assertEqual(self.refused(self.bytes + b"\0"), "framing-damaged")
        self.assertEqual(self.refused(b"x" * 200), "type-wrong")
        self.assertEqual(self.refused(self.bytes.replace(b"parcel/1", b"parcel/2", 1)), "parcel-invalid")  # its CRC-32
        self.assertEqual(self.refused(rebuilt(self.path, lambda name, data: data)), "framing-damaged")  # other headers
        with zipfile.ZipFile(self.path) as archive:
            at = archive.getinfo("reads/2.bin").header_offset + 30 + len("reads/2.bin") + 3
        self.assertEqual(self.refused(self.bytes[:at] + bytes([self.bytes[at] ^ 1]) + self.bytes[at + 1:]), "stored-digest")

    def test_a_parcel_for_another_shop_is_refused(self):
        self.desk.json(CALSEAL, "parcel", "show", self.path, "--trust", self.desk.at("shop.trust"))
        other = desks.Desk()
        try:
            other.open_shop()
            refused = self.desk.json(CALSEAL, "parcel", "show", self.path, "--trust", other.at("shop.trust"), status=1)
            self.assertEqual((refused["reason"], refused["place"]), ("parcel-other", "/root"))
        finally:
            other.close()

    def test_words_cannot_play_with_the_terminal(self):
        path, _ = self.desk.parcel("--words", "a\x1b[31mb\u202ec", "--vehicle", "x\u202ey")
        said = self.desk.must(CALSEAL, "parcel", "show", path).stdout
        self.assertNotIn(b"\x1b", said)
        self.assertNotIn("\u202e".encode(), said)


class Sheets(unittest.TestCase):
    @classmethod
    def setUpClass(cls):
        cls.desk = ParcelDesk()
        cls.sheet = cls.desk.open_sheet()
        cls.desk.parcel("--words", "begun")

    @classmethod
    def tearDownClass(cls):
        cls.desk.close()

    def order(self, *more, status=0):
        return self.desk.parcel(*self.desk.with_sheet(), *more, status=status)

    def test_the_sheet_is_the_options_without_their_bytes(self):
        line = pathlib.Path(self.desk.at("shop.sheet")).read_text().split("\n")[0]
        sheet = json.loads(line)
        self.assertEqual([(o["name"], o["controllers"], o["cautions"]) for o in sheet["options"]],
                         [("shift-light", ["engine"], []), ("towing", ["engine", "gearbox"], ["Heavy."])])
        self.assertEqual(sheet["options"][1]["excludes"], {"options": [], "fuel": ["e85"], "hardware": []})
        self.assertNotIn("edits", line)
        self.assertEqual(self.sheet["digest"], hashlib.sha256(line.encode()).hexdigest())
        shown = self.desk.json(CALSEAL, "sheet", "show", self.desk.at("shop.sheet"), "--trust", self.desk.at("shop.trust"))
        self.assertEqual(shown["sheet"], sheet)
        said = self.desk.must(CALSEAL, "sheet", "show", self.desk.at("shop.sheet"), "--trust", self.desk.at("shop.trust")).stdout.decode()
        self.assertIn("towing: Towing (engine, gearbox)", said)

    def test_an_order_as_it_may_be(self):
        path, made = self.order("--order", "towing", "--answer", "mass=1450", "--answer", "fuel=e10", "--accept-cautions")
        self.assertEqual(made["order"], ["towing"])
        self.assertEqual(made["answers"], [{"question": "fuel", "answer": "e10"}, {"question": "mass", "answer": "1450"}])
        self.assertEqual(made["accepted"], ["By your own risk.", "Heavy."])
        self.assertEqual(made["sheet"], self.sheet["digest"])
        shown = self.desk.json(CALSEAL, "parcel", "show", path, *self.desk.with_sheet())
        self.assertEqual(shown["cautions"], [])

    def test_an_order_that_cannot_be(self):
        for more, reason, found in (
                (["--order", "wings", "--answer", "fuel=e10", "--accept-cautions"], "usage", "wings"),
                (["--order", "towing", "--accept-cautions"], "usage", "no answer"),
                (["--order", "towing", "--answer", "fuel=diesel", "--accept-cautions"], "usage", "diesel"),
                (["--order", "towing", "--answer", "fuel=e10", "--answer", "mass=much", "--accept-cautions"], "usage", "much"),
                (["--order", "towing", "--answer", "colour=red", "--accept-cautions"], "usage", "does not ask"),
                (["--order", "towing", "--answer", "fuel=e10"], "usage", "By your own risk."),
                (["--order", "towing", "--answer", "fuel=e85", "--accept-cautions"], "option-excludes", "e85"),
                (["--order", "shift-light", "--answer", "fuel=e10", "--accept-cautions"], "option-requires", "towing")):
            with self.subTest(more):
                path, refused = self.order(*more, status=2 if reason == "usage" else 1)
                self.assertEqual(refused["reason"], reason)
                self.assertIn(found, refused["found"])
                self.assertFalse(os.path.exists(path))

    def test_a_log_alone_is_asked_nothing(self):
        path, made = self.order("--log", self.desk.put("drive.csv", b"Time (s),rpm\n0.0,850\n"))
        self.assertEqual((made["order"], made["answers"], made["accepted"], made["sheet"]), ([], [], [], self.sheet["digest"]))
        self.desk.json(CALSEAL, "parcel", "show", path, *self.desk.with_sheet())
        _, refused = self.order("--log", self.desk.at("drive.csv"), "--read", "engine.flash=" + self.desk.at("flash.bin"), status=2)
        self.assertEqual(refused["place"], "answer to fuel")

    def test_cautions_are_shown_before_they_are_accepted(self):
        _, arguments = self.desk.parcel_arguments(*self.desk.with_sheet(), "--order", "towing", "--answer", "fuel=e10")
        said = self.desk.must(*arguments, status=2).stderr.decode()
        self.assertIn("caution: By your own risk.\n", said)
        self.assertIn("caution: Heavy.\n", said)
        self.assertIn("--accept-cautions", said)

    def test_sizes_of_the_sheet_are_looked_at(self):
        short = self.desk.put("short.bin", self.desk.flash[:-1])
        path, _ = self.order("--read", "engine.flash=" + short, "--read", "engine.eeprom=" + self.desk.at("eeprom.bin"), "--answer", "fuel=e10",
                             "--accept-cautions")
        self.assertEqual([(f["entry"], f["code"]) for f in parcel_json(path)["findings"]], [("reads/1.bin", "size")])

    def test_a_newer_sheet_takes_the_name_and_the_parcel_is_still_taken(self):
        path, _ = self.order("--order", "towing", "--answer", "fuel=e10", "--accept-cautions")
        old = pathlib.Path(self.desk.at("shop.sheet")).read_bytes()
        made = self.desk.json(CALSEAL, "sheet", "make", *self.desk.sheet_arguments(), "--after", self.desk.at("shop.sheet"))
        self.assertEqual(made["sheet"]["number"], 2)
        self.assertEqual(pathlib.Path(self.desk.at("shop-v1.sheet")).read_bytes(), old)
        shown = self.desk.json(CALSEAL, "parcel", "show", path, *self.desk.with_sheet())
        self.assertEqual(shown["cautions"], ["sheet-other"])
        pathlib.Path(self.desk.at("shop.sheet")).write_bytes(old)
        os.remove(self.desk.at("shop-v1.sheet"))

    def test_a_sheet_that_does_not_hold_is_not_used(self):
        author = self.desk.json(CALSEAL, "sheet", "make", *[a.replace("sheet.key", "author.key") for a in self.desk.sheet_arguments()], "--number", "3",
                                "-o", self.desk.at("by-author.sheet"), status=1)
        self.assertEqual(author["reason"], "roles-missing")
        self.assertFalse(os.path.exists(self.desk.at("by-author.sheet")))
        text = pathlib.Path(self.desk.at("shop.sheet")).read_bytes()
        bent = self.desk.put("bent.sheet", text.replace(b"Heavy.", b"Light.", 1))
        refused = self.desk.parcel("--sheet", bent, "--trust", self.desk.at("shop.trust"), "--words", "x", status=1)[1]
        self.assertEqual(refused["reason"], "signature-bad")

    def test_files_of_one_option_must_agree(self):
        odd = self.desk.inputs / "odd"
        odd.mkdir()
        (odd / "a.json").write_text(json.dumps(option("towing", "Towing")))
        (odd / "b.json").write_text(json.dumps(option("towing", "Pulling", "gearbox")))
        arguments = [a.replace("/options", "/odd") for a in self.desk.sheet_arguments()]
        refused = self.desk.json(CALSEAL, "sheet", "make", *arguments, "--number", "1", "-o", self.desk.at("odd.sheet"), status=1)
        self.assertEqual((refused["reason"], refused["place"]), ("sheet-invalid", "/title"))


class Taking(unittest.TestCase):
    def setUp(self):
        self.desk = ParcelDesk()

    def tearDown(self):
        self.desk.close()

    def new_from(self, path, *more, status=0):
        return self.desk.json(CALSEAL, "job", "new", path, *more, "--regions", self.desk.at("duo.json"), *self.desk.signing(), "-o", self.desk.whole,
                              status=status)

    def log(self, path, *more, status=0):
        return self.desk.json(CALSEAL, "job", "log", self.desk.whole, path, *more, "--time", TIME, status=status)

    def received(self):
        events = [json.loads(line) for line in pathlib.Path(self.desk.folder, "events.jsonl").read_text().splitlines()]
        return [event for event in events if event["event"] == "received"]

    def kept(self):
        return sorted(path.name for path in pathlib.Path(self.desk.whole, "parcels").iterdir())

    def test_receive_judges_its_reads_as_loose_ones(self):
        again = ["--read", "engine.flash=" + self.desk.at("flash.bin"), "--read", "engine.eeprom=" + self.desk.at("eeprom.bin")]
        path, _ = self.desk.parcel(*self.desk.reads(), *again)
        loose = self.desk.json(CALSEAL, "receive", *self.desk.read(), "--again", "flash=" + self.desk.at("flash.bin"), "--again",
                               "eeprom=" + self.desk.at("eeprom.bin"), "--regions", self.desk.at("duo.json"))
        taken = self.desk.json(CALSEAL, "receive", path, "--regions", self.desk.at("duo.json"))
        self.assertEqual(len(taken["reads"]), 2)
        drop = lambda reads: [{key: value for key, value in read.items() if key != "read"} for read in reads]
        self.assertEqual((drop(taken["reads"]), taken["vote"], taken["sound"]), (drop(loose["reads"]), loose["vote"], loose["sound"]))

    def test_receive_asks_which_controller(self):
        path, _ = self.desk.parcel(*self.desk.reads(), "--read", "gearbox.flash=" + self.desk.at("flash.bin"))
        refused = self.desk.json(CALSEAL, "receive", path, "--regions", self.desk.at("duo.json"), status=2)
        self.assertIn("engine, gearbox", refused["found"])
        self.desk.json(CALSEAL, "receive", path, "--controller", "engine", "--regions", self.desk.at("duo.json"))
        self.assertEqual(self.desk.json(CALSEAL, "receive", path, self.desk.at("flash.bin"), "--regions", self.desk.at("duo.json"), status=2)["reason"],
                         "usage")

    def test_a_job_is_made_of_it_as_of_loose_files(self):
        path, made = self.desk.parcel(*self.desk.reads(), "--vehicle", "blue estate", "--log", self.desk.put("drive.csv", b"Time (s),rpm\n0.0,850\n0.1,851\n"))
        said = self.new_from(path)
        self.assertEqual((said["parcel"]["file"], said["parcel"]["number"], said["parcel"]["logs"][0]["by"]), ("parcels/1.parcel", 1, "nothing"))
        job = pathlib.Path(self.desk.whole)
        self.assertEqual((job / "parcels/1.parcel").read_bytes(), pathlib.Path(path).read_bytes())
        self.assertEqual(json.loads((job / "vehicle.json").read_text())["vehicle_reference"], "blue estate")
        self.assertEqual((job / "engine/base-1/read/flash.bin").read_bytes(), self.desk.flash)
        self.assertEqual((job / "engine/base-1/read/eeprom.bin").read_bytes(), self.desk.eeprom)
        self.assertEqual([p.read_bytes() for p in (job / "engine/logs").iterdir()], [b"Time (s),rpm\n0.0,850\n0.1,851\n"])
        event = self.received()[0]
        self.assertEqual((event["detail"], event["digest"], event["parcel"]["number"]), ("parcels/1.parcel", made["digest"], 1))
        self.assertEqual(self.desk.status()["findings"], [])
        # The way back that was sealed from it is good for the customer's own read.
        self.desk.must(CALSEAL_CHECK, os.path.join(self.desk.folder, "base-1/r0.calseal"), "--trust", self.desk.at("shop.trust"), "--salt",
                       os.path.join(self.desk.folder, "job.salt"), "--read-is-fresh", *[a for r in self.desk.read() for a in ("--read", r)])

    def test_a_parcel_and_loose_files_together(self):
        path, _ = self.desk.parcel("--read", "engine.flash=" + self.desk.at("flash.bin"))
        self.new_from(path, "eeprom=" + self.desk.at("eeprom.bin"))
        self.assertEqual((pathlib.Path(self.desk.folder) / "base-1/read/eeprom.bin").read_bytes(), self.desk.eeprom)

    def test_what_is_for_another_job_is_not_taken(self):
        for more, place in ((["--job", "ash-2"], "/job"), (["--vehicle", "red van"], "/vehicle_reference")):
            path, _ = self.desk.parcel(*self.desk.reads(), *more)
            refused = self.new_from(path, "--vehicle", "blue estate", status=1)
            self.assertEqual((refused["reason"], refused["place"]), ("parcel-other", place))
            self.assertFalse(os.path.exists(self.desk.whole))

    def test_later_parcels_are_from_the_same_customer_and_newer(self):
        first, _ = self.desk.parcel(*self.desk.reads(), "--vehicle", "blue estate")
        self.new_from(first)
        log = self.desk.put("drive.csv", b"Time (s),rpm\n0.0,850\n0.1,851\n")
        second, _ = self.desk.parcel("--log", log, "--job", "oak-17")
        third, _ = self.desk.parcel("--words", "a word more")
        self.assertEqual(self.log(first, status=1)["reason"], "parcel-old")
        self.assertEqual(self.log(third)["parcel"]["file"], "parcels/2.parcel")
        self.assertEqual(self.log(second, status=1)["reason"], "parcel-old")
        self.assertEqual(self.kept(), ["1.parcel", "2.parcel"])
        other = str(self.desk.root / "other.customer")
        stranger, _ = self.desk.parcel("--log", log, customer=["--new-customer", other])
        self.assertEqual(self.log(stranger, status=1)["reason"], "parcel-other")
        taken = self.log(stranger, "--customer-changed")
        self.assertEqual((taken["parcel"]["file"], taken["parcel"]["logs"][0]["controller"]), ("parcels/3.parcel", "engine"))
        fourth, _ = self.desk.parcel("--words", "by the old key")
        self.assertEqual(self.log(fourth, status=1)["reason"], "parcel-other")
        # Erased for the customer's sake: what was noted still keeps an old one out.
        for path in pathlib.Path(self.desk.whole, "parcels").iterdir():
            path.unlink()
        self.assertEqual(self.log(stranger, status=1)["reason"], "parcel-old")
        fifth, _ = self.desk.parcel("--words", "once more", customer=["--customer", other])
        self.assertEqual(self.log(fifth)["parcel"]["file"], "parcels/4.parcel")
        self.assertEqual(len(self.received()), 4)
        self.assertEqual(self.desk.status()["findings"], [])

    def test_a_parcel_for_another_shop_comes_in_nowhere(self):
        desk, other = self.desk, desks.Desk()
        self.addCleanup(other.close)
        other.open_shop()
        first, _ = desk.parcel(*desk.reads(), "--vehicle", "blue estate")
        self.new_from(first)
        parcel, _ = desk.parcel(*desk.reads(), "--vehicle", "blue estate", "--trust", other.at("shop.trust"))
        self.assertEqual(self.log(parcel, "--trust", desk.at("shop.trust"), status=1)["reason"], "parcel-other")
        received = [CALSEAL, "receive", parcel, "--regions", desk.at("duo.json")]
        self.assertEqual(desk.json(*received, "--trust", desk.at("shop.trust"), status=1)["reason"], "parcel-other")
        self.assertEqual(self.kept(), ["1.parcel"])
        desk.json(*received, "--trust", other.at("shop.trust"))

    def test_parcels_are_evidence(self):
        desk = self.desk
        path, made = desk.parcel(*desk.reads(), "--vehicle", "blue estate", "--words", "It pulls \"left\".")
        self.new_from(path)
        out = desk.root / "evidence"
        gathered = [CALSEAL, "evidence", desk.whole, "--trust", desk.at("shop.trust"), "-o", out]
        desk.must(*gathered)
        self.assertEqual((out / "job/parcels/1.parcel").read_bytes(), pathlib.Path(path).read_bytes())
        said = json.loads((out / "evidence.json").read_text())
        self.assertEqual(said["parcels"], [{"file": "job/parcels/1.parcel", "digest": made["digest"], "key_fingerprint": made["key_fingerprint"],
                                            "order": [], "noted": True, "reason": ""}])
        readme = " ".join((out / "README.txt").read_text().split())
        for words in (f"all of it came together from the holder of the key {made['key_fingerprint']}.", 'he writes "It pulls',
                      "reads/1.bin in job/parcels/1.parcel is, byte for byte, controllers/engine/job/base-1/read/flash.bin."):
            self.assertIn(words, readme)
        # A parcel that does not hold is named, and nothing that it said is believed.
        kept = pathlib.Path(desk.whole, "parcels/1.parcel")
        bent = bytearray(kept.read_bytes())
        bent[-40] ^= 1
        kept.write_bytes(bent)
        desk.must("rm", "-rf", out)
        desk.must(*gathered, status=1)
        said = json.loads((out / "evidence.json").read_text())
        self.assertEqual([(one["reason"], one["noted"], one["key_fingerprint"]) for one in said["parcels"]], [("framing-damaged", False, "")])
        self.assertNotIn("It pulls", (out / "README.txt").read_text())

    def test_parcels_of_which_nothing_is_noted_are_no_first_use(self):
        first, _ = self.desk.parcel(*self.desk.reads(), "--vehicle", "blue estate")
        self.new_from(first)
        notes = pathlib.Path(self.desk.folder, "events.jsonl")
        notes.write_text("".join(line for line in notes.read_text().splitlines(True) if '"received"' not in line))
        second, _ = self.desk.parcel("--words", "two")
        self.assertEqual(self.log(second, status=1)["reason"], "job-damaged")
        self.assertEqual(self.kept(), ["1.parcel"])
        self.log(second, "--customer-changed")
        self.assertEqual(self.kept(), ["1.parcel", "2.parcel"])

    def test_logs_go_to_the_revision_that_the_customer_names(self):
        self.desk.new()
        self.desk.deliver_way_back()
        sent = self.desk.send(1)
        identity = sent["identity"]
        log = self.desk.put("drive.csv", b"Time (s),rpm\n0.0,850\n0.1,851\n")
        path, _ = self.desk.parcel("--log", identity + "=" + log, "--log", log)
        logs = self.log(path)["parcel"]["logs"]
        self.assertEqual([log["by"] for log in logs], ["word", "nothing"])
        # A log that names another revision counts as what it says.
        marked = self.desk.put("marked.csv", b"# R1-00111\nTime (s),rpm\n0.0,850\n0.1,851\n")
        path, _ = self.desk.parcel("--log", marked, "--log", self.desk.put("none.csv", b""))
        logs = self.log(path)["parcel"]["logs"]
        self.assertEqual(logs[0]["by"], "revision-mark")
        self.assertEqual(logs[1]["not_attached"]["reason"], "file-empty")

    def test_a_controller_is_added_by_a_parcel(self):
        first, _ = self.desk.parcel(*self.desk.reads(), "--vehicle", "blue estate")
        self.new_from(first)
        gearbox = dict(desks.REGIONS, controller="gearbox", name="solo", identity=desks.REGIONS["identity"][:1],
                       memories=desks.REGIONS["memories"][:1], regions=desks.REGIONS["regions"][:1])
        self.desk.put("solo.json", json.dumps(gearbox).encode())
        second, _ = self.desk.parcel("--read", "gearbox.flash=" + self.desk.at("flash.bin"))
        added = self.desk.json(CALSEAL, "job", "add", self.desk.whole, second, "--regions", self.desk.at("solo.json"), *self.desk.signing())
        self.assertEqual((added["controllers"][0]["controller"], added["parcel"]["file"]), ("gearbox", "parcels/2.parcel"))
        self.assertEqual(len(self.received()), 2)
        self.assertEqual(self.desk.json(CALSEAL, "job", "add", self.desk.whole, second, "--regions", self.desk.at("solo.json"), status=1)["reason"],
                         "parcel-old")


class Closed(unittest.TestCase):
    @classmethod
    def setUpClass(cls):
        cls.desk = ParcelDesk()
        cls.desk.open_sheet()
        for name in ("parcel.key", "other.key"):
            cls.desk.json(CALSEAL, "key", "new", cls.desk.at(name), "--for", "parcels", "--passphrase-file", cls.desk.at("word.txt"))
            cls.desk.quicken(name)
        cls.desk.json(CALSEAL, "sheet", "make", *cls.desk.sheet_arguments(), "--after", cls.desk.at("shop.sheet"), "--parcel-key",
                      cls.desk.at("parcel.key.pub"))
        cls.words = "nobody else reads this"
        cls.path, cls.made = cls.desk.parcel(*cls.desk.with_sheet(), *cls.desk.reads(), "--words", cls.words, "--answer", "fuel=e10", "--accept-cautions")
        cls.bytes = pathlib.Path(cls.path).read_bytes()

    @classmethod
    def tearDownClass(cls):
        cls.desk.close()

    def key(self, name="parcel.key"):
        return ["--parcel-key", self.desk.at(name), "--parcel-passphrase-file", self.desk.at("word.txt")]

    def test_nobody_else_can_read_it(self):
        self.assertTrue(self.made["closed"])
        self.assertTrue(self.bytes.startswith(b"calseal-parcel/1\n"))
        self.assertEqual(self.made["size"], len(self.bytes))
        for secret in (self.words.encode(), self.desk.flash[:32], b"parcel.json", b"PK\x03\x04", self.made["key"].encode()):
            self.assertNotIn(secret, self.bytes)
        self.assertEqual(self.desk.json(CALSEAL, "parcel", "show", self.path, status=1)["reason"], "parcel-closed")
        self.assertEqual(self.desk.json(CALSEAL, "parcel", "show", self.path, *self.key("other.key"), status=1)["reason"], "parcel-closed")
        self.assertEqual(self.desk.json(CALSEAL, "parcel", "show", self.path, *self.key("author.key"), status=1)["reason"], "key-file-invalid")
        self.assertEqual(self.desk.json(CALSEAL, "receive", self.path, "--regions", self.desk.at("duo.json"), status=1)["reason"], "parcel-closed")

    def test_the_shop_opens_it(self):
        shown = self.desk.json(CALSEAL, "parcel", "show", self.path, *self.key())
        self.assertEqual((shown["words"], shown["digest"]), (self.words, self.made["digest"]))
        opened = str(self.desk.root / "opened.parcel")
        self.desk.json(CALSEAL, "parcel", "open", self.path, *self.key(), "-o", opened)
        self.assertEqual(hashlib.sha256(pathlib.Path(opened).read_bytes()).hexdigest(), self.made["digest"])
        self.assertEqual(parcel_json(opened)["words"], self.words)
        self.assertEqual(self.desk.json(CALSEAL, "parcel", "open", opened, *self.key(), "-o", opened + "2", status=1)["reason"], "parcel-closed")
        self.assertFalse(os.path.exists(opened + "2"))
        self.desk.json(CALSEAL, "receive", self.path, *self.key(), "--regions", self.desk.at("duo.json"))

    def test_a_job_keeps_it_as_it_was_when_opened(self):
        job = self.desk.root / "elm-4"
        self.desk.json(CALSEAL, "job", "new", self.path, *self.key(), "--regions", self.desk.at("duo.json"), *self.desk.signing(), "-o", job)
        self.assertEqual(hashlib.sha256((job / "parcels/1.parcel").read_bytes()).hexdigest(), self.made["digest"])

    def test_the_shop_file_names_the_key(self):
        shop = json.loads(pathlib.Path(self.desk.at("shop.json")).read_text()) | {"parcel_key": "parcel.key"}
        path = self.desk.inputs / "with-key.json"
        path.write_text(json.dumps(shop))
        path.chmod(0o600)
        shown = self.desk.json(CALSEAL, "parcel", "show", self.path, "--shop", path, "--parcel-passphrase-file", self.desk.at("word.txt"))
        self.assertEqual(shown["words"], self.words)

    def test_every_kind_of_damage_is_found(self):
        for name, data in (("flipped", self.bytes[:-1] + bytes([self.bytes[-1] ^ 1])), ("cut", self.bytes[:-1]), ("longer", self.bytes + b"x"),
                           ("nothing in it", self.bytes[:49]), ("another key", self.bytes[:17] + bytes(32) + self.bytes[49:])):
            with self.subTest(name):
                bent = self.desk.put("bent.parcel", data)
                self.assertEqual(self.desk.json(CALSEAL, "parcel", "show", bent, *self.key(), status=1)["reason"], "parcel-closed")

    def test_a_weak_key_makes_no_sheet(self):
        weak = base64.b64encode(bytes.fromhex("302a300506032b656e032100") + bytes(32)).decode()
        pem = self.desk.put("weak.pub", f"-----BEGIN PUBLIC KEY-----\n{weak}\n-----END PUBLIC KEY-----\n".encode())
        refused = self.desk.json(CALSEAL, "sheet", "make", *self.desk.sheet_arguments(), "--number", "9", "--parcel-key", pem, "-o",
                                 self.desk.at("weak.sheet"), status=1)
        self.assertEqual(refused["reason"], "key-weak")


@unittest.skipIf(SANITIZED, "sanitizers need memory of their own")
class Hostile(unittest.TestCase):
    """What a stranger sends costs no more memory than what it proves to be."""

    MOST = 64 << 20

    def setUp(self):
        self.desk = ParcelDesk()

    def tearDown(self):
        self.desk.close()

    def peak(self, *arguments, status):
        """Bytes of RAM at the most, by a program of our own that waits for the other one."""
        script = "import resource, subprocess, sys; done = subprocess.run(sys.argv[1:], stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL); " \
                 "print(done.returncode, resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss)"
        code, peak = map(int, self.desk.must(sys.executable, "-c", script, *arguments).stdout.split())
        self.assertEqual(code, status)
        return peak << 10

    def test_contents_that_swell(self):
        zeros = self.desk.put("zeros.bin", b"")
        os.truncate(zeros, 200 << 20)
        path, made = self.desk.parcel("--read", "engine.flash=" + zeros)
        self.assertLess(made["size"], 1 << 20)
        self.assertEqual([f["code"] for f in parcel_json(path)["findings"]], ["blank"])
        self.assertLess(self.peak(CALSEAL, "parcel", "show", path, status=0), self.MOST)

    def test_a_small_parcel_in_a_large_file(self):
        path, _ = self.desk.parcel("--words", "small")
        os.truncate(path, (2 << 30) - 1)
        self.assertLess(self.peak(CALSEAL, "parcel", "show", path, status=1), self.MOST)
        os.truncate(path, 2 << 30)
        self.assertLess(self.peak(CALSEAL, "parcel", "show", path, status=1), self.MOST)
        self.assertEqual(self.desk.json(CALSEAL, "parcel", "show", path, status=1)["reason"], "file-too-large")

    def test_a_parcel_json_that_promises_too_much(self):
        path, _ = self.desk.parcel("--words", "small")
        data = bytearray(pathlib.Path(path).read_bytes())
        data[18:22] = data[22:26] = (0xFFFFFFFF).to_bytes(4, "little")
        self.assertEqual(self.desk.json(CALSEAL, "parcel", "show", self.desk.put("bent.parcel", bytes(data)), status=1)["reason"], "parcel-invalid")


if __name__ == "__main__":
    unittest.main()
