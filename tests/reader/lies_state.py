"""Lies of a state file: damaged, canonical and untrue, at its limits; and what an honest one may know against a bundle. As lies_order.py says."""

from bend import bend_bytes, bend_field, digests
from json_text import canonical
from lies_manifest import ACCEPTED, AGREE, REFUSED
from refused import sha256
from shops import AUTHOR, DESK, LATER, OTHER_ROOT, REVIEWER, ROOT, SECOND_AUTHOR, SECOND_DESK, THIEF, TIME, add_revision, days_later, key_of, remembered, state_file
from state import new_state


def state_bytes(rng, shop):
    """A damaged state counts for nothing and stays as it is."""
    if not shop.state or not shop.state["roots"]:
        return None
    honest = state_file(shop.state)
    way, data = bend_bytes(rng, honest) if rng.random() < 0.8 else rng.choice((
        ("other digest", honest.split(b"\n")[0] + b"\n" + sha256(b"x").encode() + b"\n"), ("no digest", honest.split(b"\n")[0] + b"\n"), ("trust file", shop.trust_file(0))))
    shop.edits["state"] = lambda _: data
    return f"state {way}", AGREE, None


def state_empty(rng, shop):
    shop.edits["state"] = lambda _: rng.choice((b"", state_file(new_state())))
    return "state empty", AGREE, None


def state_field(rng, shop):
    """Canonical, with the right digest, and it says something else."""
    if not shop.state or not shop.state["roots"]:
        return None
    name = bend_field(rng, shop.state)
    return name and (f"state field {name}", AGREE, None)


def state_structure(rng, shop):
    """Each field by itself may be so, but not beside the others: such a state is damaged."""
    if not shop.state:
        return None
    root, job = shop.own_root(), shop.own_job()
    way = rng.choice(("in both", "empty job", "covered", "covered by the ledger", "way back twice proved", "lists of the same keys", "follows itself", "job twice", "root twice"))
    one = {"base": 1, "sequence": 1, "revision": sha256(b"low"), "map": shop.map_digest, "reviewed": False, "keys": [key_of(AUTHOR)]}
    if way == "in both":
        root["withdrawals"] = [{"number": 1, "list": sha256(b"l"), "keys": [key_of(DESK)], "notices": digests(rng, 2), "dropped": []}]
        root["withdrawals"][0]["dropped"] = root["withdrawals"][0]["notices"][:1]
    elif way == "lists of the same keys":
        root["withdrawals"] = [{"number": i, "list": sha256(b"l%d" % i), "keys": [key_of(DESK)], "notices": [], "dropped": []} for i in (1, 2)]
    elif way == "follows itself":
        root["next"] = root["root"]
    elif way == "root twice":
        shop.state["roots"].insert(shop.state["roots"].index(root), root)
    elif way == "job twice":
        job["ways_back"] = job["ways_back"] or [one]
        root["jobs"].insert(root["jobs"].index(job), job)
    elif way == "empty job":
        root["jobs"] = [{"job": "a", "controller": "engine", "revisions": [], "ways_back": []}, *[other for other in root["jobs"] if other is not job]]
    elif way == "way back twice proved":
        job["ways_back"] = [{**one, "keys": []}, one]
    else:
        newer = {**one, "sequence": 2, "revision": sha256(b"newer"), "keys": [] if way == "covered by the ledger" else one["keys"]}
        job["revisions"] = [{**row, "set": "", "returns": []} for row in (one, newer)]
    shop.keep_maps()
    if way != "empty job":
        shop.drop_empty_jobs()
    return f"state structure {way}", AGREE, None


def state_text(rng, shop):
    """The digest is right, the text is not canonical or lacks a key."""
    if not shop.state or not shop.state["roots"]:
        return None
    line = canonical(shop.state).encode("utf-8")
    line = rng.choice((line.replace(b":", b": ", 1), line + b" ", line.replace(b'"last_time"', b'"last"', 1), line.replace(b'"next"', b'"neXt"', 1),
                       line.replace(b'"number":', b'"number":0', 1), line.replace(b'"roots":[', b'"roots":[null,', 1), b"\xef\xbb\xbf" + line,
                       line.replace(b"state/1", b"state/2", 1), line.replace(b'"jobs":[', b'"jobs":[[],', 1)))
    shop.edits["state"] = lambda _: line + b"\n" + sha256(line).encode() + b"\n"
    return "state text", AGREE, None


def state_limit(rng, shop):
    """As many as a state may hold, or one more."""
    if not shop.state:
        return None
    root, job, more = shop.own_root(), shop.own_job(), rng.choice((0, 0, 1))
    what = rng.choice(("roots", "compromised", "withdrawals", "notices", "dropped", "jobs", "revisions", "ways_back", "returns", "keys", "full roots", "full dropped", "compromised", "withdrawals", "revisions",
                       "ways_back", "returns", "keys"))
    low = {"base": 1, "revision": sha256(b"low"), "map": shop.map_digest, "reviewed": False}
    if what == "roots":
        plain = {"next": "", "trust_version": 1, "trust": sha256(b"t"), "compromised": [], "withdrawals": [], "jobs": []}
        shop.state["roots"] += [{"root": one, **plain} for one in digests(rng, 64 + more - len(shop.state["roots"]))]
        shop.state["roots"].sort(key=lambda one: one["root"])
    elif what == "full roots":
        # The trust file's own root is not among them, so that nothing can be remembered.
        plain = {"next": "", "trust_version": 1, "trust": sha256(b"t"), "compromised": [], "withdrawals": [], "jobs": []}
        shop.state["roots"] = [{"root": one, **plain} for one in digests(rng, 64)]
        shop.stated = ROOT
    elif what == "compromised":
        root["compromised"] = digests(rng, 256 + more)
    elif what == "withdrawals":
        root["withdrawals"] = [{"number": i + 1, "list": sha256(bytes([i])), "keys": [key], "notices": [], "dropped": digests(rng, 1)}
                               for i, key in enumerate(digests(rng, 16 + more))]
    elif what in ("notices", "dropped", "full dropped"):
        count = {"notices": 4096 + more, "dropped": 65536 + more, "full dropped": 65536}[what]
        held = digests(rng, count)
        root["withdrawals"] = [{"number": 1, "list": sha256(b"l"), "keys": [key_of(DESK)], "notices": held if what == "notices" else digests(rng, 2),
                                "dropped": [] if what == "notices" else held}]
    elif what == "jobs":
        root["jobs"] = [{"job": f"job-{i:05d}", "controller": "engine", "revisions": [], "ways_back": [remembered(**low, sequence=1, keys=[])]}
                        for i in range(4096 + more)]
    elif what == "revisions":
        job["revisions"] = [remembered(**low, sequence=1, keys=[key], set="", returns=[]) for key in digests(rng, 16 + more)]
    elif what == "ways_back":
        job["ways_back"] = [remembered(**{**low, "revision": one}, sequence=1, keys=[]) for one in digests(rng, 32 + more)]
    elif what == "returns":
        job["revisions"] = [remembered(**low, sequence=1, keys=[key_of(AUTHOR)], set="", returns=digests(rng, 1000 + more))]
    elif what == "keys":
        job["revisions"] = [remembered(**low, sequence=1, keys=digests(rng, 8 + more), set="", returns=[])]
    if not job["revisions"] and not job["ways_back"] and job in root["jobs"]:
        root["jobs"].remove(job)
    shop.keep_maps()
    return f"state limit {what} {more}", AGREE, None


def state_size(rng, shop):
    shop.edits["state"] = lambda _: b" " * (8 * 1048576 + rng.choice((0, 1)))
    return "state size", AGREE, None


def known_revision(rng, shop):
    """Something newer, or of the same number, or of a higher base is known; by a key that counts, a stolen one, or the ledger."""
    if not shop.state:
        return None
    way, job = rng.choice(("newer", "same number", "higher base", "lowest number, higher base", "itself")), shop.own_job()
    secrets = rng.choice(((AUTHOR,), (SECOND_AUTHOR,), (THIEF,), (AUTHOR, THIEF), (SECOND_AUTHOR, THIEF), (bytes([31]) * 32,), ()))
    number, base = shop.m["sequence"], shop.m["base"]["number"]
    one = {"base": base + ("base" in way) * rng.randint(1, 3), "sequence": number + rng.choice((1, 5)) if way == "newer" else 1 if "lowest" in way else number,
           "revision": shop.digest if way == "itself" else sha256(b"known"), "map": shop.map_digest, "reviewed": rng.random() < 0.3, "keys": sorted(key_of(secret) for secret in secrets)}
    add_revision(job, {**one, "set": "", "returns": sorted({shop.digest, sha256(b"r")}) if rng.random() < 0.5 else []})
    if way == "itself" and rng.random() < 0.5:
        job["ways_back"] = [one]
    if rng.random() < 0.4 and way != "itself":
        job["ways_back"] = sorted([*[w for w in job["ways_back"] if w["revision"] != one["revision"]], one], key=lambda w: (w["revision"], w["keys"]))
    job["revisions"] = sorted(job["revisions"], key=lambda r: (r["sequence"], r["revision"], r["keys"]))[-16:]
    if not job["revisions"] and not job["ways_back"]:
        shop.own_root()["jobs"].remove(job)
    shop.keep_maps()
    return f"state knows {way}", AGREE, None


def known_key(rng, shop):
    """The state calls a key compromised that the trust file calls active, or does not list."""
    if not shop.state:
        return None
    root, secret = shop.own_root(), rng.choice((AUTHOR, REVIEWER, DESK, bytes([32]) * 32))
    if secret in shop.stolen:
        return None
    root["compromised"] = sorted({*root["compromised"], key_of(secret)})
    return "state reinstated", REFUSED, None


def known_trust(rng, shop):
    if not shop.state:
        return None
    root, way = shop.own_root(), rng.choice(("version", "same version", "successor", "lower version"))
    version = shop.trusts[-1]["version"]
    if way == "successor":
        root["next"] = rng.choice((key_of(OTHER_ROOT), key_of(ROOT), key_of(shop.roots[0])))
    else:
        root["trust_version"] = version + {"version": 1, "same version": 0, "lower version": -1}[way]
        root["trust"] = sha256(b"another")
    # A root that follows itself makes a damaged state, which counts for nothing.
    demand = ACCEPTED if way == "lower version" else AGREE if root["next"] == root["root"] else REFUSED
    return f"state trust {way}", demand, None


def known_time(rng, shop):
    """A clock that the state has seen, or that this machine has now."""
    if not shop.state:
        return None
    way = rng.choice(("seen later", "seen far ahead", "now far ahead", "now before the seal", "at the end"))
    if way.startswith("seen"):
        shop.state["last_time"] = days_later(shop.now, 1 if way == "seen later" else rng.choice((399, 401, 5000)))
    elif way == "at the end":
        shop.now = shop.m["expires"] or LATER
    else:
        shop.now = days_later(TIME, rng.choice((-1, -400)) if "before" in way else rng.choice((399, 400, 401, 4000)))
    return f"clock {way}", AGREE, None


def known_withdrawal(rng, shop):
    """The bundle is withdrawn by a list that is remembered: one that counts, one of a stolen key, or one that a stolen key's list dropped."""
    if not shop.state or not shop.state["roots"]:
        return None
    root = rng.choice(shop.state["roots"])
    lists = root["withdrawals"]
    if not lists or rng.random() < 0.5:
        secret = rng.choice((DESK, SECOND_DESK, THIEF))
        keys = [key_of(secret)]
        root["withdrawals"] = lists = [one for one in lists if one["keys"] != keys][-15:]
        lists.append({"number": max((one["number"] for one in lists), default=0) + rng.choice((1, 2**30)), "list": sha256(b"w"), "keys": keys, "notices": [], "dropped": []})
    one, field = rng.choice(lists), rng.choice(("notices", "notices", "dropped"))
    if shop.digest in one[field]:
        return None
    one[field] = sorted([*one[field], shop.digest])
    if rng.random() < 0.1:
        one["notices"], one["dropped"] = one[field], one[field]
    return f"state {field} name it", AGREE, None
