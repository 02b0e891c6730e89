"""Random histories, judged by the checker, by the page's core and by the oracle of histories.py: the same answer to every check, the same
state byte for byte from both programs, and in the end the way back is accepted. The reader in Python, which is slow, judges every tenth.

CALSEAL_HISTORIES: how many (default 200); CALSEAL_SEED: the seed, printed; CALSEAL_NODE: the program that runs the page's core, "" for none."""

import collections
import json
import os
import pathlib
import subprocess
import sys
import time
import unittest

import histories
import reader_histories

HERE = pathlib.Path(__file__).resolve().parent
COUNT = int(os.environ.get("CALSEAL_HISTORIES", "200"))
SEED = int(os.environ.get("CALSEAL_SEED", str(int(time.time()) % 2**31)))
READ_EVERY = int(os.environ.get("CALSEAL_READ_EVERY", "10"))
NODE = os.environ.get("CALSEAL_NODE", "node")
# What order.md says of time; other cautions are other pages'.
CAUTIONS = {"root-not-confirmed", "trust-file-old", "state-new", "withdrawal-without-effect", "base-other", "way-back-replaced", "clock-implausible",
            "way-back-not-kept", "state-full", "state-damaged", "rules-widened", "rules-not-kept"}


class Program:
    """A program that answers each line with one line."""

    def __init__(self, *command):
        self.run = subprocess.Popen(command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True)

    def ask(self, line):
        self.run.stdin.write(line + "\n")
        self.run.stdin.flush()
        answer = self.run.stdout.readline()
        if not answer:
            raise RuntimeError(f"{self.run.args[0]} ended: {self.run.wait()}")
        return answer.rstrip("\n")

    def close(self):
        self.run.stdin.close()
        self.run.stdout.close()
        if self.run.wait() != 0:
            raise RuntimeError(f"{self.run.args[0]}: {self.run.returncode}")


class Histories(unittest.TestCase):
    @classmethod
    def setUpClass(cls):
        print(f"CALSEAL_SEED={SEED} CALSEAL_HISTORIES={COUNT}", file=sys.stderr)
        cls.checker = Program(os.environ["CALSEAL_HISTORIES_PROGRAM"], "--files")
        cls.page = Program(NODE, str(HERE / "page_histories.mjs")) if NODE else None
        cls.answers = collections.Counter()
        cls.back = collections.Counter()

    @classmethod
    def tearDownClass(cls):
        cls.checker.close()
        if cls.page:
            cls.page.close()
        print(", ".join(f"{answer} {count}" for answer, count in cls.answers.most_common()), file=sys.stderr)

    def judge(self, number):
        history, ends = histories.draw(SEED, number)
        self.assertGreaterEqual(len(history["steps"]), 12)
        line = self.checker.ask(json.dumps(history, separators=(",", ":")))
        answer = json.loads(line)
        page = json.loads(self.page.ask(line))["steps"] if self.page else None
        reader = list(reader_histories.answers(history, answer["files"])) if number % READ_EVERY == 0 else None
        oracle = histories.Oracle(history, answer["digests"])
        state = {"accepted": set(), "settled": False}
        for at, (step, given) in enumerate(zip(history["steps"], answer["steps"])):
            where = f"CALSEAL_SEED={SEED}, history {number}, step {at}: {step}"
            expected = oracle.check(step)
            found = {"outcome": given["outcome"], "reason": given["reason"], "passage": given["passage"],
                     "cautions": set(given["cautions"]) & CAUTIONS}
            self.assertEqual(found, expected, where)
            if page:
                self.assertEqual(page[at], given, where)
            if reader:
                self.assertEqual(reader[at], {key: given[key] for key in ("outcome", "reason", "state")}, where)
            self.answers[given["reason"] or f"{given['outcome']} {given['passage']}"] += 1
            self.follow(history, answer["digests"], step, given, state)
            if (at, step["bundle"]) in ends:
                self.expect_way_back(answer["digests"][step["bundle"]], given, state, where)

    def follow(self, history, digests, step, given, state):
        """Which revisions 0 were accepted under the shop's own roots, and whether a person called a thief's root the right one."""
        if given["outcome"] != "accepted":
            return
        root = next(one for one in history["trusts"] if one["name"] == step["trust"])["root"]
        if root not in histories.ROOTS:
            state["settled"] |= bool(step["successions"])
            return
        if next(one for one in history["bundles"] if one["name"] == step["bundle"])["revision"] == 0:
            state["accepted"].add((root, digests[step["bundle"]]))

    def expect_way_back(self, digest, given, state, where):
        """A revision 0 that fits the controller is accepted, whatever happened since it first was."""
        known = any(one == digest for _, one in state["accepted"])
        # A false trust file under the shop's own root cannot be told from the shop's; it may close the shop's later ones.
        blocked = given["reason"] in ("trust-old", "key-reinstated")
        self.back[f"known {known}, {given['reason'] or given['outcome']}"] += 1
        if known and not state["settled"] and not blocked:
            self.assertEqual(given["outcome"], "accepted", where)

    def test_every_check_is_answered_as_the_oracle_says(self):
        for number in range(COUNT):
            self.judge(number)
            if number % 500 == 499:
                print(f"{number + 1} histories agree", file=sys.stderr)
        print(dict(self.back), file=sys.stderr)
        self.assertGreater(self.back["known True, accepted"], COUNT // 4)
        for reason in ("root-unrelated", "succession-fork", "key-reinstated", "trust-old", "withdrawn", "withdrawals-old", "base-old", "sequence-old",
                       "sequence-conflict", "not-listed", "expired", "clock-implausible", "rules-widened", "rules-changed"):
            if COUNT >= 200:
                self.assertGreater(self.answers[reason], 0, f"{reason} is reached")
        if COUNT >= 200:
            self.assertGreater(self.answers["accepted return"], 0)


if __name__ == "__main__":
    unittest.main()
