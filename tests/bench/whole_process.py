"""Whole processes, cold start included, beside general-purpose tools on the same bytes, in one run: every command is run in turns, and
medians of wall time are printed. The image is code: 4 MiB cut out of a large shared library, with an invented region map around it.

usage: whole_process.py FOLDER_OF_PROGRAMS [ROUNDS]      (packages: openssl, gzip, xdelta3)
"""

import json
import os
import pathlib
import platform
import statistics
import subprocess
import sys
import tempfile
import time
import zlib

LIBRARY = "/usr/lib/x86_64-linux-gnu/libcrypto.so.3"
SIZE = 4 << 20
CALIBRATION, CALIBRATION_SIZE, SLOT = 0x300000, 0x40000, 0x3F0000

REGIONS = {
    "calseal": "region-map/1", "name": "library", "controller": "engine", "version": 1,
    "note": "an invented layout over the bytes of a shared library",
    "memories": [{"name": "flash", "origin": "0x80000000", "size": SIZE}],
    "recognise": {"all": [{"memory": "flash", "at": "0x80000000", "bytes": "7f454c46"}]},
    "regions": [{"name": "calibration", "memory": "flash", "start": "0x80300000", "size": CALIBRATION_SIZE, "policy": "editable"}],
    "checksums": [{
        "name": "calibration", "algorithm": {"crc": "CRC-32/ISO-HDLC"},
        "coverage": [{"memory": "flash", "start": "0x80300000", "size": CALIBRATION_SIZE}],
        "slots": [{"memory": "flash", "at": "0x803f0000", "size": 4}],
    }],
    "evidence": {"author": "benchmark", "verified_on": [], "guesses": [], "grade": "draft"},
}


def corrected(image):
    crc = zlib.crc32(image[CALIBRATION:CALIBRATION + CALIBRATION_SIZE])
    return image[:SLOT] + crc.to_bytes(4, "little") + image[SLOT + 4:]


def edited(image):
    image = bytearray(image)
    for i in range(200):
        at = CALIBRATION + i * (CALIBRATION_SIZE // 200)
        for j in range(16):
            image[at + j] ^= 0x55
    return corrected(bytes(image))


class Bench:
    def __init__(self, programs, folder, rounds):
        self.programs, self.folder, self.rounds = pathlib.Path(programs).resolve(), folder, rounds
        self.environment = dict(os.environ, CALSEAL_PASSPHRASE="a passphrase for the benchmark only")

    def command(self, words):
        return [str(self.programs / words[0]) if words[0].startswith("calseal") else words[0], *words[1:]]

    def run(self, words):
        done = subprocess.run(self.command(words), cwd=self.folder, env=self.environment, capture_output=True, check=False)
        if done.returncode != 0:
            sys.exit(f"{' '.join(words)}: exit {done.returncode}\n{done.stdout.decode()}{done.stderr.decode()}")
        return done.stdout

    def seconds(self, words):
        command = self.command(words)
        start = time.perf_counter()
        subprocess.run(command, cwd=self.folder, env=self.environment, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL, check=True)
        return time.perf_counter() - start

    def medians(self, *commands):
        times = [[] for _ in commands]
        for words in commands:
            self.seconds(words)
        for _ in range(self.rounds):
            for i, words in enumerate(commands):
                times[i].append(self.seconds(words))
        return [statistics.median(t) for t in times]


def processor():
    for line in pathlib.Path("/proc/cpuinfo").read_text().splitlines():
        if line.startswith("model name"):
            return line.split(":", 1)[1].strip()
    return platform.processor()


def main():
    if len(sys.argv) not in (2, 3):
        sys.exit(__doc__)
    with tempfile.TemporaryDirectory() as folder:
        bench = Bench(sys.argv[1], folder, int(sys.argv[2]) if len(sys.argv) == 3 else 21)
        at = pathlib.Path(folder)
        base = corrected(pathlib.Path(LIBRARY).read_bytes()[:SIZE])
        result = edited(base)
        (at / "base.bin").write_bytes(base)
        (at / "result.bin").write_bytes(result)
        (at / "map.json").write_text(json.dumps(REGIONS))
        (at / "keys").mkdir()
        bench.run(["calseal", "shop", "new", "keys", "--name", "Benchmark", "--claimed-time", "2020-01-01T00:00:00Z"])
        sign = ["--key", "keys/author.key", "--trust", "keys/shop.trust"]
        bench.run(["calseal", "seal", "--job", "job-7", "--regions", "map.json", "--base", "base.bin", "--vehicle", "bench", *sign, "-o", "r0.calseal"])
        revision = ["calseal", "seal", "--base-bundle", "r0.calseal", "--image", "result.bin", *sign, "--dry-run"]
        seal = [*revision, "--packing", "stored"]
        full = [*revision, "--payload", "full"]
        bench.run([*[w for w in seal if w != "--dry-run"], "-o", "r1.calseal"])
        # A read has no sectors declared and no floating slot, so it need not be fresh.
        check = ["calseal-check", "r1.calseal", "--trust", "keys/shop.trust", "--read", "base.bin", "--vehicle", "bench"]
        bench.run([*check, "--image", "out.bin"])
        if (at / "out.bin").read_bytes() != result:
            sys.exit("the checker rebuilt another image")
        # The same key under one round instead of 600,000: what is left is the seal.
        quick = at / "keys/quick.key"
        quick.touch(0o600)
        bench.run(["bash", "-c", "openssl pkey -in keys/author.key -passin env:CALSEAL_PASSPHRASE | openssl pkcs8 -topk8 -v2 aes-256-cbc "
                                 "-v2prf hmacWithSHA256 -iter 1 -passout env:CALSEAL_PASSPHRASE -out keys/quick.key"])

        def quickly(command):
            return [word.replace("keys/author.key", "keys/quick.key") for word in command]

        rows = []

        def row(what, ours, peer_name, peer, aim):
            rows.append(f"| {what} | {1e3 * ours:.1f} ms | {peer_name} | {1e3 * peer:.1f} ms | {ours / peer:.2f} | {aim} |")

        ours, peer = bench.medians(check, ["openssl", "dgst", "-sha256", "base.bin", "result.bin"])
        row("`calseal-check` of stored areas with a 4 MiB read", ours, "`openssl dgst -sha256` of base and result", peer, "1.00")
        ours, without, peer = bench.medians(seal, quickly(seal), ["xdelta3", "-e", "-f", "-s", "base.bin", "result.bin", "patch"])
        row("`calseal seal`, stored areas", ours, "`xdelta3 -e` of the same pair", peer, "0.10")
        row("the same with a key of one round", without, "`xdelta3 -e`", peer, "0.10")
        ours, without, peer = bench.medians(full, quickly(full), ["gzip", "-6", "-k", "-f", "result.bin"])
        row("`calseal seal`, full payload", ours, "`gzip -6` of the result", peer, "1.10")
        row("the same with a key of one round", without, "`gzip -6`", peer, "1.10")
        ours, peer, nothing = bench.medians(["calseal-check", "--version"], ["openssl", "version"], ["true"])
        row("`calseal-check --version`", ours, "`openssl version`", peer, "")
        row("`calseal-check --version`", ours, "`true`", nothing, "")
        print(f"{processor()}, {bench.rounds} rounds")
        print("| what | ours | beside | its time | ratio | aim, at most |\n| --- | --- | --- | --- | --- | --- |")
        print("\n".join(rows))


main()
