"""Advice speaks to who reads it: every refusal of the published vectors, and those that only lists, states, partners and statements of the
shop give, once by calseal-check and once by calseal. The customer is never told what only the shop can do, nor the shop to ask itself."""

import json
import pathlib
import re
import unittest

from desk import CALSEAL, CALSEAL_CHECK
from job_desk import JobDesk

FIXTURES = pathlib.Path(__file__).resolve().parents[3] / "fixtures"
# What only the other one can do.
CUSTOMERS_ONLY = re.compile(r"\b(ask|tell) the shop\b|the shop gave you|the shop confirms|\bits sender\b|\bthe sender\b|\bby voice\b|with the shop\b|\blay .* beside")
SHOPS_ONLY = re.compile(r"\bmend\b|region map and|use the region map|or declare its form|\bcalseal (job|ledger|shop|withdraw|countersign|regions|seal|option)\b|\brun correct\b|--(correct|approval|regions)\b|\bhand (it|this \w+) out\b|job\.salt in")


def reason(answer):
    return answer.get("reason", "") if isinstance(answer.get("reason", ""), str) else answer["reason"]["reason"]


def texts(answer):
    """Every text under a key `next`, and every caution, wherever it stands."""
    found = []
    if isinstance(answer, dict):
        for key, value in answer.items():
            if key == "next" and isinstance(value, str):
                found.append(value)
            elif key == "cautions":
                found += [caution["text"] for caution in value if isinstance(caution, dict)]
            else:
                found += texts(value)
    elif isinstance(answer, list):
        for value in answer:
            found += texts(value)
    return found


class Advice(unittest.TestCase):
    @classmethod
    def setUpClass(cls):
        cls.desk = JobDesk()

    @classmethod
    def tearDownClass(cls):
        cls.desk.close()

    def both(self, *arguments):
        """(what calseal-check said, what calseal said), as objects: the same refusal."""
        answers = []
        for program in ([CALSEAL_CHECK], [CALSEAL, "check"]):
            done = self.desk.run(*program, *arguments, "--json")
            answers.append((done.returncode, json.loads(done.stdout)))
        (one, customer), (two, shop) = answers
        self.assertEqual((one, reason(customer)), (two, reason(shop)), arguments)
        return customer, shop

    def judge(self, name, customer, shop):
        for text in texts(customer):
            self.assertIsNone(SHOPS_ONLY.search(text), f"{name}: calseal-check tells the customer: {text}")
        for text in texts(shop):
            self.assertIsNone(CUSTOMERS_ONLY.search(text), f"{name}: calseal tells the shop: {text}")

    def test_every_refusal_of_the_vectors(self):
        reasons = set()
        for folder in ("bundles", "proof", "rules"):
            at = FIXTURES / folder
            for row in json.loads((at / "index.json").read_text())["vectors"]:
                if row["expect"] in ("accepted", "authentic"):
                    continue
                arguments = [at / row["bundle"], "--trust", at / row["trust"]]
                for option, key in (("--root", "stated_root"), ("--vehicle", "vehicle_reference")):
                    arguments += [option, row[key]] if row[key] else []
                arguments += ["--salt", at / row["salt"]] if row["salt"] else []
                for read in row["reads"]:
                    memory, _, file = read.rpartition("=")
                    arguments += ["--read", f"{memory}={at / file}" if memory else at / file]
                for flag, key in (("--read-is-fresh", "read_is_fresh"), ("--revive", "revive"), ("--seal-only", "seal_only")):
                    arguments += [flag] if row[key] else []
                for one in row.get("successions", []):
                    arguments += ["--succession", at / one]
                if row.get("state"):
                    state = self.desk.root / "state"
                    state.write_bytes((at / row["state"]).read_bytes())
                    arguments += ["--state", state]
                with self.subTest(row["name"]):
                    customer, shop = self.both(*arguments)
                    reasons.add(reason(shop))
                    self.judge(row["name"], customer, shop)
        self.assertGreater(len(reasons), 50)

    def test_lists_states_partners_and_statements(self):
        desk = self.desk
        desk.seal_base()
        desk.seal_revision(1)
        desk.seal_revision(2, "--parent", desk.at("r1.calseal"))
        signing = ["--key", desk.at("author.key"), "--trust", desk.at("shop.trust"), "--passphrase-file", desk.at("word.txt")]
        withdrawn = desk.at("list")
        desk.json(CALSEAL, "withdraw", desk.at("r1.calseal"), "--class", "safety", "--text", "too hot", "--key", desk.at("withdrawal.key"), *signing[2:], "-o", withdrawn)
        bent = desk.put("bent", pathlib.Path(withdrawn).read_bytes().replace(b"too hot", b"too h0t"))
        no_list = desk.put("no-list", b"{}\n")
        state = desk.at("a.state")
        desk.json(CALSEAL_CHECK, *desk.check_arguments(desk.at("r2.calseal")), "--state", state, *desk.image_arguments())
        other = desk.put("other.salt", b"ab" * 32 + b"\n")
        damaged = desk.put("damaged.calseal", pathlib.Path(desk.at("r1.calseal")).read_bytes()[:-7])
        cases = {
            "withdrawn": (desk.check_arguments(desk.at("r1.calseal")) + ["--withdrawals", withdrawn], "withdrawn"),
            "a list that was changed": (desk.check_arguments(desk.at("r2.calseal")) + ["--withdrawals", bent], "signature-bad"),
            "no list": (desk.check_arguments(desk.at("r2.calseal")) + ["--withdrawals", no_list], None),
            "older than the newest": (desk.check_arguments(desk.at("r1.calseal")) + ["--state", state], "sequence-old"),
            "another salt": (["--salt" if one == "--salt" else one for one in desk.check_arguments(desk.at("r1.calseal"))][:4] + [other] + desk.check_arguments(desk.at("r1.calseal"))[5:], "salt-wrong"),
            "cut off": ([damaged, *desk.check_arguments(desk.at("r1.calseal"))[1:]], None),
            "another root stated": (desk.check_arguments(desk.at("r1.calseal")) + ["--root", "0" * 64], "root-mismatch"),
            "no read": (desk.check_arguments(desk.at("r1.calseal"))[:5], "read-missing"),
            "another controller": (desk.check_arguments(desk.at("r1.calseal"), flash=desk.put("zero", bytes(256))), None),
            "the wrong size": (desk.check_arguments(desk.at("r1.calseal"), flash=desk.put("short", bytes(200))), None),
            "an unknown memory": ([*desk.check_arguments(desk.at("r1.calseal"))[:5], "--read", "rom=" + desk.at("flash.bin")], None),
        }
        for name, (arguments, expected) in cases.items():
            with self.subTest(name):
                customer, shop = self.both(*arguments)
                self.assertTrue(reason(shop), name)
                if expected:
                    self.assertEqual(reason(shop), expected)
                self.judge(name, customer, shop)

    def test_what_the_shops_own_commands_say(self):
        """Refusals that no customer sees: a key that may not, a list that is none, a map with the other byte order."""
        desk = self.desk
        desk.json(CALSEAL, "key", "new", desk.at("stranger.key"), "--passphrase-file", desk.at("word.txt"))
        stranger = ["--key", desk.at("stranger.key"), *desk.signing()[2:]]
        trust = ["--key", desk.at("root.key"), "--trust", desk.at("shop.trust"), "--passphrase-file", desk.at("word.txt")]
        not_trust = desk.put("not.trust", b"{}\n")
        base = ["seal", "--job", "oak-18", "--regions", desk.at("duo.json"), "--base", "flash=" + desk.at("flash.bin"), "--base", "eeprom=" + desk.at("eeprom.bin"),
                "--vehicle", "x", "--new-salt", desk.at("s.salt"), "-o", desk.at("s.calseal")]
        cases = {
            "a key that no trust file lists": ([*base, *stranger], "signer-unknown"),
            "a key without the role": ([*base, *trust], None),
            "no trust file": ([*base, "--key", desk.at("author.key"), "--trust", not_trust, "--passphrase-file", desk.at("word.txt")], None),
            "show of no trust file": (["shop", "show", not_trust], None),
        }
        for name, (arguments, expected) in cases.items():
            with self.subTest(name):
                answer = json.loads(desk.run(CALSEAL, *arguments, "--json").stdout)
                self.assertEqual(answer["calseal"], "error/1")
                if expected:
                    self.assertEqual(answer["reason"], expected)
                self.assertTrue(answer["next"])
                self.assertIsNone(CUSTOMERS_ONLY.search(answer["next"]), answer["next"])

    def test_values_that_give_a_declaration_away(self):
        desk = self.desk
        stored = desk.flash[0x10:0x14]
        for bytes_there, words in ((stored[::-1], "(byte order?)"), (bytes(b ^ 0xFF for b in stored), "(complement?)"),
                                   (bytes(b ^ 0xFF for b in stored[::-1]), "(byte order and complement?)"), (b"\1\2\3\4", None)):
            flash = desk.put("turned.bin", desk.flash[:0x10] + bytes_there + desk.flash[0x14:])
            done = desk.json(CALSEAL, "regions", "lint", desk.at("duo.json"), "--image", "flash=" + flash, "--image", "eeprom=" + desk.at("eeprom.bin"), status=1)
            self.assertIn("map-not-believed", json.dumps(done))
            said = " ".join(texts(done))
            self.assertIn(words or "mend the region map until", said)
            self.assertEqual("?)" in said, words is not None)


if __name__ == "__main__":
    unittest.main()
