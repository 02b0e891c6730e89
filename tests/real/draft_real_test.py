#!/usr/bin/env python3
"""Checksums in files of Debian packages that nobody declared to us, found by `regions draft`; judged by Python's own sums and zlib.
docs/measurements.md has the account of what is found, missed and wrong."""

import collections
import glob
import gzip
import json
import os
import pathlib
import struct
import subprocess
import tempfile
import unittest
import zlib

CALSEAL = os.environ["CALSEAL"]
NEEDED = {"seabios": "/usr/share/seabios/vgabios*.bin", "ipxe-qemu": "/usr/lib/ipxe/qemu/pxe-*.rom",
          "cmake-data": "/usr/share/cmake-*/Templates/Windows/*.png"}


def draft(*files, grid=512):
    done = subprocess.run([CALSEAL, "regions", "draft", *map(str, files), "--grid", str(grid), "--json"], capture_output=True, text=True)
    assert done.returncode == 0, done.stdout + done.stderr
    return json.loads(done.stdout)["found"]


def families(pattern):
    """Option ROMs of one length, by length; of a real length only."""
    sizes = collections.defaultdict(list)
    for name in sorted(glob.glob(pattern)):
        content = pathlib.Path(name).read_bytes()
        if len(content) >= 512 and len(content) == content[2] * 512 and sum(content) % 256 == 0:
            sizes[len(content)].append((content, name))
    # Links and equal files tell nothing more.
    different = {size: sorted({content: name for content, name in files}.values()) for size, files in sizes.items()}
    return {size: names for size, names in different.items() if len(names) >= 3}


class Drafted(unittest.TestCase):
    def test_packages_are_there(self):
        missing = [package for package, files in NEEDED.items() if not glob.glob(files)]
        self.assertEqual(missing, [], "install: apt-get install " + " ".join(missing))

    # PCI Firmware Specification 3.0, 5.1: all bytes of an option ROM sum to 0 modulo 256. Eight bits in one image are chance; in three
    # or more they are not.
    def test_option_roms_of_one_length(self):
        for package in ("seabios", "ipxe-qemu"):
            groups = families(NEEDED[package])
            self.assertTrue(groups, package)
            for size, names in groups.items():
                with self.subTest(package, size=size):
                    found = draft(*names)
                    self.assertEqual([(one["kind"], one["equals"], one["coverage"]["start"], one["coverage"]["size"]) for one in found],
                                     [("rule", "0x0", "0x00000000", size)])
                    self.assertIn("8 bits", found[0]["algorithm"])

    def test_one_option_rom_alone_is_not_claimed(self):
        for package in ("seabios", "ipxe-qemu"):
            for name in sorted(glob.glob(NEEDED[package])):
                if os.path.getsize(name) >= 512:
                    self.assertEqual(draft(name), [], name)

    # A picture's chunks and a compressed file's trailer begin and end anywhere: off the grid, and in no table. Nothing may be claimed.
    def test_pictures_and_compressed_files_claim_nothing(self):
        with tempfile.TemporaryDirectory() as folder:
            packed = pathlib.Path(folder) / "packed.gz"
            packed.write_bytes(gzip.compress(pathlib.Path(sorted(glob.glob(NEEDED["seabios"]))[1]).read_bytes(), mtime=0))
            for name in [packed, *sorted(glob.glob(NEEDED["cmake-data"]))[:4]]:
                if os.path.getsize(name) >= 512:
                    self.assertEqual(draft(name), [], name)

    # Programs as they come from a compiler: nobody put a checksum into them that this search knows. CALSEAL_FILES judges others.
    def test_no_program_is_said_to_hold_a_checksum(self):
        names = sorted(glob.glob(os.environ.get("CALSEAL_FILES", "/usr/bin/[c-e]*")))
        names = [name for name in names if os.path.isfile(name) and not os.path.islink(name) and 32768 <= os.path.getsize(name) <= 131072]
        self.assertGreater(len(names), 3)
        for name in names if "CALSEAL_FILES" in os.environ else names[:4]:
            found = draft(name, grid=4096)
            self.assertEqual([one for one in found if one["chance_bits"] >= 10], [], name)

    # The same bytes laid where a grid has them: the picture's longest chunk (type and data, padded to a sector's end with its CRC last
    # would be another file), so the stored CRC is taken as it is and the chunk is moved to begin on a grid point.
    def test_a_picture_chunk_moved_to_the_grid_is_found(self):
        name = max(glob.glob(NEEDED["cmake-data"]), key=os.path.getsize)
        content = pathlib.Path(name).read_bytes()
        at, longest = 8, (0, 0)
        while at < len(content):
            size = struct.unpack_from(">I", content, at)[0]
            longest = max(longest, (size, at))
            at += size + 12
        size, at = longest
        chunk, crc = content[at + 4:at + 8 + size], content[at + 8 + size:at + 12 + size]
        self.assertEqual(struct.unpack(">I", crc)[0], zlib.crc32(chunk))
        with tempfile.TemporaryDirectory() as folder:
            moved = pathlib.Path(folder) / "moved.bin"
            whole = len(chunk) // 512 * 512
            moved.write_bytes(chunk[:whole] + struct.pack(">I", zlib.crc32(chunk[:whole])) + b"\xff" * 508)
            found = draft(moved)
        self.assertEqual([(one["slot"]["start"], one["order"]) for one in found], [("0x%08x" % whole, "big")])
        self.assertEqual(found[0]["algorithm"], "CRC-32/ISO-HDLC")


if __name__ == "__main__":
    unittest.main()
