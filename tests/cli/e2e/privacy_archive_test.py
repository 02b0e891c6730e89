"""Two vehicles that differ in their binding fields alone, and in what depends on these: lists, receipt, ledger, index and audit of the one are those of the
other, byte for byte, but for the exceptions listed here. An exception is a word that this test works out by itself, never a place where anything may stand;
each is needed, and one that is not fails."""

import functools
import hashlib
import hmac
import json
import os
import pathlib
import re
import sqlite3
import time
import unittest
import zipfile

import demo_desk
import rfc9162
from desk import CALSEAL, CALSEAL_CHECK, TIME
from privacy_test import other_vehicle

FLASH = "flash="
RUN_TIME = re.compile(r"20[0-9]{2}-[0-9]{2}-[0-9]{2}T[0-9]{2}:[0-9]{2}:[0-9]{2}Z")


def sha256(data):
    return hashlib.sha256(data).hexdigest()


def now():
    return time.strftime("%Y-%m-%dT%H:%M:%SZ", time.gmtime())


def canonical(value):
    return json.dumps(value, separators=(",", ":"), ensure_ascii=False).encode()


class Shop(demo_desk.DemoDesk):
    """A desk with a ledger key and a key for withdrawals."""

    def __init__(self):
        super().__init__()
        self.word = ["--passphrase-file", self.at("word.txt")]
        for name, role in (("ledger", "ledger"), ("withdrawals", "withdrawal")):
            self.json(CALSEAL, "key", "new", self.at(name + ".key"), *self.word)
            self.quicken(name + ".key")
            self.json(CALSEAL, "shop", "add-key", self.at("shop.trust"), self.at(name + ".key.pub"), "--name", name, "--role", role, "--valid-from",
                      "2026-01-01T00:00:00Z", "--root-key", self.at("root.key"), *self.word, "-o", self.at("next.trust"))
            os.replace(self.at("next.trust"), self.at("shop.trust"))
        self.salt = self.put("oak.salt", b"5a" * 32 + b"\n")
        os.chmod(self.salt, 0o600)


class Job:
    """One vehicle's job in a folder of its own, under the same names: r0, r1, and everything that is written about them."""

    def __init__(self, desk, name, eeprom):
        self.desk, self.home, self.began = desk, desk.root / name, now()
        (self.home / "archive").mkdir(parents=True)
        (self.home / "eeprom.bin").write_bytes(eeprom)
        self.said = {}
        trust, reads = ["--trust", desk.at("shop.trust")], [FLASH + desk.data("engine-a-flash.bin"), "eeprom=eeprom.bin"]
        r0, r1, signing = "archive/r0.calseal", "archive/r1.calseal", ["--salt", desk.salt, *desk.signing()]
        # Not deflated: how far the first read's bytes deflate would show in the size.
        self.run("seal r0", "seal", "--job", "oak-17", "--regions", demo_desk.MAPS / "engine.regions.json", "--base", reads[0], "--base", reads[1],
                 "--vehicle", "blue estate", "--packing", "stored", *signing, "-o", r0)
        self.run("seal r1", "seal", "--base-bundle", r0, "--image", FLASH + desk.data("engine-r1-flash.bin"), "--correct", "--title", "first tune",
                 *signing, "-o", r1)
        listed = [*desk.word, *trust, "--claimed-time", TIME]
        self.run("withdraw", "withdraw", r1, "--class", "error", "--text", "too lean", "--key", desk.at("withdrawals.key"), *listed, "-o", "withdrawn.list")
        self.run("job sign-list", "job", "sign-list", r0, r1, "--key", desk.at("author.key"), *listed, "-o", "job.list")
        self.receive(r1, trust, reads)
        self.enter(r0, r1, trust, listed)
        self.ask(trust)
        self.ended = now()

    def run(self, what, *arguments, program=CALSEAL):
        for form in ("--json", None) if arguments[0] in ("find", "audit") or arguments[:2] in (("ledger", "show"), ("ledger", "verify")) else ("--json",):
            words = [program, *arguments] + ([form] if form else [])
            self.said[f"{what} {form or ''}".strip()] = self.desk.must("env", "-C", self.home, *words).stdout.decode()

    def receive(self, r1, trust, reads):
        """The customer, with one key for both vehicles."""
        self.run("check", r1, *trust, "--salt", self.desk.salt, "--read-is-fresh", "--read", reads[0], "--read", reads[1], "--state", "state", "--receipt", "receipt",
                 "--receipt-key", self.desk.at("customer.key"), "--image", "flash=flash.new", "--image", "eeprom=eeprom.new", program=CALSEAL_CHECK)
        self.run("receipt code", r1, *trust, "--salt", self.desk.salt, "--seal-only", "--receipt-code", program=CALSEAL_CHECK)

    def enter(self, r0, r1, trust, listed):
        self.run("ledger new", "ledger", "new", "ledger")
        self.run("sealed", "ledger", "append", "ledger", "sealed", r0, r1, *trust)
        self.run("received", "ledger", "append", "ledger", "received", r1, "--receipt", "receipt", *trust)
        self.run("sent", "ledger", "append", "ledger", "sent", r1, "--words", "mail", "--time", TIME, *trust)
        self.run("head", "ledger", "head", "ledger", "--key", self.desk.at("ledger.key"), *listed, "-o", "r1.head")
        self.run("prove", "ledger", "prove", "ledger", "--bundle", r1, *trust, "-o", "r1.inclusion")

    def ask(self, trust):
        self.run("ledger verify", "ledger", "verify", "ledger", *trust)
        self.run("ledger show", "ledger", "show", "ledger", *trust)
        self.run("find", "find", "archive", *trust)
        outputs = [word for name in ("txt", "jsonl", "csv", "xml") for word in ("--report", "audit." + name)]
        self.run("audit", "audit", "archive", "ledger", *trust, "--depth", "proved", "--record", "audit.record", *outputs)
        self.run("audit report", "report", "audit.record", "-o", "audit.html")

    # ---- everything that is compared

    @functools.cached_property
    def texts(self):
        """All that was said and written, but bundles, reads and images."""
        out = {f"says {what}": text for what, text in self.said.items()}
        for path in sorted(self.home.rglob("*")):
            if path.is_file() and path.suffix not in (".calseal", ".bin", ".new") and path.name != ".calseal-index":
                out[str(path.relative_to(self.home))] = path.read_text()
        with sqlite3.connect(self.home / "archive/.calseal-index") as index:
            out["index"] = "\n".join(index.iterdump())
        return out

    # ---- the exceptions: why, and the words

    def bundle(self, number):
        return self.home / f"archive/r{number}.calseal"

    def content(self, number, name):
        return zipfile.ZipFile(self.bundle(number)).read(name)

    def signatures(self, number):
        """(key id, signature) as raw bytes, in file order."""
        names = [name for name in zipfile.ZipFile(self.bundle(number)).namelist() if name.startswith("signatures/")]
        return [(bytes.fromhex(name[11:75]), self.content(number, name)) for name in names]

    def lines(self, name):
        return (self.home / "ledger" / name).read_bytes().split(b"\n")[:-1]

    def entries(self):
        return [json.loads(line) for line in self.lines("entries.jsonl")[1:]]

    def details(self):
        return [json.loads(line) for line in self.lines("details.jsonl")]

    def identities(self):
        """SHA-256 of the manifests, which hold the salted binding; whole, and as far as a list shows it."""
        whole = [sha256(self.content(number, "manifest.json")) for number in (0, 1)]
        return whole + [one[:12] for one in whole]

    def spoken(self):
        """What is read aloud of them: the first 128 bits of the identity; 48 bits of an HMAC over it."""
        return [self.desk.json(CALSEAL, "show", self.bundle(1))["phrase"], json.loads(self.said["receipt code --json"])["receipt"]["code"]]

    def images(self):
        """SHA-256 of this vehicle's read and of its new image."""
        return [sha256((self.home / name).read_bytes()) for name in ("eeprom.bin", "eeprom.new")]

    def signed(self):
        """Signatures over what names an identity, and the digest over identity and signatures of a bundle."""
        words = []
        for name in ("withdrawn.list", "job.list", "receipt", "r1.head"):
            words += [line.split(" ")[1] for line in self.texts[name].split("\n")[1:-1]]
        for number in (0, 1):
            seal = b"".join(key + signature for key, signature in self.signatures(number))
            words.append(sha256(hashlib.sha256(self.content(number, "manifest.json")).digest() + seal))
        return words

    def chance(self):
        """What the ledger draws: its id, and a nonce for each entry."""
        return [json.loads(self.lines("entries.jsonl")[0])["id"]] + [one["nonce"] for one in self.details()]

    def from_chance(self):
        """What follows from nonces: the salt of the proof, subjects, and nodes of the tree."""
        words, leaves = [], [rfc9162.leaf_hash(line) for line in self.lines("entries.jsonl")[1:]]
        for entry, detail in zip(self.entries(), self.details()):
            salt = hmac.new(bytes.fromhex(detail["nonce"]), canonical(detail["facts"]), hashlib.sha256).digest()
            words.append(hmac.new(salt, bytes.fromhex(detail["facts"]["about"]), hashlib.sha256).hexdigest())
            if words[-1] != entry["subject"]:
                raise AssertionError(f"the subject of {entry} does not follow from {detail}")
            words += [salt.hex()] if entry["kind"] == "sealed" and detail["facts"]["revision"] == 1 else []
        for size in range(1, len(leaves) + 1):
            words.append(rfc9162.tree_head(leaves[:size]).hex())
        words += [node.hex() for node in rfc9162.path(1, leaves)]
        return words

    def files(self):
        """SHA-256 of files that hold any of these, whole and without their last line."""
        words = []
        for path in self.home.rglob("*"):
            if path.suffix in (".bin", ".new"):
                continue  # images, which have an exception of their own
            data = path.read_bytes() if path.is_file() else b""
            words += [sha256(data), sha256(b"".join(data.splitlines(keepends=True)[:1])), sha256(b"".join(data.splitlines(keepends=True)[:-1])),
                      sha256(data.split(b"\n")[0])]
        return words

    def clock(self):
        """The machine's time during the run; size and times of files as the index knows them."""
        words = sorted({word for text in self.texts.values() for word in RUN_TIME.findall(text) if self.began <= word <= self.ended})
        for number in (0, 1):
            status = self.bundle(number).stat()
            words += [str(status.st_mtime_ns), str(status.st_ctime_ns), str(status.st_ino)]
        return words

    def masked(self, name, exceptions):
        """The text with each word of the exceptions replaced by the exception's name and, but for times, the word's number."""
        places = {}
        for exception in exceptions:
            for number, word in enumerate(self.words(exception)):
                places.setdefault(word.upper(), f"<{exception} {number if exception != 'clock' else ''}>")
        longest = sorted(places, key=len, reverse=True)
        pattern = r"(?<![0-9A-Za-z])(" + "|".join(re.escape(word) for word in longest) + r")(?![0-9A-Za-z])"
        return re.sub(pattern, lambda match: places[match[0].upper()], self.texts[name], flags=re.IGNORECASE) if places else self.texts[name]

    @functools.lru_cache(None)
    def words(self, exception):
        return list(getattr(self, exception)())


# Where which exception may stand. Whatever is not here is the same, byte for byte.
ALLOWED = {
    **dict.fromkeys(("says seal r0 --json", "says seal r1 --json", "says withdraw --json", "says job sign-list --json"), ("identities",)),
    "says check --json": ("identities", "spoken", "images"),
    "says receipt code --json": ("identities", "spoken"),
    "says ledger new --json": ("chance",),
    **dict.fromkeys(("says sealed --json", "says received --json", "says sent --json"), ("identities", "from_chance")),
    **dict.fromkeys(("says head --json", "says ledger verify --json", "says ledger verify", "ledger/tip.json"), ("chance", "from_chance")),
    **dict.fromkeys(("says prove --json", "r1.inclusion"), ("from_chance",)),
    "says ledger show --json": ("identities", "files", "clock"),
    "says ledger show": ("clock",),
    **dict.fromkeys(("says find --json", "says find"), ("identities", "clock")),
    "audit.record": ("identities", "images", "signed", "chance", "from_chance", "files"),
    **dict.fromkeys(("job.list", "withdrawn.list"), ("identities", "signed")),
    "receipt": ("identities", "signed", "clock"),
    "state": ("identities", "files", "clock"),
    "ledger/details.jsonl": ("identities", "chance", "files", "clock"),
    "ledger/entries.jsonl": ("chance", "from_chance", "clock"),
    **dict.fromkeys(("ledger/heads/000000000004.head", "r1.head"), ("signed", "chance", "from_chance")),
    "index": ("identities", "images", "clock"),
}


class Privacy(unittest.TestCase):
    @classmethod
    def setUpClass(cls):
        cls.desk = Shop()
        eeprom = cls.desk.bytes_of("engine-a-eeprom.bin")
        cls.one = Job(cls.desk, "one", eeprom)
        time.sleep(1.1)  # so that every time of the machine is another one
        cls.two = Job(cls.desk, "two", other_vehicle(eeprom))

    @classmethod
    def tearDownClass(cls):
        cls.desk.close()

    def differ(self, name, exceptions):
        return self.one.masked(name, exceptions) != self.two.masked(name, exceptions)

    def test_everything_else_is_the_same(self):
        self.assertEqual(set(self.one.texts), set(self.two.texts))
        self.assertLessEqual(set(ALLOWED), set(self.one.texts))
        for name in self.one.texts:
            self.assertEqual(self.one.masked(name, ALLOWED.get(name, ())), self.two.masked(name, ALLOWED.get(name, ())), name)

    def test_every_exception_is_needed(self):
        for name, exceptions in ALLOWED.items():
            for exception in exceptions:
                self.assertTrue(self.differ(name, [one for one in exceptions if one != exception]), f"{name} is the same without {exception}")

    def test_no_word_is_left_over(self):
        """Exceptions that name single words name none that stands nowhere."""
        for exception in ("identities", "spoken", "images", "signed", "chance"):
            places = [self.one.texts[name].upper() for name, exceptions in ALLOWED.items() if exception in exceptions]
            for word in self.one.words(exception):
                self.assertTrue(any(word.upper() in place for place in places), f"{exception}: {word}")

    def test_the_audit_proved_all_of_it(self):
        self.assertIn('"proof":"proved"', self.one.texts["audit.record"])
        self.assertEqual(json.loads(self.one.said["audit --json"])["findings"], [])


if __name__ == "__main__":
    unittest.main()
