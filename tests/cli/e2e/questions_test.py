"""Questions to an archive of several jobs with the real programs: find, withdraw --where, identify."""

import concurrent.futures
import contextlib
import hashlib
import json
import os
import pathlib
import shutil
import sqlite3
import subprocess
import unittest

import jsonschema

import desk as desks
import job_desk
from desk import CALSEAL

INDEX = ".calseal-index"
SUPPORT = pathlib.Path(__file__).resolve().parents[2] / "support"
SANITIZED = b"__asan_init" in subprocess.run(["nm", CALSEAL], capture_output=True, check=False).stdout
DOCS = pathlib.Path(__file__).resolve().parents[3] / "docs"


def conforms(answer):
    """The answer, after a public validator has held it against our schema; an error is no answer."""
    name = answer["calseal"].split("/")[0]
    if name in ("find", "identify"):
        schema = json.loads((DOCS / f"{name}.schema.json").read_text())
        jsonschema.Draft202012Validator.check_schema(schema)
        jsonschema.Draft202012Validator(schema).validate(answer)
    return answer


class Archive(job_desk.JobDesk):
    """Two jobs on one software number, another vehicle in the second; two revisions each."""

    def __init__(self):
        self.faults = {}
        super().__init__()
        self.archive = self.root / "archive"
        self.archive.mkdir()
        self.make_job("oak-17")
        self.first_eeprom_two = desks.edited(self.eeprom, 0x20, b"SN-9876543210zyx")
        self.eeprom = self.first_eeprom_two
        self.put("eeprom.bin", self.eeprom)
        self.make_job("elm-4")

    @contextlib.contextmanager
    def failing(self, **how):
        """Looking at folders and opening files fails as told."""
        library = self.root / "fail_looking.so"
        if not library.exists():
            subprocess.run(["cc", "-shared", "-fPIC", "-O1", "-Wall", "-Werror", "-o", library, SUPPORT / "fail_looking.c"], check=True)
        self.faults = {"LD_PRELOAD": str(library), **how}
        try:
            yield
        finally:
            self.faults = {}

    def run(self, *arguments, env=None, **options):
        return super().run(*arguments, env={**self.faults, **(env or {})}, **options)

    def make_job(self, name):
        self.whole = str(self.archive / name)
        self.folder = self.whole + "/engine"
        self.new()
        self.deliver_way_back()
        for number in (1, 2):
            self.send(number)
        return self.folder

    def find(self, *question, status=0):
        return conforms(self.json(CALSEAL, "find", self.archive, *question, status=status))

    def files(self, *question):
        return [row["file"] for row in self.find(*question)["revisions"]]

    def identify(self, data, *more, status=0, name="loose.bin"):
        return conforms(self.json(CALSEAL, "identify", self.put(name, data), "--in", self.archive, *more, status=status))

    def withdraw(self, *more, status=0):
        return self.json(CALSEAL, "withdraw", *more, "--trust", self.at("shop.trust"), status=status)


def everything(jobs=("elm-4", "oak-17")):
    return [f"{job}/engine/base-1/r{n}.calseal" for job in jobs for n in (0, 1, 2)]


class Find(unittest.TestCase):
    @classmethod
    def setUpClass(cls):
        cls.desk = Archive()

    @classmethod
    def tearDownClass(cls):
        cls.desk.close()

    def test_no_criterion_gives_all(self):
        self.assertEqual(self.desk.files(), everything())

    def test_every_criterion(self):
        desk = self.desk
        map_digest = hashlib.sha256(pathlib.Path(desk.at("duo.json")).read_bytes()).hexdigest()
        key = next(one["id"] for one in self.desk.json(CALSEAL, "shop", "show", desk.at("shop.trust"))["trust"]["keys"] if "author" in one["roles"])
        tuned = [f for f in everything() if not f.endswith("r0.calseal")]
        eeprom_two = hashlib.sha256(desk.first_eeprom_two).hexdigest()
        for question, expected in (
                (["--touches", "flash:0x80000024"], tuned),
                (["--touches", "flash:0x80000025-0x80000030"], tuned),
                (["--touches", "flash:0x80000026-0x8000007f"], []),
                (["--touches", "flash:0x80000000-0x8000000f"], []),
                (["--touches", "flash:0x0-0xffffffff"], tuned),
                (["--touches", "eeprom:0x80000024"], []),
                (["--region", "fuel"], tuned), (["--region", "learned"], []),
                (["--map", map_digest], everything()), (["--map", "0" * 64], []),
                (["--software", "DU-00001"], everything()),
                (["--key", key], everything()), (["--key", "0" * 64], []),
                (["--stock", eeprom_two], everything(["elm-4"])),
                (["--stock", hashlib.sha256(desk.flash).hexdigest()], everything()),
                (["--job", "elm-4"], everything(["elm-4"])), (["--controller", "engine"], everything()),
                (["--vehicle", "blue estate"], everything()),
                (["--revision", "2"], [f for f in everything() if f.endswith("r2.calseal")]),
                (["--job", "oak-17", "--revision", "1", "--region", "mark"], ["oak-17/engine/base-1/r1.calseal"]),
                (["--job", "oak-17", "--job", "elm-4"], []),
        ):
            with self.subTest(question):
                self.assertEqual(desk.files(*question), expected)

    def test_a_name_that_nothing_has_is_usage_with_near_ones(self):
        for question, found, near in (
                (["--region", "fule"], 'the region "fule"', 'did you mean "fuel"?'),
                (["--region", "learn"], 'the region "learn"', 'did you mean "learned"?'),
                (["--software", "DU-00002"], 'the software number "DU-00002"', 'did you mean "DU-00001"?'),
                (["--vehicle", "blue"], 'the vehicle "blue"', 'did you mean "blue estate"?'),
                (["--touches", "flsh:0x80000024"], 'the memory "flsh"', 'did you mean "flash"?'),
                (["--job", "oak-17", "--controller", "gearbox"], 'the controller "gearbox"', "look at the word again"),
                (["--option", "x' OR '1'='1"], "the option \"x' OR '1'='1\"", "look at the word again"),
                (["--item", "%"], 'the item "%"', "look at the word again"),
        ):
            with self.subTest(question):
                told = self.desk.find(*question, status=2)
                self.assertEqual((told["reason"], told["found"], told["next"]), ("usage", found, near))

    def test_wrong_questions_are_usage(self):
        for question in (["--touches", "flash"], ["--touches", "flash:0x10-0x0f"], ["--touches", "flash:0x1ffffffff"], ["--map", "12"],
                         ["--touches", ":0x10"], ["--revision", "-1"], ["--revision", "1x"], ["--job", ""]):
            with self.subTest(question):
                self.assertEqual(self.desk.find(*question, status=2)["reason"], "usage")

    def test_seals_are_judged_from_the_bundles(self):
        trust = ["--trust", self.desk.at("shop.trust")]
        self.assertEqual({row["seal"] for row in self.desk.find()["revisions"]}, {"not-looked-at"})
        self.assertEqual({row["seal"] for row in self.desk.find(*trust)["revisions"]}, {"holds"})
        other = job_desk.JobDesk()
        self.addCleanup(other.close)
        rows = self.desk.find("--trust", other.at("shop.trust"))["revisions"]
        self.assertEqual({(row["seal"], row["reason"]) for row in rows}, {("refused", "signer-unknown")})

    def test_second_question_reads_nothing(self):
        self.desk.find()
        again = self.desk.find()
        self.assertEqual((again["read_anew"], again["index_rebuilt"], again["index_kept"]), (0, False, True))
        self.assertTrue(self.desk.find("--rebuild")["index_rebuilt"])


class IndexIsNoTruth(unittest.TestCase):
    def setUp(self):
        self.desk = Archive()
        self.addCleanup(self.desk.close)
        self.index = self.desk.archive / INDEX

    def test_new_changed_and_gone_files_are_noticed(self):
        desk = self.desk
        desk.find()
        one = desk.archive / "oak-17/engine/base-1/r1.calseal"
        kept = one.read_bytes()
        os.rename(one, desk.archive / "it's \"a\"\nname;--")
        self.assertIn("it's \"a\"\\u000aname;--", desk.files("--job", "oak-17", "--revision", "1"))
        one.write_bytes(kept[:200] + b"!" + kept[201:])
        times = (one.stat().st_atime_ns, one.stat().st_mtime_ns)
        found = desk.find(status=1)
        self.assertEqual(found["unread"], [{"file": "oak-17/engine/base-1/r1.calseal", "reason": "prefix-damaged"}])
        one.write_bytes(kept)
        os.utime(one, ns=times)  # a forged time does not help
        self.assertEqual(len(desk.files("--job", "oak-17", "--revision", "1")), 2)
        one.unlink()
        self.assertEqual(len(desk.files("--job", "oak-17", "--revision", "1")), 1)

    @unittest.skipIf(SANITIZED, "the sanitizers' runtime must be loaded first")
    def test_what_cannot_be_read_is_named_and_tried_again(self):
        desk = self.desk
        lost = "oak-17/engine/base-1/r1.calseal"
        one = desk.archive / "only-once"
        os.rename(desk.archive / lost, one)
        for path in desk.archive.glob("oak-17/handover-*/engine-r1.calseal"):
            path.unlink()
        with desk.failing(FAIL_OPEN="only-once"):
            for _ in range(2):
                found = desk.find(status=1)
                self.assertEqual(found["unread"], [{"file": "only-once", "reason": "file-unreadable"}])
                self.assertNotIn("only-once", [row["file"] for row in found["revisions"]])
        self.assertIn("only-once", desk.files())
        for how in ({"FAIL_OPEN": "engine"}, {"FAIL_LOOK": "engine"}):
            with desk.failing(**how):
                self.assertIn({"file": "elm-4/engine", "reason": "file-unreadable"}, desk.find(status=1)["unread"])
        with desk.failing(FAIL_READDIR="1"):
            self.assertEqual([{"file": ".", "reason": "file-unreadable"}], desk.find(status=1)["unread"])
        self.assertIn("only-once", desk.files())

    def test_names_that_are_not_utf8(self):
        os.rename(self.desk.archive / "oak-17/engine/base-1/r2.calseal", os.fsencode(self.desk.archive) + b"/\xff\xfe\x1b[31m")
        self.assertIn("\\xff\\xfe\\u001b[31m", self.desk.files("--job", "oak-17"))

    def test_links_are_not_followed(self):
        os.symlink(self.desk.archive, self.desk.archive / "loop")
        os.symlink(self.desk.archive / "oak-17/engine/base-1/r1.calseal", self.desk.archive / "again.calseal")
        self.assertEqual(self.desk.files(), everything())

    def test_a_damaged_index_is_made_anew(self):
        self.desk.find()
        good = self.index.read_bytes()
        step = max(1, len(good) // 8)
        for at in [0, 17, 28, 100] + list(range(200, len(good), step)):
            self.index.write_bytes(good[:at] + bytes([good[at] ^ 0xFF]) + good[at + 1:])
            rows = self.desk.find("--trust", self.desk.at("shop.trust"))["revisions"]
            self.assertLessEqual({row["seal"] for row in rows}, {"holds", "refused"}, at)
            self.desk.find("--rebuild")
            self.assertEqual(self.desk.files(), everything(), at)
        for junk in (b"", b"x", b"SQLite format 3\0", good[:len(good) // 2], b"\0" * 100000, os.urandom(5000)):
            self.index.write_bytes(junk)
            self.assertEqual(self.desk.files(), everything(), junk[:20])

    def test_hostile_index_with_other_objects(self):
        self.desk.find()
        connection = sqlite3.connect(self.index)
        connection.execute("CREATE TRIGGER t AFTER DELETE ON files BEGIN DELETE FROM revisions; END")
        connection.commit()
        connection.close()
        found = self.desk.find()
        self.assertTrue(found["index_rebuilt"])
        self.assertEqual(len(found["revisions"]), 6)
        self.index.unlink()
        connection = sqlite3.connect(self.index)
        connection.execute("CREATE VIEW files AS SELECT 1")
        connection.commit()
        connection.close()
        self.assertEqual(self.desk.files(), everything())

    def test_index_of_another_archive(self):
        self.desk.find()
        index = self.index.read_bytes()
        shutil.rmtree(self.desk.archive / "elm-4")
        copy = self.desk.root / "copy"
        shutil.copytree(self.desk.archive, copy, copy_function=shutil.copy2)
        (copy / INDEX).write_bytes(index)
        found = self.desk.json(CALSEAL, "find", copy)
        self.assertEqual([row["file"] for row in found["revisions"]], everything(["oak-17"]))
        self.assertGreater(found["read_anew"], 0)

    def test_index_that_is_a_link_or_a_folder(self):
        victim = self.desk.root / "victim"
        victim.write_bytes(b"mine")
        os.symlink(victim, self.index)
        self.assertEqual(self.desk.files(), everything())
        self.assertEqual(victim.read_bytes(), b"mine")
        self.index.unlink()
        self.index.mkdir()
        found = self.desk.find()
        self.assertFalse(found["index_kept"])
        self.assertEqual(len(found["revisions"]), 6)

    def test_many_ask_while_it_is_made(self):
        for round_number in range(4):
            self.index.unlink(missing_ok=True)
            if round_number == 2:
                self.index.write_bytes(b"not an index at all" * 100)
            with concurrent.futures.ThreadPoolExecutor(6) as pool:
                answers = list(pool.map(lambda n: self.desk.files(*(["--rebuild"] if n % 3 == 0 else [])), range(12)))
            self.assertEqual(answers, [everything()] * 12)

    def test_no_archive(self):
        self.assertEqual(self.desk.json(CALSEAL, "find", self.desk.root / "none", status=3)["reason"], "file-missing")
        self.assertEqual(self.desk.json(CALSEAL, "find", self.desk.at("flash.bin"), status=3)["reason"], "file-unreadable")


class Withdraw(unittest.TestCase):
    @classmethod
    def setUpClass(cls):
        cls.desk = Archive()
        made = cls.desk
        made.json(CALSEAL, "key", "new", made.at("desk.key"), "--passphrase-file", made.at("word.txt"))
        made.json(CALSEAL, "shop", "add-key", made.at("shop.trust"), made.at("desk.key.pub"), "--name", "Desk", "--role", "withdrawal",
                  "--root-key", made.at("root.key"), "--passphrase-file", made.at("word.txt"), "--valid-from", "2026-01-01T00:00:00Z",
                  "--claimed-time", "2026-01-02T00:00:00Z", "-o", made.at("shop-2.trust"))
        made.signing_list = ["--key", made.at("desk.key"), "--trust", made.at("shop-2.trust"), "--passphrase-file", made.at("word.txt"),
                             "--claimed-time", desks.TIME]

    @classmethod
    def tearDownClass(cls):
        cls.desk.close()

    def question(self, *more):
        return ["--where", "software=DU-00001", "--in", self.desk.archive, "--class", "error", "--text", "cuts out", *more]

    def test_dry_run_needs_no_key_and_writes_nothing(self):
        before = set(self.desk.inputs.iterdir())
        shown = self.desk.withdraw(*self.question("--dry-run"))
        self.assertEqual((shown["dry_run"], shown["added"], shown["ways_back"]), (True, 4, 2))
        self.assertEqual(set(self.desk.inputs.iterdir()), before)

    def test_answer_becomes_a_list_without_the_way_back(self):
        desk = self.desk
        first = desk.json(CALSEAL, "withdraw", desk.archive / "oak-17/engine/base-1/r1.calseal", "--class", "safety", "--go-back", "--text", "lean",
                          *desk.signing_list, "-o", desk.at("w1.list"))
        made = desk.json(CALSEAL, "withdraw", *self.question("--after", desk.at("w1.list")), *desk.signing_list, "-o", desk.at("w2.list"))
        self.assertEqual((made["added"], made["ways_back"], made["kept"], made["number"]), (3, 2, 1, 2))
        self.assertIn(first["notices"][0], made["notices"])  # its words stand as they were
        expected = {row["identity"] for row in desk.find()["revisions"] if row["revision"] != 0}
        self.assertEqual({notice["revision"] for notice in made["notices"]}, expected)
        refused = desk.run(desks.CALSEAL_CHECK, desk.archive / "elm-4/engine/base-1/r2.calseal", "--trust", desk.at("shop-2.trust"), "--seal-only",
                           "--withdrawals", desk.at("w2.list"), "--json")
        self.assertEqual(refused.returncode, 1)
        self.assertIn(b'"withdrawn"', refused.stdout)

    def test_rebuild_asks_the_bundles_whatever_the_index_says(self):
        desk = self.desk
        desk.find()
        connection = sqlite3.connect(desk.archive / INDEX)
        connection.execute("DELETE FROM revisions WHERE job='elm-4'")
        connection.commit()
        connection.close()
        self.assertEqual(desk.withdraw(*self.question("--dry-run"))["added"], 2)
        self.assertEqual(desk.withdraw(*self.question("--dry-run", "--rebuild"))["added"], 4)
        self.assertEqual(desk.withdraw("--rebuild", "--dry-run", status=2)["reason"], "usage")

    @unittest.skipIf(SANITIZED, "the sanitizers' runtime must be loaded first")
    def test_nothing_is_signed_while_something_is_unread(self):
        desk = self.desk
        signing = [*self.question("--rebuild"), *desk.signing_list, "-o", desk.at("unread.list")]
        with desk.failing(FAIL_LOOK="elm-4"):
            refused = desk.json(CALSEAL, "withdraw", *signing, status=3)
            self.assertEqual((refused["reason"], refused["file"]), ("file-unreadable", f"{desk.archive}/elm-4"))
            self.assertFalse(pathlib.Path(desk.at("unread.list")).exists())
            shown = desk.withdraw(*self.question("--dry-run"), status=1)
            self.assertEqual(([{"file": "elm-4", "reason": "file-unreadable"}], 2), (shown["unread"], shown["added"]))
            made = desk.json(CALSEAL, "withdraw", *signing, "--despite-unread")
            self.assertEqual((2, 1), (made["added"], len(made["unread"])))
        self.assertEqual((4, []), (desk.withdraw(*self.question("--dry-run"))["added"], desk.withdraw(*self.question("--dry-run"))["unread"]))

    def test_a_name_that_nothing_has_withdraws_nothing(self):
        told = self.desk.withdraw(*self.question("--where", "region=fule", "--dry-run"), status=2)
        self.assertEqual((told["reason"], told["next"]), ("usage", 'did you mean "fuel"?'))

    def test_half_a_question_is_usage(self):
        desk = self.desk
        for arguments in (["--where", "job=oak-17"], ["--in", desk.archive], self.question("--where", "color=red"),
                          ["--where", "job=oak-17", "--in", desk.archive, "--class", "error"],
                          ["--where", "job=oak-17", "--in", desk.archive, "--text", "x"]):
            with self.subTest(arguments):
                self.assertEqual(desk.withdraw(*arguments, "--dry-run", status=2)["reason"], "usage")
        self.assertEqual(desk.withdraw(*self.question(), status=2)["reason"], "usage")


class Identify(unittest.TestCase):
    @classmethod
    def setUpClass(cls):
        cls.desk = Archive()

    @classmethod
    def tearDownClass(cls):
        cls.desk.close()

    def flash(self, number):
        return desks.corrected(desks.edited(self.desk.flash, 0x24, bytes([number, number + 1])))

    def places(self, answer):
        return {(row["revision"], row["job"]) for row in answer["revisions"]}

    def test_each_revision_is_known(self):
        for number, flash in ((0, self.desk.flash), (1, self.flash(1)), (2, self.flash(2))):
            answer = self.desk.identify(flash)
            self.assertEqual(answer["verdict"], "ours")
            self.assertEqual(self.places(answer), {(number, "oak-17"), (number, "elm-4")})
            self.assertEqual({row["as_received"] for row in answer["revisions"]}, {number == 0})

    def test_other_forms(self):
        text = self.desk.json  # the desk runs programs; objcopy makes the forms
        self.desk.put("raw.bin", self.flash(2))
        for form in ("ihex", "srec"):
            out = self.desk.at("loose." + form)
            self.desk.must("objcopy", "-I", "binary", "-O", form, "--change-addresses", "0x80000000", self.desk.at("raw.bin"), out)
            answer = text(CALSEAL, "identify", out, "--in", self.desk.archive)
            self.assertEqual((answer["verdict"], {row["revision"] for row in answer["revisions"]}), ("ours", {2}))

    def test_a_part(self):
        part = self.flash(2)[0x20:0x80]  # the calibration alone
        answer = self.desk.identify(part)
        self.assertEqual((answer["verdict"], answer["part_of"], answer["at"]), ("ours", "flash", "0x80000020"))
        self.assertEqual({row["revision"] for row in answer["revisions"]}, {2})
        self.assertLess(answer["known_bytes"], answer["pinned_bytes"])
        answer = self.desk.identify(part, "--at", "flash:0x80000020")
        self.assertEqual(answer["verdict"], "ours")
        changed = self.desk.identify(desks.edited(part, 0x50, b"\xaa\xbb"), "--at", "flash:0x80000020", status=1)
        self.assertEqual(changed["verdict"], "changed")
        self.assertEqual([(r["start"], r["size"]) for r in changed["ranges"] if r["likeness"] == "changed"], [("0x80000070", 2)])

    def test_vehicle_by_the_salt_of_the_job(self):
        eeprom = desks.edited(self.desk.first_eeprom_two, 0x30, b"R2-00222")
        answer = self.desk.identify(eeprom)
        self.assertEqual(answer["verdict"], "ours")
        self.assertEqual([(row["job"], row["vehicle"]) for row in answer["revisions"]], [("elm-4", "same"), ("oak-17", "other")])

    def test_changed_since(self):
        data = desks.edited(self.flash(1), 0x60, b"\x01\x02\x03")
        answer = self.desk.identify(data, status=1)
        self.assertEqual(answer["verdict"], "changed")
        self.assertEqual([row["revision"] for row in answer["revisions"]], [1])
        self.assertEqual([(r["start"], r["size"], r["region"]) for r in answer["ranges"] if r["likeness"] == "changed"],
                         [("0x80000060", 3, "fuel")])

    def test_not_ours(self):
        data = desks.edited(self.desk.flash, 0x90, b"\x55\x66")
        answer = self.desk.identify(data, status=1)
        self.assertIn("not-ours", {r["likeness"] for r in answer["ranges"]})
        other = bytes((7 * i + 3) & 0xFF for i in range(256))
        self.assertEqual(self.desk.identify(other, status=1)["verdict"], "not-ours")

    def test_cannot_say(self):
        self.assertEqual(self.desk.identify(b"\x00" * 100000, status=1)["verdict"], "cannot-say")
        self.assertEqual(self.desk.identify(b"\xff" * 256, status=1)["verdict"], "not-ours")
        self.assertEqual(self.desk.json(CALSEAL, "identify", self.desk.at("none"), "--in", self.desk.archive, status=3)["reason"],
                         "file-missing")

    def test_without_the_first_reads(self):
        copy = self.desk.root / "bundles-only"
        copy.mkdir()
        for number in (1, 2):
            shutil.copy(self.desk.archive / f"oak-17/engine/base-1/r{number}.calseal", copy)
        answer = self.desk.json(CALSEAL, "identify", self.desk.put("loose.bin", self.flash(2)), "--in", copy)
        self.assertEqual(([row["file"] for row in answer["revisions"]], answer["verdict"]), (["r2.calseal"], "ours"))


if __name__ == "__main__":
    unittest.main()
