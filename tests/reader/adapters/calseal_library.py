#!/usr/bin/env python3
"""libcalseal through its C interface as a reader of fixtures/bundles/README.md. CALSEAL_LIBRARY names the shared library.

It takes the time from the machine, so a trial is not run through it.
"""

import ctypes
import hashlib
import os
import sys

sys.path.insert(0, os.path.dirname(os.path.dirname(os.path.abspath(__file__))))
from protocol import content_of_file, reads_of, serve  # noqa: E402

BUNDLE, TRUST, SALT, READ, ROOT, VEHICLE, REASON = 1, 2, 3, 1, 1, 2, 1
OUTCOMES = {1: "accepted", 2: "refused", 3: "authentic"}
DECLARATIONS = (("read_is_fresh", 1), ("revive", 2), ("seal_only", 4))

handle, size_t = ctypes.c_void_p, ctypes.c_size_t
lib = ctypes.CDLL(os.environ["CALSEAL_LIBRARY"])
lib.calseal_request_free.restype = lib.calseal_result_free.restype = None
lib.calseal_status_text.restype = ctypes.c_char_p


def must(status):
    if status != 0:
        raise RuntimeError(lib.calseal_status_text(status).decode())


def copied(function, *arguments):
    """What a function copies out, by its two calls."""
    size = size_t()
    must(function(*arguments, None, size_t(0), ctypes.byref(size)))
    buffer = ctypes.create_string_buffer(max(1, size.value))
    must(function(*arguments, buffer, size, ctypes.byref(size)))
    return buffer.raw[:size.value]


def fill(asked, request):
    for what, key in ((BUNDLE, "bundle"), (TRUST, "trust"), (SALT, "salt")):
        if request[key]:
            content = content_of_file(request[key])
            must(lib.calseal_request_set_file(asked, what, key.encode(), content, size_t(len(content))))
    for memory, word in reads_of(request):
        content = content_of_file(word)
        must(lib.calseal_request_add_read(asked, READ, memory.encode(), b"read", content, size_t(len(content))))
    for what, key in ((ROOT, "stated_root"), (VEHICLE, "vehicle_reference")):
        if request[key]:
            must(lib.calseal_request_set_word(asked, what, request[key].encode()))
    for key, what in DECLARATIONS:
        if request[key]:
            must(lib.calseal_request_declare(asked, what))


def answer_of(result):
    outcome = OUTCOMES[lib.calseal_result_outcome(result)]
    results, count = {}, size_t()
    must(lib.calseal_result_file_count(result, ctypes.byref(count)))
    for i in range(count.value if outcome == "accepted" else 0):
        memory = copied(lib.calseal_result_file_name, result, size_t(i), 1)[:-1].decode()
        results[memory] = hashlib.sha256(copied(lib.calseal_result_file_bytes, result, size_t(i))).hexdigest()
    return {"outcome": outcome, "reason": copied(lib.calseal_result_text, result, REASON)[:-1].decode(), "results": results}


def judge(request):
    bundle = content_of_file(request["bundle"])
    if not bundle or b'"trial":true' in bundle:
        return {"outcome": "not-run", "reason": "", "results": {}}
    asked, result = handle(), handle()
    must(lib.calseal_request_new(ctypes.byref(asked)))
    try:
        fill(asked, request)
        must(lib.calseal_check(asked, ctypes.byref(result)))
        return answer_of(result)
    finally:
        lib.calseal_result_free(result)
        lib.calseal_request_free(asked)


if __name__ == "__main__":
    sys.exit(serve(judge))
