"""A region map that allows more than the one before: refused by a checker that remembers, and passed with the shop's approval."""

import json
import unittest

import desk as desks
from desk import CALSEAL, CALSEAL_CHECK

WHY = "the code behind the tables is ours now"


def wide_map(version):
    """32 bytes of locked code become editable."""
    regions = json.loads(json.dumps(desks.REGIONS))
    regions["version"] = version
    regions["regions"].append({"name": "code", "memory": "flash", "start": "0x80000090", "size": 32, "policy": "editable"})
    return json.dumps(regions).encode()


class Rules(unittest.TestCase):
    @classmethod
    def setUpClass(cls):
        cls.desk = desks.Desk()
        cls.desk.open_shop()
        for key in ("root.key", "author.key"):
            cls.desk.quicken(key)
        cls.desk.seal_base()
        cls.desk.seal_revision(1)
        cls.wide = cls.desk.put("wide.json", wide_map(2))
        cls.desk.json(*cls.approve("root.key", cls.wide), "-o", cls.desk.at("wide.approval"))
        cls.desk.seal_revision(2, "--parent", cls.desk.at("r1.calseal"), "--regions", cls.wide, "--approval", cls.desk.at("wide.approval"))
        cls.desk.seal_revision(3, "--parent", cls.desk.at("r2.calseal"), "--regions", cls.wide)

    @classmethod
    def tearDownClass(cls):
        cls.desk.close()

    def setUp(self):
        self.desk.clear_out()
        self.state = self.desk.root / "job.state"
        self.state.unlink(missing_ok=True)

    @classmethod
    def approve(cls, key, after):
        return [CALSEAL, "regions", "approve", cls.desk.at("duo.json"), after, "--text", WHY, "--key", cls.desk.at(key), "--trust",
                cls.desk.at("shop.trust"), "--passphrase-file", cls.desk.at("word.txt"), "--claimed-time", desks.TIME]

    def forged(self, name, regions):
        """What a holder of the author's key makes: a revision 0 of his own, and a revision on it. Nobody asks him."""
        base = self.desk.base_arguments()
        base[base.index("--regions") + 1] = regions
        salt = ["--salt", self.desk.at("oak.salt")]
        self.desk.json(CALSEAL, *base, *salt, "--sequence", "7", "-o", self.desk.at(f"{name}0.calseal"))
        revision = self.desk.revision_arguments(4)
        revision[revision.index("--base-bundle") + 1] = self.desk.at(f"{name}0.calseal")
        self.desk.json(CALSEAL, *revision, "--sequence", "8", "-o", self.desk.at(f"{name}1.calseal"))
        return self.desk.at(f"{name}0.calseal"), self.desk.at(f"{name}1.calseal")

    def check(self, bundle, status=0):
        return self.desk.json(CALSEAL_CHECK, *self.desk.check_arguments(bundle), *self.desk.image_arguments(), "--state", self.state, status=status)

    def accept(self, number):
        self.desk.clear_out()
        return self.check(self.desk.at(f"r{number}.calseal"))

    def refuse(self, bundle, reason):
        before = self.state.read_bytes()
        verdict = self.check(bundle, status=1)
        self.assertEqual(verdict["reason"], reason)
        self.assertEqual(self.desk.written(), {})
        self.assertEqual(self.state.read_bytes(), before)
        return verdict

    def test_a_map_that_allows_more_is_refused(self):
        self.accept(1)
        self.desk.clear_out()
        way_back, revision = self.forged("thief", self.wide)
        for bundle in (way_back, revision):
            verdict = self.refuse(bundle, "rules-widened")
            self.assertEqual(verdict["error"]["found"], "the shop's rules now allow 32 more bytes to change, code among them")

    def test_one_version_with_two_texts_is_refused(self):
        self.accept(1)
        self.desk.clear_out()
        _, revision = self.forged("careless", self.desk.put("same.json", wide_map(1)))
        self.refuse(revision, "rules-changed")

    def test_without_a_state_nothing_is_asked(self):
        _, revision = self.forged("unseen", self.wide)
        self.desk.must(CALSEAL_CHECK, *self.desk.check_arguments(revision), *self.desk.image_arguments())

    def test_what_the_shop_approved_is_accepted_and_said_first(self):
        self.accept(1)
        verdict = self.accept(2)
        self.assertEqual(verdict["cautions"][0], {"code": "rules-widened", "text": "the shop's rules now allow 32 more bytes to change, "
                         f"code among them; approved by the root of Example Shop at {desks.TIME} (claimed): {WHY}"})
        self.assertNotIn("rules-widened", [caution["code"] for caution in self.accept(3)["cautions"]])
        self.state.unlink()
        self.accept(1)
        self.desk.clear_out()
        said = self.desk.must(CALSEAL_CHECK, *self.desk.check_arguments(self.desk.at("r2.calseal")), *self.desk.image_arguments(), "--state",
                              self.state).stdout.decode()
        self.assertLess(said.index("32 more bytes"), said.index("compare the fingerprint"))

    def test_who_left_out_a_revision_still_has_the_way(self):
        self.accept(1)
        self.assertEqual(self.accept(3)["cautions"][0]["code"], "rules-widened")

    def test_the_way_back_stays_open(self):
        self.accept(0)
        self.accept(2)
        self.assertEqual(self.accept(0)["passage"], "way-back")

    def test_sealing_says_what_customers_would_say(self):
        arguments = self.desk.revision_arguments(5) + ["--parent", self.desk.at("r1.calseal")]
        refused = self.desk.json(CALSEAL, *arguments, "--regions", self.wide, "--dry-run", status=1)
        self.assertEqual(refused["reason"], "rules-widened")
        self.assertIn("regions approve", json.dumps(refused))
        same = self.desk.put("same.json", wide_map(1))
        self.assertEqual(self.desk.json(CALSEAL, *arguments, "--regions", same, "--dry-run", status=1)["reason"], "rules-changed")
        other = ["--approval", self.desk.at("duo.json")]
        self.assertEqual(self.desk.json(CALSEAL, *arguments, "--regions", self.wide, *other, "--dry-run", status=1)["reason"], "type-wrong")
        narrower = [*arguments[:-1], self.desk.at("r3.calseal"), "--regions", self.desk.at("duo.json"), "--dry-run"]
        self.desk.json(CALSEAL, *narrower)

    def test_an_author_cannot_approve(self):
        told = self.desk.json(*self.approve("author.key", self.wide), "-o", self.desk.out / "a", status=1)
        self.assertEqual(told["reason"], "roles-missing")
        self.assertEqual(self.desk.written(), {})

    def test_approving_shows_what_is_signed(self):
        said = self.desk.must(*self.approve("root.key", self.wide), "-o", self.desk.out / "a").stdout.decode()
        self.assertLess(said.index("WIDENS  flash 0x80000090-0x800000af"), said.index("approved"))
        self.assertIn("allow 32 more bytes to change", said)
        self.assertEqual(self.desk.written()["a"], (self.desk.inputs / "wide.approval").read_bytes())
        self.assertIn(WHY, " ".join(self.desk.must(CALSEAL, "show", self.desk.at("r3.calseal")).stdout.decode().split()))
        for after, status, reason in ((self.desk.at("duo.json"), 2, "usage"), (self.desk.put("same.json", wide_map(1)), 1, "rules-changed")):
            self.assertEqual(self.desk.json(*self.approve("root.key", after), "-o", self.desk.out / "b", status=status)["reason"], reason)


if __name__ == "__main__":
    unittest.main()
