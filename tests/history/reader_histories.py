"""The reader in Python on the histories that calseal_histories made with --files: outcome, reason and state of every check, from the same files."""

from histories import key_id  # which finds the reader too
from check import judge


def car(software):
    content = bytearray(b"\xff" * 64)
    content[:4] = b"TINY"
    content[0x30:0x30 + len(software)] = software.encode("ascii")
    return bytes(content)


def request_of(step, files, state):
    def file(name):
        return bytes.fromhex(files[name]) if name else None
    has_read = step["mode"] in ("write", "look", "seal")
    return {"bundle": file(step["bundle"]), "trust": file(step["trust"]), "successions": [file(name) for name in step["successions"]],
            "stated_root": key_id(step["stated"]) if step["stated"] else "", "reads": [("", car(step["car"]))] if has_read else [], "salt": None,
            "vehicle_reference": "blue estate", "read_is_fresh": True, "revive": step["mode"] == "revive", "seal_only": step["mode"] == "seal", "now": step["now"],
            "withdrawals": file(step["withdrawals"]), "job_list": file(step["job_list"]), "newest": file(step["newest"]), "return": step["return"],
            "old_base": step["old_base"], "clock_is_right": step["clock_is_right"], "state": state}


def answers(history, files):
    state = b""
    for step in history["steps"]:
        found = judge(request_of(step, files, state))
        state = found["state"]["look" if step["mode"] == "look" else "write"]
        yield {"outcome": found["outcome"], "reason": found["reason"], "state": state.decode("ascii")}
