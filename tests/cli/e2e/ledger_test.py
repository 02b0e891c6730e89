"""The ledger with the real programs: a job that reports to it, a customer who keeps a head and sends a receipt back, somebody who
rewrites it, a theft that a pinned head outlives, an authority that stamps time, and a customer who asks to be forgotten."""

import json
import os
import pathlib
import random
import shutil
import subprocess
import unittest

import desk as desks
import rfc9162
from desk import CALSEAL, CALSEAL_CHECK
from ledger_desk import LedgerDesk, written_ledger

SUPPORT = pathlib.Path(__file__).resolve().parents[2] / "support"
SANITIZED = b"__asan_init" in subprocess.run(["nm", CALSEAL], capture_output=True, check=False).stdout
SEED = 20261126


class Ledger(unittest.TestCase):
    def setUp(self):
        self.desk = LedgerDesk()
        self.addCleanup(self.desk.close)

    def job_with_ledger(self):
        desk = self.desk
        desk.new()
        made = desk.job("ledger", desk.ledger, *desk.trusting())
        self.assertEqual(made["ledger"]["added"], 1)
        desk.deliver_way_back()
        return desk.send(1, *desk.ledger_key())

    def check(self, bundle, *more, status=0):
        desk = self.desk
        return desk.json(CALSEAL_CHECK, os.path.join(desk.folder, bundle), "--trust", desk.at("shop.trust"), "--salt",
                         os.path.join(desk.folder, "job.salt"), "--read-is-fresh", *(word for read in desk.read() for word in ("--read", read)),
                         *more, status=status)

    def test_a_job_reports_to_it(self):
        sent = self.job_with_ledger()
        desk = self.desk
        self.assertEqual(sent["ledger"]["head_file"], "engine/base-1/r1.head")
        self.assertTrue(sent["ledger"]["head_is_new"])
        self.assertEqual(sent["ledger"]["head"]["size"], 4)
        self.assertIn("ledger head", [one["what"] for one in sent["hand_over"]])
        kinds = [detail["facts"]["kind"] for detail in desk.details()]
        self.assertEqual(kinds, ["sealed", "sent", "received", "sealed"])
        noted = desk.note("sent", 1, "--detail", "stick")
        self.assertEqual(noted["ledger"]["added"], 1)
        desk.note("written", 1)
        desk.note("confirmed", 1, "--detail", "bytes")
        desk.note("withdrawn", 1, "--detail", "runs lean")
        self.assertEqual([detail["facts"]["kind"] for detail in desk.details()][4:], ["sent", "written", "confirmed", "withdrawn"])
        self.assertEqual(desk.verify()["head"]["size"], 8)
        # Once more enters nothing.
        again = desk.job("ledger", *desk.trusting())
        self.assertEqual((again["ledger"]["added"], again["ledger"]["was_there"]), (0, 8))
        shown = desk.ledgers("show", *desk.trusting(), "--job", "oak-17")["entries"]
        self.assertEqual(len(shown), 8)
        self.assertEqual([entry["witnessed_by"] for entry in shown], ["head"] * 4 + ["nobody"] * 4)
        self.assertEqual(desk.status()["findings"], [])

    def test_without_a_ledger_nothing_changes(self):
        desk = self.desk
        desk.new()
        desk.deliver_way_back()
        sent = desk.send(1)
        self.assertNotIn("ledger", sent)
        self.assertFalse(any(name.endswith(".head") for name in desk.tree()))
        self.assertEqual(desk.send(2, *desk.ledger_key(), status=2)["reason"], "usage")

    def test_a_sealed_bundle_that_was_not_entered_is_entered_later(self):
        self.job_with_ledger()
        desk = self.desk
        # The ledger is away when the next revision is sealed: it is reported as sealed, with exit status 3, and nobody seals it twice.
        os.rename(desk.ledger, desk.ledger + "-away")
        sent = desk.send(2, status=3)
        self.assertEqual((sent["revision"], sent["ledger_failed"]["reason"]), (2, "file-missing"))
        self.assertIn("base-1/r2.calseal", desk.tree())
        self.assertEqual(desk.send(2, status=1)["reason"], "job-order")
        said = desk.run(CALSEAL, "job", "note", desk.whole, "remark", "--detail", "the ledger is away")
        self.assertEqual(said.returncode, 3)
        self.assertIn("NOT ENTERED", said.stdout.decode())
        os.rename(desk.ledger + "-away", desk.ledger)
        self.assertEqual(desk.job("ledger", *desk.trusting())["ledger"]["added"], 1)
        self.assertTrue(desk.verify()["clean"])

    def test_the_customer_is_a_witness_and_sends_a_receipt_back(self):
        self.job_with_ledger()
        desk = self.desk
        head = os.path.join(desk.folder, "base-1/r1.head")
        receipt, key = desk.at("r1.receipt"), desk.at("customer.key")
        verdict = self.check("base-1/r1.calseal", "--ledger-head", head, "--receipt", receipt, "--receipt-key", key, "--receipt-code",
                             *desk.image_arguments())
        self.assertEqual(verdict["verdict"], "accepted")
        self.assertIn("ledger-head", [item["name"] for item in verdict["evidence"] if item["given"]])
        self.assertIn("ledger-head", [caution["code"] for caution in verdict["cautions"]])
        self.assertEqual(os.stat(key).st_mode & 0o777, 0o600)
        # Anybody verifies it with openssl: the key stands in it.
        text = pathlib.Path(receipt).read_text().split("\n")
        said = json.loads(text[0])
        self.assertEqual((said["revision"], said["outcome"], said["head"]["size"]), (verdict["bundle"]["identity"], "accepted", 4))
        spki = bytes.fromhex("302a300506032b6570032100") + bytes.fromhex(said["key"])
        desk.put("customer.der", spki)
        desk.put("said", text[0].encode())
        desk.put("signature", bytes.fromhex(text[1].split(" ")[1]))
        desk.must("openssl", "pkeyutl", "-verify", "-pubin", "-keyform", "DER", "-inkey", desk.at("customer.der"), "-rawin", "-in",
                  desk.at("said"), "-sigfile", desk.at("signature"))
        bundle = os.path.join(desk.folder, "base-1/r1.calseal")
        other = os.path.join(desk.folder, "base-1/r0.calseal")
        told = verdict["receipt"]["key_fingerprint"]
        with_receipt = ["append", "received", bundle, "--receipt", receipt, *desk.trusting()]
        other_key = "K 0006 0001 0007 0002 0008 0003 0009 0004 0000 0005 0006 0001 0007"
        self.assertEqual(desk.ledgers(*with_receipt, "--fingerprint", other_key, status=1)["reason"], "receipt-invalid")
        self.assertEqual(desk.ledgers(*with_receipt, "--fingerprint", "12345", status=2)["reason"], "usage")
        misheard = told[:-1] + str((int(told[-1]) + 1) % 10)
        self.assertIn("group 13 does not fit", desk.ledgers(*with_receipt, "--fingerprint", misheard, status=2)["expected"])
        entered = desk.ledgers(*with_receipt, "--fingerprint", told.lower().replace(" ", "."))
        self.assertEqual([(e["kind"], e["was_there"]) for e in entered["entries"]], [("sealed", True), ("received", False)])
        self.assertIn("receipt by key", desk.details()[-1]["facts"]["words"])
        self.assertEqual(desk.ledgers("append", "received", other, "--receipt", receipt, *desk.trusting(), status=1)["reason"], "receipt-invalid")
        bent = bytearray(pathlib.Path(receipt).read_bytes())
        bent[-5] ^= 1
        self.assertEqual(desk.ledgers("append", "received", bundle, "--receipt", desk.put("bent", bent), *desk.trusting(), status=1)["reason"],
                         "receipt-invalid")
        # The code that is read aloud instead.
        code, salt = verdict["receipt"]["code"], os.path.join(desk.folder, "job.salt")
        self.assertRegex(code, r"^Q( \d{4}){5}$")
        entered = desk.ledgers("append", "received", bundle, "--code", code, "--salt", salt, *desk.trusting())
        self.assertFalse(entered["entries"][1]["was_there"])
        self.assertEqual(desk.ledgers("append", "received", other, "--code", code, "--salt", salt, *desk.trusting(), status=1)["reason"],
                         "receipt-invalid")

    def test_a_receipt_of_a_refusal(self):
        self.job_with_ledger()
        desk = self.desk
        other = desk.put("other.bin", desks.corrected(desks.edited(desk.flash, 0x90, b"\x11")))
        verdict = desk.json(CALSEAL_CHECK, os.path.join(desk.folder, "base-1/r1.calseal"), *desk.trusting(), "--salt",
                            os.path.join(desk.folder, "job.salt"), "--read", "flash=" + other, "--read", "eeprom=" + desk.at("eeprom.bin"),
                            "--receipt", desk.at("no.receipt"), "--receipt-key", desk.at("c.key"), "--receipt-code", status=1)
        said = json.loads(pathlib.Path(desk.at("no.receipt")).read_text().split("\n")[0])
        self.assertEqual((said["outcome"], said["reason"]), ("refused", verdict["reason"]))
        self.assertEqual(verdict["receipt"]["code"], "")
        self.assertEqual(desk.ledgers("append", "received", os.path.join(desk.folder, "base-1/r1.calseal"), "--receipt", desk.at("no.receipt"),
                                      *desk.trusting(), status=1)["reason"], "receipt-invalid")

    def test_a_head_that_is_none_is_refused(self):
        self.job_with_ledger()
        desk = self.desk
        head = pathlib.Path(desk.folder, "base-1/r1.head").read_bytes()
        for at, reason in ((3, "type-wrong"), (200, "signature-bad"), (len(head) - 4, "signature-bad")):
            bent = bytearray(head)
            bent[at] = ord("1") if bent[at] == ord("0") else ord("0")
            verdict = self.check("base-1/r1.calseal", "--ledger-head", desk.put("bent.head", bent), status=1)
            self.assertEqual(verdict["reason"], reason)

    def test_whoever_kept_a_head_finds_what_was_rewritten(self):
        self.job_with_ledger()
        desk = self.desk
        kept = desk.put("kept.head", pathlib.Path(desk.folder, "base-1/r1.head").read_bytes())
        desk.note("sent", 1, "--detail", "mail")
        shutil.rmtree(os.path.join(desk.ledger, "heads"))
        os.mkdir(os.path.join(desk.ledger, "heads"))
        self.assertEqual(desk.codes("--head", kept), set())
        entries = pathlib.Path(desk.ledger, "entries.jsonl")
        whole = entries.read_bytes()
        first, *lines = whole.split(b"\n")[:-1]

        def rewritten(changed):
            entries.write_bytes(b"\n".join([first, *changed]) + b"\n")
            pathlib.Path(desk.ledger, "tip.json").unlink(missing_ok=True)
            desk.run(CALSEAL, "ledger", "repair", desk.ledger)
            found = desk.codes("--head", kept)
            self.assertEqual(desk.verify("--head", kept, status=1)["clean"], False)
            return found

        self.assertIn("head-rewritten", rewritten(lines[1:]))
        self.assertIn("head-rewritten", rewritten([lines[1], lines[0], *lines[2:]]))
        self.assertIn("head-rewritten", rewritten([lines[0].replace(b"2026-03", b"2026-02"), *lines[1:]]))
        self.assertIn("head-rewritten", rewritten([lines[0], lines[1].replace(b'"sent"', b'"written"'), *lines[2:]]))
        self.assertIn("head-ahead", rewritten(lines[:3]))
        rewritten([lines[1], lines[0], *lines[2:]])
        # Nor does a proof lead from the kept head to a new one.
        desk.head("-o", desk.at("new.head"))
        proof = ["--head", kept, "--head", desk.at("new.head"), *desk.trusting()]
        self.assertEqual(desk.ledgers("prove", *proof, "-o", desk.at("p"), status=1)["reason"], "ledger-rewritten")
        entries.write_bytes(whole)

    def test_proofs_are_checked_without_the_ledger(self):
        self.job_with_ledger()
        desk = self.desk
        old = os.path.join(desk.folder, "base-1/r1.head")
        bundle = os.path.join(desk.folder, "base-1/r1.calseal")
        desk.note("sent", 1, "--detail", "mail")
        desk.send(2, *desk.ledger_key())
        new = os.path.join(desk.folder, "base-1/r2.head")
        heads = ["--head", old, "--head", new, *desk.trusting()]
        desk.ledgers("prove", *heads, "-o", desk.at("c.proof"))
        one = ["--bundle", bundle, "--head", new, *desk.trusting()]
        desk.ledgers("prove", *one, "-o", desk.at("i.proof"))
        shutil.move(desk.ledger, desk.ledger + "-away")
        self.assertTrue(desk.json(CALSEAL, "ledger", "check-proof", desk.at("c.proof"), *heads)["holds"])
        self.assertTrue(desk.json(CALSEAL, "ledger", "check-proof", desk.at("i.proof"), *one)["holds"])
        swapped = ["--head", new, "--head", old, *desk.trusting()]
        self.assertEqual(desk.json(CALSEAL, "ledger", "check-proof", desk.at("c.proof"), *swapped, status=1)["reason"], "consistency-invalid")
        other = ["--bundle", os.path.join(desk.folder, "base-1/r0.calseal"), "--head", new, *desk.trusting()]
        self.assertEqual(desk.json(CALSEAL, "ledger", "check-proof", desk.at("i.proof"), *other, status=1)["reason"], "inclusion-invalid")

    def test_what_is_pinned_is_what_was_signed(self):
        """The whole way: head, pin, theft, proof, a bundle that stays good."""
        self.job_with_ledger()
        desk = self.desk
        bundle = "base-1/r1.calseal"
        head = desk.head(time="2026-03-05T00:00:00Z")["head"]
        root = ["--root-key", desk.at("root.key"), "--passphrase-file", desk.at("word.txt")]
        author = desk.json(CALSEAL, "shop", "show", desk.at("shop.trust"))
        author = next(key["id"] for key in author["trust"]["keys"] if "author" in key["roles"])
        desk.ledgers("prove", "--bundle", os.path.join(desk.folder, bundle), *desk.trusting(), "-o", desk.at("r1.inclusion"))
        desk.json(CALSEAL, "shop", "pin-head", desk.at("shop.trust"), "--size", head["size"], "--root-hash", head["root_hash"], *root, "-o", desk.at("3.trust"))
        desk.json(CALSEAL, "shop", "compromise-key", desk.at("3.trust"), author, *root, "-o", desk.at("4.trust"))
        os.replace(desk.at("4.trust"), desk.at("shop.trust"))
        self.assertEqual(self.check(bundle, status=1)["reason"], "key-compromised")
        self.assertEqual(self.check(bundle, "--inclusion", desk.at("r1.inclusion"))["verdict"], "accepted")
        shown = desk.ledgers("show", *desk.trusting())["entries"]
        self.assertEqual({entry["witnessed_by"] for entry in shown}, {"pinned"})

    def test_erased_on_request_and_not_missing(self):
        self.job_with_ledger()
        desk = self.desk
        head = os.path.join(desk.folder, "base-1/r1.head")
        erased = desk.ledgers("erase", "--job", "oak-17")
        self.assertEqual(erased["entries"], [0, 1, 2, 3])
        report = desk.verify("--head", head)
        self.assertEqual((report["findings"], report["erased"], report["clean"]), ([], 4, True))
        for path in pathlib.Path(desk.ledger).rglob("*"):
            if path.is_file():
                self.assertNotIn(b"oak-17", path.read_bytes(), path)
        self.assertEqual([entry["details"] for entry in desk.ledgers("show")["entries"]], ["erased"] * 4 + ["present"])

    def test_a_time_stamp_authority(self):
        self.job_with_ledger()
        desk = self.desk
        authority = desk.root / "tsa"
        authority.mkdir()
        (authority / "serial").write_text("01\n")
        (authority / "openssl.cnf").write_text(
            f"[tsa]\ndefault_tsa=here\n[here]\nserial={authority}/serial\nsigner_cert={authority}/tsa.pem\nsigner_key={authority}/tsa.key\n"
            "signer_digest=sha256\ndefault_policy=1.2.3.4\ndigests=sha256\nordering=yes\ness_cert_id_chain=no\n"
            "[req]\ndistinguished_name=dn\n[dn]\n[ca]\nbasicConstraints=critical,CA:true\n[stamp]\nextendedKeyUsage=critical,timeStamping\n")
        config = ["-config", authority / "openssl.cnf"]
        for name in ("ca", "stranger"):
            desk.must("openssl", "req", "-x509", "-newkey", "ed25519", "-nodes", "-keyout", authority / f"{name}.key", "-out", authority / f"{name}.pem",
                      "-subj", f"/CN=Example {name}", "-days", "30", "-extensions", "ca", *config)
        desk.must("openssl", "req", "-new", "-newkey", "rsa:2048", "-nodes", "-keyout", authority / "tsa.key", "-out", authority / "tsa.csr", "-subj",
                  "/CN=Example stamps", *config)
        desk.must("openssl", "x509", "-req", "-in", authority / "tsa.csr", "-CA", authority / "ca.pem", "-CAkey", authority / "ca.key", "-CAcreateserial",
                  "-days", "30", "-extfile", authority / "openssl.cnf", "-extensions", "stamp", "-out", authority / "tsa.pem")
        desk.ledgers("stamp", "--request", desk.at("head.tsq"))
        shown = desk.must("openssl", "ts", "-query", "-in", desk.at("head.tsq"), "-text").stdout
        self.assertIn(b"sha256", shown.lower())
        desk.must("openssl", "ts", "-reply", "-queryfile", desk.at("head.tsq"), *config, "-out", desk.at("head.tsr"))
        desk.must("openssl", "ts", "-reply", "-queryfile", desk.at("head.tsq"), *config, "-token_out", "-out", desk.at("head.token"))
        ca, stranger = ["--authority", authority / "ca.pem"], ["--authority", authority / "stranger.pem"]
        self.assertEqual(desk.ledgers("stamp", "--token", desk.at("head.tsr"), *stranger, status=1)["reason"], "token-invalid")
        self.assertEqual(desk.ledgers("stamp", "--token", desk.at("head.tsq"), *ca, status=1)["reason"], "token-invalid")
        self.assertEqual(desk.ledgers("stamp", "--token", desk.at("head.tsr"), "--authority", desk.at("duo.json"), status=1)["reason"], "key-file-invalid")
        bent = bytearray(pathlib.Path(desk.at("head.tsr")).read_bytes())
        refused = 0
        for at in range(0, len(bent), 9):
            bent[at] ^= 1
            refused += desk.run(CALSEAL, "ledger", "stamp", desk.ledger, "--token", desk.put("bent.tsr", bent), *ca).returncode == 1
            bent[at] ^= 1
        # A bit in what no signature covers (free text of the status, an unused certificate) may be let through.
        self.assertGreater(refused, 0.9 * (len(bent) // 9))
        for file in pathlib.Path(desk.ledger, "heads").glob("*.tsr"):
            file.unlink()
        time = desk.ledgers("stamp", "--token", desk.at("head.token"), *ca)["token_time"]
        self.assertEqual(desk.ledgers("stamp", "--token", desk.at("head.tsr"), *ca)["token_time"][:10], time[:10])
        kept = next(pathlib.Path(desk.ledger, "heads").glob("*.tsr"))
        desk.must("openssl", "ts", "-verify", "-data", kept.with_suffix(".head"), "-in", kept, "-CAfile", authority / "ca.pem")
        self.assertEqual([head["token_time"][:10] for head in desk.verify(*ca)["heads"]], [time[:10]])
        self.assertEqual(desk.codes(*stranger), {"token-invalid"})
        shown = desk.ledgers("show", *desk.trusting(), *ca)["entries"]
        self.assertEqual({entry["witnessed_by"] for entry in shown}, {"token"})
        # Another head's token.
        desk.note("sent", 1, "--detail", "mail")
        size = desk.head(time="2026-03-06T00:00:00Z")["head"]["size"]
        self.assertEqual(desk.ledgers("stamp", "--token", desk.at("head.tsr"), "--size", size, *ca, status=1)["reason"], "token-invalid")
        self.assertEqual(desk.ledgers("stamp", "--token", desk.at("head.tsr"), "--size", 77, *ca, status=1)["reason"], "not-in-ledger")

    def test_by_hand_as_the_page_says(self):
        self.job_with_ledger()
        page = (pathlib.Path(__file__).resolve().parents[3] / "docs/ledger.md").read_text()
        recipe = page.split("```sh\n")[1].split("```")[0]
        scratch = self.desk.root / "by-hand"
        scratch.mkdir()
        for name in ("entries.jsonl", "details.jsonl"):
            shutil.copy(os.path.join(self.desk.ledger, name), scratch)
        done = subprocess.run(["bash", "-euc", recipe], cwd=scratch, capture_output=True, check=True)
        leaf, count = done.stdout.decode().split("  -\n")
        self.assertEqual((leaf, count), (self.desk.leaves()[3].hex(), "1\n"))

    @unittest.skipIf(SANITIZED, "the sanitizers' runtime must be loaded first")
    def test_locks_that_keep_nobody_out(self):
        """A file system that grants every lock: nothing is appended."""
        desk = self.desk
        source = desk.put("flock.c", b"int flock(int fd, int how) { (void)fd; (void)how; return 0; }\n")
        desk.must("cc", "-shared", "-fPIC", "-o", desk.at("flock.so"), source)
        desk.seal_base()
        done = desk.run(CALSEAL, "ledger", "append", desk.ledger, "sealed", desk.at("r0.calseal"), *desk.trusting(), "--json",
                        env={"LD_PRELOAD": desk.at("flock.so")})
        self.assertEqual((done.returncode, json.loads(done.stdout)["reason"]), (3, "ledger-lock"))
        self.assertEqual(desk.verify()["head"]["size"], 0)


class AgainstTheRfc(unittest.TestCase):
    """Heads and proofs against an implementation written from the RFC alone."""

    @classmethod
    def setUpClass(cls):
        cls.desk = LedgerDesk()

    @classmethod
    def tearDownClass(cls):
        cls.desk.close()

    def test_trees_of_every_kind_of_size(self):
        draw = random.Random(SEED)
        sizes = [1, 2, 3, 4, 5, 7, 8, 9, 31, 32, 33, 127, 128, 129, 255, 256, 257, 300] + [draw.randint(10, 300) for _ in range(6)]
        proofs = 0
        for number, size in enumerate(sizes):
            folder = str(self.desk.root / f"made-{number}")
            leaves, about = written_ledger(folder, size, SEED + number)
            report = self.desk.json(CALSEAL, "ledger", "verify", folder)
            self.assertEqual((report["clean"], report["findings"]), (True, []))
            self.assertEqual(report["head"], {"size": size, "root_hash": rfc9162.tree_head(leaves).hex()})
            for index in {0, size - 1, size // 2, draw.randrange(size)}:
                out = self.desk.at("proof")
                self.desk.json(CALSEAL, "ledger", "prove", folder, "--revision", about[index], *self.desk.trusting(), "-o", out)
                proof = json.loads(pathlib.Path(out).read_text())
                self.assertEqual(proof["index"], index)
                path = [bytes.fromhex(hash) for hash in proof["path"]]
                self.assertEqual(path, rfc9162.path(index, leaves))
                leaf = rfc9162.leaf_hash(proof["entry"].encode())
                self.assertTrue(rfc9162.includes(leaf, index, size, path, rfc9162.tree_head(leaves)))
                proofs += 1
        self.assertGreater(proofs, 60)

    def test_appending_goes_on_where_another_hand_ended(self):
        """calseal appends to a ledger that plain code wrote, signs heads of both, and proves the one from the other."""
        desk = self.desk
        desk.seal_base()
        draw = random.Random(SEED)
        for size in [1, 6, 7, 8, 63, 100, draw.randint(101, 200)]:
            folder = str(desk.root / f"goes-on-{size}")
            written_ledger(folder, size, size)
            heads = []
            for number in range(draw.randint(1, 4) + 1):
                if number:
                    desk.json(CALSEAL, "ledger", "append", folder, "sent", desk.at("r0.calseal"), "--words", f"way {number}", *desk.trusting())
                head = desk.json(CALSEAL, "ledger", "head", folder, "--key", desk.at("ledger.key"), "--passphrase-file", desk.at("word.txt"),
                                 *desk.trusting(), "-o", desk.at(f"{size}-{number}.head"))["head"]
                lines = (pathlib.Path(folder) / "entries.jsonl").read_bytes().split(b"\n")[1:-1]
                leaves = [rfc9162.leaf_hash(line) for line in lines]
                self.assertEqual(head, {"size": len(leaves), "root_hash": rfc9162.tree_head(leaves).hex()})
                heads.append((len(leaves), rfc9162.tree_head(leaves), desk.at(f"{size}-{number}.head")))
            for first in heads:
                for second in heads:
                    if first[0] >= second[0]:
                        continue
                    desk.json(CALSEAL, "ledger", "prove", folder, "--head", first[2], "--head", second[2], *desk.trusting(), "-o", desk.at("proof"))
                    path = [bytes.fromhex(hash) for hash in json.loads(pathlib.Path(desk.at("proof")).read_text())["path"]]
                    self.assertEqual(path, rfc9162.proof(first[0], leaves[:second[0]]))
                    self.assertTrue(rfc9162.continues(first[0], second[0], first[1], second[1], path))
            self.assertTrue(desk.json(CALSEAL, "ledger", "verify", folder, *desk.trusting())["clean"])

    def test_the_published_vectors_judge_the_judge(self):
        vectors = json.loads((pathlib.Path(__file__).resolve().parents[3] / "fixtures/vectors/merkle.json").read_text())
        leaves = [rfc9162.leaf_hash(bytes.fromhex(leaf)) for leaf in vectors["leaves"]]
        roots = {row["size"]: bytes.fromhex(row["root"]) for row in vectors["roots"]}
        for size, root in roots.items():
            self.assertEqual(rfc9162.tree_head(leaves[:size]), root)
        for row in vectors["inclusion"]:
            self.assertEqual([hash.hex() for hash in rfc9162.path(row["index"], leaves[:row["size"]])], row["path"])
        for row in vectors["consistency"]:
            self.assertEqual([hash.hex() for hash in rfc9162.proof(row["from"], leaves[:row["to"]])], row["proof"])


if __name__ == "__main__":
    unittest.main()
