"""A folder of evidence, and a stranger who verifies it: the commands of its own VERIFY.txt run as they stand there, with coreutils, openssl
and Python alone, and each change of the folder makes them fail.

CALSEAL_SEED gives a run back."""

import hashlib
import html.parser
import json
import os
import pathlib
import random
import re
import shutil
import subprocess
import unittest

import desk as desks
from desk import CALSEAL
from ledger_desk import LedgerDesk

SEED = int(os.environ.get("CALSEAL_SEED") or random.SystemRandom().randrange(1 << 31))
VOID = {"meta", "br", "col", "hr", "link"}


class Closed(html.parser.HTMLParser):
    """Refuses a page whose elements are not closed where they were opened, or that could load or run something."""

    def __init__(self, text):
        super().__init__()
        self.open = []
        self.feed(text)
        assert not self.open

    def handle_starttag(self, name, attributes):
        assert name not in ("script", "iframe", "img", "object"), name
        assert not any(key.startswith("on") or key == "src" for key, _ in attributes), attributes
        if name not in VOID:
            self.open.append(name)

    def handle_endtag(self, name):
        assert self.open.pop() == name, name


def verified(folder, path):
    """Every command of VERIFY.txt in one shell; None, or what it said when one failed."""
    commands = [line[2:] for line in (folder / "VERIFY.txt").read_text().splitlines() if line.startswith("$ ")]
    assert len(commands) >= 8, commands
    environment = {"PATH": path, "LC_ALL": "C", "TMPDIR": "/tmp", "PYTHONDONTWRITEBYTECODE": "1"}
    done = subprocess.run(["sh", "-eu", "-c", "\n".join(commands)], cwd=folder, env=environment, capture_output=True, check=False)
    return None if done.returncode == 0 else done.stdout.decode()[-500:] + done.stderr.decode()[-500:]


class Evidence(unittest.TestCase):
    @classmethod
    def setUpClass(cls):
        cls.desk = desk = LedgerDesk()
        shutil.copy(desk.at("shop.trust"), desk.at("first.trust"))
        desk.new()
        desk.job("ledger", desk.ledger, *desk.trusting())
        desk.deliver_way_back()
        desk.send(1, *desk.ledger_key())
        desk.note("sent", 1, "--detail", "mail")
        desk.send(2, *desk.ledger_key())
        desk.note("withdrawn", 1, "--detail", "it's <b>wrong</b>")
        # Only what a stranger has: no calseal on the way.
        cls.bin = pathlib.Path(desk.root) / "stranger"
        cls.bin.mkdir()
        for name in ("sh", "sha256sum", "openssl", "python3", "head", "tr", "sed", "cut", "mktemp", "test", "cat"):
            os.symlink(shutil.which(name) if name != "python3" else "/usr/bin/python3", cls.bin / name)

    @classmethod
    def tearDownClass(cls):
        cls.desk.close()

    def setUp(self):
        self.out = pathlib.Path(self.desk.root) / self.id().rsplit(".", 1)[-1]

    def make(self, *more, job=None, status=0):
        return self.desk.json(CALSEAL, "evidence", job or self.desk.folder, *self.desk.trusting(), "-o", str(self.out), *more, status=status)

    def copy_of_job(self):
        folder = str(self.out) + "-job"
        shutil.copytree(self.desk.folder, folder)
        return pathlib.Path(folder)

    def whats(self, made, kind):
        return " ".join(statement["what"] for statement in made[kind])

    def test_it_says_what_is_proved_asserted_and_unknown(self):
        made = self.make("--root", self.root_id(), "--earlier-trust", self.desk.at("first.trust"))
        self.assertEqual((made["job"], made["bundles"], made["bundles_damaged"], made["findings"]), ("oak-17", 3, 0, []))
        self.assertTrue(made["root_stated"])
        self.assertEqual(2, len(made["trust_versions"]))
        proved, asserted, unknown = (self.whats(made, kind) for kind in ("proved", "asserted", "unknown"))
        self.assertIn("Revision 2 of base 1 changes revision 0 only within the areas", proved)
        self.assertIn("job/base-1/read/flash.bin is the read of flash", proved)
        self.assertIn("Entry 0 of the ledger (sealed, base 1, revision 0) has not changed since", proved)
        self.assertIn("It was sent, base 1, revision 1", asserted)
        self.assertIn("it's <b>wrong</b>", asserted)
        self.assertIn("What caused a failure.", unknown)
        self.assertIn("whether it may be driven on a road", unknown)
        self.assertEqual(json.loads((self.out / "evidence.json").read_text())["proved"], made["proved"])
        page = (self.out / "evidence.html").read_text()
        Closed(page)
        self.assertNotIn("<b>wrong", page)
        self.assertNotIn("://", page.replace("http://www.w3.org/", ""))
        self.assertIn("CAUTION", (self.out / "README.txt").read_text())

    def root_id(self):
        trust = json.loads(pathlib.Path(self.desk.at("shop.trust")).read_text().splitlines()[0])
        return hashlib.sha256(bytes.fromhex("302a300506032b6570032100" + trust["root"])).hexdigest()

    def test_a_stranger_verifies_it(self):
        made = self.make()
        self.assertIsNone(verified(self.out, str(self.bin)))
        listed = {line.split("  ", 1)[1] for line in (self.out / "SHA256SUMS").read_text().splitlines()}
        there = {str(p.relative_to(self.out)) for p in self.out.rglob("*") if p.is_file()}
        self.assertEqual(there, listed | {"SHA256SUMS"})
        self.assertEqual(made["sums_digest"], hashlib.sha256((self.out / "SHA256SUMS").read_bytes()).hexdigest())
        self.assertEqual(made["files"], len(there))

    def test_every_file_of_the_folder_is_as_it_was(self):
        self.make("--with-salt")
        for path in sorted(pathlib.Path(self.desk.folder).rglob("*")):
            if path.is_file():
                self.assertEqual(path.read_bytes(), (self.out / "job" / path.relative_to(self.desk.folder)).read_bytes())

    def test_the_salt_stays_unless_it_is_asked_for(self):
        made = self.make()
        self.assertEqual((made["with_salt"], made["left_out"]), (False, ["job.salt"]))
        salt = (pathlib.Path(self.desk.folder) / "job.salt").read_text().strip().encode()
        for path in self.out.rglob("*"):
            self.assertFalse(path.is_file() and salt in path.read_bytes(), path)

    def test_every_change_is_seen_without_the_list_too(self):
        """SHA256SUMS sees any change; whoever makes that list anew is found by signatures, digests and the tree."""
        self.make()
        draw = random.Random(SEED)
        signed = ["job/base-1/r0.calseal", "job/base-1/r1.calseal", "job/base-1/r2.calseal", "job/base-1/read/flash.bin", "trust/shop.trust",
                  "ledger/entries.jsonl", "ledger/this-job.jsonl", *(str(p.relative_to(self.out)) for p in (self.out / "ledger/proofs").iterdir() if p.suffix == ".inclusion"),
                  *(str(p.relative_to(self.out)) for p in (self.out / "ledger/heads").iterdir())]
        sums = (self.out / "SHA256SUMS").read_text()
        for turn in range(48):
            name = signed[turn % len(signed)]
            path = self.out / name
            data = path.read_bytes()
            bent = bytearray(data)
            at = draw.randrange(len(bent))
            bent[at] ^= 1 << draw.randrange(8)
            path.write_bytes(bent)
            context = f"{name}, byte {at}, CALSEAL_SEED={SEED}"
            self.assertIsNotNone(verified(self.out, str(self.bin)), context)
            if not name.endswith(".calseal"):
                (self.out / "SHA256SUMS").write_text(re.sub(rf"^[0-9a-f]{{64}}  {re.escape(name)}$", hashlib.sha256(bent).hexdigest() + "  " + name, sums, flags=re.M))
                self.assertIsNotNone(verified(self.out, str(self.bin)), context + ", list made anew")
                (self.out / "SHA256SUMS").write_text(sums)
            path.write_bytes(data)
        self.assertIsNone(verified(self.out, str(self.bin)))

    def test_damage_is_evidence_too(self):
        job = self.copy_of_job()
        bundle = job / "base-1/r1.calseal"
        data = bytearray(bundle.read_bytes())
        data[len(data) // 2] ^= 1
        bundle.write_bytes(data)
        (job / "base-1/r2.calseal").unlink()
        made = self.make(job=str(job), status=1)
        self.assertEqual((made["bundles"], made["bundles_damaged"]), (1, 1))
        self.assertIn("job/base-1/r1.calseal does not hold", self.whats(made, "unknown"))
        self.assertEqual(bytes(data), (self.out / "job/base-1/r1.calseal").read_bytes())
        self.assertIsNone(verified(self.out, str(self.bin)))

    def test_without_job_json_and_without_a_ledger(self):
        job = self.copy_of_job()
        (job / "job.json").unlink()
        os.rename(self.desk.ledger, self.desk.ledger + "-away")
        try:
            made = self.make(job=str(job), status=1)
        finally:
            os.rename(self.desk.ledger + "-away", self.desk.ledger)
        self.assertEqual((made["job"], made["ledger"], made["bundles"]), ("", False, 3))
        self.assertIsNone(verified(self.out, str(self.bin)))

    def test_strange_names_go_along(self):
        job = self.copy_of_job()
        for name in ("it's a log.csv", "new\nline.txt", "back\\slash.txt", "-n"):
            (job / "logs").mkdir(exist_ok=True)
            (job / "logs" / name).write_bytes(name.encode())
        os.symlink("/etc/passwd", job / "logs" / "link")
        self.make(job=str(job))
        self.assertFalse((self.out / "job/logs/link").exists())
        self.assertEqual(b"it's a log.csv", (self.out / "job/logs/it's a log.csv").read_bytes())
        self.assertIsNone(verified(self.out, str(self.bin)))

    def test_whole_or_not_at_all(self):
        self.out.mkdir()
        self.assertEqual("output-exists", self.make(status=2)["reason"])
        self.out.rmdir()
        self.assertEqual("usage", self.desk.json(CALSEAL, "evidence", self.desk.folder, *self.desk.trusting(), "-o", self.desk.folder + "/inside", status=2)["reason"])
        self.assertEqual("root-mismatch", self.make("--root", "0" * 64, status=1)["reason"])
        self.assertEqual("file-missing", self.make(job=self.desk.folder + "-none", status=3)["reason"])
        self.assertFalse(self.out.exists())


if __name__ == "__main__":
    unittest.main()
