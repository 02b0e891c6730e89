"""A tuner's desk for tests: a folder, the real programs, and a small invented controller of two memories whose checks are
computed here, with zlib and plain code.

    flash  0x80000000  00 10 locked, "DUO" and software number   10 04 derived, CRC-32 of fuel   20 60 editable, fuel
                       80 80 locked, code
    eeprom 0x00000000  00 20 volatile, learned   20 10 locked, serial number, binding   30 08 editable, mark   38 08 locked
"""

import json
import os
import pathlib
import re
import shutil
import subprocess
import tempfile
import zlib

CALSEAL = os.environ["CALSEAL"]
CALSEAL_CHECK = os.environ["CALSEAL_CHECK"]
ADVICE = re.findall(r'^CALSEAL_TO_(SHOP|CUSTOMER)\("(.*)", "(.*)"\)$',
                    (pathlib.Path(__file__).resolve().parents[3] / "src/calseal/cli/console/advice.inc").read_text(), re.M)
SANITIZED = b"__asan_init" in subprocess.run(["nm", CALSEAL_CHECK], capture_output=True, check=False).stdout
PASSPHRASE = "correct horse battery"
TIME = "2026-03-04T05:06:07Z"

REGIONS = {
    "calseal": "region-map/1", "name": "duo", "controller": "engine", "version": 1,
    "memories": [{"name": "flash", "origin": "0x80000000", "size": 256}, {"name": "eeprom", "origin": "0x00000000", "size": 64}],
    "recognise": {"all": [{"memory": "flash", "at": "0x80000000", "bytes": "44554f"}]},
    "regions": [
        {"name": "fuel", "memory": "flash", "start": "0x80000020", "size": 96, "policy": "editable"},
        {"name": "learned", "memory": "eeprom", "start": "0x00000000", "size": 32, "policy": "volatile"},
        {"name": "mark", "memory": "eeprom", "start": "0x00000030", "size": 8, "policy": "editable"},
    ],
    "checksums": [{
        "name": "fuel", "algorithm": {"crc": "CRC-32/ISO-HDLC"},
        "coverage": [{"memory": "flash", "start": "0x80000020", "size": 96}],
        "slots": [{"memory": "flash", "at": "0x80000010", "size": 4}],
    }],
    "identity": [
        {"name": "software", "kind": "software-number", "memory": "flash", "at": "0x80000004", "size": 8, "encoding": "ascii"},
        {"name": "serial", "kind": "serial", "memory": "eeprom", "at": "0x00000020", "size": 16, "encoding": "hex", "binds": True},
    ],
    "evidence": {"author": "tests", "verified_on": [], "guesses": [], "grade": "draft"},
}


def corrected(flash):
    return flash[:0x10] + zlib.crc32(flash[0x20:0x80]).to_bytes(4, "little") + flash[0x14:]


def edited(data, at, new):
    return data[:at] + new + data[at + len(new):]


def first_flash():
    flash = bytearray(b"\xff" * 256)
    flash[0:12] = b"DUO\x00DU-00001"
    flash[0x20:0x80] = bytes((5 * i) & 0xFF for i in range(0x60))
    flash[0x80:] = bytes((i * i) & 0xFF for i in range(0x80))
    return corrected(bytes(flash))


def first_eeprom():
    return bytes(0x55 ^ i for i in range(0x20)) + b"SN-0123456789abc" + b"R0......" + b"tail" * 2


def as_the_shop_reads(value):
    """What calseal-check told a customer, with the advice that calseal gives in its place (advice.inc)."""
    if isinstance(value, dict):
        return {key: as_the_shop_reads(one) for key, one in value.items()}
    if isinstance(value, list):
        return [as_the_shop_reads(one) for one in value]
    if not isinstance(value, str):
        return value
    for reader, raised, told in ADVICE:
        value = value.replace(raised, told) if reader == "SHOP" else value.replace(told, raised)
    return value


class Desk:
    """Folders `in` (what a run reads) and `out` (where it writes) below a scratch folder."""

    def __init__(self):
        self.root = pathlib.Path(tempfile.mkdtemp(prefix="calseal-e2e-"))
        self.inputs = self.root / "in"
        self.out = self.root / "out"
        self.inputs.mkdir()
        self.out.mkdir()
        self.put("word.txt", PASSPHRASE.encode() + b"\n")
        self.put("duo.json", json.dumps(REGIONS).encode())
        self.flash, self.eeprom = first_flash(), first_eeprom()
        self.put("flash.bin", self.flash)
        self.put("eeprom.bin", self.eeprom)

    def close(self):
        shutil.rmtree(self.root, ignore_errors=True)

    def put(self, name, data):
        path = self.inputs / name
        path.write_bytes(data)
        return str(path)

    def at(self, name):
        return str(self.inputs / name)

    def run(self, *arguments, env=None, **options):
        """Runs a program without a terminal; its text as bytes."""
        environment = {"PATH": os.environ["PATH"], "LC_ALL": "C", "HOME": str(self.root)}
        for name in ("ASAN_OPTIONS", "UBSAN_OPTIONS", "LD_LIBRARY_PATH"):
            if name in os.environ:
                environment[name] = os.environ[name]
        environment.update(env or {})
        return subprocess.run([str(a) for a in arguments], stdin=subprocess.DEVNULL, capture_output=True, env=environment,
                              cwd=self.root, timeout=120, check=False, **options)

    def must(self, *arguments, status=0, **options):
        done = self.run(*arguments, **options)
        if done.returncode != status:
            raise AssertionError(f"{arguments}: exit {done.returncode}, not {status}\n{done.stdout.decode()}{done.stderr.decode()}")
        return done

    def json(self, *arguments, status=0, **options):
        """Runs with --json: one line, one object, nothing on stderr."""
        done = self.must(*arguments, "--json", status=status, **options)
        text = done.stdout.decode()
        if done.stderr or text.count("\n") != 1 or not text.endswith("\n"):
            raise AssertionError(f"not one line of JSON: {text!r} {done.stderr!r}")
        value = json.loads(text)
        if not value["calseal"].endswith("/1"):
            raise AssertionError(value)
        return value

    def quicken(self, name):
        """The same key under few rounds, so that a run is short; made by other software, as a shop may."""
        subprocess.run(["openssl", "pkcs8", "-topk8", "-v2", "aes-256-cbc", "-v2prf", "hmacWithSHA256", "-iter", "2048", "-in",
                        self.at(name), "-passin", "file:" + self.at("word.txt"), "-passout", "pass:" + PASSPHRASE, "-out",
                        self.at("quick.key")], check=True, capture_output=True)
        os.chmod(self.at("quick.key"), 0o600)
        os.replace(self.at("quick.key"), self.at(name))

    def open_shop(self):
        return self.json(CALSEAL, "shop", "new", self.inputs, "--name", "Example Shop", "--passphrase-file", self.at("word.txt"),
                         "--claimed-time", "2026-01-01T00:00:00Z")

    def signing(self):
        return ["--key", self.at("author.key"), "--trust", self.at("shop.trust"), "--passphrase-file", self.at("word.txt"),
                "--claimed-time", TIME]

    def base_arguments(self):
        return ["seal", "--job", "oak-17", "--regions", self.at("duo.json"), "--base", "flash=" + self.at("flash.bin"),
                "--base", "eeprom=" + self.at("eeprom.bin"), "--vehicle", "blue estate", *self.signing()]

    def seal_base(self):
        return self.json(CALSEAL, *self.base_arguments(), "--new-salt", self.at("oak.salt"), "-o", self.at("r0.calseal"))

    def edit(self, number):
        """An edit of fuel and mark; flash still with the old checksum, as an editor leaves it."""
        return edited(self.flash, 0x24, bytes([number, number + 1])), edited(self.eeprom, 0x31, str(number).encode())

    def revision_arguments(self, number):
        flash, eeprom = self.edit(number)
        self.put(f"edit{number}.bin", flash)
        self.put(f"mark{number}.bin", eeprom)
        return ["seal", "--base-bundle", self.at("r0.calseal"), "--image", "flash=" + self.at(f"edit{number}.bin"),
                "--image", "eeprom=" + self.at(f"mark{number}.bin"), "--correct", "--salt", self.at("oak.salt"),
                "--title", f"tune {number}", *self.signing()]

    def seal_revision(self, number, *more):
        return self.json(CALSEAL, *self.revision_arguments(number), *more, "-o", self.at(f"r{number}.calseal"))

    def expected(self, number):
        """What revision `number` is, by our own arithmetic."""
        flash, eeprom = self.edit(number) if number else (self.flash, self.eeprom)
        return corrected(flash), eeprom

    def check_arguments(self, bundle, flash=None, eeprom=None):
        return [bundle, "--trust", self.at("shop.trust"), "--salt", self.at("oak.salt"), "--read-is-fresh",
                "--read", "flash=" + (flash or self.at("flash.bin")), "--read", "eeprom=" + (eeprom or self.at("eeprom.bin"))]

    def image_arguments(self):
        return ["--image", f"flash={self.out}/flash.new", "--image", f"eeprom={self.out}/eeprom.new"]

    def written(self):
        """Names and bytes of everything in `out`."""
        return {path.name: path.read_bytes() for path in self.out.iterdir()}

    def clear_out(self):
        for path in self.out.iterdir():
            path.unlink()


def prepared():
    """A desk with shop, salt, r0, r1 and r2."""
    desk = Desk()
    desk.open_shop()
    desk.seal_base()
    desk.seal_revision(1)
    desk.seal_revision(2, "--parent", desk.at("r1.calseal"))
    return desk
