#!/usr/bin/env python3
"""Random days of a shop: one vehicle of one to three controllers, one job, and what may happen to it in a day. Every command is asked
of the model (days_model.py) first; afterwards exit status, reason, status, bundles and the customer's check must be what it says.

days.py --days N --seed S prints the seed of every day and a table of what happened. A day that fails prints its commands and keeps
its folder. CALSEAL and CALSEAL_CHECK name the programs."""

import argparse
import collections
import json
import os
import random
import shutil
import signal
import subprocess
import sys
import traceback

from days_commands import FACTS, Command, Maker, Shop
from days_look import Disagreement, Look, findings, places_of, require
from days_model import Model, clock
from desk import CALSEAL, SANITIZED



class Day(Look):
    """Runs the commands: in peace, cut off, two at once, watched."""

    def __init__(self, shop, seed, events):
        root = shop.root / f"day-{seed}"
        root.mkdir()
        super().__init__(shop, root, events)
        self.draw = random.Random(seed)

    def do(self, command):
        """In peace: as the model says."""
        expected, after = self.model.asked(command)
        done = self.shop.run(CALSEAL, "job", *command.arguments, "--json")
        self.tell(command.label, *command.arguments, "->", done.returncode)
        self.answered(command, expected, done.returncode, done.stdout)
        self.model = after
        if expected[0] == 0 and not command.looks:
            self.tolerated = {one for one in self.tolerated if one[0] != "sealed-not-placed"}
        self.count(command.label, "refused" if expected[0] != 0 else "done")
        self.compare(command)

    def answered(self, command, expected, status, text):
        value = json.loads(text)
        reason = value.get("reason") if status else None
        require(status in ((1, 2) if expected[0] is None else (expected[0],)), command.label, "status", status, reason, "expected", expected, value)
        require(not status or not expected[1] or reason in expected[1], command.label, "reason", reason, "expected", expected, value)
        if value.get("calseal") == "job-send/1":
            order = sorted(one["controller"] for one in value["revisions"]) if value["set"] else []
            require(value["write_order"] == order, "write order", value["write_order"])

    def cut_off(self, command, how):
        """Killed, interrupted, or on a full disk, at one of its calls that write."""
        expected, after = self.model.asked(command)
        log = self.root / "reached"
        log.unlink(missing_ok=True)
        point = int(self.draw.choice((self.draw.uniform(1, 12), self.draw.uniform(1, 50), self.draw.uniform(1, 110))))
        environment = {"LD_PRELOAD": self.shop.library, "FAIL_NTH_CALL": str(point), "FAIL_LOG": str(log)}
        if how != "full disk":
            environment["FAIL_SIGNAL"] = str(int(signal.SIGKILL if how == "killed" else signal.SIGINT))
        done = self.shop.run(CALSEAL, "job", *command.arguments, "--json", env=environment)
        hit = log.exists()
        self.tell(how if hit else "in vain " + how, f"at {point}:", command.label, *command.arguments, "->", done.returncode)
        allowed = {"killed": -signal.SIGKILL, "interrupted": 130, "full disk": 3}[how]
        self.count(f"{command.label}, {how}", "hit" if hit else "in vain")
        if not hit or done.returncode != allowed:
            require(how != "killed" or not hit, "not killed", done)
            self.answered(command, expected, done.returncode, done.stdout if done.stdout else b"{}")
            self.model = after
            self.tolerated |= self.found() if hit else set()
        else:
            self.settle(command, after, how, done)
        self.compare(command)

    def settle(self, command, after, how, done):
        """Either as before, or made: what the folder itself says must be one of the two."""
        before = self.model
        state, _ = self.status() if self.folder.exists() else ({"controllers": []}, 0)
        made = (self.folder / f"handover-{len(before.handovers) + 1}").exists()
        faults = [self.differs(candidate, state) for candidate in (before, after)]
        if None in faults:
            self.model = after if faults[1] is None and (faults[0] is not None or made) else before
            self.count(f"{command.label}, {how}", "made" if self.model is after else "as before")
        else:
            require(not command.seals, "neither as before nor made:", *faults)
            self.model = self.torn(before, after, state)
            self.count(f"{command.label}, {how}", "noted of some")
        if self.model is after and not made and len(after.handovers) > len(before.handovers):
            require(command.label != "send", "made without its hand-over")
            self.model.handovers.pop()
            self.count(f"{command.label}, {how}", "without hand-over")
        require(not made or self.model is after, "handed over, but not made")
        if how != "killed" and b"nothing was written" in done.stderr:
            require(self.model is before, "said that nothing was written", done.stderr)
        self.tolerated |= self.found()

    def torn(self, before, after, state):
        """Notes are one file for each controller: each is old or new."""
        mixed = Model()
        mixed.sets, mixed.handovers = before.sets, list(before.handovers)
        for name in before.controllers:
            for one in (before, after):
                mixed.controllers[name] = one.controllers[name]
                if self.differs(mixed, state, only=name) is None:
                    break
            else:
                raise Disagreement(f"notes of {name}: {self.differs(mixed, state, only=name)}")
        return mixed

    def found(self):
        """Findings of a run that was cut off; no others may be there."""
        state, _ = self.status() if self.folder.exists() else ({"controllers": [], "findings": []}, 0)
        found = findings(state)
        require({code for code, _ in found} <= {"sealed-not-placed", "sealed-not-noted", "left-over"}, "findings", found)
        return found

    def at_once(self, one, two):
        """Two terminals: each has its turn, or is told that the other is at work."""
        running = [subprocess.Popen([CALSEAL, "job", *command.arguments, "--json"], stdin=subprocess.DEVNULL, stdout=subprocess.PIPE,
                                    stderr=subprocess.PIPE, cwd=self.root, env={"PATH": os.environ["PATH"], "LC_ALL": "C"}) for command in (one, two)]
        texts = [process.communicate(timeout=60)[0] for process in running]
        answers = list(zip((one, two), (process.returncode for process in running), texts))
        for command, status, _ in answers:
            self.tell("at once:", command.label, *command.arguments, "->", status)
        turns = [answer for answer in answers if b'"reason":"job-busy"' not in answer[2]]
        require(turns, "both are busy")
        require(all(status == 3 for _, status, text in answers if b'"reason":"job-busy"' in text), "busy with another status")
        faults, before = [], self.model
        for order in (turns, turns[::-1]):
            self.model = before
            try:
                self.model = self.in_order(order)
                self.count("two at once", ("one busy", "both")[len(turns) - 1])
                if any(status == 0 for _, status, _ in turns):
                    self.tolerated = {one for one in self.tolerated if one[0] != "sealed-not-placed"}
                return self.compare()
            except Disagreement as fault:
                faults.append(fault)
        raise Disagreement(f"no order of two explains it: {faults[0]}; {faults[1]}")

    def in_order(self, turns):
        model = self.model
        for command, status, text in turns:
            expected, model = model.asked(command)
            self.answered(command, expected, status, text)
        state = self.status()[0]
        fault = self.differs(model, state) or self.handover_differs(model, places_of(state))
        require(fault is None, fault)
        return model

    def watched(self, command):
        """`status` needs no lock: in the midst of a command it says what was before, or what is then."""
        expected, after = self.model.asked(command)
        with subprocess.Popen([CALSEAL, "job", *command.arguments, "--json"], stdin=subprocess.DEVNULL, stdout=subprocess.PIPE, stderr=subprocess.PIPE,
                              cwd=self.root, env={"PATH": os.environ["PATH"], "LC_ALL": "C"}) as process:
            looks = [self.status()[0] for _ in range(4)]
            text = process.communicate(timeout=60)[0]
        self.tell("watched:", command.label, *command.arguments, "->", process.returncode)
        self.answered(command, expected, process.returncode, text)
        for state in looks:
            faults = [self.differs(model, state) for model in (self.model, after)]
            self.count("status in the midst", "before or after" if None in faults else "torn")
            require(None in faults or not command.seals, "in the midst of a command status is neither before nor after:", *faults)
        self.model = after
        if expected[0] == 0:
            self.tolerated = {one for one in self.tolerated if one[0] != "sealed-not-placed"}
        self.compare()

    def live(self):
        make = Maker(self)
        self.begin(make)
        for _ in range(self.draw.randint(5, 15)):
            self.minutes += 1
            kind = self.draw.random()
            if kind < 0.5:
                self.do(make.any())
            elif kind < 0.83 and not SANITIZED:
                command = make.any()
                self.cut_off(command, self.draw.choice(("killed", "killed", "interrupted", "full disk")))
                if self.draw.random() < 0.2:
                    self.do(command)
            elif kind < 0.91:
                self.at_once(make.any(), make.any())
            elif kind < 0.95:
                self.watched(make.any())
            elif kind < 0.97:
                self.tidy()
            else:
                self.withdraw()
            self.look_at_next()
        self.end()

    def begin(self, make):
        """`job new`, now and then cut off; then it is typed again."""
        command = make.new()
        if self.draw.random() < 0.3 and not SANITIZED:
            self.cut_off(command, self.draw.choice(("killed", "interrupted", "full disk")))
        if not self.model.controllers:
            self.do(command)
        for fact in FACTS[:2] if self.draw.random() < 0.6 else ():
            self.do(make.noting(fact, None, False))

    def tidy(self):
        """A person deletes what `status` calls left over."""
        for code, name in sorted(self.tolerated):
            if code == "left-over":
                path = self.folder / name
                self.tell("delete", name)
                require(path.exists(), "left over, but not there", name)
                shutil.rmtree(path) if path.is_dir() else path.unlink()
        self.tolerated = {one for one in self.tolerated if one[0] != "left-over"}
        self.compare()

    def end(self):
        """The next command puts everything in its place; then each revision is checked again."""
        self.minutes += 1
        self.do(Command("remark", ["note", self.folder, "remark", "--detail", "evening", "--time", clock(self.minutes)], lambda model: None))
        self.withdraw()
        for one in self.model.every():
            require(self.kept(one.key).exists(), "not in its controller's folder:", one.key)
            self.customer(one, again=True)


def live(shop, seed, events):
    """One day; nothing, or the report of what went wrong, whose folder is kept."""
    day = Day(shop, seed, events)
    try:
        day.live()
    except Exception as fault:  # whatever it is, the day that shows it must be told
        text = "" if isinstance(fault, Disagreement) else traceback.format_exc()
        return f"day {seed}: {type(fault).__name__}: {fault}\n{text}" + "\n".join(day.told) + f"\nkept in {day.root}"
    shutil.rmtree(day.root)
    return None


def table(events):
    rows = collections.defaultdict(dict)
    for (label, outcome), count in events.items():
        rows[label][outcome] = count
    return "\n".join(f"{label:28} " + ", ".join(f"{outcome} {count}" for outcome, count in sorted(row.items())) for label, row in sorted(rows.items()))


def main():
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--days", type=int, default=100)
    parser.add_argument("--seed", type=int, default=1, help="of the first day; each further one has the next number")
    parser.add_argument("--stop", action="store_true", help="end with the first day that fails")
    options = parser.parse_args()
    shop, events, failed = Shop(), collections.Counter(), []
    for seed in range(options.seed, options.seed + options.days):
        report = live(shop, seed, events)
        print(f"day {seed}: {'FAILED' if report else 'agrees'}", flush=True)
        if report:
            failed.append(seed)
            print(report, flush=True)
            if options.stop:
                break
    print(table(events))
    print(f"{options.days} days, {len(failed)} failed: {failed}")
    if not failed:
        shop.close()
    return 1 if failed else 0


if __name__ == "__main__":
    sys.exit(main())
