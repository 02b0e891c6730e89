"""What a checker remembers, as a file and as it grows (docs/order.md, "What counts", "What is remembered", "The state file")."""

import copy

from json_text import canonical
from refused import Refused, require, sha256
from shapes import DIGEST, NAME, ascending, is_boolean, is_choice, is_integer, is_list, is_object, is_text, is_time, or_empty, signed_json
from trust import compromised

FILE, MAP, MAPS = 8 * 1048576, 1048576, 2 * 1048576
LARGEST, BASE, SEQUENCE = is_integer(1, 2**53 - 1), is_integer(1, 10**6), is_integer(1, 2**40)
REVISIONS, WAYS_BACK, LISTS, TEXTS = 16, 32, 16, 64
REMEMBERED = {"base": BASE, "sequence": SEQUENCE, "revision": DIGEST, "map": DIGEST, "reviewed": is_boolean, "keys": is_list(8, DIGEST)}
REVISION = is_object({**REMEMBERED, "set": or_empty(DIGEST), "returns": is_list(1000, DIGEST)})
JOB = is_object({"job": NAME, "controller": NAME, "revisions": is_list(REVISIONS, REVISION), "ways_back": is_list(WAYS_BACK, is_object(REMEMBERED))})
LIST = is_object({"number": LARGEST, "list": DIGEST, "keys": is_list(8, DIGEST, 1), "notices": is_list(4096, DIGEST), "dropped": is_list(65536, DIGEST)})
ROOT = is_object({"root": DIGEST, "next": or_empty(DIGEST), "trust_version": LARGEST, "trust": DIGEST, "compromised": is_list(256, DIGEST),
                  "withdrawals": is_list(LISTS, LIST), "jobs": is_list(4096, JOB)})
STATE = {"calseal": is_choice("state/1"), "last_time": or_empty(is_time), "maps": is_list(TEXTS, is_text(MAP)), "roots": is_list(64, ROOT)}


# ---- the order of what is kept

def place_of_job(job):
    return job["job"], job["controller"]


def place_of_revision(one):
    return one["sequence"], one["revision"], one["keys"]


def place_of_way_back(one):
    return one["revision"], one["keys"]


# ---- what makes another superfluous

def covers(a, b):
    """One revision another: whenever b counts, a counts."""
    same = a["keys"] == [] or (a["keys"] == b["keys"] and (b["reviewed"] or not a["reviewed"]))
    return a["sequence"] >= b["sequence"] and a["base"] >= b["base"] and same


def covers_way_back(a, b):
    return a["revision"] == b["revision"] and (a["keys"] == [] or a["keys"] == b["keys"])


def none_covers(items, covering):
    return not any(covering(a, b) for i, a in enumerate(items) for j, b in enumerate(items) if i != j)


# ---- the file

def new_state():
    return {"calseal": "state/1", "last_time": "", "maps": [], "roots": []}


def read_state(data):
    """Refused as `state-damaged`, which is no refusal of a check."""
    if not data:
        return new_state()
    try:
        lines = data.split(b"\n")
        require(len(data) <= FILE and len(lines) == 3 and lines[2] == b"" and lines[1] == sha256(lines[0]).encode("ascii"), "lines")
        state = signed_json(lines[0], STATE)
        check_state(state)
    except Refused as refused:
        raise Refused("state-damaged", refused) from None
    return state


def check_state(state):
    """What must fit together."""
    require(ascending([root["root"] for root in state["roots"]]), "order")
    for root in state["roots"]:
        check_root(root)
    check_maps(state)


def check_root(root):
    require(root["next"] != root["root"] and ascending(root["compromised"]), "order")
    require(len({tuple(one["keys"]) for one in root["withdrawals"]}) == len(root["withdrawals"]), "two lists of the same keys")
    for one in root["withdrawals"]:
        require(all(ascending(one[field]) for field in ("keys", "notices", "dropped")), "order")
        require(not set(one["notices"]) & set(one["dropped"]), "in both")
    require(ascending([place_of_job(job) for job in root["jobs"]]), "order")
    for job in root["jobs"]:
        require(job["revisions"] or job["ways_back"], "empty job")
        require(all(ascending(one["keys"]) for one in job["revisions"] + job["ways_back"]), "order")
        require(all(ascending(one["returns"]) for one in job["revisions"]), "order")
        require(ascending([place_of_revision(one) for one in job["revisions"]]), "order")
        require(ascending([place_of_way_back(one) for one in job["ways_back"]]), "order")
        require(none_covers(job["revisions"], covers) and none_covers(job["ways_back"], covers_way_back), "superfluous")


def check_maps(state):
    digests = [digest_of_map(text) for text in state["maps"]]
    require(ascending(digests) and set(digests) <= maps_in_use(state), "maps")
    require(sum(len(text.encode("utf-8")) for text in state["maps"]) <= MAPS, "maps too large")


def digest_of_map(text):
    return sha256(text.encode("utf-8"))


def maps_in_use(state):
    return {one["map"] for root in state["roots"] for job in root["jobs"] for one in job["revisions"] + job["ways_back"]}


def write_state(state):
    """The two lines; nothing for a state that a reader would not take, or that knows no root."""
    if not state["roots"]:
        return b""
    line = canonical(state).encode("utf-8")
    data = line + b"\n" + sha256(line).encode("ascii") + b"\n"
    try:
        is_object(STATE)(state)
        check_state(state)
    except Refused:
        return b""
    return data if len(data) <= FILE else b""


# ---- what is learned

def find_root(state, identity):
    return next((root for root in state["roots"] if root["root"] == identity), None)


def learn_trust(state, trust):
    """Versions never fall; compromised keys are added."""
    root = find_root(state, trust["root_id"])
    if root is None:
        root = {"root": trust["root_id"], "next": "", "trust_version": trust["version"], "trust": trust["digest"], "compromised": [],
                "withdrawals": [], "jobs": []}
        state["roots"] = sorted([*state["roots"], root], key=lambda one: one["root"])
    elif trust["version"] > root["trust_version"]:
        root["trust_version"], root["trust"] = trust["version"], trust["digest"]
    root["compromised"] = sorted({*root["compromised"], *compromised(trust)})
    return root


def take_out(lists, at):
    """A list of withdrawals goes; what it named or dropped joins what the one behind it dropped."""
    gone = lists.pop(at)
    behind = lists[at]
    behind["dropped"] = sorted({*behind["dropped"], *gone["notices"], *gone["dropped"]} - {*behind["notices"]})


def learn_list(root, given):
    lists = root["withdrawals"]
    lists.append({"number": given["number"], "list": given["digest"], "keys": list(given["keys"]),
                  "notices": [notice["revision"] for notice in given["notices"]], "dropped": []})
    for at in [i for i, one in enumerate(lists[:-1]) if one["keys"] == lists[-1]["keys"]]:
        take_out(lists, at)
    if len(lists) > LISTS:
        take_out(lists, 0)


def job_of(root, name, controller):
    job = next((one for one in root["jobs"] if place_of_job(one) == (name, controller)), None)
    if job is None:
        job = {"job": name, "controller": controller, "revisions": [], "ways_back": []}
        root["jobs"] = sorted([*root["jobs"], job], key=place_of_job)
    return job


def drop_maps(state):
    """Texts that nothing has any more go."""
    state["maps"] = [text for text in state["maps"] if digest_of_map(text) in maps_in_use(state)]


def learn_map(state, content):
    """The text of a revision's map is kept, where some revision has it and there is room."""
    drop_maps(state)
    kept, text = state["maps"], content.decode("utf-8")
    if text not in kept and sha256(content) in maps_in_use(state):
        size = sum(len(one.encode("utf-8")) for one in [*kept, text])
        state["maps"] = sorted(kept + ([text] if len(kept) < TEXTS and size <= MAPS else []), key=digest_of_map)


def learn_revision(root, m, digest, keys):
    job = job_of(root, m["job"], m["controllers"][0]["name"])
    one = {"base": m["base"]["number"], "sequence": m["sequence"], "revision": digest, "map": m["controllers"][0]["region_map"]["digest"],
           "reviewed": "reviewer" in m["required_roles"], "keys": sorted(keys)}
    if m["revision"] == 0:
        learn_way_back(job, one)
    revision = {**one, "set": m["set"], "returns": list(m["permitted_returns"])}
    if any(covers(other, revision) for other in job["revisions"]):
        return
    kept = [other for other in job["revisions"] if not covers(revision, other)] + [revision]
    job["revisions"] = sorted(kept, key=place_of_revision)[-REVISIONS:]


def learn_way_back(job, one):
    if any(covers_way_back(other, one) for other in job["ways_back"]):
        return
    kept = [other for other in job["ways_back"] if not covers_way_back(one, other)]
    if len(kept) < WAYS_BACK:
        job["ways_back"] = sorted([*kept, one], key=place_of_way_back)


def copied(state):
    return copy.deepcopy(state)
