#!/usr/bin/env python3
"""Real files from Debian packages, judged by programs and libraries that are not ours; see README.md."""

import binascii
import copy
import glob
import hashlib
import json
import operator
import os
import pathlib
import shutil
import struct
import subprocess
import sys
import tempfile
import unittest
import zlib
from functools import reduce

HERE = pathlib.Path(__file__).resolve().parent
REGIONS = HERE / "regions"
TIMEOUT = 60  # seconds; only a hang takes as long

ROMS = "/usr/share/seabios/vgabios*.bin"
BOOT_LOADERS = "/usr/share/arduino/hardware/arduino/avr/bootloaders"
PICTURES = "/usr/share/cmake-*/Templates/Windows"
NEEDED = {
    "seabios": ROMS,
    "arduino-core-avr": BOOT_LOADERS + "/**/*.hex",
    "cmake-data": PICTURES + "/*.png",
    "binutils": "objcopy",
    "pngcheck": "pngcheck",
}


def is_present(what):
    return bool(glob.glob(what, recursive=True) if "/" in what else shutil.which(what))


def setUpModule():
    missing = [package for package, what in NEEDED.items() if not is_present(what)]
    if missing:
        raise AssertionError(f"these packages are missing: apt-get install {' '.join(missing)}")
    if not os.access(os.environ.get("CALSEAL", ""), os.X_OK):
        raise AssertionError("CALSEAL must name the program")


def run(*command):
    return subprocess.run(
        [str(word) for word in command],
        stdin=subprocess.DEVNULL,
        capture_output=True,
        text=True,
        encoding="utf-8",
        timeout=TIMEOUT,
        env={"PATH": os.environ["PATH"], "LC_ALL": "C"},
    )


def address(value):
    return f"0x{value:08x}"


class Scenario:
    """A real file, its region map, and one edit of each kind."""

    def __init__(self, file, region_map):
        self.file = pathlib.Path(file)
        self.map = region_map
        self.memory = region_map["memories"][0]["name"]
        self.edits = {}  # address: new value, in editable and covered bytes
        self.locked = {}  # the same in one locked byte
        self.locked_breaks = []  # checksums that cover the locked byte
        self.breaks = {}  # name of each checksum that the edits break: (address, size) of its derived place
        self.read = lambda path: dict(enumerate(path.read_bytes()))  # known bytes by address
        self.write = write_raw  # (original path, output path, {address: value})


def write_raw(original, output, values):
    data = bytearray(original.read_bytes())
    for at, value in values.items():
        data[at] = value
    output.write_bytes(data)


class RealFiles(unittest.TestCase):
    maxDiff = None

    def setUp(self):
        folder = tempfile.TemporaryDirectory(prefix="calseal-real-")
        self.addCleanup(folder.cleanup)
        self.folder = pathlib.Path(folder.name)

    def scratch_map(self, region_map):
        path = self.folder / f"{region_map['name']}.json"
        path.write_text(json.dumps(region_map), encoding="utf-8")
        return path

    def calseal(self, status, kind, *arguments):
        """Runs the program with --json; the object it printed, whose kind and exit status are as expected."""
        result = run(os.environ["CALSEAL"], *arguments, "--json")
        self.assertEqual(status, result.returncode, f"{arguments}\n{result.stdout}{result.stderr}")
        answer = json.loads(result.stdout)
        self.assertEqual(kind, answer["calseal"])
        return answer

    def states(self, answer):
        return {check["name"]: check["state"] for check in answer["checks"]}

    def walk(self, scenario, judge):
        """Every step for one file. `judge(path)` raises when what is not ours finds `path` unsound."""
        regions = self.scratch_map(scenario.map)
        shipped = scenario.file
        self.assertTrue(scenario.breaks and scenario.edits and scenario.locked)
        self.holds(scenario, regions, shipped)
        judge(shipped)

        edited = self.folder / ("edited" + shipped.suffix)
        scenario.write(shipped, edited, scenario.edits)
        self.edit_is_noticed(scenario, regions, edited)

        tampered = self.folder / ("tampered" + shipped.suffix)
        scenario.write(shipped, tampered, scenario.locked)
        self.locked_change_is_refused(scenario, regions, tampered)

        corrected = self.corrected(scenario, regions, edited)
        judge(corrected)
        self.correction_is_idempotent(scenario, regions, corrected)

    def holds(self, scenario, regions, file):
        names = [check["name"] for check in scenario.map["checksums"]]
        lint = self.calseal(0, "regions-lint/1", "regions", "lint", "--image", file, regions)["maps"][0]
        self.assertTrue(lint["holds"])
        self.assertEqual({}, lint["fault"])
        self.assertEqual(dict.fromkeys(names, "holds"), self.states(lint))
        checksums = self.calseal(0, "checksums/1", "checksums", "--regions", regions, file)
        self.assertTrue(checksums["recognised"])
        self.assertEqual(dict.fromkeys(names, "holds"), self.states(checksums))

    def compare(self, status, regions, before, after):
        files = ("--before", before, "--after", after)
        answer = self.calseal(status, "compare/1", "compare", "--regions", regions, *files)
        self.assertTrue(answer["believed"], answer["disbelief"])
        return answer

    def correct(self, status, scenario, regions, source, output):
        files = (source, "--base", scenario.file, "--output", output)
        return self.calseal(status, "correct/1", "correct", "--regions", regions, *files)

    def reasons(self, answer):
        return [violation["reason"] for violation in answer["confinement"]["violations"]]

    def changed(self, answer, kind):
        """Addresses of the changed bytes of one kind, from coalesced ranges of single bytes."""
        return [change["start"] for change in answer["changes"] if change["kind"] == kind]

    def edit_is_noticed(self, scenario, regions, edited):
        answer = self.calseal(1, "checksums/1", "checksums", "--regions", regions, edited)
        failing = {name for name, state in self.states(answer).items() if state == "fails"}
        self.assertEqual(set(scenario.breaks), failing)

        answer = self.compare(1, regions, scenario.file, edited)
        self.assertEqual(len(scenario.edits), answer["confinement"]["changed_bytes"])
        self.assertEqual([address(at) for at in sorted(scenario.edits)], self.changed(answer, "editable"))
        self.assertEqual(len(scenario.edits), len(answer["changes"]))
        self.assertEqual(["derived-wrong"] * len(scenario.breaks), self.reasons(answer))
        places = [violation["place"] for violation in answer["confinement"]["violations"]]
        for name, (at, _) in scenario.breaks.items():
            self.assertTrue(any(name in place and address(at) in place for place in places), places)

    def locked_change_is_refused(self, scenario, regions, tampered):
        ((at, value),) = scenario.locked.items()
        answer = self.compare(1, regions, scenario.file, tampered)
        self.assertEqual([address(at)], self.changed(answer, "locked"))
        self.assertEqual(1, len(answer["changes"]))
        expected = ["change-locked"] + ["derived-wrong"] * len(scenario.locked_breaks)
        self.assertEqual(expected, self.reasons(answer))
        self.assertEqual(f"{scenario.memory} {address(at)}", answer["confinement"]["violations"][0]["place"])
        files = ("--before", scenario.file, "--after", tampered)
        text = run(os.environ["CALSEAL"], "compare", "--regions", regions, *files)
        self.assertEqual(1, text.returncode)
        shown = rf"change-locked +{scenario.memory} {address(at)}\n +found {value:02x};"
        self.assertRegex(text.stdout, shown)

        # No correction makes a locked change right.
        output = self.folder / "refused"
        answer = self.correct(1, scenario, regions, tampered, output)
        self.assertEqual(["change-locked"], self.reasons(answer))
        self.assertEqual([], answer["files"])
        self.assertFalse(output.exists())

    def corrected(self, scenario, regions, edited):
        before = edited.read_bytes()
        output = self.folder / ("corrected" + scenario.file.suffix)
        answer = self.correct(0, scenario, regions, edited, output)
        self.assertEqual(before, edited.read_bytes())
        self.assertTrue(answer["proved_on_base"])
        self.assertTrue(answer["confinement"]["confined"])
        self.assertEqual(
            {name: (address(at), size) for name, (at, size) in scenario.breaks.items()},
            {entry["name"]: (entry["start"], entry["size"]) for entry in answer["corrections"]},
        )
        (written,) = answer["files"]
        self.assertEqual(hashlib.sha256(output.read_bytes()).hexdigest(), written["sha256"])

        # Read without our program: the edits stand, and nothing else moved but derived bytes.
        shipped, result = scenario.read(scenario.file), scenario.read(output)
        self.assertEqual(shipped.keys(), result.keys())
        derived = {at + i for at, size in scenario.breaks.values() for i in range(size)}
        for at, value in shipped.items():
            if at not in derived:
                self.assertEqual(scenario.edits.get(at, value), result[at], address(at))
        for name, (at, size) in scenario.breaks.items():
            moved = any(shipped[at + i] != result[at + i] for i in range(size))
            self.assertTrue(moved, f"{name}: nothing was corrected")
        return output

    def correction_is_idempotent(self, scenario, regions, corrected):
        for source in (corrected, scenario.file):
            again = self.folder / ("again" + scenario.file.suffix)
            answer = self.correct(0, scenario, regions, source, again)
            self.assertEqual([], answer["corrections"])
            self.assertEqual(source.read_bytes(), again.read_bytes())
        self.holds(scenario, regions, corrected)
        answer = self.compare(0, regions, scenario.file, corrected)
        self.assertTrue(answer["confinement"]["confined"])
        self.assertEqual([], answer["confinement"]["violations"])

    def hand_made_map(self, name, file):
        """A map that was made by hand for exactly this file."""
        region_map = json.loads((REGIONS / name).read_text(encoding="utf-8"))
        lint = self.calseal(0, "regions-lint/1", "regions", "lint", "--image", file, REGIONS / name)["maps"][0]
        wrong = f"{file}: another version of the package; make {name} for it"
        self.assertEqual([lint["pinned_digest"]], region_map["evidence"]["verified_on"], wrong)
        return region_map


class OptionRoms(RealFiles):
    """PCI Firmware Specification 3.0, 5.1: header, data structure, and a sum of zero over all bytes."""

    # Rows of the letter A in the 8x16 font of a VGA: what finds the font in every ROM.
    LETTER_A = bytes.fromhex("000010386cc6c6fec6c6c6c600000000")
    CHECKSUM_AT = 6  # not in the specification: where this builder puts the byte

    def judge(self, path):
        """55 aa, the stated length, and Python's own sum."""
        data = path.read_bytes()
        self.assertEqual(b"\x55\xaa", data[:2])
        self.assertEqual(data[2] * 512, len(data))
        self.assertEqual(0, sum(data) % 256)
        (at,) = struct.unpack_from("<H", data, 0x18)
        if at:  # ISA ROMs have no data structure
            self.assertEqual(b"PCIR", data[at : at + 4])
            self.assertEqual(data[2], struct.unpack_from("<H", data, at + 0x10)[0])

    def scenario(self, path):
        data = path.read_bytes()
        self.assertEqual(1, data.count(self.LETTER_A))
        font = data.index(self.LETTER_A) - 16 * ord("A")
        self.assertEqual(bytes(16), data[font : font + 16])  # character 0 is blank

        region_map = json.loads((REGIONS / "option_rom.json").read_text(encoding="utf-8"))
        if path.name == "vgabios-stdvga.bin":  # made by hand for this one: nothing to replace
            before = copy.deepcopy(region_map)
        region_map["memories"][0]["size"] = f"0x{data[2] * 512:x}"
        region_map["checksums"][0]["coverage"][0]["size"] = f"0x{data[2] * 512:x}"
        region_map["recognise"]["all"][0]["bytes"] = data[:3].hex()
        region_map["regions"][0]["start"] = address(font)
        if path.name == "vgabios-stdvga.bin":
            self.assertEqual(before, region_map)

        scenario = Scenario(path, region_map)
        row = font + 16 * ord("A") + 5
        scenario.edits = {row: data[row] ^ 0x38}
        scenario.locked = {4: data[4] ^ 0x01}  # target of the jump at the entry point
        scenario.locked_breaks = ["byte-sum"]
        scenario.breaks = {"byte-sum": (self.CHECKSUM_AT, 1)}
        return scenario

    def test_every_vga_rom(self):
        paths = [pathlib.Path(path) for path in sorted(glob.glob(ROMS))]
        sound = [path for path in paths if sum(path.read_bytes()) % 256 == 0]
        self.assertIn("vgabios-stdvga.bin", [path.name for path in sound])
        self.assertIn("vgabios-virtio.bin", [path.name for path in sound])
        self.assertGreaterEqual(len(sound), 8)
        for path in sound:
            with self.subTest(path.name):
                self.walk(self.scenario(path), self.judge)

    def test_a_rom_is_not_taken_for_another_of_other_length(self):
        one, other = (pathlib.Path(ROMS).parent / f"vgabios-{name}.bin" for name in ("stdvga", "cirrus"))
        scenario = self.scenario(one)
        # 0x9a00 bytes where 0x9c00 are declared.
        answer = self.calseal(1, "error/1", "checksums", "--regions", self.scratch_map(scenario.map), other)
        self.assertEqual("image-size", answer["reason"])


class AvrBootLoaders(RealFiles):
    """Intel HEX, judged by objcopy; the values of the rules by Python's own functions."""

    def objcopy(self, path, *arguments, source="ihex", target="binary"):
        output = self.folder / f"objcopy.{target}"
        output.unlink(missing_ok=True)
        result = run("objcopy", "-I", source, "-O", target, *arguments, path, output)
        self.assertEqual(0, result.returncode, result.stderr)
        return output

    def sections(self, path):
        """[(address, bytes)] as objcopy reads them."""
        listing = run("objdump", "-h", "-b", "ihex", path)
        self.assertEqual(0, listing.returncode, listing.stderr)
        found = []
        for line in listing.stdout.splitlines():
            fields = line.split()
            if len(fields) == 7 and fields[1].startswith(".sec"):
                data = self.objcopy(path, "-j", fields[1]).read_bytes()
                self.assertEqual(int(fields[2], 16), len(data))
                found.append((int(fields[4], 16), data))
        self.assertTrue(found)
        return found

    def known_bytes(self, path):
        return {start + i: value for start, data in self.sections(path) for i, value in enumerate(data)}

    @staticmethod
    def write(original, output, values):
        """Changes data bytes of records and makes their checksums right: the byte that makes the sum 0."""
        left, base, lines = dict(values), 0, []
        for line in original.read_bytes().splitlines(keepends=True):
            digits = line.strip()
            record = bytearray.fromhex(digits[1:].decode("ascii"))
            if record[3] == 2:  # extended segment address
                base = int.from_bytes(record[4:6], "big") << 4
            if record[3] == 0:
                first = base + int.from_bytes(record[1:3], "big")
                for at in [at for at in left if first <= at < first + record[0]]:
                    record[4 + at - first] = left.pop(at)
                record[-1] = -sum(record[:-1]) % 256
                line = b":" + record.hex().upper().encode("ascii") + line[len(digits) :]
            lines.append(line)
        assert not left, f"no record holds {left}"
        output.write_bytes(b"".join(lines))

    def scenario(self, name, file):
        scenario = Scenario(f"{BOOT_LOADERS}/{file}", self.hand_made_map(name, f"{BOOT_LOADERS}/{file}"))
        scenario.read, scenario.write = self.known_bytes, self.write
        rule = scenario.map["checksums"][0]
        balance = rule["rule"]["balance"]
        scenario.breaks = {rule["name"]: (int(balance["at"], 16), balance["size"])}
        scenario.locked_breaks = [rule["name"]]
        return scenario

    def walk_hex(self, scenario, value):
        """`value(bytes)` is the rule's value, computed without our program."""
        wanted = int(scenario.map["checksums"][0]["rule"]["equals"], 16)
        (memory,) = scenario.map["memories"]
        self.assertFalse(memory["hole_is_fill"])

        def judge(path):
            self.assertEqual(wanted, value(b"".join(data for _, data in self.sections(path))))

        self.walk(scenario, judge)

        # The form is kept: only records that hold a changed byte differ, in digits alone.
        shipped = scenario.file.read_bytes().splitlines(keepends=True)
        result = (self.folder / "corrected.hex").read_bytes().splitlines(keepends=True)
        self.assertEqual([len(line) for line in shipped], [len(line) for line in result])
        touched = set(scenario.edits) | {at + i for at, size in scenario.breaks.values() for i in range(size)}
        self.assertLessEqual(sum(a != b for a, b in zip(shipped, result)), len(touched))
        self.assertTrue(all(line.endswith(b"\r\n") for line in result))

    def text_edits(self, scenario, at, before, after):
        known = self.known_bytes(scenario.file)
        self.assertEqual(before, bytes(known[at + i] for i in range(len(before))))
        return {at + i: after[i] for i in range(len(before)) if before[i] != after[i]}

    def test_atmega1280(self):
        """CRC-16/XMODEM; judge: binascii.crc_hqx. The file uses extended segment addresses."""
        scenario = self.scenario("avr_atmega1280.json", "atmega/ATmegaBOOT_168_atmega1280.hex")
        scenario.edits = self.text_edits(scenario, 0x1F85F, b"A", b"B")
        scenario.locked = {0x1F100: self.known_bytes(scenario.file)[0x1F100] ^ 0x80}
        self.walk_hex(scenario, lambda data: binascii.crc_hqx(data, 0))

    def test_atmega2560(self):
        """CRC-32/ISO-HDLC; judge: zlib.crc32. The locked byte is the first letter of the device's name."""
        scenario = self.scenario("avr_atmega2560.json", "stk500v2/stk500boot_v2_mega2560.hex")
        scenario.edits = self.text_edits(scenario, 0x3E2E6, b"A", b"a")
        scenario.locked = self.text_edits(scenario, 0x3E307, b"ATmega2560", b"BTmega2560")
        self.walk_hex(scenario, zlib.crc32)

    def test_atmega8(self):
        """Sum of 16-bit words; judge: struct and sum."""
        scenario = self.scenario("avr_atmega8.json", "atmega8/ATmegaBOOT.hex")
        scenario.edits = {0x1C03: self.known_bytes(scenario.file)[0x1C03] ^ 0x01}
        scenario.locked = {0x1D00: self.known_bytes(scenario.file)[0x1D00] ^ 0x01}
        self.walk_hex(scenario, lambda data: sum(struct.unpack(f"<{len(data) // 2}H", data)) % 0x10000)

    def test_optiboot_with_a_hole(self):
        """Exclusive or over two pieces; judge: operator.xor."""
        scenario = self.scenario("avr_optiboot_atmega8.json", "optiboot/optiboot_atmega8.hex")
        self.assertEqual(2, len(self.sections(scenario.file)))
        scenario.edits = {0x1FFE: 5}
        scenario.locked = {0x1E40: self.known_bytes(scenario.file)[0x1E40] ^ 0x40}
        self.walk_hex(scenario, lambda data: reduce(operator.xor, data))

    def test_a_hole_is_unknown_unless_declared_filled(self):
        """A CRC over the hole: not provable; filled with ff it is that of objcopy's gap fill."""
        scenario = self.scenario("avr_optiboot_atmega8.json", "optiboot/optiboot_atmega8.hex")
        filled = self.objcopy(scenario.file, "--gap-fill", "0xff").read_bytes()
        self.assertEqual(512, len(filled))
        scenario.map["checksums"] = [
            {
                "name": "section-crc",
                "algorithm": {"crc": "CRC-32/ISO-HDLC"},
                "coverage": [{"memory": "flash", "start": "0x00001e00", "size": 512}],
                "rule": {"equals": zlib.crc32(filled)},
            }
        ]
        regions = self.scratch_map(scenario.map)
        answer = self.calseal(0, "checksums/1", "checksums", "--regions", regions, scenario.file)
        self.assertEqual({"section-crc": "not-provable"}, self.states(answer))

        scenario.map["memories"][0]["hole_is_fill"] = True
        regions = self.scratch_map(scenario.map)
        answer = self.calseal(0, "checksums/1", "checksums", "--regions", regions, scenario.file)
        self.assertEqual({"section-crc": "holds"}, self.states(answer))

    def test_a_wrong_record_checksum_is_refused(self):
        """By objcopy as well: so its consent elsewhere means something."""
        scenario = self.scenario("avr_atmega8.json", "atmega8/ATmegaBOOT.hex")
        lines = scenario.file.read_bytes().split(b"\r\n")
        last = int(lines[4][-2:], 16) ^ 1
        lines[4] = lines[4][:-2] + b"%02X" % last
        damaged = self.folder / "damaged.hex"
        damaged.write_bytes(b"\r\n".join(lines))
        result = run("objcopy", "-I", "ihex", "-O", "binary", damaged, self.folder / "none")
        self.assertNotEqual(0, result.returncode)
        answer = self.calseal(1, "error/1", "checksums", "--regions", self.scratch_map(scenario.map), damaged)
        self.assertEqual("record-checksum", answer["reason"])
        self.assertEqual("line 5", answer["place"])

    def test_every_file_reads_as_objcopy_reads_it(self):
        """Against objcopy's S-records and its own Intel HEX of the same file: no byte differs."""
        regions = self.scratch_map(
            {
                "calseal": "region-map/1",
                "name": "avr",
                "controller": "avr",
                "version": 1,
                "memories": [{"name": "flash", "origin": "0x00000000", "size": "0x40000"}],
                "regions": [],
                "evidence": {"author": "calseal tests", "verified_on": [], "guesses": [], "grade": "draft"},
            }
        )
        compared, overlapping = 0, []
        for path in sorted(glob.glob(BOOT_LOADERS + "/**/*.hex", recursive=True)):
            with self.subTest(os.path.relpath(path, BOOT_LOADERS)):
                known = self.known_bytes(path)
                if len(known) < sum(len(data) for _, data in self.sections(path)):
                    # Some builds grew past the boot section, over their own version word.
                    answer = self.calseal(1, "error/1", "checksums", "--regions", regions, path)
                    self.assertEqual("record-overlap", answer["reason"])
                    overlapping.append(path)
                    continue
                for target in ("srec", "ihex"):
                    answer = self.compare(0, regions, path, self.objcopy(path, target=target))
                    self.assertEqual(0, answer["confinement"]["changed_bytes"])
                compared += 1
                # That no byte differed means something: one that does is found.
                at = max(known)
                other = self.folder / "other.hex"
                self.write(pathlib.Path(path), other, {at: known[at] ^ 0xFF})
                answer = self.compare(1, regions, path, other)
                self.assertEqual([address(at)], self.changed(answer, "locked"))
        self.assertGreaterEqual(compared, 10)
        self.assertLess(len(overlapping), compared)


class PngFiles(RealFiles):
    """ISO/IEC 15948 (PNG), 5.3: the CRC of a chunk counts type and data. Judges: zlib.crc32, pngcheck."""

    @staticmethod
    def chunks(data):
        """[(type, offset of the type, length of the data, CRC as stored)]"""
        found, at = [], 8
        while at < len(data):
            (length,) = struct.unpack_from(">I", data, at)
            (crc,) = struct.unpack_from(">I", data, at + 8 + length)
            found.append((data[at + 4 : at + 8].decode("ascii"), at + 4, length, crc))
            at += 12 + length
        return found

    def judge(self, path):
        data = path.read_bytes()
        self.assertEqual(b"\x89PNG\r\n\x1a\n", data[:8])
        for name, at, length, crc in self.chunks(data):
            self.assertEqual(crc, zlib.crc32(data[at : at + 4 + length]), name)
        self.assertEqual("IEND", self.chunks(data)[-1][0])
        result = run("pngcheck", "-q", path)
        self.assertEqual(0, result.returncode, result.stdout + result.stderr)

    def walk_picture(self, name, file):
        (path,) = glob.glob(f"{PICTURES}/{file}")
        path = pathlib.Path(path)
        data = path.read_bytes()
        scenario = Scenario(path, self.hand_made_map(name, path))

        # What was worked out by hand for the map is what the file's own lengths say.
        declared = [
            (
                check["name"],
                int(check["coverage"][0]["start"], 16),
                check["coverage"][0]["size"],
                int(check["slots"][0]["at"], 16),
            )
            for check in scenario.map["checksums"]
        ]
        chunks = self.chunks(data)
        counted = [(kind.lower(), at, 4 + length, at + 4 + length) for kind, at, length, _ in chunks]
        self.assertEqual(counted, declared)

        places = {kind.lower(): (at + 4, length) for kind, at, length, _ in chunks}
        colour, opacity = places["plte"][0], places["trns"][0]
        scenario.edits = {colour: data[colour] ^ 0x7F, opacity: data[opacity] ^ 0x01}
        scenario.breaks = {kind: (places[kind][0] + places[kind][1], 4) for kind in ("plte", "trns")}
        width = places["ihdr"][0] + 3
        scenario.locked = {width: data[width] ^ 0x01}
        scenario.locked_breaks = ["ihdr"]
        self.walk(scenario, self.judge)
        # What pngcheck said about the corrected file means something: it refuses the one before.
        self.assertNotEqual(0, run("pngcheck", "-q", self.folder / "edited.png").returncode)

    def test_logo(self):
        self.walk_picture("png_logo.json", "Logo.png")

    def test_splash_screen(self):
        """The palette's CRC is declared by its parameters instead of its name."""
        self.walk_picture("png_splash_screen.json", "SplashScreen.png")


class Maps(unittest.TestCase):
    def test_every_map_is_used(self):
        text = pathlib.Path(__file__).read_text(encoding="utf-8")
        maps = sorted(path.name for path in REGIONS.iterdir())
        self.assertTrue(maps)
        self.assertEqual([], [name for name in maps if f'"{name}"' not in text])


if __name__ == "__main__":
    sys.dont_write_bytecode = True
    unittest.main(verbosity=2)
