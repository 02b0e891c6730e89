"""The C ABI through ctypes: every row of fixtures/bundles/index.json gives the very JSON that the program gives; then describe
and confirm.

    CALSEAL=... use_calseal.py LIBRARY FIXTURES_BUNDLES
"""

import ctypes
import hashlib
import json
import os
import re
import pathlib
import subprocess
import sys
import threading
import unittest

ADVICE = pathlib.Path(__file__).resolve().parents[2] / "src/calseal/cli/console/advice.inc"
TO_CUSTOMER = re.findall(r'^CALSEAL_TO_CUSTOMER\("(.*)", "(.*)"\)$', ADVICE.read_text(), re.M)
CALSEAL = os.environ["CALSEAL"]
CALSEAL_CHECK = os.environ.get("CALSEAL_CHECK", CALSEAL + "-check")  # who uses the library is told what the customer is
LIBRARY, FOLDER = sys.argv[1], pathlib.Path(sys.argv[2])

BUNDLE, TRUST, SALT = 1, 2, 3
READ, BEFORE = 1, 2
ROOT, VEHICLE = 1, 2
FRESH, REVIVE, RETURN, SEAL_ONLY = 1, 2, 3, 4
ACCEPTED, REFUSED, AUTHENTIC, CONFIRMED, UNPROVED, DESCRIBED = 1, 2, 3, 4, 5, 6
REASON, REPORT, JSON, GRADE = 1, 8, 9, 10
OK = 0

lib = ctypes.CDLL(LIBRARY)
handle, size_t, text, data = ctypes.c_void_p, ctypes.c_size_t, ctypes.c_char_p, ctypes.c_char_p
sized = ctypes.POINTER(size_t)
for name, result, arguments in (
    ("calseal_version", text, []),
    ("calseal_abi", ctypes.c_int, []),
    ("calseal_status_text", text, [ctypes.c_int]),
    ("calseal_request_new", ctypes.c_int, [ctypes.POINTER(handle)]),
    ("calseal_request_free", None, [handle]),
    ("calseal_request_set_file", ctypes.c_int, [handle, ctypes.c_int, text, data, size_t]),
    ("calseal_request_add_read", ctypes.c_int, [handle, ctypes.c_int, text, text, data, size_t]),
    ("calseal_request_set_word", ctypes.c_int, [handle, ctypes.c_int, text]),
    ("calseal_request_declare", ctypes.c_int, [handle, ctypes.c_int]),
    ("calseal_request_add_scan", ctypes.c_int, [handle, text, text]),
    ("calseal_check", ctypes.c_int, [handle, ctypes.POINTER(handle)]),
    ("calseal_confirm", ctypes.c_int, [handle, ctypes.POINTER(handle)]),
    ("calseal_describe", ctypes.c_int, [text, data, size_t, ctypes.POINTER(handle)]),
    ("calseal_result_outcome", ctypes.c_int, [handle]),
    ("calseal_result_text", ctypes.c_int, [handle, ctypes.c_int, ctypes.c_char_p, size_t, sized]),
    ("calseal_result_file_count", ctypes.c_int, [handle, sized]),
    ("calseal_result_file_name", ctypes.c_int, [handle, size_t, ctypes.c_int, ctypes.c_char_p, size_t, sized]),
    ("calseal_result_file_bytes", ctypes.c_int, [handle, size_t, ctypes.c_char_p, size_t, sized]),
    ("calseal_result_state", ctypes.c_int, [handle, ctypes.c_int, ctypes.c_char_p, size_t, sized]),
    ("calseal_result_free", None, [handle]),
):
    function = getattr(lib, name)
    function.restype, function.argtypes = result, arguments


def must(status):
    if status != OK:
        raise AssertionError(lib.calseal_status_text(status).decode())


def copied(function, *arguments):
    """What a function copies out, by its two calls."""
    size = size_t()
    must(function(*arguments, None, 0, ctypes.byref(size)))
    buffer = ctypes.create_string_buffer(max(1, size.value))
    must(function(*arguments, buffer, size.value, ctypes.byref(size)))
    return buffer.raw[:size.value]


class Result:
    def __init__(self, ask, *arguments):
        self.handle = handle()
        # A request lives as long as this call holds it.
        plain = [a.handle if isinstance(a, Request) else a for a in arguments]
        must(ask(*plain, ctypes.byref(self.handle)))
        self.outcome = lib.calseal_result_outcome(self.handle)

    def text(self, what):
        return copied(lib.calseal_result_text, self.handle, what)[:-1].decode()

    def files(self):
        count = size_t()
        must(lib.calseal_result_file_count(self.handle, ctypes.byref(count)))
        return {copied(lib.calseal_result_file_name, self.handle, i, 1)[:-1].decode(): copied(lib.calseal_result_file_bytes, self.handle, i)
                for i in range(count.value)}

    def __del__(self):
        lib.calseal_result_free(self.handle)


class Request:
    def __init__(self, row):
        self.handle = handle()
        must(lib.calseal_request_new(ctypes.byref(self.handle)))
        for what, name in ((BUNDLE, row["bundle"]), (TRUST, row["trust"]), (SALT, row["salt"])):
            if name:
                self.set_file(what, name)
        for read in row["reads"]:
            self.add_read(READ, read)
        if row["stated_root"]:
            must(lib.calseal_request_set_word(self.handle, ROOT, row["stated_root"].encode()))
        if row["vehicle_reference"]:
            must(lib.calseal_request_set_word(self.handle, VEHICLE, row["vehicle_reference"].encode()))
        for what, key in ((FRESH, "read_is_fresh"), (REVIVE, "revive"), (SEAL_ONLY, "seal_only")):
            if row[key]:
                must(lib.calseal_request_declare(self.handle, what))

    def set_file(self, what, name):
        content = (FOLDER / name).read_bytes()
        must(lib.calseal_request_set_file(self.handle, what, name.encode(), content, len(content)))

    def add_read(self, what, argument, content=None):
        memory, name = argument.split("=")
        content = (FOLDER / name).read_bytes() if content is None else content
        must(lib.calseal_request_add_read(self.handle, what, memory.encode(), name.encode(), content, len(content)))

    def __del__(self):
        lib.calseal_request_free(self.handle)


def program(row):
    """The program's JSON for a row, byte for byte."""
    words = [CALSEAL_CHECK, row["bundle"], "--trust", row["trust"], "--json"]
    for option, key in (("--root", "stated_root"), ("--salt", "salt"), ("--vehicle", "vehicle_reference")):
        if row[key]:
            words += [option, row[key]]
    for read in row["reads"]:
        words += ["--read", read]
    words += [option for option, key in (("--read-is-fresh", "read_is_fresh"), ("--revive", "revive"), ("--seal-only", "seal_only")) if row[key]]
    return subprocess.run(words, cwd=FOLDER, capture_output=True, check=False, timeout=120).stdout.decode().rstrip("\n")


def rows():
    found = [row for row in json.loads((FOLDER / "index.json").read_text())["vectors"] if (FOLDER / row["bundle"]).stat().st_size]
    assert len(found) > 100
    return found


def row_named(name):
    return next(row for row in rows() if row["name"] == name)


class Library(unittest.TestCase):
    def test_version(self):
        self.assertEqual(lib.calseal_abi(), 0)
        self.assertEqual("calseal " + lib.calseal_version().decode(), subprocess.run([CALSEAL, "--version"], capture_output=True, text=True,
                                                                                     check=True).stdout.strip())

    def test_every_row_as_the_program(self):
        # The clock names itself where a trial is over; everything else is the same text.
        outcomes = set()
        for row in rows():
            if (FOLDER / row["trust"]).stat().st_size == 0:
                continue
            with self.subTest(row["name"]):
                request = Request(row)
                result = Result(lib.calseal_check, request)
                outcomes.add(result.outcome)
                found = result.text(JSON)
                if result.text(REASON) not in ("expired", "clock-implausible"):
                    for raised, told in TO_CUSTOMER:  # the library gives errors as they are raised
                        found = found.replace(raised, told)
                    self.assertEqual(found, program(row))
                wanted = {"accepted": ACCEPTED, "authentic": AUTHENTIC}.get(row["expect"], REFUSED)
                if result.outcome == wanted:
                    self.assertEqual({memory: hashlib.sha256(content).hexdigest() for memory, content in result.files().items()}, row["results"])
        self.assertEqual(outcomes, {ACCEPTED, REFUSED, AUTHENTIC})

    def test_describe(self):
        for name in ("tiny-everything.calseal", "small-revision.calseal", "signer-unknown.calseal"):
            content = (FOLDER / name).read_bytes()
            result = Result(lib.calseal_describe, name.encode(), content, len(content))
            self.assertEqual(result.outcome, DESCRIBED)
            shown = subprocess.run([CALSEAL, "show", name, "--json"], cwd=FOLDER, capture_output=True, check=True, text=True).stdout
            self.assertEqual(result.text(JSON), shown.rstrip("\n"))
        result = Result(lib.calseal_describe, b"x", b"nothing", 7)
        self.assertEqual((result.outcome, result.text(REASON)), (REFUSED, "bundle-size"))

    def test_check_write_confirm(self):
        row = row_named("small-revision-driven")
        rebuilt = Result(lib.calseal_check, Request(row))
        self.assertEqual(rebuilt.outcome, ACCEPTED)
        request = Request({**row, "reads": []})
        self.assertEqual(Result(lib.calseal_confirm, request).outcome, UNPROVED)
        for memory, content in rebuilt.files().items():
            request.add_read(READ, memory + "=after.bin", content)
        for read in row["reads"]:
            request.add_read(BEFORE, read)
        confirmed = Result(lib.calseal_confirm, request)
        self.assertEqual((confirmed.outcome, confirmed.text(GRADE)), (CONFIRMED, "bytes"))
        old = Result(lib.calseal_confirm, Request(row))
        self.assertEqual((old.outcome, old.text(REASON)), (REFUSED, "confirm-old"))
        self.assertTrue(old.text(REPORT).startswith("REFUSED"))
        scan = Request({**row, "reads": []})
        must(lib.calseal_request_add_scan(scan.handle, b"software", b"SJ-00001"))
        self.assertEqual(Result(lib.calseal_confirm, scan).text(GRADE), "identity")

    def test_two_threads(self):
        names = ("small-revision", "read-foreign", "tiny-revision", "small-revive")
        wanted = {name: Result(lib.calseal_check, Request(row_named(name))).text(JSON) for name in names}
        requests = {name: Request(row_named(name)) for name in names}
        faults = []

        def work():
            for _ in range(10):
                for name, request in requests.items():
                    if Result(lib.calseal_check, request).text(JSON) != wanted[name]:
                        faults.append(name)

        threads = [threading.Thread(target=work) for _ in range(2)]
        for thread in threads:
            thread.start()
        for thread in threads:
            thread.join()
        self.assertEqual(faults, [])


if __name__ == "__main__":
    unittest.main(argv=sys.argv[:1])
