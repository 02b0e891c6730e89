"""Order in time: what a state, the shop's lists and the clock say of a revision (docs/order.md)."""

import calendar
import time

from approvals import lead, steps_of
from map_compare import widens
from refused import Refused, require
from region_map import read_region_map
from signers import enough
from state import copied, digest_of_map, find_root, learn_trust, place_of_job
from trust import compromised

BOUND = 400 * 86400  # seconds; how far the time that the state has seen may be behind the newest signed time
FORMAT = "%Y-%m-%dT%H:%M:%SZ"


def seconds(text):
    return calendar.timegm(time.strptime(text, FORMAT))


def clock(value):
    return time.strftime(FORMAT, time.gmtime(value))


# ---- roots

def follow(state, chain):
    """The state under which the bundle is judged: checks 1 to 4 of "Roots", and what the chain teaches."""
    ids, trust, followed = chain.ids, chain.trust, copied(state)
    require(not state["roots"] or chain.stated >= 0 or any(find_root(state, identity) for identity in ids), "root-unrelated")
    for at, (old, new) in enumerate(zip(ids, ids[1:])):
        root = find_root(followed, old)
        if root and root["next"] not in ("", new):
            require(chain.stated > at, "succession-fork", root["next"])
            drop(followed, root["next"], ids)
    known = find_root(followed, trust["root_id"])
    if known:
        require(known["next"] == "", "trust-old", "the root has a successor")
        require(trust["version"] >= known["trust_version"], "trust-old", "version")
        require(trust["version"] > known["trust_version"] or trust["digest"] == known["trust"], "trust-old", "another file of this version")
    for old, new in zip(chain.old, ids[1:]):
        learn_trust(followed, old)["next"] = new
    learn_trust(followed, trust)
    return followed


def drop(state, identity, ids):
    """What was learned under the other successor goes, and under its successors, up to a root that the chain names."""
    while identity not in ids and find_root(state, identity):
        root = find_root(state, identity)
        state["roots"].remove(root)
        identity = root["next"]


def speaking(state, identity):
    """The root in use, and every root from which recorded successors lead to it."""
    found, new = set(), {identity}
    while new:
        found |= new
        new = {root["root"] for root in state["roots"] if root["next"] in found} - found
    return [root for root in state["roots"] if root["root"] in found]


def check_reinstated(chain, followed):
    stolen = set().union(*(compromised(old) for old in chain.old))
    if followed:
        stolen |= set().union(*(root["compromised"] for root in speaking(followed, chain.trust["root_id"])))
    require(stolen <= compromised(chain.trust), "key-reinstated")


# ---- withdrawals

def last_counting(root, trust):
    counting = [one for one in root["withdrawals"] if not set(one["keys"]) <= compromised(trust)]
    return counting[-1] if counting else None


def in_force(state, identity, trust, seen=()):
    root = find_root(state, identity)
    lists = root["withdrawals"] if root else []
    last = root and last_counting(root, trust)
    if last:
        behind = lists[lists.index(last) + 1:]
        return set(last["notices"]).union(*(one["notices"] + one["dropped"] for one in behind))
    named = set().union(*(one["notices"] + one["dropped"] for one in lists))
    for other in state["roots"]:
        if other["next"] == identity and other["root"] not in (*seen, identity):
            named |= in_force(state, other["root"], trust, (*seen, identity))
    return named


def is_newer_list(given, state, trust):
    """A given list beside the last remembered one that counts; without a state every list is new."""
    root = find_root(state, trust["root_id"]) if state else None
    last = last_counting(root, trust) if root else None
    if not last:
        return True
    require(given["number"] > last["number"] or (given["number"], given["digest"]) == (last["number"], last["list"]), "withdrawals-old")
    return given["number"] > last["number"]


# ---- sequence

def counts(one, trust):
    """Definition 3 of "What counts"."""
    stolen = compromised(trust)
    if not set(one["keys"]) & stolen:
        return True
    roles = {key["id"]: key["roles"] for key in trust["keys"]}
    left = [roles.get(key, ["author", "reviewer"]) for key in one["keys"] if key not in stolen]
    return enough(["author"] + ["reviewer"] * one["reviewed"], trust["policy"]["threshold"], left)


def newest_of(rows):
    """The one with the highest sequence; of several, the one whose manifest digest is higher."""
    return max(rows, key=lambda one: (one["sequence"], one["revision"]), default=None)


class Known:
    """Everything known of a controller and job: rows of (sequence, base, digest, is a revision 0), and what the newest accepted revision permits."""

    def __init__(self, state, trust, job_list, newest, job, controller):
        jobs = [one for root in (speaking(state, trust["root_id"]) if state else []) for one in root["jobs"] if place_of_job(one) == (job, controller)]
        revisions = [one for each in jobs for one in each["revisions"] if counts(one, trust)]
        ways_back = [one for each in jobs for one in each["ways_back"]]
        counting_back = [one for one in ways_back if counts(one, trust)]
        self.accepted_firsts = {one["revision"] for one in ways_back}
        self.rows = [(one["sequence"], one["base"], one["revision"], False) for one in revisions]
        self.rows += [(one["sequence"], one["base"], one["revision"], True) for one in counting_back]
        newest_kept = newest_of(revisions)
        self.returns = newest_kept["returns"] if newest_kept else []
        self.map = (newest_kept or newest_of(counting_back) or {"map": ""})["map"]
        if newest:
            m, digest = newest
            if all(m["sequence"] >= row[0] for row in self.rows):
                self.returns = m["permitted_returns"]
            self.rows.append((m["sequence"], m["base"]["number"], digest, m["revision"] == 0))
        self.listed = [(one["sequence"], one["base"], one["digest"], one["revision"] == 0) for one in job_list["revisions"]] if job_list else []
        self.rows += self.listed
        self.highest = max((row[0] for row in self.rows), default=0)
        self.base = max((row[1] for row in self.rows), default=0)


def judge_sequence(m, digest, known, request):
    """The table of "Sequence", row by row. The verdict where it passes."""
    number, base = m["sequence"], m["base"]["number"]
    is_accepted_first = m["revision"] == 0 and digest in known.accepted_firsts
    if not known.rows and not is_accepted_first:
        return "unknown"
    if is_accepted_first:
        require(base >= known.base or request["reads"] or request["old_base"], "base-old", "no read, and no word for it")
        return "unknown" if not known.rows else "newer" if number > known.highest else "newest" if number == known.highest else "way-back"
    require(base >= known.base, "base-old")
    if known.listed and number <= max(row[0] for row in known.listed):
        require(any(row[2] == digest for row in known.listed), "not-listed")
    require(not any(row[0] == number and row[2] != digest for row in known.rows), "sequence-conflict")
    if number >= known.highest:
        return "newer" if number > known.highest else "newest"
    require(base <= known.base, "sequence-old", "numbers run on across bases")
    if m["revision"] == 0:
        require(not any(first and row_base == base and row_number > number for row_number, row_base, _, first in known.rows), "sequence-old", "replaced")
        return "way-back"
    require(request["return"] and digest in known.returns, "sequence-old")
    return "return"


# ---- rules

def known_map(state, digest):
    """The region map that the state keeps under this digest; one that cannot be read counts as not kept."""
    text = next((one for one in state["maps"] if digest_of_map(one) == digest), None)
    try:
        return text and read_region_map(text.encode("utf-8"))
    except Refused:
        return None


def judge_rules(m, digest, known, state, region_map, trust):
    """The table of "Rules", row by row."""
    own = m["controllers"][0]["region_map"]
    if m["revision"] == 0 and digest in known.accepted_firsts:
        return
    if known.map in ("", own["digest"]):
        return
    kept = known_map(state, known.map)
    require(not kept or (kept.name, kept.version) != (own["name"], own["version"]), "rules-changed")
    if lead(steps_of(m, trust), known.map, own["digest"]):
        return
    require(kept, "rules-widened", "the known map is not kept")
    require(not widens(kept, region_map), "rules-widened", widens(kept, region_map))


# ---- clock

def judge_clock(m, seen, now):
    """Time decides over trials alone. `seen` is the time that the state has seen, or ""."""
    if m["trial"]:
        require(now >= m["claimed_time"] and now >= seen, "clock-implausible")
        require(now < m["expires"], "expired")


def learn_time(state, now, signed_times, declared):
    """The clock, but never more than 400 days after the newest signed time."""
    seen = min(seconds(now), seconds(max(signed_times)) + BOUND)
    if declared or state["last_time"] == "" or seconds(state["last_time"]) < seen:
        state["last_time"] = clock(seen)
