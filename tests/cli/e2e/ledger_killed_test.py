"""Several writers append to one ledger and are killed (SIGKILL, which nothing can catch): at a random call of the system in the
middle of their writing, half of a line on the disk, or at any time. What was acknowledged is there; the ledger is whole; whoever
comes next goes on."""

import concurrent.futures
import json
import os
import pathlib
import random
import shutil
import signal
import subprocess
import threading
import unittest

from desk import CALSEAL
from ledger_desk import LedgerDesk

SUPPORT = pathlib.Path(__file__).resolve().parents[2] / "support"
SANITIZED = b"__asan_init" in subprocess.run(["nm", CALSEAL], capture_output=True, check=False).stdout
SEED = 20261126
KILLS = 200
WRITERS = 4


@unittest.skipIf(SANITIZED, "the sanitizers' runtime must be loaded first, and makes every run slow")
class Killed(unittest.TestCase):
    @classmethod
    def setUpClass(cls):
        cls.desk = LedgerDesk()
        cls.desk.seal_base()
        cls.library = str(cls.desk.root / "fail_nth_call.so")
        subprocess.run(["cc", "-shared", "-fPIC", "-O1", "-Wall", "-Werror", "-o", cls.library, SUPPORT / "fail_nth_call.c"], check=True)

    @classmethod
    def tearDownClass(cls):
        cls.desk.close()

    def append(self, words, ledger=None):
        return [CALSEAL, "ledger", "append", ledger or self.desk.ledger, "sent", self.desk.at("r0.calseal"), "--words", words, *self.desk.trusting(), "--json"]

    def holds(self, acknowledged):
        """Everything that was acknowledged stands where it was said to stand."""
        details = self.desk.details()
        for words, (index, identity) in acknowledged.items():
            facts = details[index]["facts"]
            self.assertEqual((details[index]["entry"], facts["words"], facts["about"]), (index, words, identity), words)

    def test_at_every_call(self):
        ledger = str(self.desk.root / "every-call")
        self.desk.json(CALSEAL, "ledger", "new", ledger)
        outcomes = set()
        for n in range(1, 400):
            log = self.desk.root / "reached"
            log.unlink(missing_ok=True)
            words = f"call {n}"
            done = self.desk.run(*self.append(words, ledger), env={"LD_PRELOAD": self.library, "FAIL_NTH_CALL": str(n), "FAIL_LOG": str(log),
                                                                 "FAIL_SIGNAL": str(int(signal.SIGKILL))})
            if not log.exists():
                break
            self.assertEqual(done.returncode, -signal.SIGKILL, done.stderr)
            report = json.loads(self.desk.run(CALSEAL, "ledger", "verify", ledger, "--json").stdout)
            codes = {finding["code"] for finding in report["findings"]}
            self.assertLessEqual(codes, {"torn", "not-acknowledged"}, n)
            outcomes |= codes or {"none"}
            again = self.desk.must(*self.append(words, ledger))
            self.assertIn(b'"kind":"sent"', again.stdout)
            report = self.desk.json(CALSEAL, "ledger", "verify", ledger)
            self.assertEqual((report["findings"], report["kinds"]["sent"]), ([], n), n)
        self.assertGreater(n, 12)
        self.assertEqual(outcomes, {"none", "torn", "not-acknowledged"})

    def test_a_disk_that_is_full(self):
        ledger = str(self.desk.root / "full-disk")
        self.desk.json(CALSEAL, "ledger", "new", ledger)
        entered = 0
        for n in range(1, 400):
            log = self.desk.root / "reached"
            log.unlink(missing_ok=True)
            done = self.desk.run(*self.append(f"call {n}", ledger), env={"LD_PRELOAD": self.library, "FAIL_NTH_CALL": str(n), "FAIL_LOG": str(log)})
            if not log.exists():
                break
            report = self.desk.json(CALSEAL, "ledger", "verify", ledger)
            self.assertEqual(report["findings"], [], n)
            self.assertIn(done.returncode, (0, 3), done.stderr)
            count = report["kinds"].get("sent", 0)
            # Closing a file and reporting may fail after the entry stands; then nobody was told, and it counts all the same.
            self.assertIn(count - entered, (0, 1) if done.returncode else (1,), n)
            entered = count
        self.assertGreater(n, 12)

    def test_a_job_that_reports(self):
        """`job send` killed at any call: the bundle stands before its entry, and the repair enters it once."""
        desk = LedgerDesk()
        self.addCleanup(desk.close)
        desk.new()
        desk.job("ledger", desk.ledger, *desk.trusting())
        desk.deliver_way_back()
        start = {folder: folder + "-start" for folder in (desk.whole, desk.ledger)}
        for folder, copy in start.items():
            shutil.copytree(folder, copy)
        command = [*desk.send_arguments(1), *desk.ledger_key()]
        states = set()
        for n in range(1, 400, 2):
            for folder, copy in start.items():
                shutil.rmtree(folder)
                shutil.copytree(copy, folder)
            log = desk.root / "reached"
            log.unlink(missing_ok=True)
            desk.run(*command, env={"LD_PRELOAD": self.library, "FAIL_NTH_CALL": str(n), "FAIL_LOG": str(log), "FAIL_SIGNAL": str(int(signal.SIGKILL))})
            if not log.exists():
                break
            sealed = pathlib.Path(desk.whole, "handover-2").exists()  # from then on the revision is made
            lines = (pathlib.Path(desk.ledger) / "details.jsonl").read_text().split("\n")[:-1]  # what follows was cut off
            entered = any(json.loads(line)["facts"]["revision"] == 1 for line in lines)
            head = any(name.endswith("r1.head") for name in desk.tree())
            self.assertLessEqual((entered, head), (sealed, sealed), n)
            states.add((sealed, entered, head))
            healed = desk.job("ledger", *desk.trusting())["ledger"]
            self.assertEqual(healed["added"] + healed["was_there"], 4 if sealed else 3, n)
            report = desk.verify()
            self.assertEqual((report["findings"], report["kinds"]["sealed"]), ([], 2 if sealed else 1), n)
        self.assertGreater(n, 20)
        self.assertLessEqual({(False, False, False), (True, False, False), (True, True, False)}, states)

    def test_several_writers(self):
        """200 kills among writers that take turns."""
        guard = threading.Lock()
        acknowledged, killed = {}, [0]

        def writer(number):
            draw = random.Random(SEED + number)
            step = 0
            while killed[0] < KILLS:
                words = f"writer {number} step {step}"
                step += 1
                env = {"PATH": os.environ["PATH"], "LC_ALL": "C"}
                at_a_call = draw.random() < 0.6
                if at_a_call:
                    env |= {"LD_PRELOAD": self.library, "FAIL_NTH_CALL": str(draw.randint(1, 24)), "FAIL_SIGNAL": str(int(signal.SIGKILL))}
                with subprocess.Popen([str(word) for word in self.append(words)], stdin=subprocess.DEVNULL, stdout=subprocess.PIPE,
                                      stderr=subprocess.DEVNULL, env=env, cwd=self.desk.root) as process:
                    try:
                        out, _ = process.communicate(timeout=60 if at_a_call else draw.uniform(0, 0.08))
                    except subprocess.TimeoutExpired:
                        process.kill()
                        out, _ = process.communicate(timeout=60)
                with guard:
                    killed[0] += process.returncode == -signal.SIGKILL
                    # Whoever was told so before the end was acknowledged, however the process ended.
                    if out.endswith(b"\n"):
                        value = json.loads(out)
                        self.assertEqual(value["calseal"], "ledger-append/1", out)
                        acknowledged[words] = (value["entries"][1]["entry"], value["entries"][1]["identity"])

        with concurrent.futures.ThreadPoolExecutor(WRITERS) as pool:
            for done in [pool.submit(writer, number) for number in range(WRITERS)]:
                done.result()
        # Whoever comes next takes out what was cut off.
        self.desk.must(*self.append("the last"))
        report = self.desk.verify()
        self.assertEqual((report["findings"], report["clean"]), ([], True))
        self.assertEqual(report["acknowledged"], report["head"]["size"])
        self.holds(acknowledged)
        words = [detail["facts"]["words"] for detail in self.desk.details() if detail["facts"]["kind"] == "sent"]
        self.assertEqual(len(words), len(set(words)), "nothing twice")
        print(f"kills: {killed[0]}, acknowledged {len(acknowledged)}, entries {report['head']['size']}")
        self.assertGreaterEqual(killed[0], KILLS)
        self.assertGreater(len(acknowledged), 20)


if __name__ == "__main__":
    unittest.main()
