"""The shop's side of trust, with the real programs: keys come, go and are stolen; roots succeed each other; revisions are
counter-signed, withdrawn and listed. What openssl makes is taken, and what we make openssl takes."""

import hashlib
import hmac
import json
import os
import pathlib
import subprocess
import unittest

import desk as desks
from desk import CALSEAL, CALSEAL_CHECK, PASSPHRASE

EARLY = "2026-01-01T00:00:00Z"
LATER = "2026-05-01T00:00:00Z"
HASH = hashlib.sha256(b"a ledger").hexdigest()


def signed_json(path):
    return json.loads(pathlib.Path(path).read_bytes().split(b"\n")[0])


class Shop(unittest.TestCase):
    """A desk of its own for each test: shop, r0 and r1."""

    def setUp(self):
        self.desk = desks.Desk()
        self.addCleanup(self.desk.close)
        self.shop = self.desk.open_shop()
        self.base = self.desk.seal_base()
        self.first = self.desk.seal_revision(1)
        self.version = 1

    def at(self, name):
        return self.desk.at(name)

    def word(self):
        return ["--passphrase-file", self.at("word.txt")]

    def root(self):
        return ["--root-key", self.at("root.key"), *self.word(), "--claimed-time", LATER]

    def new_key(self, name):
        """A key pair; its id."""
        made = self.desk.json(CALSEAL, "key", "new", self.at(name), *self.word())
        return made["keys"][0]["id"]

    def change(self, command, *arguments, trust=None, status=0):
        """The next trust file, made from the newest, which is what `self.trust` names from then on."""
        old = trust or self.trust_name()
        new = f"shop-{self.version + 1}.trust"
        made = self.desk.json(CALSEAL, "shop", command, self.at(old), *arguments, *self.root(), "-o", self.at(new), status=status)
        if status == 0:
            self.version += 1
            self.assertEqual(made["trust"]["version"], self.version)
            self.assertEqual(signed_json(self.at(new))["version"], self.version)
        return made

    def trust_name(self):
        return "shop.trust" if self.version == 1 else f"shop-{self.version}.trust"

    def trust(self):
        return ["--trust", self.at(self.trust_name())]

    def add_key(self, name, role, *more):
        key_id = self.new_key(name)
        self.change("add-key", self.at(name + ".pub"), "--name", name, "--role", role, "--valid-from", EARLY, *more)
        return key_id

    def check(self, bundle, *more, status=0):
        """The verdict of both programs, which must agree."""
        arguments = [a if a != self.at("shop.trust") else self.at(self.trust_name())
                     for a in self.desk.check_arguments(self.at(bundle))]
        whole = self.desk.json(CALSEAL, "check", *arguments, *more, status=status)
        small = self.desk.json(CALSEAL_CHECK, *arguments, *more, status=status)
        self.assertEqual(whole, desks.as_the_shop_reads(small))
        return whole

    def refused(self, *arguments, code, status=1, env=None):
        value = self.desk.json(*arguments, status=status, env=env)
        self.assertEqual((value["calseal"], value["reason"]), ("error/1", code), value)
        plain = self.desk.must(*arguments, status=status, env=env)
        self.assertEqual(plain.stdout, b"")
        self.assertIn(f"[{code}]", plain.stderr.decode())
        return value


class TrustFiles(Shop):
    def test_show_says_everything(self):
        self.add_key("second.key", "author", "--job", "oak-17", "--controller", "engine", "--region-map", HASH,
                     "--valid-until", "2030-01-01T00:00:00Z")
        shown = self.desk.json(CALSEAL, "shop", "show", self.at("shop-2.trust"))
        self.assertFalse(shown["root_stated"])
        trust = shown["trust"]
        self.assertEqual(trust["root_id"], self.shop["root_id"])
        self.assertEqual(trust["root_fingerprint"], self.shop["root_fingerprint"])
        by_name = {key["name"]: key for key in trust["keys"]}
        second = by_name["second.key"]
        self.assertEqual((second["roles"], second["jobs"], second["controllers"], second["region_maps"], second["state"]),
                         (["author"], ["oak-17"], ["engine"], [HASH], "active"))
        self.assertEqual((second["valid_from"], second["valid_until"]), (EARLY, "2030-01-01T00:00:00Z"))
        text = self.desk.must(CALSEAL, "shop", "show", self.at("shop-2.trust")).stdout.decode()
        for word in (self.shop["root_fingerprint"], second["fingerprint"], second["id"], HASH, "oak-17"):
            self.assertIn(word, text)

    def test_show_compares_the_stated_root(self):
        for root in (self.shop["root_fingerprint"], self.shop["root_id"]):
            self.assertTrue(self.desk.json(CALSEAL, "shop", "show", self.at("shop.trust"), "--root", root)["root_stated"])
        self.refused(CALSEAL, "shop", "show", self.at("shop.trust"), "--root", self.shop["author_id"], code="root-mismatch")
        self.refused(CALSEAL, "shop", "show", self.at("r0.calseal"), code="type-wrong")
        self.refused(CALSEAL, "shop", "show", self.at("none.trust"), code="file-missing", status=3)

    def test_a_new_key_signs_and_a_retired_one_has_signed(self):
        self.add_key("second.key", "author")
        signing = ["--key", self.at("second.key"), *self.trust(), *self.word(), "--claimed-time", LATER]
        arguments = [a for a in self.desk.revision_arguments(2) if a not in self.desk.signing()]
        self.desk.json(CALSEAL, *arguments, *signing, "-o", self.at("r2.calseal"))
        self.assertEqual(self.check("r2.calseal")["verdict"], "accepted")
        made = self.change("retire-key", self.shop["author_id"])
        self.assertEqual((made["change"], made["key"]), ("key-retired", self.shop["author_id"]))
        self.assertEqual(self.check("r1.calseal")["verdict"], "accepted")
        late = ["--key", self.at("author.key"), *self.trust(), *self.word(), "--claimed-time", LATER]
        self.refused(CALSEAL, *arguments, *late, "-o", self.at("late.calseal"), code="key-validity")

    def test_keys_are_named_in_three_ways(self):
        self.add_key("second.key", "author")
        shown = self.desk.json(CALSEAL, "key", "show", self.at("second.key.pub"))["keys"][0]
        for name, until in ((shown["id"], "2029-01-01T00:00:00Z"), (shown["fingerprint"], "2028-01-01T00:00:00Z"),
                            (self.at("second.key.pub"), "2027-01-01T00:00:00Z")):
            self.assertEqual(self.change("retire-key", name, "--valid-until", until)["key"], shown["id"])
        self.refused(CALSEAL, "shop", "retire-key", self.at("shop.trust"), self.shop["root_fingerprint"], *self.root(),
                     "-o", self.at("x.trust"), code="usage", status=2)
        self.refused(CALSEAL, "shop", "retire-key", self.at("shop.trust"), HASH, *self.root(), "-o", self.at("x.trust"),
                     code="usage", status=2)

    def test_the_threshold(self):
        self.refused(CALSEAL, "shop", "threshold", self.at("shop.trust"), "2", *self.root(), "-o", self.at("x.trust"),
                     code="usage", status=2)
        self.add_key("reviewer.key", "reviewer")
        made = self.change("threshold", "2")
        self.assertEqual(made["trust"]["threshold"], 2)
        self.assertEqual(self.check("r1.calseal", status=1)["reason"], "roles-missing")
        self.desk.json(CALSEAL, "countersign", self.at("r1.calseal"), "--key", self.at("reviewer.key"), *self.trust(), *self.word(),
                       "-o", self.at("both.calseal"))
        self.assertEqual(self.check("both.calseal")["verdict"], "accepted")

    def test_heads_are_pinned_in_order(self):
        self.change("pin-head", "--size", "412", "--root-hash", HASH)
        made = self.change("pin-head", "--size", "9", "--root-hash", "0" * 64)
        self.assertEqual([head["size"] for head in made["trust"]["ledger_heads"]], [9, 412])
        for size, digest in (("412", HASH), ("412", "1" * 64), ("5", "short"), ("0", HASH)):
            self.refused(CALSEAL, "shop", "pin-head", self.at("shop-3.trust"), "--size", size, "--root-hash", digest, *self.root(),
                         "-o", self.at("x.trust"), code="usage", status=2)

    def test_nothing_is_replaced_and_nothing_is_left(self):
        self.new_key("second.key")
        before = {path.name: path.read_bytes() for path in self.desk.inputs.iterdir()}
        add = [CALSEAL, "shop", "add-key", self.at("shop.trust"), self.at("second.key.pub"), "--name", "Second", "--role", "author"]
        self.refused(*add, *self.root(), "-o", self.at("shop.trust"), code="output-is-input", status=2)
        self.refused(*add, *self.root(), "-o", self.at("r0.calseal"), code="output-exists", status=2)
        self.refused(*add, *self.root(), "-o", self.at("none/x.trust"), code="write-failed", status=3)
        # The wrong key for the root's place, and the wrong word for the right one.
        self.refused(*add, "--root-key", self.at("author.key"), *self.word(), "-o", self.at("x.trust"), code="trust-invalid")
        wrong = self.desk.put("wrong.txt", b"wrong\n")
        before["wrong.txt"] = b"wrong\n"
        self.refused(*add, "--root-key", self.at("root.key"), "--passphrase-file", wrong, "-o", self.at("x.trust"),
                     code="passphrase-wrong")
        self.refused(*add, "--root-key", self.at("root.key"), "-o", self.at("x.trust"), code="passphrase-missing", status=2)
        os.chmod(self.at("root.key"), 0o640)
        self.refused(*add, *self.root(), "-o", self.at("x.trust"), code="key-file-permissions")
        os.chmod(self.at("root.key"), 0o600)
        self.refused(*add, "--root-key", self.at("root.key"), *self.word(), "--claimed-time", "2025-01-01T00:00:00Z",
                     "-o", self.at("x.trust"), code="usage", status=2)
        self.refused(*add, "--root-key", self.at("root.key"), *self.word(), "--claimed-time", "soon", "-o", self.at("x.trust"),
                     code="usage", status=2)
        for wrong_argument in (["--job", "Oak 17"], ["--controller", ""], ["--region-map", "x"], ["--valid-from", "now"],
                               ["--valid-until", EARLY], ["--role", "captain"]):
            self.refused(*add, *wrong_argument, *self.root(), "-o", self.at("x.trust"), code="usage", status=2)
        self.refused(CALSEAL, "shop", "add-key", self.at("shop.trust"), self.at("second.key"), "--name", "S", "--role", "author",
                     *self.root(), "-o", self.at("x.trust"), code="key-file-invalid")
        self.assertEqual({path.name: path.read_bytes() for path in self.desk.inputs.iterdir()}, before)
        # From the environment it goes too.
        self.desk.json(*add, "--root-key", self.at("root.key"), "--claimed-time", LATER, "-o", self.at("x.trust"),
                       env={"CALSEAL_PASSPHRASE": PASSPHRASE})

    def test_the_trust_file_keeps_its_name(self):
        """Without --output: the older versions are put aside, each whole, and what was sealed is checked under the one name."""
        self.new_key("second.key")
        first = pathlib.Path(self.at("shop.trust")).read_bytes()
        steps = [["add-key", self.at("second.key.pub"), "--name", "Second", "--role", "author"], ["threshold", "2"], ["threshold", "1"],
                 ["retire-key", self.at("second.key.pub"), "--valid-until", "2026-06-01T00:00:00Z"], ["pin-head", "--size", "3", "--root-hash", HASH]]
        versions = [first]
        for version, (command, *arguments) in enumerate(steps, 2):
            made = self.desk.json(CALSEAL, "shop", command, self.at("shop.trust"), *arguments, *self.root())
            self.assertEqual(made["trust"]["version"], version)
            self.assertEqual(made["output"], self.at("shop.trust"))
            self.assertEqual(made["put_aside"], self.at(f"shop-v{version - 1}.trust"))
            self.assertEqual(pathlib.Path(made["put_aside"]).read_bytes(), versions[-1])
            versions.append(pathlib.Path(made["output"]).read_bytes())
        self.assertEqual(self.check("r1.calseal")["verdict"], "accepted")

    def test_a_succession_keeps_the_name_too(self):
        self.new_key("root2.key")
        self.desk.json(CALSEAL, "shop", "announce-root", self.at("shop.trust"), self.at("root2.key.pub"), *self.root())
        old = pathlib.Path(self.at("shop.trust")).read_bytes()
        done = self.desk.json(CALSEAL, "shop", "succeed", self.at("shop.trust"), "--new-root-key", self.at("root2.key"), *self.root(),
                              "--succession", self.at("s.succession"))
        self.assertEqual(done["put_aside"], self.at("shop-v2.trust"))
        self.assertEqual(pathlib.Path(done["put_aside"]).read_bytes(), old)
        # Version 1 of the new root: the first root's has that name already.
        self.new_key("root3.key")
        made = self.desk.json(CALSEAL, "shop", "announce-root", self.at("shop.trust"), self.at("root3.key.pub"), "--root-key",
                              self.at("root2.key"), *self.word(), "--claimed-time", LATER)
        self.assertEqual(made["put_aside"], self.at(f"shop-v1-{done['trust']['root_id'][:8]}.trust"))
        self.assertEqual(signed_json(made["put_aside"])["version"], 1)
        self.assertEqual(self.check("r1.calseal", "--succession", self.at("s.succession"), "--root", self.shop["root_id"])["verdict"],
                         "accepted")

    def test_nothing_is_put_aside_over_another_file(self):
        self.new_key("second.key")
        add = [CALSEAL, "shop", "add-key", self.at("shop.trust"), self.at("second.key.pub"), "--name", "Second", "--role", "author",
               *self.root()]
        taken = [self.at("shop-v1.trust"), self.at(f"shop-v1-{self.shop['root_id'][:8]}.trust")]
        for path in taken:
            pathlib.Path(path).write_bytes(b"another shop's\n")
        before = {path.name: path.read_bytes() for path in self.desk.inputs.iterdir()}
        self.refused(*add, code="output-exists", status=2)
        self.assertEqual({path.name: path.read_bytes() for path in self.desk.inputs.iterdir()}, before)
        # What a run that was cut off has put aside already is no obstacle.
        pathlib.Path(taken[0]).write_bytes(before["shop.trust"])
        self.assertEqual(self.desk.json(*add)["put_aside"], taken[0])

    def test_a_list_of_withdrawals_keeps_its_name(self):
        self.add_key("desk.key", "withdrawal")
        sign = ["--key", self.at("desk.key"), *self.trust(), *self.word(), "--claimed-time", LATER]
        self.desk.json(CALSEAL, "withdraw", *sign, "-o", self.at("desk.list"))
        first = pathlib.Path(self.at("desk.list")).read_bytes()
        made = self.desk.json(CALSEAL, "withdraw", self.at("r1.calseal"), "--class", "error", "--after", self.at("desk.list"), *sign)
        self.assertEqual((made["number"], made["output"], made["put_aside"]), (2, self.at("desk.list"), self.at("desk-v1.list")))
        self.assertEqual(pathlib.Path(made["put_aside"]).read_bytes(), first)
        self.assertEqual(self.check("r1.calseal", "--withdrawals", self.at("desk.list"), status=1)["reason"], "withdrawn")
        dry = self.desk.json(CALSEAL, "withdraw", "--after", self.at("desk.list"), *sign, "--dry-run")
        self.assertEqual((dry["number"], dry["output"], dry["put_aside"]), (3, "", ""))

    def test_a_passphrase_of_a_few_letters_is_refused_for_a_new_key(self):
        short = self.desk.put("short.txt", b"a\n")
        self.refused(CALSEAL, "key", "new", self.at("short.key"), "--passphrase-file", short, code="usage", status=2)
        self.assertFalse(os.path.exists(self.at("short.key")))

    def test_a_passphrase_is_no_argument(self):
        for command in (["shop", "add-key"], ["shop", "succeed"], ["countersign"], ["withdraw"], ["job", "sign-list"]):
            text = self.desk.must(CALSEAL, *command, "--help").stdout.decode()
            self.assertIn("--passphrase-file", text)
            self.assertNotIn("--passphrase ", text)


class Theft(Shop):
    def test_a_stolen_key(self):
        """The procedure of docs/keys.md."""
        self.add_key("second.key", "author")
        made = self.change("compromise-key", self.at("author.key.pub") if os.path.exists(self.at("author.key.pub")) else self.shop["author_id"])
        self.assertEqual((made["change"], made["key"]), ("key-compromised", self.shop["author_id"]))
        for bundle in ("r0.calseal", "r1.calseal"):
            self.assertEqual(self.check(bundle, status=1)["reason"], "key-compromised")
            signed = self.desk.json(CALSEAL, "countersign", self.at(bundle), "--key", self.at("second.key"), *self.trust(),
                                    *self.word(), "-o", self.at("new-" + bundle))
            self.assertFalse(signed["incomplete"])
            self.assertEqual(sorted(signed["signers"]), ["first key", "second.key"])
            self.assertEqual(self.check("new-" + bundle)["bundle"]["identity"], signed["identity"])
            self.assertEqual(signed["identity"], (self.base if bundle == "r0.calseal" else self.first)["identity"])
        self.refused(CALSEAL, "shop", "compromise-key", self.at("shop-3.trust"), self.shop["author_id"], *self.root(),
                     "-o", self.at("x.trust"), code="usage", status=2)

    def test_the_procedure_is_said(self):
        self.new_key("second.key")
        text = self.desk.must(CALSEAL, "shop", "compromise-key", self.at("shop.trust"), self.shop["author_id"], *self.root(),
                              "-o", self.at("x.trust")).stdout.decode()
        self.assertIn("counter-sign every revision 0", text)
        self.assertIn("COMPROMISED", text)
        self.assertLess(text.index("counter-sign"), text.index("give this trust file"))


class Roots(Shop):
    def succeed(self, *more, status=0, trust=None):
        return self.desk.json(CALSEAL, "shop", "succeed", self.at(trust or self.trust_name()), "--root-key", self.at("root.key"),
                              "--new-root-key", self.at("root2.key"), *self.word(), "--claimed-time", LATER,
                              "--succession", self.at("s.succession"), "-o", self.at("new.trust"), *more, status=status)

    def test_the_announced_root_takes_over(self):
        new_root = self.new_key("root2.key")
        self.assertEqual(self.succeed(status=1)["reason"], "succession-invalid")
        self.assertFalse(os.path.exists(self.at("s.succession")) or os.path.exists(self.at("new.trust")))
        made = self.change("announce-root", self.at("root2.key.pub"))
        self.assertEqual((made["change"], made["key"], made["trust"]["next_root"]), ("root-announced", new_root, new_root))
        done = self.succeed("--reason", "the stick wears out")
        self.assertEqual((done["old_root_id"], done["trust"]["root_id"], done["trust"]["version"]), (self.shop["root_id"], new_root, 1))
        self.assertEqual([key["id"] for key in done["trust"]["keys"]], sorted([self.shop["author_id"], self.shop["withdrawal_id"]]))
        statement = signed_json(self.at("s.succession"))
        self.assertEqual(statement["old_trust"].encode(), pathlib.Path(self.at("shop-2.trust")).read_bytes())
        self.assertEqual(statement["reason"], "the stick wears out")
        lines = pathlib.Path(self.at("s.succession")).read_text().splitlines()
        self.assertEqual(sorted(line[:64] for line in lines[1:]), sorted([self.shop["root_id"], new_root]))

    def test_both_files_or_none(self):
        self.new_key("root2.key")
        self.change("announce-root", self.at("root2.key.pub"))
        self.desk.put("new.trust", b"here already\n")
        self.assertEqual(self.succeed(status=2)["reason"], "output-exists")
        self.assertFalse(os.path.exists(self.at("s.succession")))
        os.unlink(self.at("new.trust"))
        self.assertEqual(self.succeed("--reason", "two\nlines", status=2)["reason"], "usage")
        self.assertEqual(self.succeed("--new-passphrase-file", self.desk.put("wrong.txt", b"wrong\n"), status=1)["reason"],
                         "passphrase-wrong")
        self.assertFalse(os.path.exists(self.at("s.succession")) or os.path.exists(self.at("new.trust")))

    def test_keys_that_are_no_next_root(self):
        self.new_key("second.key")
        self.add_key("third.key", "author")
        self.refused(CALSEAL, "shop", "announce-root", self.at("shop-2.trust"), self.at("third.key.pub"), *self.root(),
                     "-o", self.at("x.trust"), code="usage", status=2)
        self.change("announce-root", self.at("second.key.pub"))
        self.refused(CALSEAL, "shop", "add-key", self.at("shop-3.trust"), self.at("second.key.pub"), "--name", "x", "--role", "author",
                     *self.root(), "-o", self.at("x.trust"), code="usage", status=2)


class OnTheCustomersSide(Shop):
    """What the shop states, as the checker takes it."""

    def test_a_succession_leads_from_the_root_that_he_was_told(self):
        new_root = self.new_key("root2.key")
        self.change("announce-root", self.at("root2.key.pub"))
        self.desk.json(CALSEAL, "shop", "succeed", self.at("shop-2.trust"), "--root-key", self.at("root.key"), "--new-root-key",
                       self.at("root2.key"), *self.word(), "--claimed-time", LATER, "--succession", self.at("s.succession"),
                       "-o", self.at("shop-3.trust"))
        self.version = 3
        told = ["--root", self.shop["root_fingerprint"]]
        self.assertEqual(self.check("r1.calseal", *told, status=1)["reason"], "root-mismatch")
        verdict = self.check("r1.calseal", *told, "--succession", self.at("s.succession"))
        self.assertEqual(verdict["verdict"], "accepted")
        self.assertEqual(self.check("r1.calseal", "--root", new_root)["verdict"], "accepted")
        bent = bytearray(pathlib.Path(self.at("s.succession")).read_bytes())
        bent[-10] ^= 1
        self.desk.put("bent.succession", bytes(bent))
        self.assertEqual(self.check("r1.calseal", *told, "--succession", self.at("bent.succession"), status=1)["reason"], "succession-invalid")

    def test_a_pinned_head_saves_what_the_ledger_held_before_the_theft(self):
        salt = bytes(range(32))

        def line(identity):
            subject = hmac.new(salt, bytes.fromhex(identity), hashlib.sha256).hexdigest()
            return '{"calseal":"entry/1","kind":"sealed","claimed_time":"%s","subject":"%s"}' % (desks.TIME, subject)

        def leaf(text):
            return hashlib.sha256(b"\0" + text.encode()).digest()

        def node(left, right):
            return hashlib.sha256(b"\1" + left + right).digest()

        # Three lines; the theft comes after all of them.
        lines = [line(self.base["identity"]), line(self.first["identity"]), line("ab" * 32)]
        leaves = [leaf(text) for text in lines]
        root_hash = node(node(leaves[0], leaves[1]), leaves[2]).hex()

        def proof(name, index, path, entry=None):
            value = {"calseal": "inclusion/1", "entry": entry or lines[index], "salt": salt.hex(), "head": {"size": 3, "root_hash": root_hash},
                     "index": index, "path": [hash.hex() for hash in path]}
            return self.desk.put(name, json.dumps(value, separators=(",", ":")).encode() + b"\n")

        own = proof("r1.proof", 1, [leaves[0], leaves[2]])
        other = proof("r0.proof", 0, [leaves[1], leaves[2]])
        wrong_path = proof("wrong.proof", 1, [leaves[2], leaves[0]])
        made = self.desk.seal_revision(2, "--parent", self.at("r1.calseal"))
        invented = proof("thief.proof", 1, [leaves[0], leaves[2]], entry=line(made["identity"]))
        self.change("compromise-key", self.shop["author_id"])
        self.assertEqual(self.check("r1.calseal", status=1)["reason"], "key-compromised")
        self.assertEqual(self.check("r1.calseal", "--inclusion", own, status=1)["reason"], "inclusion-invalid")
        self.change("pin-head", "--size", "3", "--root-hash", root_hash)
        self.assertEqual(self.check("r1.calseal", status=1)["reason"], "key-compromised")
        self.assertEqual(self.check("r1.calseal", "--inclusion", own)["verdict"], "accepted")
        self.assertEqual(self.check("r0.calseal", "--inclusion", other)["verdict"], "accepted")
        for bundle, evidence in (("r1.calseal", other), ("r1.calseal", wrong_path), ("r2.calseal", own), ("r2.calseal", invented)):
            self.assertEqual(self.check(bundle, "--inclusion", evidence, status=1)["reason"], "inclusion-invalid", (bundle, evidence))

    def test_withdrawals_and_job_lists(self):
        self.add_key("desk.key", "withdrawal")
        self.desk.seal_revision(2, "--parent", self.at("r1.calseal"))
        self.desk.json(CALSEAL, "withdraw", self.at("r2.calseal"), "--class", "safety", "--go-back", "--key", self.at("desk.key"),
                       *self.trust(), *self.word(), "--claimed-time", LATER, "-o", self.at("1.list"))
        self.assertEqual(self.check("r2.calseal", "--withdrawals", self.at("1.list"), status=1)["reason"], "withdrawn")
        for bundle in ("r0.calseal", "r1.calseal"):
            self.assertEqual(self.check(bundle, "--withdrawals", self.at("1.list"))["verdict"], "accepted")
        # A notice by digest against the way back has no effect, whoever signed it.
        self.desk.json(CALSEAL, "withdraw", "--revision", self.base["identity"], "--job", "oak-17", "--controller", "engine", "--class", "error",
                       "--after", self.at("1.list"), "--key", self.at("desk.key"), *self.trust(), *self.word(), "--claimed-time", LATER,
                       "-o", self.at("2.list"))
        self.assertEqual(self.check("r0.calseal", "--withdrawals", self.at("2.list"))["verdict"], "accepted")
        self.desk.json(CALSEAL, "job", "sign-list", self.at("r0.calseal"), self.at("r2.calseal"), *self.desk.signing(), "-o", self.at("oak.list"))
        self.assertEqual(self.check("r2.calseal", "--job-list", self.at("oak.list"))["verdict"], "accepted")
        self.assertEqual(self.check("r1.calseal", "--job-list", self.at("oak.list"), status=1)["reason"], "not-listed")


class CounterSigning(Shop):
    def sign(self, bundle, key, output, status=0):
        return self.desk.json(CALSEAL, "countersign", self.at(bundle), "--key", self.at(key), *self.trust(), *self.word(),
                              "-o", self.at(output), status=status)

    def test_a_required_reviewer(self):
        self.add_key("reviewer.key", "reviewer")
        self.desk.seal_revision(2, "--require-role", "author", "--require-role", "reviewer")
        self.assertEqual(self.check("r2.calseal", status=1)["reason"], "roles-missing")
        self.assertFalse(self.sign("r2.calseal", "reviewer.key", "both.calseal")["incomplete"])
        self.assertEqual(self.check("both.calseal")["verdict"], "accepted")

    def test_still_incomplete(self):
        self.add_key("second.key", "author")
        self.desk.seal_revision(2, "--require-role", "author", "--require-role", "reviewer")
        self.assertTrue(self.sign("r2.calseal", "second.key", "more.calseal")["incomplete"])
        text = self.desk.must(CALSEAL, "countersign", self.at("r2.calseal"), "--key", self.at("second.key"), *self.trust(), *self.word(),
                              "-o", self.at("more.calseal")).stdout.decode()
        self.assertIn("INCOMPLETE", text)

    def test_what_is_not_signed(self):
        stranger = self.new_key("stranger.key")
        sign = [CALSEAL, "countersign", self.at("r1.calseal"), *self.trust(), *self.word()]
        out = ["-o", self.at("x.calseal")]
        error = self.refused(*sign, "--key", self.at("stranger.key"), *out, code="signer-unknown")
        self.assertIn(stranger, error["place"])
        self.refused(*sign, "--key", self.at("author.key"), *out, code="usage", status=2)
        self.refused(*sign, "--key", self.at("author.key"), "--key", self.at("author.key"), *out, code="usage", status=2)
        self.refused(*sign, "--key", self.at("author.key"), "-o", self.at("r1.calseal"), code="output-is-input", status=2)
        self.add_key("late.key", "author")
        self.change("retire-key", self.at("late.key.pub"), "--valid-until", "2026-02-01T00:00:00Z")
        sign[sign.index("--trust") + 1] = self.at(self.trust_name())
        self.refused(*sign, "--key", self.at("late.key"), *out, code="key-validity")
        bent = bytearray(pathlib.Path(self.at("r1.calseal")).read_bytes())
        bent[-1] ^= 1
        self.desk.put("bent.calseal", bytes(bent))
        sign[2] = self.at("bent.calseal")
        self.add_key("second.key", "author")
        sign[sign.index("--trust") + 1] = self.at(self.trust_name())
        self.refused(*sign, "--key", self.at("second.key"), *out, code="framing-damaged")
        self.assertFalse(os.path.exists(self.at("x.calseal")))


class Withdrawing(Shop):
    def setUp(self):
        super().setUp()
        self.add_key("desk.key", "withdrawal")
        self.second = self.desk.seal_revision(2, "--parent", self.at("r1.calseal"))

    def signing(self, key="desk.key"):
        return ["--key", self.at(key), *self.trust(), *self.word(), "--claimed-time", LATER]

    def withdraw(self, *arguments, output, status=0):
        return self.desk.json(CALSEAL, "withdraw", *arguments, *self.signing(), "-o", self.at(output), status=status)

    def test_notices_accumulate(self):
        first = self.withdraw(self.at("r2.calseal"), "--class", "safety", "--go-back", "--go-to", self.first["identity"],
                              "--text", "too lean", output="1.list")
        self.assertEqual((first["number"], first["added"], first["fresh_until"]), (1, 1, "2026-07-30T00:00:00Z"))
        self.assertEqual(first["notices"], [{"revision": self.second["identity"], "job": "oak-17", "controller": "engine", "class": "safety",
                                             "action": "go-back", "go_to": self.first["identity"], "text": "too lean"}])
        second = self.withdraw("--revision", self.first["identity"], "--job", "oak-17", "--controller", "engine", "--class", "error",
                               "--after", self.at("1.list"), "--fresh-until", "2026-06-01T00:00:00Z", output="2.list")
        self.assertEqual((second["number"], second["added"], second["fresh_until"]), (2, 1, "2026-06-01T00:00:00Z"))
        by_revision = {notice["revision"]: notice for notice in second["notices"]}
        self.assertEqual(set(by_revision), {self.first["identity"], self.second["identity"]})
        # Nobody is sent to what is withdrawn.
        self.assertEqual((by_revision[self.second["identity"]]["action"], by_revision[self.second["identity"]]["go_to"]), ("go-back", ""))
        self.assertEqual(by_revision[self.first["identity"]]["action"], "do-not-write")
        third = self.withdraw("--after", self.at("2.list"), "--fresh-days", "10", output="3.list")
        self.assertEqual((third["number"], third["added"], third["notices"]), (3, 0, second["notices"]))
        self.assertEqual(signed_json(self.at("3.list"))["notices"], second["notices"])
        self.assertEqual(signed_json(self.at("3.list"))["root"], self.shop["root_id"])

    def test_never_the_way_back(self):
        error = self.refused(CALSEAL, "withdraw", self.at("r0.calseal"), "--class", "error", *self.signing(), "-o", self.at("x.list"),
                             code="usage", status=2)
        self.assertIn("way back", error["expected"])

    def test_who_may(self):
        words = [CALSEAL, "withdraw", self.at("r1.calseal"), "--class", "error"]
        self.refused(*words, *self.signing("author.key"), "-o", self.at("x.list"), code="roles-missing")
        self.new_key("stranger.key")
        self.refused(*words, *self.signing("stranger.key"), "-o", self.at("x.list"), code="signer-unknown")
        # A list is whole, so no key may be for some jobs only.
        self.new_key("other.key")
        self.refused(CALSEAL, "shop", "add-key", self.at(self.trust_name()), self.at("other.key.pub"), "--name", "Other", "--role",
                     "withdrawal", "--job", "oak-17", *self.root(), "-o", self.at("x.trust"), code="usage", status=2)

    def test_what_makes_no_sense(self):
        words = [CALSEAL, "withdraw", *self.signing(), "-o", self.at("x.list")]
        for wrong in ([self.at("r1.calseal")], [self.at("r1.calseal"), "--class", "whim"],
                      ["--revision", self.first["identity"], "--class", "error"],
                      ["--revision", "12", "--job", "oak-17", "--controller", "engine", "--class", "error"],
                      [self.at("r1.calseal"), "--class", "error", "--go-to", self.first["identity"]],
                      [self.at("r1.calseal"), "--class", "error", "--go-back", "--go-to", "r0"],
                      [self.at("r1.calseal"), "--class", "error", "--text", "two\nlines"],
                      [self.at("r1.calseal"), "--class", "error", "--fresh-until", EARLY],
                      [self.at("r1.calseal"), "--class", "error", "--fresh-days", "0"]):
            self.refused(*words, *wrong, code="usage", status=2)
        self.withdraw(self.at("r1.calseal"), "--class", "error", output="1.list")
        self.refused(*words, "--after", self.at("1.list"), "--number", "1", code="usage", status=2)
        self.refused(*words[:-1], self.at("1.list"), "--after", self.at("1.list"), code="output-is-input", status=2)
        self.refused(*words[:-1], self.at("1.list"), code="output-exists", status=2)
        bent = bytearray(pathlib.Path(self.at("1.list")).read_bytes())
        bent[40] ^= 1
        self.refused(*words, "--after", self.desk.put("bent.list", bytes(bent)), code="signature-bad")
        self.refused(*words, "--after", self.at("shop.trust"), code="type-wrong")
        self.refused(*words, "--after", self.desk.put("cut.list", bytes(pathlib.Path(self.at("1.list")).read_bytes()[:-1])),
                     code="withdrawals-invalid")

    def test_the_list_of_a_stolen_key_is_continued_under_the_file_from_before(self):
        self.withdraw(self.at("r1.calseal"), "--class", "error", output="1.list")
        before = self.trust_name()
        self.add_key("desk2.key", "withdrawal")
        self.change("compromise-key", self.at("desk.key.pub"))
        words = [CALSEAL, "withdraw", "--after", self.at("1.list"), *self.signing("desk2.key"), "-o", self.at("2.list")]
        self.refused(*words, code="key-compromised")
        made = self.desk.json(*words, "--after-trust", self.at(before))
        self.assertEqual((made["number"], len(made["notices"])), (2, 1))
        lost = self.desk.json(CALSEAL, "withdraw", "--number", "7", *self.signing("desk2.key"), "-o", self.at("7.list"))
        self.assertEqual(lost["number"], 7)


class JobLists(Shop):
    def test_a_job_is_listed(self):
        self.desk.seal_revision(2, "--parent", self.at("r1.calseal"))
        made = self.desk.json(CALSEAL, "job", "sign-list", self.at("r2.calseal"), self.at("r0.calseal"), self.at("r1.calseal"),
                              *self.desk.signing(), "-o", self.at("oak.list"))
        self.assertEqual((made["job"], made["controller"]), ("oak-17", "engine"))
        self.assertEqual([one["sequence"] for one in made["revisions"]], [1, 2, 3])
        self.assertEqual([one["identity"] for one in made["revisions"]][:2], [self.base["identity"], self.first["identity"]])
        self.assertEqual([one["digest"] for one in signed_json(self.at("oak.list"))["revisions"]],
                         [one["identity"] for one in made["revisions"]])
        text = self.desk.must(CALSEAL, "job", "sign-list", self.at("r0.calseal"), *self.desk.signing(), "-o", self.at("one.list")).stdout.decode()
        self.assertIn("sequence 1, base 1, revision 0", text)

    def test_what_is_not_listed(self):
        out = ["-o", self.at("x.list")]
        self.desk.seal_revision(2, "--sequence", "2")
        self.refused(CALSEAL, "job", "sign-list", self.at("r1.calseal"), self.at("r2.calseal"), *self.desk.signing(), *out, code="job-list-invalid")
        self.add_key("reviewer.key", "reviewer")
        signing = ["--key", self.at("reviewer.key"), *self.trust(), *self.word(), "--claimed-time", LATER]
        self.refused(CALSEAL, "job", "sign-list", self.at("r1.calseal"), *signing, *out, code="roles-missing")
        self.refused(CALSEAL, "job", "sign-list", self.at("shop.trust"), *self.desk.signing(), *out, code="not-a-bundle")
        self.change("compromise-key", self.shop["author_id"])
        self.refused(CALSEAL, "job", "sign-list", self.at("r1.calseal"), *signing[:3], self.at(self.trust_name()), *signing[4:], *out,
                     code="key-compromised")


class OtherPrograms(Shop):
    """Keys that the openssl program made are taken; what our keys sign it verifies."""

    def openssl(self, *arguments):
        return subprocess.run(["openssl", *[str(a) for a in arguments]], check=True, capture_output=True).stdout

    def test_keys_of_openssl(self):
        plain, key, public = self.at("o.pem"), self.at("o.key"), self.at("o.pub")
        self.openssl("genpkey", "-algorithm", "ed25519", "-out", plain)
        self.openssl("pkcs8", "-topk8", "-v2", "aes-256-cbc", "-v2prf", "hmacWithSHA256", "-iter", "2048", "-in", plain, "-out", key,
                     "-passout", "pass:" + PASSPHRASE)
        os.chmod(key, 0o600)
        self.openssl("pkey", "-in", plain, "-pubout", "-out", public)
        self.change("add-key", public, "--name", "Made elsewhere", "--role", "author", "--role", "withdrawal", "--valid-from", EARLY)
        key_id = hashlib.sha256(self.openssl("pkey", "-pubin", "-in", public, "-outform", "DER")).hexdigest()
        self.assertIn(key_id, [k["id"] for k in signed_json(self.at("shop-2.trust"))["keys"]])
        self.desk.json(CALSEAL, "countersign", self.at("r1.calseal"), "--key", key, *self.trust(), *self.word(), "-o", self.at("o.calseal"))
        self.assertEqual(self.check("o.calseal")["verdict"], "accepted")
        # As a root: it announces, is announced, and takes over.
        self.openssl("genpkey", "-algorithm", "ed25519", "-out", self.at("r.pem"))
        self.openssl("pkcs8", "-topk8", "-v2", "aes-256-cbc", "-in", self.at("r.pem"), "-out", self.at("r.key"), "-passout", "pass:" + PASSPHRASE)
        os.chmod(self.at("r.key"), 0o600)
        self.openssl("pkey", "-in", self.at("r.pem"), "-pubout", "-out", self.at("r.pub"))
        self.change("announce-root", self.at("r.pub"))
        self.desk.json(CALSEAL, "shop", "succeed", self.at(self.trust_name()), "--root-key", self.at("root.key"), "--new-root-key",
                       self.at("r.key"), *self.word(), "--claimed-time", LATER, "--succession", self.at("s"), "-o", self.at("new.trust"))

    def test_our_keys_and_statements(self):
        self.add_key("desk.key", "withdrawal")
        self.desk.json(CALSEAL, "withdraw", self.at("r1.calseal"), "--class", "error", "--key", self.at("desk.key"), *self.trust(),
                       *self.word(), "--claimed-time", LATER, "-o", self.at("1.list"))
        text = self.openssl("pkey", "-in", self.at("desk.key"), "-passin", "pass:" + PASSPHRASE, "-pubout").decode()
        self.assertEqual(text, pathlib.Path(self.at("desk.key.pub")).read_text())
        first, line, end = pathlib.Path(self.at("1.list")).read_bytes().split(b"\n")
        self.assertEqual(end, b"")
        self.desk.put("signed", first)
        self.desk.put("sig", bytes.fromhex(line.split(b" ")[1].decode()))
        self.openssl("pkeyutl", "-verify", "-rawin", "-pubin", "-inkey", self.at("desk.key.pub"), "-in", self.at("signed"),
                     "-sigfile", self.at("sig"))


if __name__ == "__main__":
    unittest.main()
