"""What stands on a terminal of 80 columns: every daily command of shop and customer on the demo's data, at a pseudo terminal. No line of
prose is wider than the terminal, nothing is cut, and a wider terminal says the same words.

CALSEAL_SCREENS=FOLDER keeps every screen there, one file for each command."""

import fcntl
import os
import pathlib
import re
import shutil
import struct
import subprocess
import termios
import threading
import unittest

from demo_desk import MAPS, DemoDesk
from desk import CALSEAL, CALSEAL_CHECK, PASSPHRASE

KEEP = os.environ.get("CALSEAL_SCREENS")
WIDTH = 80
PROGRAMS = {"calseal": CALSEAL, "calseal-check": CALSEAL_CHECK}


def on_terminal(arguments, folder, columns, environment):
    """(exit status, what stood on the terminal)"""
    ours, theirs = os.openpty()
    fcntl.ioctl(theirs, termios.TIOCSWINSZ, struct.pack("HHHH", 24, columns, 0, 0))
    settings = termios.tcgetattr(theirs)
    settings[1] &= ~termios.ONLCR
    termios.tcsetattr(theirs, termios.TCSANOW, settings)
    seen = []

    def read():
        try:
            while data := os.read(ours, 65536):
                seen.append(data)
        except OSError:
            pass

    reader = threading.Thread(target=read)
    reader.start()
    process = subprocess.Popen([PROGRAMS[arguments[0]], *(str(one) for one in arguments[1:])], stdin=subprocess.DEVNULL, stdout=theirs, stderr=theirs,
                               cwd=folder, env=environment)
    os.close(theirs)
    status = process.wait(timeout=300)
    reader.join()
    os.close(ours)
    return status, b"".join(seen).decode()


def shown(text):
    """The lines that stay: a carriage return begins a line of progress anew."""
    text = re.sub(r"\x1b\[[0-9;?]*[A-Za-z]", "", text)
    return [line.rpartition("\r")[2] for line in text.split("\n")]


def too_wide(lines, width):
    """Lines that could have been broken. A path, a digest or a command to be copied cannot."""
    wide = []
    for line in lines:
        command = line.strip().startswith(("calseal ", "calseal-check "))
        if len(line) <= width or command:
            continue
        # The last word alone, as far to the left as a label lets it.
        if line.rfind(" ", 0, width) > 14 or line.find(" ", width) != -1:
            wide.append(line)
    return wide


def words(text):
    return " ".join(line for line in (part.strip() for part in shown(text)) if line).split()


class Screens(unittest.TestCase):
    @classmethod
    def setUpClass(cls):
        cls.desk = desk = DemoDesk()
        desk.quicken("author.key")
        desk.quicken("withdrawal.key")
        desk.quicken("root.key")
        cls.at = desk.inputs
        (cls.at / "maps").mkdir()
        for path in MAPS.glob("*.regions.json"):
            shutil.copy(path, cls.at / "maps")
        cls.environment = {"PATH": os.environ["PATH"], "LC_ALL": "C.UTF-8", "TERM": "dumb", "HOME": str(desk.root), "CALSEAL_PASSPHRASE": PASSPHRASE}
        cls.taken = []
        if KEEP:
            pathlib.Path(KEEP).mkdir(parents=True, exist_ok=True)

    @classmethod
    def tearDownClass(cls):
        cls.desk.close()

    def screen(self, *arguments, status=0, again=False):
        """One command; `again`: it changes nothing, so it is run at 160 columns too and must say the same words."""
        done, text = on_terminal(arguments, self.at, WIDTH, self.environment)
        lines = shown(text)
        typed = "$ " + " ".join(str(one) for one in arguments)
        self.taken.append(typed)
        if KEEP:
            name = f"{len(self.taken):02}-" + re.sub(r"[^a-z0-9]+", "-", " ".join(str(one) for one in arguments[:3]))[:40]
            (pathlib.Path(KEEP) / f"{name}.txt").write_text(typed + "\n" + "\n".join(lines))
        with self.subTest(typed):
            if status is not None:
                self.assertEqual(done, status, text)
            self.assertEqual(too_wide(lines, WIDTH), [])
            self.assertEqual([line for line in lines if re.search(r"\w\.\.\.(\s|$)|…", line) and "calseal " not in line], [], "cut")
            self.assertEqual([line for line in lines if "\t" in line or line.endswith("  ")], [])
            if again:
                self.assertEqual(words(on_terminal(arguments, self.at, 160, self.environment)[1]), words(text))
        return text

    def test_a_day_of_the_shop_and_its_customer(self):
        self.opened()
        self.sent()
        self.options()
        self.at_the_customers()
        self.later()
        verbs = {" ".join(line.split()[1:4 if line.split()[2] in ("job", "option", "regions") else 3]) for line in self.taken}
        for verb in ("receive", "compare", "confirm", "report", "evidence", "withdraw", *("job " + one for one in (
                "new", "add", "list", "status", "next", "send", "handover", "note", "regions", "log", "carry", "reissue", "sign-list", "make-set")),
                "option make", "option show", "option compose"):
            self.assertTrue(any(line.startswith("calseal " + verb) for line in verbs), verb)

    def opened(self):
        engine = ["data/engine-a-flash.bin", "data/engine-a-eeprom.bin"]
        self.screen("calseal", "receive", "flash=" + engine[0], "eeprom=" + engine[1], "--regions", "maps", again=True)
        self.screen("calseal", "receive", "data/transmission-a.s19", "--regions", "maps", again=True)
        self.screen("calseal", "job", "new", *engine, "--regions", "maps", "--vehicle", "blue estate", "-o", "oak-17")
        self.screen("calseal", "job", "new", *engine, "--regions", "maps", "--vehicle", "blue estate", "-o", "oak-17", status=2)
        self.screen("calseal", "job", "add", "oak-17", "data/transmission-a.s19", "--regions", "maps")
        self.screen("calseal", "job", "new", "data/engine-b-flash.bin", "data/engine-b-eeprom.bin", "--regions", "maps", "--vehicle", "red van of the flower shop",
                    "-o", "a-job-with-a-rather-long-name-for-a-folder")
        self.screen("calseal", "job", "next", "oak-17", again=True)
        for name in ("engine", "transmission"):
            self.screen("calseal", "job", "note", "oak-17/" + name, "sent", "--revision", "0", "--detail", "mail")
            self.screen("calseal", "job", "note", "oak-17/" + name, "acknowledged", "--revision", "0")

    def sent(self):
        self.screen("calseal", "compare", "--regions", "maps/engine.regions.json", "--before", "flash=data/engine-a-flash.bin", "--before",
                    "eeprom=data/engine-a-eeprom.bin", "--after", "flash=data/engine-r1-flash.bin", "--after", "eeprom=data/engine-a-eeprom.bin", status=1)
        self.screen("calseal", "job", "send", "oak-17", "flash=data/engine-r1-flash.bin", "data/transmission-r1.s19", "--title", "first tune")
        self.screen("calseal", "job", "send", "oak-17", "flash=data/engine-r2-flash.bin", status=2)
        self.screen("calseal", "job", "send", "oak-17", "flash=data/engine-r2-flash.bin", "--set", "renew", "--title", "second tune")
        self.screen("calseal", "job", "handover", "oak-17")
        self.screen("calseal", "job", "note", "oak-17", "sent", "--detail", "mail")
        self.screen("calseal", "job", "note", "oak-17", "remark", "--detail", "the customer drives on weekends only and wants to be called in the evening, not before seven")
        self.screen("calseal", "job", "status", "oak-17", again=True)
        self.screen("calseal", "job", "list", ".", again=True)
        drive = "time,rpm,boost,mark\n" + "".join(f"{n / 10:.1f},{800 + n},{n},x\n" for n in range(400))
        (self.at / "drive.csv").write_text(drive)
        self.screen("calseal", "job", "log", "oak-17/engine", "drive.csv", "--revision", "2", "--word", "flashed on my ramp, driven the same evening")
        regions = (self.at / "maps/engine.regions.json").read_text()
        (self.at / "engine-2.json").write_text(re.sub(r'"version": *1\b', '"version": 2', regions, count=1))
        self.screen("calseal", "job", "regions", "oak-17", "engine-2.json")

    def options(self):
        base = ["--base", "flash=data/engine-a-flash.bin", "--base", "eeprom=data/engine-a-eeprom.bin"]
        maps = ["--regions", "maps/engine.regions.json"]
        self.screen("calseal", "option", "make", *maps, *base, "--image", "flash=data/engine-r1-flash.bin", "--image", "eeprom=data/engine-a-eeprom.bin",
                    "--name", "torque", "--title", "more torque from low revs", "-o", "torque.json")
        self.screen("calseal", "option", "show", "torque.json", *maps, again=True)
        self.screen("calseal", "option", "compose", "--option", "torque.json", *maps, *base, "-o", "flash=composed.bin", "-o", "eeprom=composed-e.bin")

    def at_the_customers(self):
        read = ["--read", "flash=data/engine-a-flash.bin", "--read", "eeprom=data/engine-a-eeprom.bin"]
        own = ["--trust", "shop.trust", "--salt", "oak-17/engine/job.salt"]
        bundle, partner = "oak-17/handover-4/engine-r2.calseal", ["--partner", "oak-17/handover-4/transmission-r2.calseal"]
        for program in (("calseal-check",), ("calseal", "check")):
            self.screen(*program, bundle, *own, *read, "--read-is-fresh", *partner, again=True)
            self.screen(*program, bundle, *own, *read, "--read-is-fresh", status=1, again=True)
            self.screen(*program, bundle, *own, "--read", "flash=data/engine-b-flash.bin", "--read", "eeprom=data/engine-b-eeprom.bin", "--read-is-fresh", *partner,
                        status=1, again=True)
        self.screen("calseal-check", bundle, *own, *read, "--read-is-fresh", *partner, "--image", "flash=new.bin", "--image", "eeprom=new-e.bin", "--state", "my.state")
        self.screen("calseal", "confirm", bundle, *own, "--read", "flash=new.bin", "--read", "eeprom=new-e.bin", again=True)
        self.screen("calseal", "confirm", bundle, *own, *read, status=1, again=True)
        self.screen("calseal", "show", bundle, again=True)

    def later(self):
        self.screen("calseal", "job", "note", "oak-17", "acknowledged")
        self.screen("calseal", "job", "note", "oak-17", "written")
        self.screen("calseal", "job", "note", "oak-17", "confirmed", "--detail", "bytes")
        self.screen("calseal", "job", "reissue", "oak-17/engine", "2", status=2)
        self.screen("calseal", "job", "send", "oak-17", "flash=data/engine-r1-flash.bin", "--set", "leave", "--title", "back to the first one")
        self.screen("calseal", "job", "reissue", "oak-17/engine", "3")
        self.screen("calseal", "job", "sign-list", *sorted(str(path.relative_to(self.at)) for path in (self.at / "oak-17/engine/base-1").glob("*.calseal")), "-o", "oak-17.list")
        self.screen("calseal", "job", "make-set", "oak-17/engine/base-1/r2.calseal", "oak-17/transmission/base-1/r2.calseal", "-o", "set.json")
        self.screen("calseal", "withdraw", "oak-17/engine/base-1/r1.calseal", "--class", "safety", "--text", "boost too high in second gear")
        self.screen("calseal", "job", "carry", "oak-17", "flash=data/engine-a-updated-flash.bin", "eeprom=data/engine-a-eeprom.bin", "--reason", "dealer's update", status=None)
        self.screen("calseal", "job", "status", "oak-17", "--withdrawals", "withdrawn.list", status=None, again=True)
        self.screen("calseal", "report", "oak-17", "-o", "oak-17.html", status=None)
        self.screen("calseal", "report", "oak-17/engine/base-1/r1.calseal", "--trust", "shop.trust", "-o", "r1.html", status=None)
        self.screen("calseal", "evidence", "oak-17", "--trust", "shop.trust", "-o", "oak-17-evidence", status=None)
        self.screen("calseal", "evidence", "oak-17/engine", "--trust", "shop.trust", "-o", "oak-17-engine", status=None)

    def test_the_test_notices(self):
        self.assertEqual(too_wide(["word " * 17], WIDTH), ["word " * 17])
        self.assertEqual(too_wide(["  identity   " + "f" * 90, "calseal job next " + "x " * 40], WIDTH), [])
        self.assertEqual(shown("progress\rdone\n"), ["done", ""])


if __name__ == "__main__":
    unittest.main()
