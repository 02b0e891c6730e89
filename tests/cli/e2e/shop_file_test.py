"""The shop file with the real programs: which options it stands in for, which file is used, and which is refused."""

import json
import os
import pathlib
import shutil
import unittest

import desk as desks
from desk import CALSEAL, PASSPHRASE
from job_desk import JobDesk, of_one, updated_flash
from ledger_desk import LedgerDesk

WORD = {"CALSEAL_PASSPHRASE": PASSPHRASE}


class ShopDesk(JobDesk):
    """A desk whose keys lie in `in`, and whose jobs lie below a folder with a shop file."""

    def __init__(self):
        super().__init__()
        self.shop_file = self.write_shop(self.root)

    def write_shop(self, folder, **fields):
        path = pathlib.Path(folder, "shop.json")
        path.write_text(json.dumps({"calseal": "shop/1", "name": "Example Shop", "author_keys": [self.at("author.key")],
                                    "trust": "in/shop.trust", **fields}))
        path.chmod(0o600)
        return str(path)

    def new_here(self, *more, folder=None, env=None, status=0):
        return of_one(self.json(CALSEAL, "job", "new", *self.read(), "--regions", self.at("duo.json"), "--vehicle", "blue estate",
                                "--claimed-time", desks.TIME, "-o", folder or self.whole, *more, status=status, env=env or WORD))

    def send_here(self, number, *more, env=None, status=0):
        return of_one(self.json(CALSEAL, "job", "send", self.folder, *self.edited(number)[0], "--title", f"tune {number}",
                                "--claimed-time", desks.TIME, *more, status=status, env=env or WORD))


class Defaults(unittest.TestCase):
    def setUp(self):
        self.desk = ShopDesk()
        self.addCleanup(self.desk.close)

    def test_the_day_needs_no_options(self):
        desk = self.desk
        made = desk.new_here()
        self.assertEqual((made["bundle"], made["shop"]), ("base-1/r0.calseal", desk.shop_file))
        desk.deliver_way_back()
        sent = desk.send_here(1)
        self.assertEqual((sent["bundle"], sent["shop"]), ("base-1/r1.calseal", desk.shop_file))
        _, expected = desk.edited(1)
        self.assertEqual(desk.customer("base-1/r1.calseal", desk.at("flash.bin"), desk.at("eeprom.bin")), expected)
        self.assertEqual(desk.job("status")["shop"], desk.shop_file)
        self.assertEqual(desk.job("next")["shop"], desk.shop_file)
        self.assertEqual(desk.json(CALSEAL, "job", "reissue", desk.folder, 1, env=WORD)["shop"], desk.shop_file)

    def test_it_is_the_same_as_typing_them(self):
        desk = self.desk
        desk.new_here("--salt", desk.put("oak.salt", b"5a" * 32 + b"\n"))
        typed = str(desk.root / "typed" / "oak-17")
        os.mkdir(desk.root / "typed")
        desk.json(*desk.new_arguments(typed), "--salt", desk.at("oak.salt"))
        bundles = [pathlib.Path(folder, "base-1/r0.calseal").read_bytes() for folder in (desk.folder, typed + "/engine")]
        self.assertEqual(*bundles)

    def test_what_was_used_is_said(self):
        desk = self.desk
        desk.new_here()
        said = desk.must(CALSEAL, "job", "status", desk.folder)
        self.assertEqual(said.stderr.decode(), f"shop      {desk.shop_file}\n")
        for arguments in (["--no-shop"], ["--trust", desk.at("shop.trust"), "--withdrawals", desk.at("none")]):
            said = desk.run(CALSEAL, "job", "status", desk.folder, *arguments)
            self.assertNotIn(b"shop.json", said.stderr)

    def test_options_count_more(self):
        desk = self.desk
        desk.new_here()
        desk.deliver_way_back()
        desk.write_shop(desk.root, author_keys=["none.key"], trust="none.trust")
        self.assertEqual(desk.send_here(1, status=3)["reason"], "file-missing")
        self.assertEqual(desk.send_here(1, "--trust", desk.at("shop.trust"), status=3)["reason"], "file-missing")
        sent = desk.send_here(1, "--trust", desk.at("shop.trust"), "--key", desk.at("author.key"))
        self.assertNotIn("shop", sent)  # nothing was left for it to say

    def test_a_list_counts_only_under_its_own_trust_file(self):
        desk = self.desk
        desk.new_here()
        desk.write_shop(desk.root, withdrawals="not-made-yet.list")
        self.assertEqual(desk.job("status", status=3)["reason"], "file-missing")
        self.assertNotIn("shop", desk.job("status", "--trust", desk.at("shop.trust")))

    def test_the_nearest_one_counts(self):
        desk = self.desk
        jobs = desk.root / "jobs"
        jobs.mkdir()
        near = desk.write_shop(jobs, trust=desk.at("shop.trust"))
        desk.whole = str(jobs / "oak-17")
        desk.folder = desk.whole + "/engine"
        self.assertEqual(desk.new_here()["shop"], near)
        self.assertEqual(desk.job("status", "--shop", desk.shop_file)["shop"], desk.shop_file)
        at = self.desk.json(CALSEAL, "job", "status", desk.folder, env={"CALSEAL_SHOP": desk.shop_file})
        self.assertEqual(at["shop"], desk.shop_file)
        self.assertEqual(desk.job("status", "--shop", desk.at("no.json"), status=3)["reason"], "file-missing")

    def test_nothing_is_found(self):
        desk = self.desk
        os.remove(desk.shop_file)
        self.assertEqual(desk.new_here()["bundle"], "")  # without a key there is no way back yet
        refused = desk.send_here(1, status=2)
        self.assertEqual((refused["reason"], refused["place"]), ("usage", "--key and --trust"))
        self.assertIn("shop new", refused["next"])
        half = desk.new_here("--key", desk.at("author.key"), folder=str(desk.root / "elm-3"), status=2)
        self.assertEqual((half["reason"], half["place"]), ("usage", "--trust"))

    def test_a_shop_file_without_keys(self):
        """On a machine where nobody signs: it judges, and a job is opened as without a key."""
        desk = self.desk
        desk.write_shop(desk.root, author_keys=[])
        made = desk.new_here()
        self.assertEqual(made["bundle"], "")
        self.assertNotIn("shop", made)
        self.assertEqual(desk.job("status")["shop"], desk.shop_file)
        refused = desk.send_here(1, status=2)
        self.assertEqual((refused["reason"], refused["place"]), ("usage", "--key"))
        self.assertIn(desk.shop_file, refused["found"])

    def test_no_passphrase_is_asked_for_in_vain(self):
        desk = self.desk
        desk.new_here()
        # The read as it came is no edit, so nothing comes to be signed.
        unchanged = desk.json(CALSEAL, "job", "send", desk.folder, *desk.read(), "--claimed-time", desks.TIME, status=1, env={"LC_ALL": "C"})
        self.assertEqual(unchanged["reason"], "job-order")


class OtherCommands(unittest.TestCase):
    """Started in the folder of the shop file, as the desk starts them all."""

    def setUp(self):
        self.desk = ShopDesk()
        self.addCleanup(self.desk.close)

    def run_here(self, *arguments, status=0):
        done = self.desk.json(CALSEAL, *arguments, env=WORD, status=status)
        self.assertEqual(done["shop"], self.desk.shop_file)
        return done

    def seal(self, number):
        """Revision `number` with neither key nor trust file typed."""
        arguments = self.desk.revision_arguments(number) if number else [*self.desk.base_arguments(), "--new-salt", self.desk.at("oak.salt")]
        left_out = self.desk.signing()[:6]  # --key, --trust, --passphrase-file
        at = arguments.index("--key")
        self.assertEqual(arguments[at:at + 6], left_out)
        return self.run_here(*arguments[:at], *arguments[at + 6:], "-o", self.desk.at(f"r{number}.calseal"))

    def test_what_signs_and_what_judges(self):
        desk = self.desk
        self.seal(0)
        self.seal(1)
        bundles = [desk.at("r0.calseal"), desk.at("r1.calseal")]
        self.assertEqual(desk.json(desks.CALSEAL_CHECK, *desk.check_arguments(bundles[1]))["verdict"], "accepted")
        listed = self.run_here("job", "sign-list", *bundles, "-o", desk.at("oak.list"))
        self.assertEqual(len(listed["revisions"]), 2)
        found = self.run_here("find", desk.inputs)
        self.assertEqual({row["seal"] for row in found["revisions"]}, {"holds"})
        self.assertEqual(self.run_here("identify", "flash=" + desk.at("flash.bin"), "--in", desk.inputs)["verdict"], "ours")

    def test_a_second_signature(self):
        desk = self.desk
        desk.json(CALSEAL, "key", "new", desk.at("second.key"), "--passphrase-file", desk.at("word.txt"))
        desk.json(CALSEAL, "shop", "add-key", desk.at("shop.trust"), desk.at("second.key.pub"), "--name", "Second", "--role", "reviewer",
                  "--root-key", desk.at("root.key"), "--passphrase-file", desk.at("word.txt"), "--valid-from", "2026-01-01T00:00:00Z", "-o",
                  desk.at("shop-2.trust"))
        desk.seal_base()
        desk.write_shop(desk.root, author_keys=["in/second.key"], trust="in/shop-2.trust")
        signed = self.run_here("countersign", desk.at("r0.calseal"), "-o", desk.at("again.calseal"))
        self.assertEqual(len(signed["signers"]), 2)

    def test_regions_and_stocks(self):
        desk = self.desk
        desk.write_shop(desk.root, regions=["no-such-folder", "regions", "in/duo.json"], stocks="stocks")
        received = self.run_here("receive", *desk.read())  # folders that nobody has made yet are empty
        self.assertEqual(received["reads"][0]["stock"], "")
        stock = desk.root / "stocks" / "first"
        stock.mkdir(parents=True)
        for name, data in (("flash.bin", desk.flash), ("eeprom.bin", desk.eeprom)):
            (stock / name).write_bytes(data)
        received = self.run_here("receive", *desk.read())
        self.assertIn("first", received["reads"][0]["stock"])

    def test_the_ledger(self):
        desk = self.desk
        desk.seal_base()
        desk.json(CALSEAL, "key", "new", desk.at("ledger.key"), "--passphrase-file", desk.at("word.txt"))
        desk.json(CALSEAL, "shop", "add-key", desk.at("shop.trust"), desk.at("ledger.key.pub"), "--name", "Ledger", "--role", "ledger",
                  "--root-key", desk.at("root.key"), "--passphrase-file", desk.at("word.txt"), "-o", desk.at("shop-2.trust"))
        desk.write_shop(desk.root, trust="in/shop-2.trust", ledger="ledger", ledger_key="in/ledger.key")
        desk.json(CALSEAL, "ledger", "new", desk.root / "ledger")
        self.run_here("ledger", "append", desk.root / "ledger", "sealed", desk.at("r0.calseal"))
        head = self.run_here("ledger", "head")
        self.assertEqual(head["ledger"], str(desk.root / "ledger"))
        self.run_here("ledger", "prove", "--bundle", desk.at("r0.calseal"), "-o", desk.at("r0.inclusion"))


class LedgerShopDesk(ShopDesk, LedgerDesk):
    """Its shop file names the ledger and the key that signs heads of it."""

    def __init__(self):
        super().__init__()
        self.write_shop(self.root, ledger="shop-ledger", ledger_key="in/ledger.key")

    def brakes(self):
        """A second controller: its region map, and its read."""
        regions = json.loads(pathlib.Path(self.at("duo.json")).read_text())
        regions.update(name="brk", controller="brakes", recognise={"all": [{"memory": "flash", "at": "0x80000000", "bytes": "42524b"}]})
        read = ["flash=" + self.put("brk.bin", b"BRK" + self.flash[3:]), "eeprom=" + self.at("eeprom.bin")]
        return [*read, "--regions", self.put("brk.json", json.dumps(regions).encode())]


class LedgerKey(unittest.TestCase):
    """Whatever enters a job's work in a ledger signs a head of it with the key that the shop file names."""

    def setUp(self):
        self.desk = LedgerShopDesk()
        self.addCleanup(self.desk.close)

    def signs(self, answer, *beside):
        """A new head beside the bundles and in the hand-over, and the ledger holds against it."""
        desk = self.desk
        self.assertEqual((answer["shop"], answer["ledger"]["head_is_new"], "ledger_failed" in answer), (desk.shop_file, True, False))
        self.assertEqual(answer["ledger"]["head_file"], beside[0])
        heads = {pathlib.Path(desk.whole, file).read_bytes() for file in (*beside, answer["handover"] + "/ledger.head")}
        self.assertEqual(len(heads), 1)
        self.assertEqual(json.loads(heads.pop().split(b"\n")[0])["size"], answer["ledger"]["head"]["size"])
        self.assertTrue(desk.verify("--head", pathlib.Path(desk.whole, beside[0]))["clean"])
        return answer["ledger"]["head"]["size"]

    def test_whatever_hands_over_signs(self):
        desk = self.desk
        said = ["--claimed-time", desks.TIME]
        self.assertEqual(self.signs(desk.new_here(), "engine/base-1/r0.head"), 1)
        desk.deliver_way_back()
        self.assertEqual(self.signs(desk.send_here(1), "engine/base-1/r1.head"), 4)
        again = desk.json(CALSEAL, "job", "reissue", desk.whole, 1, *said, env=WORD)
        self.assertEqual(self.signs(again, "engine/base-1/r1-full-3.head"), 5)
        added = desk.json(CALSEAL, "job", "add", desk.whole, *desk.brakes(), *said, env=WORD)
        self.assertEqual(self.signs(added, "brakes/base-1/r0.head"), 6)
        desk.note("sent", 1, "--detail", "mail")
        given = desk.json(CALSEAL, "job", "handover", desk.whole, *said, env=WORD)
        self.assertEqual(self.signs(given, "brakes/base-1/r0.head", "engine/base-1/r1-full-3.head"), 7)
        carried = desk.json(CALSEAL, "job", "carry", desk.whole, "engine.flash=" + desk.put("updated.bin", updated_flash()),
                            "engine.eeprom=" + desk.at("eeprom.bin"), "--reason", "update", "--regions", desk.at("duo.json"), *said, env=WORD)
        self.assertEqual(self.signs(carried, "engine/base-2/r0.head"), 8)
        entered = desk.json(CALSEAL, "job", "ledger", desk.whole, *said, env=WORD)
        self.assertEqual((entered["ledger"]["added"], entered["ledger"]["head_is_new"]), (0, True))

    def test_way_backs_that_are_sealed_later(self):
        desk = self.desk
        desk.new_here("--no-shop")
        desk.json(CALSEAL, "job", "ledger", desk.whole, desk.ledger, "--no-shop", *desk.trusting())
        sent = desk.json(CALSEAL, "job", "send", desk.whole, "--claimed-time", desks.TIME, env=WORD)
        self.signs(sent, "engine/base-1/r0.head")

    def test_without_a_key_the_newest_head_goes_along(self):
        desk = self.desk
        desk.new_here()
        given = desk.json(CALSEAL, "job", "handover", desk.whole, "--no-shop")
        self.assertEqual((given["ledger"]["head_is_new"], given["ledger"]["head_file"]), (False, "engine/base-1/r0.head"))
        self.assertIn("ledger.head", os.listdir(pathlib.Path(desk.whole, given["handover"])))
        typed = desk.json(CALSEAL, "job", "handover", desk.whole, "--no-shop", *desk.ledger_key(), status=2)
        self.assertEqual((typed["reason"], typed["place"]), ("usage", "--ledger-key"))

    def test_a_job_without_a_ledger_needs_no_key(self):
        desk = self.desk
        desk.write_shop(desk.root, ledger_key="in/none.key")
        self.assertNotIn("ledger", desk.new_here())
        desk.deliver_way_back()
        self.assertNotIn("ledger", desk.send_here(1))
        # Nothing is left that the file could say, so it is not looked for, and a bad one is in nobody's way.
        os.chmod(desk.shop_file, 0o666)
        self.assertNotIn("shop", desk.send(2))
        self.assertNotIn("shop", desk.job("handover"))
        without = desk.new_here(*desk.ledger_key(), "--no-shop", folder=desk.whole + "-2", status=2)
        self.assertEqual((without["reason"], without["place"]), ("usage", "--ledger-key"))

    def test_a_key_that_cannot_be_opened_ends_it_before_anything_is_made(self):
        desk = self.desk
        desk.new_here()
        desk.deliver_way_back()
        before, entries = desk.tree(desk.whole), desk.entry_lines()
        desk.put("other.txt", b"another passphrase\n")
        desk.json(CALSEAL, "key", "new", desk.at("other.key"), "--passphrase-file", desk.at("other.txt"))
        for key, reason, status in (("none.key", "file-missing", 3), ("other.key", "passphrase-wrong", 1)):
            desk.write_shop(desk.root, ledger="shop-ledger", ledger_key="in/" + key)
            self.assertEqual(desk.send_here(1, status=status)["reason"], reason)
            self.assertEqual(desk.json(CALSEAL, "job", "handover", desk.whole, env=WORD, status=status)["reason"], reason)
            refused = desk.new_here(folder=desk.whole + "-2", status=status)
            self.assertEqual(refused["reason"], reason)
        self.assertFalse(os.path.exists(desk.whole + "-2"))
        self.assertEqual((desk.tree(desk.whole), desk.entry_lines()), (before, entries))

    def test_a_key_that_may_sign_no_head(self):
        """The work is done and entered; what lacks is a head, and that is said."""
        desk = self.desk
        desk.new_here()
        desk.deliver_way_back()
        desk.write_shop(desk.root, ledger="shop-ledger", ledger_key="in/author.key")
        said = desk.run(CALSEAL, "job", "send", desk.whole, *desk.edited(1)[0], "--claimed-time", desks.TIME, env=WORD)
        self.assertNotEqual(said.returncode, 0)
        self.assertIn("NO HEAD", said.stdout.decode())
        self.assertNotIn("NOT ENTERED", said.stdout.decode())
        self.assertEqual([detail["facts"]["kind"] for detail in desk.details()], ["sealed", "sent", "received", "sealed"])


class KeptByTheJob(unittest.TestCase):
    """A shop file that does not lie above its jobs is named once, and the job keeps its path."""

    def setUp(self):
        self.desk = desk = ShopDesk()
        self.addCleanup(desk.close)
        os.remove(desk.shop_file)
        for name in ("office", "jobs"):
            (desk.root / name).mkdir()
        self.office = desk.write_shop(desk.root / "office", trust=desk.at("shop.trust"))
        desk.whole = str(desk.root / "jobs/oak-17")
        desk.folder = desk.whole + "/engine"
        self.vehicle = pathlib.Path(desk.whole, "vehicle.json")

    def kept(self):
        return json.loads(self.vehicle.read_text()).get("shop")

    def test_it_is_named_once(self):
        desk = self.desk
        self.assertEqual(desk.new_here("--shop", "office/shop.json")["shop"], self.office)
        self.assertEqual(self.kept(), self.office)
        desk.deliver_way_back()
        self.assertEqual(desk.send_here(1)["shop"], self.office)
        self.assertEqual(desk.customer("base-1/r1.calseal", desk.at("flash.bin"), desk.at("eeprom.bin")), desk.edited(1)[1])
        for verb in ("status", "next"):
            self.assertEqual(desk.job(verb)["shop"], self.office)
        said = desk.must(CALSEAL, "job", "status", desk.whole)
        self.assertEqual(said.stderr.decode(), f"shop      {self.office}\n")
        # The job goes elsewhere, and its shop stays.
        os.rename(desk.root / "jobs", desk.root / "moved")
        self.assertEqual(desk.json(CALSEAL, "job", "status", desk.root / "moved/oak-17")["shop"], self.office)

    def test_by_the_environment(self):
        os.symlink("shop.json", self.desk.root / "office/mine.json")
        self.desk.new_here(env={**WORD, "CALSEAL_SHOP": str(self.desk.root / "office/mine.json")})
        self.assertEqual(self.kept(), self.office)

    def test_what_is_found_from_the_job_or_was_not_used_is_not_kept(self):
        desk = self.desk
        above = desk.write_shop(desk.root / "jobs", trust=desk.at("shop.trust"))
        for more in ((), ("--shop", above)):
            self.assertEqual(desk.new_here(*more)["shop"], above)
            self.assertIsNone(self.kept())
            shutil.rmtree(desk.whole)
        desk.json(*desk.new_arguments(), "--no-shop")
        self.assertIsNone(self.kept())

    def test_the_job_names_it_last(self):
        desk = self.desk
        desk.new_here("--shop", self.office)
        other = desk.write_shop(desk.root / "in", trust=desk.at("shop.trust"))
        self.assertEqual(desk.job("status", "--shop", other)["shop"], other)
        self.assertEqual(desk.json(CALSEAL, "job", "status", desk.folder, env={"CALSEAL_SHOP": other})["shop"], other)
        self.assertNotIn("shop", desk.job("status", "--no-shop"))
        above = desk.write_shop(desk.root / "jobs", trust=desk.at("shop.trust"))
        self.assertEqual(desk.job("status")["shop"], above)

    def test_it_is_gone(self):
        desk = self.desk
        desk.new_here("--shop", self.office)
        os.remove(self.office)
        gone = desk.job("status", status=3)
        self.assertEqual((gone["reason"], gone["file"]), ("file-missing", self.office))
        self.assertIn("oak-17/vehicle.json names it", gone["found"])
        for word in ("--shop", "CALSEAL_SHOP", "--no-shop"):
            self.assertIn(word, gone["next"])
        desk.job("status", "--no-shop")

    def test_a_name_that_others_may_have_written(self):
        desk = self.desk
        desk.new_here("--shop", self.office)
        for path, mode in ((self.vehicle, 0o646), (desk.whole, 0o757), (self.office, 0o620)):
            before = os.stat(path).st_mode & 0o777
            os.chmod(path, mode)
            self.assertEqual(desk.job("status", status=1)["reason"], "shop-file-foreign")
            desk.job("status", "--no-shop")
            os.chmod(path, before)
        desk.job("status")

    def test_a_name_that_is_none(self):
        desk = self.desk
        desk.new_here("--shop", self.office)
        text = self.vehicle.read_text()
        for name in ("office/shop.json", "/shop\\u0007.json", "/" * 4097):
            self.vehicle.write_text(text.replace(self.office, name))
            self.assertEqual(desk.job("status", status=1)["reason"], "job-damaged")


class FromNothing(unittest.TestCase):
    """What `shop new` leaves is enough for the first day, the root already in its drawer."""

    def setUp(self):
        self.desk = desks.Desk()
        self.addCleanup(self.desk.close)
        self.made = self.desk.json(CALSEAL, "shop", "new", self.desk.root, "--name", "Example Shop", env=WORD)
        os.rename(self.made["root_key"], self.desk.at("root.key"))

    def seal(self, number, *arguments):
        return self.desk.json(CALSEAL, "seal", *arguments, "--claimed-time", self.now, "-o", f"r{number}.calseal", env=WORD)

    def test_a_bad_revision_is_taken_back_within_a_minute(self):
        desk = self.desk
        self.now = desk.json(CALSEAL, "shop", "show", "shop.trust")["trust"]["claimed_time"]
        reads = [word for name in ("flash", "eeprom") for word in ("--base", f"{name}={desk.at(name + '.bin')}")]
        self.seal(0, "--job", "oak-17", "--regions", desk.at("duo.json"), *reads, "--new-salt", desk.at("oak.salt"))
        flash, _ = desk.edit(1)
        self.seal(1, "--base-bundle", "r0.calseal", "--image", "flash=" + desk.put("edit.bin", flash), "--correct", "--salt",
                  desk.at("oak.salt"))
        check = [desks.CALSEAL_CHECK, "r1.calseal", *desk.check_arguments("")[1:], "--root", self.made["root_id"]]
        check[check.index("--trust") + 1] = "shop.trust"
        first = [*check, "--withdrawals", "withdrawn.list"]
        self.assertEqual(desk.json(*first)["verdict"], "accepted")
        taken = desk.json(CALSEAL, "withdraw", "r1.calseal", "--class", "safety", "--text", "too lean", env=WORD)
        self.assertEqual((taken["number"], taken["added"], taken["shop"]), (2, 1, self.made["shop_file"]))
        self.assertEqual(desk.json(*first, status=1)["reason"], "withdrawn")
        # The way back stays open, and the list before is still there.
        back = [word if word != "r1.calseal" else "r0.calseal" for word in first]
        self.assertEqual(desk.json(*back)["verdict"], "accepted")
        self.assertEqual(desk.json(*[w if w != "withdrawn.list" else "withdrawn-v1.list" for w in first])["verdict"], "accepted")

    def test_keys_are_retired_by_the_files_beside_them(self):
        desk = self.desk
        self.assertEqual(oct(os.stat(self.made["shop_file"]).st_mode & 0o777), "0o600")
        for key in ("author", "withdrawal"):
            public = self.made[key + "_key"] + ".pub"
            shown = desk.json(CALSEAL, "key", "show", public)["keys"][0]
            self.assertEqual(shown["id"], self.made[key + "_id"])
            ended = desk.json(CALSEAL, "shop", "retire-key", self.made["trust"], public, "--root-key", desk.at("root.key"), "--valid-until",
                              "2099-01-01T00:00:00Z", env=WORD)
            self.assertEqual((ended["key"], ended["output"]), (shown["id"], self.made["trust"]))

    def test_a_job_below_it(self):
        desk = self.desk
        made = desk.json(CALSEAL, "job", "new", "flash=" + desk.at("flash.bin"), "eeprom=" + desk.at("eeprom.bin"), "--regions",
                         desk.at("duo.json"), "--vehicle", "blue estate", "-o", "jobs/oak-17", status=3, env=WORD)
        self.assertEqual(made["reason"], "write-failed")  # folders are made by whoever needs them
        (desk.root / "jobs").mkdir()
        desk.json(CALSEAL, "job", "new", "flash=" + desk.at("flash.bin"), "eeprom=" + desk.at("eeprom.bin"), "--regions", desk.at("duo.json"),
                  "--vehicle", "blue estate", "-o", "jobs/oak-17", env=WORD)
        self.assertEqual(desk.json(CALSEAL, "job", "status", "jobs/oak-17")["shop"], self.made["shop_file"])

    def test_nothing_is_replaced(self):
        before = {path.name: path.read_bytes() for path in self.desk.root.iterdir() if path.is_file()}
        again = self.desk.json(CALSEAL, "shop", "new", self.desk.root, "--name", "Example Shop", env=WORD, status=2)
        self.assertEqual(again["reason"], "output-exists")
        self.assertEqual({path.name: path.read_bytes() for path in self.desk.root.iterdir() if path.is_file()}, before)


class Refused(unittest.TestCase):
    def setUp(self):
        self.desk = ShopDesk()
        self.addCleanup(self.desk.close)
        self.desk.new_here()

    def refused(self, code, status=1):
        self.assertEqual(self.desk.job("status", status=status)["reason"], code)
        # What was given needs no shop file, so a bad one is in nobody's way.
        self.desk.job("status", "--no-shop")

    def test_a_file_that_others_may_write(self):
        os.chmod(self.desk.shop_file, 0o666)
        self.refused("shop-file-foreign")
        os.chmod(self.desk.shop_file, 0o620)
        self.refused("shop-file-foreign")

    def test_a_folder_that_others_may_write(self):
        os.chmod(self.desk.root, 0o777)
        self.refused("shop-file-foreign")

    def test_a_file_that_is_none(self):
        for text, code in ((b"", "file-empty"), (b"{", "json-syntax"), (b'{"calseal":"job/1"}', "type-wrong"),
                           (b'{"calseal":"shop/1","name":"x","trust":"t","key":"k"}', "json-unknown-key")):
            pathlib.Path(self.desk.shop_file).write_bytes(text)
            self.refused(code)
        os.remove(self.desk.shop_file)
        os.mkfifo(self.desk.shop_file, 0o600)
        self.refused("file-unreadable", status=3)

    def test_a_strangers_file_beside_an_unpacked_job_is_named(self):
        """Nothing can tell it from one's own: so it is said which one was used, and one's own can be stated."""
        desk = self.desk
        theirs = desk.root / "unpacked"
        theirs.mkdir()
        os.rename(desk.whole, theirs / "oak-17")
        desk.folder = str(theirs / "oak-17/engine")
        desk.json(CALSEAL, "shop", "new", theirs, "--name", "Example Shop", "--passphrase-file", desk.at("word.txt"))
        strange = desk.write_shop(theirs, trust="shop.trust")
        judged = desk.job("status", status=1)
        self.assertEqual(judged["shop"], strange)
        mine = desk.json(CALSEAL, "job", "status", desk.folder, env={"CALSEAL_SHOP": desk.shop_file})
        self.assertEqual(mine["shop"], desk.shop_file)


if __name__ == "__main__":
    unittest.main()
