#!/usr/bin/env python3
"""libcalseal through its C interface as a reader of fixtures/bundles/README.md. CALSEAL_LIBRARY names the shared library.

It takes the time from the machine. Where tests/support/set_clock.c is preloaded (LD_PRELOAD) that is the request's; else a trial, and whatever has a state, is
not run through it.
"""

import calendar
import ctypes
import hashlib
import os
import sys
import time

sys.path.insert(0, os.path.dirname(os.path.dirname(os.path.abspath(__file__))))
from protocol import content_of_file, reads_of, serve  # noqa: E402

E_ARGUMENT, E_TOO_LARGE = 1, 3
READ, ROOT, VEHICLE, REASON, SUCCESSION, MOST_SUCCESSIONS = 1, 1, 2, 1, 16, 16
FILES = (("trust", 2), ("bundle", 1), ("salt", 3), ("state", 4), ("withdrawals", 5), ("job_list", 6), ("inclusion", 7), ("newest", 8))
OUTCOMES = {1: "accepted", 2: "refused", 3: "authentic"}
DECLARATIONS = (("read_is_fresh", 1), ("revive", 2), ("return", 3), ("seal_only", 4), ("old_base", 5), ("clock_is_right", 6))
LOOK, WRITE = 1, 2

handle, size_t = ctypes.c_void_p, ctypes.c_size_t
lib = ctypes.CDLL(os.environ["CALSEAL_LIBRARY"])
lib.calseal_request_free.restype = lib.calseal_result_free.restype = None
lib.calseal_status_text.restype = ctypes.c_char_p
set_clock = getattr(ctypes.CDLL(None), "calseal_set_clock", None)


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


class NotTaken(Exception):
    """A file that the interface does not take: it is refused before the check."""

    def __init__(self, status, content):
        super().__init__(status)
        self.reason = "file-empty" if status == E_ARGUMENT and not content else "file-too-large"


def put(asked, what, word):
    content = content_of_file(word)
    status = lib.calseal_request_set_file(asked, what, word[:20].encode(), content, size_t(len(content)))
    if status in (E_ARGUMENT, E_TOO_LARGE):
        raise NotTaken(status, content)
    must(status)


def fill(asked, request):
    for word in request.get("successions", []):
        put(asked, SUCCESSION, word)
    for key, what in FILES:
        if request.get(key):
            put(asked, what, request[key])
    for memory, word in reads_of(request):
        content = content_of_file(word)
        must(lib.calseal_request_add_read(asked, READ, memory.encode(), b"read", content, size_t(len(content))))
    for what, key in ((ROOT, "stated_root"), (VEHICLE, "vehicle_reference")):
        if request[key]:
            must(lib.calseal_request_set_word(asked, what, request[key].encode()))
    for key, what in DECLARATIONS:
        if request.get(key):
            must(lib.calseal_request_declare(asked, what))


def answer_of(result, request):
    outcome = OUTCOMES[lib.calseal_result_outcome(result)]
    results, count = {}, size_t()
    must(lib.calseal_result_file_count(result, ctypes.byref(count)))
    for i in range(count.value if outcome == "accepted" else 0):
        memory = copied(lib.calseal_result_file_name, result, size_t(i), 1)[:-1].decode()
        results[memory] = hashlib.sha256(copied(lib.calseal_result_file_bytes, result, size_t(i))).hexdigest()
    reason = copied(lib.calseal_result_text, result, REASON)[:-1].decode()
    return {"outcome": outcome, "reason": reason, "results": results, "state": state_after(result, request, outcome)}


def state_after(result, request, outcome):
    """What the state file holds afterwards; where the library offers nothing the old one stays."""
    if not request.get("state"):
        return {}
    look = copied(lib.calseal_result_state, result, LOOK) or content_of_file(request["state"])
    write = (copied(lib.calseal_result_state, result, WRITE) if outcome == "accepted" else b"") or look
    return {"look": hashlib.sha256(look).hexdigest(), "write": hashlib.sha256(write).hexdigest()}


def refused_before(request, reason):
    state = hashlib.sha256(content_of_file(request["state"])).hexdigest() if request.get("state") else ""
    return {"outcome": "refused", "reason": reason, "results": {}, "state": {"look": state, "write": state} if state else {}}


def can_be_asked(request):
    if set_clock:
        set_clock(ctypes.c_longlong(calendar.timegm(time.strptime(request["now"], "%Y-%m-%dT%H:%M:%SZ"))))
        return True
    return not request.get("state") and b'"trial":true' not in content_of_file(request["bundle"])


def judge(request):
    if not content_of_file(request["bundle"]) or not can_be_asked(request):
        return {"outcome": "not-run", "reason": "", "results": {}}
    if len(request.get("successions", [])) > MOST_SUCCESSIONS:
        return refused_before(request, "succession-invalid")  # the interface takes no more
    asked, result = handle(), handle()
    must(lib.calseal_request_new(ctypes.byref(asked)))
    try:
        fill(asked, request)
        must(lib.calseal_check(asked, ctypes.byref(result)))
        return answer_of(result, request)
    except NotTaken as not_taken:
        return refused_before(request, not_taken.reason)
    finally:
        lib.calseal_result_free(result)
        lib.calseal_request_free(asked)


if __name__ == "__main__":
    sys.exit(serve(judge))
