"""A job from the first key to the customer's image, with the real programs; and everything that must not work."""

import getpass
import itertools
import json
import os
import pathlib
import socket
import unittest

import desk as desks
from desk import CALSEAL, CALSEAL_CHECK, PASSPHRASE


class Job(unittest.TestCase):
    @classmethod
    def setUpClass(cls):
        cls.desk = desks.Desk()
        cls.shop = cls.desk.open_shop()
        cls.base = cls.desk.seal_base()
        cls.first = cls.desk.seal_revision(1)
        cls.second = cls.desk.seal_revision(2, "--parent", cls.desk.at("r1.calseal"))

    @classmethod
    def tearDownClass(cls):
        cls.desk.close()

    def setUp(self):
        self.desk.clear_out()

    def error(self, *arguments, status, code, **options):
        value = self.desk.json(*arguments, status=status, **options)
        self.assertEqual(value["reason"], code, value)
        plain = self.desk.must(*arguments, status=status, **options)
        self.assertIn(code, (plain.stdout + plain.stderr).decode())
        return value


class TheWay(Job):
    def test_keys_are_shown_as_they_were_made(self):
        shown = self.desk.json(CALSEAL, "key", "show", self.desk.at("shop.trust"))
        self.assertEqual([key["what"] for key in shown["keys"]], ["root", "signing key", "signing key"])
        self.assertEqual([key["id"] for key in shown["keys"]], [self.shop["root_id"], *sorted([self.shop["author_id"], self.shop["withdrawal_id"]])])
        self.assertEqual(shown["keys"][0]["fingerprint"], self.shop["root_fingerprint"])
        for name, key_id in (("root.key", "root_id"), ("author.key", "author_id"), ("withdrawal.key", "withdrawal_id")):
            self.assertEqual(os.stat(self.desk.at(name)).st_mode & 0o777, 0o600)
            one = self.desk.json(CALSEAL, "key", "show", self.desk.at(name), "--passphrase-file", self.desk.at("word.txt"))
            self.assertEqual(one["keys"][0]["id"], self.shop[key_id])
        self.assertEqual(os.stat(self.desk.at("oak.salt")).st_mode & 0o777, 0o600)

    def test_every_read_becomes_every_revision(self):
        learned = bytes(range(0x40, 0x60))
        for source, target in itertools.product(range(3), range(3)):
            flash, eeprom = self.desk.expected(source)
            reads = self.desk.put("read.flash", flash), self.desk.put("read.eeprom", learned + eeprom[0x20:])
            bundle = self.desk.at(f"r{target}.calseal")
            wanted_flash, wanted_eeprom = self.desk.expected(target)
            for program in ([CALSEAL, "check"], [CALSEAL_CHECK]):
                self.desk.clear_out()
                verdict = self.desk.json(*program, *self.desk.check_arguments(bundle, *reads), *self.desk.image_arguments())
                self.assertEqual(verdict["verdict"], "accepted")
                self.assertEqual(verdict["vehicle_proof"], "proved")
                self.assertEqual(self.desk.written(), {"flash.new": wanted_flash, "eeprom.new": learned + wanted_eeprom[0x20:]})

    def test_both_programs_say_the_same(self):
        arguments = self.desk.check_arguments(self.desk.at("r2.calseal"))
        for extra in ([], ["--json"], ["--seal-only"]):
            one = self.desk.run(CALSEAL, "check", *arguments, *extra)
            two = self.desk.run(CALSEAL_CHECK, *arguments, *extra)
            self.assertEqual((one.returncode, one.stdout.decode()), (two.returncode, desks.as_the_shop_reads(two.stdout.decode())))

    def test_numbers_follow(self):
        self.assertEqual([v["revision"] for v in (self.base, self.first, self.second)], [0, 1, 2])
        self.assertEqual([v["sequence"] for v in (self.base, self.first, self.second)], [1, 2, 3])

    def test_same_inputs_give_the_same_bytes(self):
        one = self.desk.out / "again.calseal"
        self.desk.must(CALSEAL, *self.desk.revision_arguments(1), "-o", one)
        self.assertEqual(one.read_bytes(), pathlib.Path(self.desk.at("r1.calseal")).read_bytes())

    def test_seal_only_is_authentic(self):
        verdict = self.desk.json(CALSEAL_CHECK, self.desk.at("r1.calseal"), "--trust", self.desk.at("shop.trust"), "--seal-only")
        self.assertEqual(verdict["verdict"], "authentic")
        text = self.desk.must(CALSEAL_CHECK, self.desk.at("r1.calseal"), "--trust", self.desk.at("shop.trust"), "--seal-only").stdout
        self.assertNotIn(b"ACCEPTED", text)

    def test_revive(self):
        arguments = [self.desk.at("r0.calseal"), "--trust", self.desk.at("shop.trust"), "--revive", "--vehicle", "blue estate"]
        verdict = self.desk.json(CALSEAL_CHECK, *arguments, *self.desk.image_arguments())
        self.assertEqual(verdict["vehicle_proof"], "asserted")
        self.assertEqual(self.desk.written(), {"flash.new": self.desk.flash, "eeprom.new": self.desk.eeprom})

    def test_show_gives_the_signed_bytes(self):
        manifest = self.desk.must(CALSEAL, "show", self.desk.at("r1.calseal"), "--manifest").stdout
        self.assertEqual(json.loads(manifest)["job"], "oak-17")
        self.desk.json(CALSEAL, "show", self.desk.at("r1.calseal"))

    def test_dry_run_writes_nothing(self):
        value = self.desk.json(CALSEAL, *self.desk.revision_arguments(1), "--dry-run", "-o", self.desk.out / "r1.calseal")
        self.assertEqual((value["output"], value["identity"]), ("", self.first["identity"]))
        self.assertEqual(self.desk.written(), {})

    def test_an_output_name_that_is_no_text_still_gives_json(self):
        self.desk.json(CALSEAL, *self.desk.revision_arguments(1), "-o", os.fsdecode(os.fsencode(self.desk.out) + b"/\xff\n.calseal"))

    def test_nothing_private_is_in_a_bundle(self):
        salt = pathlib.Path(self.desk.at("oak.salt")).read_text().strip()
        attached = self.desk.put("log.txt", b"a log\n")
        self.desk.must(CALSEAL, *self.desk.revision_arguments(1), "--attach", attached, "-o", self.desk.out / "a.calseal")
        bundles = [self.desk.out / "a.calseal"] + [pathlib.Path(self.desk.at(f"r{n}.calseal")) for n in range(3)]
        secrets = [salt.encode(), bytes.fromhex(salt), PASSPHRASE.encode(), b"/tmp", b"/home", str(self.desk.root).encode(),
                   self.desk.root.name.encode(), b"SN-0123456789abc", b"author.key"]
        for name in (getpass.getuser(), socket.gethostname()):
            if len(name) > 3 and name not in ("root", "nobody", "localhost"):
                secrets.append(name.encode())
        for path in bundles:
            data = path.read_bytes()
            if path.name != "r0.calseal":  # revision 0 is the whole read, deflated or not
                for secret in secrets:
                    self.assertNotIn(secret, data, path.name)
            manifest = self.desk.must(CALSEAL, "show", path, "--manifest").stdout
            for secret in secrets:
                self.assertNotIn(secret, manifest, path.name)


class Refusals(Job):
    def refused(self, *arguments, code, status=1):
        self.error(CALSEAL_CHECK, *arguments, *self.desk.image_arguments(), status=status, code=code)
        self.assertEqual(self.desk.written(), {})

    def bent(self, name, at, value=None):
        data = bytearray(pathlib.Path(self.desk.at(name)).read_bytes())
        data[at] ^= 1 if value is None else value
        return self.desk.put("bent-" + name, bytes(data))

    def test_other_vehicle(self):
        self.refused(*self.desk.check_arguments(self.desk.at("r1.calseal"), eeprom=self.bent("eeprom.bin", 0x2F)), code="vehicle-mismatch")

    def test_other_software(self):
        self.refused(*self.desk.check_arguments(self.desk.at("r1.calseal"), flash=self.bent("flash.bin", 0x90)), code="read-foreign")

    def test_no_read(self):
        self.refused(self.desk.at("r1.calseal"), "--trust", self.desk.at("shop.trust"), code="read-missing")

    def test_salt_of_another_job(self):
        salt = self.desk.put("other.salt", b"0" * 64 + b"\n")
        arguments = self.desk.check_arguments(self.desk.at("r1.calseal"))
        arguments[arguments.index(self.desk.at("oak.salt"))] = salt
        self.refused(*arguments, code="salt-wrong")
        pathlib.Path(salt).write_text("no salt\n")
        self.refused(*arguments, code="salt-wrong")

    def test_root_as_told(self):
        arguments = self.desk.check_arguments(self.desk.at("r1.calseal"))
        self.desk.json(CALSEAL_CHECK, *arguments, "--root", self.shop["root_fingerprint"])
        self.refused(*arguments, "--root", "00000 " * 10, code="root-mismatch")

    def test_sealing_refusals_write_nothing(self):
        output = self.desk.out / "r.calseal"
        locked = self.desk.put("locked.bin", desks.edited(self.desk.flash, 0x90, b"\xaa"))
        learned = self.desk.put("learned.bin", desks.edited(self.desk.eeprom, 3, b"\x00"))
        damaged = self.desk.put("damaged.bin", desks.edited(self.desk.flash, 0x10, b"\x00"))
        base = ["seal", "--base-bundle", self.desk.at("r0.calseal"), "--salt", self.desk.at("oak.salt"), *self.desk.signing()]
        new = ["seal", "--job", "oak-17", "--regions", self.desk.at("duo.json"), "--base", "eeprom=" + self.desk.at("eeprom.bin"),
               "--vehicle", "blue", "--new-salt", self.desk.out / "s.salt", *self.desk.signing()]
        cases = [
            ("change-locked", [*base, "--image", "flash=" + locked, "--correct"]),
            ("change-volatile", [*base, "--image", "eeprom=" + learned]),
            ("derived-wrong", [*base, "--image", "flash=" + damaged]),
            ("map-not-believed", [*new, "--base", "flash=" + damaged]),
        ]
        for code, arguments in cases:
            self.error(CALSEAL, *arguments, "-o", output, status=1, code=code)
            self.assertEqual(self.desk.written(), {}, code)

    def test_incomplete_bundle_is_said_and_refused(self):
        value = self.desk.json(CALSEAL, *self.desk.revision_arguments(1), "--require-role", "author", "--require-role", "reviewer",
                               "-o", self.desk.at("incomplete.calseal"))
        self.assertIs(value["incomplete"], True)
        self.refused(*self.desk.check_arguments(self.desk.at("incomplete.calseal")), code="roles-missing")

    def test_expired_trial(self):
        self.desk.must(CALSEAL, *self.desk.revision_arguments(1), "--expires", "2026-03-05T00:00:00Z", "-o", self.desk.at("trial.calseal"))
        self.refused(*self.desk.check_arguments(self.desk.at("trial.calseal")), code="expired")


class Secrets(Job):
    def test_no_passphrase_and_no_terminal(self):
        arguments = [CALSEAL, "key", "show", self.desk.at("author.key")]
        self.error(*arguments, status=2, code="passphrase-missing")
        empty = self.desk.put("empty-word.txt", b"\nsecond line\n")
        self.error(*arguments, "--passphrase-file", empty, status=2, code="passphrase-missing")
        self.desk.json(*arguments, env={"CALSEAL_PASSPHRASE": PASSPHRASE})

    def test_wrong_passphrase(self):
        wrong = self.desk.put("wrong.txt", b"wrong horse\n")
        arguments = self.desk.revision_arguments(1)
        arguments[arguments.index(self.desk.at("word.txt"))] = wrong
        self.error(CALSEAL, *arguments, "-o", self.desk.out / "r.calseal", status=1, code="passphrase-wrong")
        self.assertEqual(self.desk.written(), {})

    def test_key_that_others_can_read(self):
        key = self.desk.put("open.key", pathlib.Path(self.desk.at("author.key")).read_bytes())
        for mode in (0o604, 0o640, 0o644, 0o602):
            os.chmod(key, mode)
            arguments = self.desk.revision_arguments(1)
            arguments[arguments.index(self.desk.at("author.key"))] = key
            self.error(CALSEAL, *arguments, "-o", self.desk.out / "r.calseal", status=1, code="key-file-permissions")
            self.assertEqual(self.desk.written(), {})

    def test_one_key_twice(self):
        self.error(CALSEAL, *self.desk.revision_arguments(1), "--key", self.desk.at("author.key"), "-o", self.desk.out / "r.calseal",
                   status=2, code="usage")

    def test_keys_trust_and_salt_are_never_replaced(self):
        before = {path.name: path.read_bytes() for path in self.desk.inputs.iterdir()}
        self.error(CALSEAL, "shop", "new", self.desk.inputs, "--name", "Other", "--passphrase-file", self.desk.at("word.txt"), status=2,
                   code="output-exists")
        self.error(CALSEAL, "key", "new", self.desk.at("author.key"), "--passphrase-file", self.desk.at("word.txt"), status=2,
                   code="output-exists")
        self.error(CALSEAL, *self.desk.base_arguments(), "--new-salt", self.desk.at("oak.salt"), "-o", self.desk.out / "r.calseal",
                   status=2, code="output-exists")
        self.assertEqual(self.desk.written(), {})
        self.assertEqual({path.name: path.read_bytes() for path in self.desk.inputs.iterdir()}, before)

    def test_key_new_makes_a_pair(self):
        self.desk.must(CALSEAL, "key", "new", self.desk.out / "k", "--passphrase-file", self.desk.at("word.txt"))
        public = self.desk.json(CALSEAL, "key", "show", self.desk.out / "k.pub")
        private = self.desk.json(CALSEAL, "key", "show", self.desk.out / "k", "--passphrase-file", self.desk.at("word.txt"))
        self.assertEqual(public["keys"][0]["id"], private["keys"][0]["id"])


class Outputs(Job):
    def test_output_is_input(self):
        arguments = self.desk.check_arguments(self.desk.at("r1.calseal"))
        os.link(self.desk.at("flash.bin"), self.desk.out / "hard")
        os.symlink(self.desk.at("shop.trust"), self.desk.out / "soft")
        before = {path.name: path.read_bytes() for path in self.desk.inputs.iterdir()}
        for name in ("flash.bin", "eeprom.bin", "r1.calseal", "shop.trust", "oak.salt"):
            self.error(CALSEAL_CHECK, *arguments, "--image", "flash=" + self.desk.at(name), "--image", f"eeprom={self.desk.out}/e",
                       status=2, code="output-is-input")
        for name in ("hard", "soft"):
            self.error(CALSEAL_CHECK, *arguments, "--image", f"flash={self.desk.out}/{name}", "--image", f"eeprom={self.desk.out}/e",
                       status=2, code="output-is-input")
        notes = self.desk.put("notes.txt", b"notes\n")
        before["notes.txt"] = b"notes\n"
        for name in ("notes.txt", "edit1.bin", "r0.calseal", "author.key", "shop.trust", "oak.salt", "word.txt"):
            self.error(CALSEAL, *self.desk.revision_arguments(1), "--notes-file", notes, "-o", self.desk.at(name), status=2,
                       code="output-is-input")
        self.error(CALSEAL, *self.desk.revision_arguments(1), "--attach", notes, "-o", notes, status=2, code="output-is-input")
        self.assertEqual({path.name: path.read_bytes() for path in self.desk.inputs.iterdir()}, before)

    def test_one_output_for_two_files(self):
        arguments = self.desk.check_arguments(self.desk.at("r1.calseal"))
        for other in ("one", "./one", "../out/one"):
            self.error(CALSEAL_CHECK, *arguments, "--image", f"flash={self.desk.out}/one", "--image", f"eeprom={self.desk.out}/{other}",
                       status=2, code="usage")
        self.assertEqual(self.desk.written(), {})

    def test_an_output_for_every_file(self):
        arguments = self.desk.check_arguments(self.desk.at("r1.calseal"))
        for images in (["flash=one"], ["one"], ["flash=one", "flash=two"], ["flash=one", "eeprom=two", "ram=three"]):
            words = [word for image in images for word in ("--image", image.replace("=", f"={self.desk.out}/"))]
            self.error(CALSEAL_CHECK, *arguments, *words, status=2, code="usage")
            self.assertEqual(self.desk.written(), {})

    def test_image_with_seal_only(self):
        self.error(CALSEAL_CHECK, *self.desk.check_arguments(self.desk.at("r1.calseal")), *self.desk.image_arguments(), "--seal-only",
                   status=2, code="usage")


if __name__ == "__main__":
    unittest.main()
