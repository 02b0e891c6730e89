"""Random histories of shops, thieves and a customer with a state, and an oracle that says what each check must answer.

The oracle is made from docs/order.md alone. It keeps everything that was ever accepted and works out what counts each time anew; it
knows nothing of how a state is written down. A history is one JSON document: files by name, described and not yet made, and the
checks in their order. calseal_histories makes the files and runs the checker; page_histories.mjs runs the page's core on the same files.
"""

import functools
import hashlib
import json
import pathlib
import random
import sys

sys.path.append(str(pathlib.Path(__file__).resolve().parent.parent / "reader"))
import ed25519  # noqa: E402

DAY = 86400
BOUND = 400 * DAY
HIGHEST = 2**40
LARGEST = 2**53 - 1
AUTHORS = [2, 3, 4, 5]          # seeds of keys
DESKS = [6, 7, 8]
MAPPERS = [9, 17]
ROOTS = [10, 11, 12, 13, 14]    # the shop's, as they follow each other
THIEF, STRANGER = 15, 16        # roots


def seconds(text):
    import calendar
    import time
    return calendar.timegm(time.strptime(text, "%Y-%m-%dT%H:%M:%SZ"))


def clock(value):
    import time
    return time.strftime("%Y-%m-%dT%H:%M:%SZ", time.gmtime(value))


# ---- region maps: some regions are editable and the others locked, so that one allows more than another when it opens a region that the other keeps shut

REGIONS = {"idle": "0x00000020", "spark": "0x00000028"}


def map_text(version, opened):
    regions = [{"name": "fuel", "memory": "flash", "start": "0x00000010", "size": 16, "policy": "editable"}]
    regions += [{"name": name, "memory": "flash", "start": start, "size": 8, "policy": "editable" if name in opened else "locked"} for name, start in REGIONS.items()]
    return json.dumps({"calseal": "region-map/1", "name": "tiny", "controller": "engine", "version": version, "memories": [{"name": "flash", "origin": "0x00000000", "size": 64}],
                       "recognise": {"all": [{"memory": "flash", "at": "0x00000000", "bytes": "54494e59"}]}, "regions": regions,
                       "evidence": {"author": "tests", "verified_on": [], "guesses": [], "grade": "draft"}}, separators=(",", ":"))


@functools.lru_cache(None)
def key_id(seed):
    return ed25519.key_id(ed25519.public_key(bytes([seed]) * 32))


@functools.lru_cache(None)
def approval_text(first, last, keys):
    """The whole file; `first` and `last` are texts of region maps."""
    fields = {"calseal": "approval/1", "controller": "engine", "from": hashlib.sha256(first.encode()).hexdigest(), "to": hashlib.sha256(last.encode()).hexdigest(),
              "claimed_time": "2026-01-01T00:00:00Z", "text": "idle opened"}
    signed = json.dumps(fields, separators=(",", ":"))
    return signed + "\n" + "".join(sorted(f"{key_id(key)} {ed25519.sign(bytes([key]) * 32, signed.encode()).hex()}\n" for key in keys))


class Refused(Exception):
    def __init__(self, reason):
        super().__init__(reason)
        self.reason = reason


class Root:
    """What was learned under one root, all of it."""

    def __init__(self):
        self.next = 0
        self.version, self.trust = 0, ""
        self.stolen = set()
        self.lists = []       # (number, list's identity, keys, digests of notices), in the order learned
        self.accepted = []    # rows of Oracle.row(), in the order accepted
        self.ways_back = []   # the same of revisions 0

    def copy(self):
        other = Root()
        other.next, other.version, other.trust = self.next, self.version, self.trust
        other.stolen = set(self.stolen)
        other.lists, other.accepted, other.ways_back = list(self.lists), list(self.accepted), list(self.ways_back)
        return other


class Oracle:
    def __init__(self, history, digests):
        self.bundles = {one["name"]: one for one in history["bundles"]}
        self.trusts = {one["name"]: one for one in history["trusts"]}
        self.successions = {one["name"]: one for one in history["successions"]}
        self.lists = {one["name"]: one for one in history["lists"]}
        self.job_lists = {one["name"]: one for one in history["job_lists"]}
        self.maps = {one["name"]: one for one in history["maps"]}
        self.approvals = {one["name"]: one for one in history["approvals"]}
        self.digests = digests
        self.roots = {}
        self.last_time = None

    # ---- what a step is about

    def trust_identity(self, name):
        return repr({key: value for key, value in self.trusts[name].items() if key != "name"})

    def list_identity(self, name):
        one = self.lists[name]
        notices = sorted({self.digests[notice] for notice in one["notices"]})
        return repr((one["root"], one["number"], one["claimed"], notices))

    def stolen_in(self, trust):
        return {key["key"] for key in trust["keys"] if key["stolen"]}

    def row(self, bundle, keys):
        return {"job": bundle["job"], "base": bundle["base"], "sequence": bundle["sequence"], "digest": self.digests[bundle["name"]],
                "map": bundle["map"], "reviewed": bundle["reviewed"], "keys": frozenset(keys), "returns": {self.digests[name] for name in bundle["returns"]},
                "first": bundle["revision"] == 0}

    # ---- what counts

    def enough(self, trust, keys, reviewed):
        """Roles and threshold; a key that is not listed may fill any role."""
        listed = {key["key"]: set(key["roles"]) for key in trust["keys"]}
        roles = {key: listed.get(key, {"author", "reviewer"}) for key in keys}
        able = [key for key in keys if roles[key] & {"author", "reviewer"}]
        if len(able) < trust["threshold"]:
            return False
        authors = [key for key in keys if "author" in roles[key]]
        if not reviewed:
            return bool(authors)
        return any("reviewer" in roles[other] for author in authors for other in keys if other != author)

    def counts(self, row, trust):
        stolen = self.stolen_in(trust)
        if not row["keys"] & stolen:
            return True
        return self.enough(trust, sorted(row["keys"] - stolen), row["reviewed"])

    @staticmethod
    def covers(a, b):
        return (a["sequence"] >= b["sequence"] and a["base"] >= b["base"] and (not a["reviewed"] or b["reviewed"]) and a["keys"] == b["keys"])

    def kept(self, rows):
        """Those that no other covers; of equal ones, one."""
        kept = []
        for i, row in enumerate(rows):
            others = (other for j, other in enumerate(rows) if j != i and self.covers(other, row))
            if not any(not self.covers(row, other) or rows.index(other) < i for other in others):
                kept.append(row)
        assert len(kept) <= 16
        return kept

    def speaking(self, roots, root):
        found, new = set(), {root}
        while new:
            found |= new
            new = {other for other, one in roots.items() if one.next in found} - found
        return [roots[one] for one in sorted(found) if one in roots]

    def in_force(self, roots, root, trust, seen=()):
        stolen = self.stolen_in(trust)
        own = roots[root].lists if root in roots else []
        counting = [i for i, (_, _, keys, _) in enumerate(own) if not keys <= stolen]
        since = own[counting[-1]:] if counting else own
        named = set().union(*(notices for _, _, _, notices in since)) if since else set()
        if counting:
            return named
        for other, one in roots.items():
            if one.next == root and other not in seen:
                named |= self.in_force(roots, other, trust, (*seen, root))
        return named

    # ---- the steps

    def follow(self, chain, trust_name, stated):
        """The state under which the bundle is judged."""
        ids = [self.successions[name]["from"] for name in chain] + [self.trusts[trust_name]["root"]]
        if stated and stated not in ids:
            raise Refused("root-mismatch")
        if self.roots and not stated and not any(one in self.roots for one in ids):
            raise Refused("root-unrelated")
        roots = {one: root.copy() for one, root in self.roots.items()}
        for i, one in enumerate(ids[:-1]):
            if one not in roots or roots[one].next in (0, ids[i + 1]):
                continue
            if not stated or ids.index(stated) <= i:
                raise Refused("succession-fork")
            at = roots[one].next
            while at in roots and at not in ids:
                at = roots.pop(at).next
        trust = self.trusts[trust_name]
        last = roots.get(ids[-1])
        if last is not None:
            if last.next or trust["version"] < last.version:
                raise Refused("trust-old")
            if trust["version"] == last.version and self.trust_identity(trust_name) != last.trust:
                raise Refused("trust-old")
        for i, name in enumerate(chain):
            self.learn_trust(roots, self.successions[name]["trust"])
            roots[ids[i]].next = ids[i + 1]
        self.learn_trust(roots, trust_name)
        stolen = set().union(*(root.stolen for root in self.speaking(roots, ids[-1])))
        if not stolen <= self.stolen_in(trust):
            raise Refused("key-reinstated")
        return roots, ids

    def learn_trust(self, roots, name):
        trust = self.trusts[name]
        root = roots.setdefault(trust["root"], Root())
        if trust["version"] > root.version:
            root.version, root.trust = trust["version"], self.trust_identity(name)
        root.stolen |= self.stolen_in(trust)

    def last_counting(self, root, trust):
        stolen = self.stolen_in(trust)
        return next((one for one in reversed(root.lists) if not one[2] <= stolen), None) if root else None

    def judge_list(self, name, trust, roots):
        one = self.lists[name]
        listed = {key["key"]: key for key in trust["keys"]}
        if any(key not in listed for key in one["keys"]):
            raise Refused("signer-unknown")
        if one["root"] != trust["root"]:
            raise Refused("withdrawals-invalid")
        if any(listed[key]["stolen"] for key in one["keys"]):
            raise Refused("key-compromised")
        if any("withdrawal" not in listed[key]["roles"] for key in one["keys"]):
            raise Refused("roles-missing")
        last = self.last_counting(roots.get(one["root"]), trust)
        if last and (one["number"] < last[0] or (one["number"] == last[0] and self.list_identity(name) != last[1])):
            raise Refused("withdrawals-old")
        return not last or one["number"] > last[0]

    def judge_job_list(self, name, trust):
        one = self.job_lists[name]
        listed = {key["key"]: key for key in trust["keys"]}
        if one["key"] not in listed:
            raise Refused("signer-unknown")
        if one["root"] != trust["root"]:
            raise Refused("job-list-invalid")
        if listed[one["key"]]["stolen"]:
            raise Refused("key-compromised")
        if "author" not in listed[one["key"]]["roles"]:
            raise Refused("roles-missing")

    def judge_keys(self, bundle, trust):
        """The keys that answer for a bundle."""
        listed = {key["key"]: key for key in trust["keys"]}
        if any(key not in listed for key in bundle["keys"]):
            raise Refused("signer-unknown")
        active = [key for key in bundle["keys"] if not listed[key]["stolen"]]
        if self.enough(trust, active, bundle["reviewed"]):
            return active
        raise Refused("key-compromised" if len(active) < len(bundle["keys"]) else "roles-missing")

    def judge_sequence(self, step, bundle, roots, trust, cautions):
        job, digest, number = bundle["job"], self.digests[bundle["name"]], bundle["sequence"]
        speaking = self.speaking(roots, trust["root"])
        rows = [row for root in speaking for row in self.kept([r for r in root.accepted if r["job"] == job])]
        rows = [row for row in rows if self.counts(row, trust)]
        all_back = [row for root in speaking for row in root.ways_back if row["job"] == job]
        back = [row for row in all_back if self.counts(row, trust)]
        newest_row = max(rows, key=lambda row: (row["sequence"], row["digest"]), default=None)
        returns = newest_row["returns"] if newest_row else set()
        known = [(row["sequence"], row["base"], row["digest"], False) for row in rows]
        known += [(row["sequence"], row["base"], row["digest"], True) for row in back]
        if step["newest"]:
            newest = self.bundles[step["newest"]]
            if all(newest["sequence"] >= one[0] for one in known):
                returns = {self.digests[name] for name in newest["returns"]}
            known.append((newest["sequence"], newest["base"], self.digests[newest["name"]], newest["revision"] == 0))
        listed = self.job_lists[step["job_list"]]["revisions"] if step["job_list"] else []
        known += [(one["sequence"], one["base"], self.digests[one["bundle"]], one["revision"] == 0) for one in listed]
        base = max((one[1] for one in known), default=0)
        top = max((one[0] for one in known), default=0)
        replaced = any(is_first and b == bundle["base"] and s > number for s, b, _, is_first in known)
        if any(row["digest"] == digest for row in all_back):
            if bundle["base"] < base:
                if step["mode"] in ("revive", "none") and not step["old_base"]:
                    raise Refused("base-old")
                cautions.add("base-other")
            if replaced:
                cautions.add("way-back-replaced")
            return "unknown" if not known else "newer" if number > top else "newest" if number == top else "way-back"
        if not known:
            return "unknown"
        if bundle["base"] < base:
            raise Refused("base-old")
        if listed and number <= max(one["sequence"] for one in listed) and digest not in {self.digests[one["bundle"]] for one in listed}:
            raise Refused("not-listed")
        if any(s == number and d != digest for s, _, d, _ in known):
            raise Refused("sequence-conflict")
        if number >= top:
            return "newer" if number > top else "newest"
        if bundle["base"] > base:
            raise Refused("sequence-old")
        if bundle["revision"] == 0:
            if replaced:
                raise Refused("sequence-old")
            return "way-back"
        if step["return"] and digest in returns:
            return "return"
        raise Refused("sequence-old")

    def known_map(self, bundle, roots, trust):
        """The name of the known map, or nothing."""
        speaking = self.speaking(roots, trust["root"])
        kept = [row for root in speaking for row in self.kept([r for r in root.accepted if r["job"] == bundle["job"]])]
        back = [row for root in speaking for row in root.ways_back if row["job"] == bundle["job"]]
        for rows in (kept, back):
            newest = max((row for row in rows if self.counts(row, trust)), key=lambda row: (row["sequence"], row["digest"]), default=None)
            if newest:
                return newest["map"]
        return ""

    def approvals_lead(self, bundle, first, trust):
        listed = {key["key"]: key for key in trust["keys"]}

        def good(key):
            return key == trust["root"] or (key in listed and not listed[key]["stolen"] and "map-author" in listed[key]["roles"])
        steps = [self.approvals[name] for name in bundle["approvals"]]
        steps = [one for one in steps if all(good(key) for key in one["keys"])]
        found = {first}
        for _ in steps:
            found |= {one["to"] for one in steps if one["from"] in found}
        return bundle["map"] in found

    def judge_rules(self, bundle, roots, trust, cautions):
        first = any(row["digest"] == self.digests[bundle["name"]] for root in self.speaking(roots, trust["root"]) for row in root.ways_back)
        name = self.known_map(bundle, roots, trust)
        if first or name in ("", bundle["map"]):
            return
        known, own = self.maps[name], self.maps[bundle["map"]]
        wider = not set(own["opened"]) <= set(known["opened"])
        if known["version"] == own["version"]:
            raise Refused("rules-changed")
        if self.approvals_lead(bundle, name, trust):
            cautions |= {"rules-widened"} if wider else set()
        elif wider:
            raise Refused("rules-widened")

    def judge_clock(self, step, bundle, cautions):
        now = seconds(step["now"])
        seen = None if step["clock_is_right"] else self.last_time
        if now < max(seconds(bundle["claimed"]), seen or 0):
            if bundle["expires"]:
                raise Refused("clock-implausible")
            cautions.add("clock-implausible")
        if bundle["expires"] and now >= seconds(bundle["expires"]):
            raise Refused("expired")

    def check(self, step):
        """{"outcome", "reason", "passage", "cautions"} of the codes that order.md has."""
        cautions = set()
        passage = ["unknown"]
        trust = self.trusts[step["trust"]]
        if not step["stated"]:
            cautions.add("root-not-confirmed")
        if seconds(step["now"]) - seconds(trust["claimed"]) >= BOUND:
            cautions.add("trust-file-old")
        if not self.roots:
            cautions.add("state-new")
        try:
            roots, ids = self.follow(step["successions"], step["trust"], step["stated"])
            newer_list = self.judge_list(step["withdrawals"], trust, roots) if step["withdrawals"] else False
            if step["job_list"]:
                self.judge_job_list(step["job_list"], trust)
            if step["newest"]:
                self.judge_keys(self.bundles[step["newest"]], trust)
        except Refused as refused:
            if refused.reason == "root-mismatch":
                cautions = set()
            return self.answer("refused", refused.reason, passage, cautions)
        given = {self.digests[notice] for notice in self.lists[step["withdrawals"]]["notices"]} if step["withdrawals"] else set()
        withdrawn = given if newer_list else given | self.in_force(roots, trust["root"], trust)
        bundle = self.bundles[step["bundle"]]
        outcome, reason, keys = "accepted", "", []
        try:
            keys = self.judge_keys(bundle, trust)
            if self.digests[bundle["name"]] in withdrawn:
                if bundle["revision"] != 0:
                    raise Refused("withdrawn")
                cautions.add("withdrawal-without-effect")
            passage[0] = self.judge_sequence(step, bundle, roots, trust, cautions)
            self.judge_clock(step, bundle, cautions)
            self.judge_rules(bundle, roots, trust, cautions)
            if step["mode"] == "seal":
                outcome = "authentic"
            elif step["mode"] == "none" or (step["mode"] == "revive" and bundle["revision"] != 0):
                raise Refused("read-missing")
            elif step["mode"] != "revive" and step["car"] != bundle["software"]:
                raise Refused("read-foreign")
        except Refused as refused:
            outcome, reason = "refused", refused.reason
        self.remember(step, outcome, roots, ids, newer_list, bundle, keys)
        if reason in ("signer-unknown", "key-compromised", "roles-missing", "withdrawn", "base-old", "not-listed", "sequence-conflict",
                      "sequence-old", "clock-implausible", "expired", "rules-changed", "rules-widened"):
            # Cautions of a bundle that was not opened are not shown.
            passage[0] = "unknown"
            cautions &= {"root-not-confirmed", "trust-file-old", "state-new"}
        return self.answer(outcome, reason, passage, cautions)

    @staticmethod
    def answer(outcome, reason, passage, cautions):
        return {"outcome": outcome, "reason": reason, "passage": passage[0], "cautions": cautions}

    def remember(self, step, outcome, roots, ids, newer_list, bundle, keys):
        trust = self.trusts[step["trust"]]
        accepted = outcome == "accepted"
        if accepted:
            self.roots = roots
        elif ids[-1] in self.roots or (step["stated"] and not any(one in self.roots for one in ids)):
            self.learn_trust(self.roots, step["trust"])
        else:
            return
        root = self.roots[ids[-1]]
        if step["withdrawals"] and newer_list:
            one = self.lists[step["withdrawals"]]
            notices = {self.digests[name] for name in one["notices"]}
            root.lists.append((one["number"], self.list_identity(step["withdrawals"]), frozenset(one["keys"]), notices))
        if not accepted:
            return
        row = self.row(bundle, keys)
        if step["mode"] != "look" or row["first"]:
            root.accepted.append(row)
            if row["first"] and self.has_room(root, row):
                root.ways_back.append(row)
        if step["mode"] != "look":
            signed = [bundle["claimed"], trust["claimed"]]
            signed += [self.lists[step["withdrawals"]]["claimed"]] if step["withdrawals"] else []
            signed += [self.job_lists[step["job_list"]]["claimed"]] if step["job_list"] else []
            seen = min(seconds(step["now"]), seconds(max(signed)) + BOUND)
            if step["clock_is_right"] or self.last_time is None or self.last_time < seen:
                self.last_time = seen

    def has_room(self, root, row):
        own = [one for one in root.ways_back if one["job"] == row["job"]]
        return len({(one["digest"], one["keys"]) for one in own}) < 32


# ---- drawing a history

class Drawn:
    """A world that moves on by chance, and the checks of a customer in it."""

    def __init__(self, rng, identity):
        self.rng = rng
        self.history = {"id": identity, "maps": [], "approvals": [], "bundles": [], "trusts": [], "successions": [], "lists": [], "job_lists": [], "steps": []}
        self.now = seconds("2026-02-01T00:00:00Z")
        self.names = 0
        self.stolen, self.root_at, self.version = set(), 0, {}
        self.threshold = 1
        self.chain = []                    # names of the shop's own successions
        self.sequence, self.base, self.revision = 1, 1, 0
        self.car = "x"
        self.list_number = 0
        self.pool = []                     # names of bundles that are about
        self.old_trusts = []               # (name, successions) that are about
        self.list_names = []
        self.trust = self.new_trust()
        self.map = self.new_map(1, ())
        self.approvals = []                # names; the shop carries them on
        self.seal(revision=0)

    def new_map(self, version, opened):
        text = map_text(version, opened)
        known = next((one for one in self.history["maps"] if one["text"] == text), None)
        return known["name"] if known else self.add("maps", version=version, opened=sorted(opened), text=text)

    def map_of(self, name):
        return next(one for one in self.history["maps"] if one["name"] == name)

    def approve(self, first, last, keys):
        return self.add("approvals", **{"from": first, "to": last, "keys": sorted(keys), "text": approval_text(self.map_of(first)["text"], self.map_of(last)["text"], tuple(sorted(keys)))})

    def name(self, kind):
        self.names += 1
        return f"{kind}{self.names}"

    def add(self, kind, **fields):
        one = {"name": self.name(kind[:-1]), **fields}
        self.history[kind].append(one)
        return one["name"]

    @property
    def root(self):
        return ROOTS[self.root_at]

    def active(self, keys):
        return [key for key in keys if key not in self.stolen] or [keys[-1]]

    def key_rows(self, stolen, without=()):
        rows = [{"key": key, "roles": ["author", "reviewer"] if key == 5 else ["author"], "stolen": key in stolen} for key in AUTHORS]
        rows += [{"key": key, "roles": ["withdrawal"], "stolen": key in stolen} for key in DESKS]
        rows += [{"key": key, "roles": ["map-author"], "stolen": key in stolen} for key in MAPPERS]
        return [row for row in rows if row["key"] not in without]

    def new_trust(self, root=None, stolen=None, without=(), following=0, version=None):
        root = root or self.root
        if version is None:
            self.version[root] = self.version.get(root, 0) + 1
            version = self.version[root]
        name = self.add("trusts", root=root, version=version, claimed=clock(self.now), next=following, threshold=self.threshold,
                        keys=self.key_rows(self.stolen if stolen is None else stolen, without))
        return name

    def renew(self):
        self.old_trusts.append((self.trust, list(self.chain)))
        self.trust = self.new_trust()

    def seal(self, revision, **change):
        keys = change.pop("keys", None) or [self.rng.choice(self.active(AUTHORS))]
        reviewed = change.pop("reviewed", False)
        if reviewed and len(keys) == 1:
            keys = sorted({*keys, 5}) if keys != [5] else [4, 5]
        fields = {"job": "j", "base": self.base, "revision": revision, "sequence": self.sequence, "software": self.car, "title": "",
                  "map": self.map, "approvals": list(self.approvals), "reviewed": reviewed, "returns": [], "expires": "", "claimed": clock(self.now), "keys": sorted(keys),
                  **change}
        if fields["sequence"] <= fields["revision"]:
            fields["sequence"] = fields["revision"] + 1
        name = self.add("bundles", **fields)
        self.pool.append(name)
        return name

    def bundle(self, name):
        return next(one for one in self.history["bundles"] if one["name"] == name)

    # ---- what happens in the world; each gives the bundle of the check

    def next_revision(self):
        self.sequence += self.rng.choice((1, 1, 1, 2, 5))
        self.revision += 1
        returns = self.rng.sample(self.pool, min(len(self.pool), self.rng.choice((0, 1, 2))))
        expires = clock(self.now + 30 * DAY) if self.rng.random() < 0.2 else ""
        return self.seal(self.revision, returns=sorted(set(returns)), expires=expires, reviewed=self.rng.random() < 0.1,
                         keys=self.rng.sample(self.active(AUTHORS), self.rng.choice((1, 1, min(2, len(self.active(AUTHORS)))))))

    def other_rules(self):
        """The shop's next revision has another map; what opens a region is approved, or was forgotten."""
        version = max(one["version"] for one in self.history["maps"]) + (self.rng.random() < 0.9)
        before, self.map = self.map, self.new_map(version, self.rng.sample(sorted(REGIONS), self.rng.randrange(3)))
        if before != self.map and self.rng.random() < 0.7:
            signer = [self.rng.choice(self.active(MAPPERS))] if self.rng.random() < 0.6 else [self.root]
            self.approvals = [*self.approvals, self.approve(before, self.map, signer)][-16:]
        return self.next_revision()

    def rules_of_a_thief(self):
        """A stolen key seals with a map that opens everything, approved by whom he has."""
        wide = self.new_map(self.rng.choice((1, 50, 51)), REGIONS)
        if wide == self.map:
            return self.thief()
        keys = self.rng.choice(((), (self.rng.choice(AUTHORS),), (self.rng.choice(MAPPERS),), (THIEF,), (ROOTS[0],), (self.rng.choice(MAPPERS), self.rng.choice(DESKS))))
        approvals = self.approvals[-15:] + ([self.approve(self.map, wide, keys)] if keys else [])
        return self.seal(self.rng.choice((0, 3)), map=wide, approvals=approvals, sequence=self.sequence + 1, keys=[self.rng.choice(AUTHORS)], title=f"wide {self.names}")

    def another_base(self):
        """An honest one, with a controller of other software; or a claim about the same controller."""
        self.sequence += 1
        self.base += 1
        self.revision = 0
        if self.rng.random() < 0.6:
            self.car = {"x": "y", "y": "x"}[self.car]
        return self.seal(0, title="dealer")

    def read_again(self):
        self.sequence += 1
        return self.seal(0, title=f"again {self.names}")

    def thief(self):
        """Somebody with a key that nobody has called stolen yet, or that everybody knows."""
        key = self.rng.choice(AUTHORS)
        number = self.rng.choice((HIGHEST, HIGHEST, self.sequence + 1, self.sequence, 1, 10**6))
        base = self.rng.choice((self.base, self.base, self.base + 1, 10**6, 1))
        revision = self.rng.choice((0, 1, 7))
        return self.seal(revision, sequence=number, base=base, keys=[key], title=f"theft {self.names}",
                         returns=self.rng.sample(self.pool, min(2, len(self.pool))))

    def old_bundle(self):
        return self.rng.choice(self.pool)

    def permitted_return(self):
        """Back to what the shop's last revision permits, where it permits something."""
        permitting = [name for name in self.pool if self.bundle(name)["returns"] and not self.bundle(name)["title"].startswith("theft")]
        return self.rng.choice(self.bundle(permitting[-1])["returns"]) if permitting else self.old_bundle()

    def way_back(self):
        return self.rng.choice([name for name in self.pool if self.bundle(name)["revision"] == 0])

    def signed_again(self, name=None):
        one = dict(self.bundle(name or self.rng.choice(self.pool)))
        one.pop("name")
        keys = set(one["keys"]) if self.rng.random() < 0.7 else set()
        one["keys"] = sorted(keys | {self.rng.choice(self.active(AUTHORS))} | ({5} if one["reviewed"] else set()))
        if one["reviewed"] and len(one["keys"]) < 2:
            one["keys"] = [4, 5]
        again = self.add("bundles", **one)
        self.pool.append(again)
        return again

    def theft_is_known(self):
        # Two authors stay, so that the shop can meet its own threshold.
        if len(self.stolen & set(AUTHORS)) < len(AUTHORS) - 2:
            self.stolen |= {self.rng.choice(AUTHORS[:-1])}
        if self.rng.random() < 0.4:
            self.stolen |= {self.rng.choice(DESKS[:-1])}
        if self.rng.random() < 0.3:
            self.stolen |= {MAPPERS[0]}
        self.renew()
        return self.signed_again()

    def another_root(self):
        if self.root_at + 1 == len(ROOTS):
            return self.next_revision()
        last = self.new_trust(following=ROOTS[self.root_at + 1])
        self.old_trusts.append((self.trust, list(self.chain)))
        self.chain.append(self.add("successions", trust=last, **{"from": self.root, "to": ROOTS[self.root_at + 1]}))
        self.root_at += 1
        self.trust = self.new_trust()
        return self.rng.choice(self.pool)

    def threshold_changes(self):
        self.threshold = 3 - self.threshold
        self.renew()
        return self.signed_again()

    # ---- the check of a step

    def false_trust(self):
        """(trust, successions) as a thief, a stranger or an old copy gives them."""
        kind = self.rng.choice(("old", "old", "fork", "fork", "fork", "stranger", "stranger", "reinstated", "reinstated", "left out"))
        if kind == "old" and self.old_trusts:
            return self.rng.choice(self.old_trusts)
        if kind == "fork":
            at = self.rng.randrange(self.root_at) if self.root_at and self.rng.random() < 0.8 else self.root_at
            last = self.new_trust(root=ROOTS[at], following=THIEF, version=self.rng.choice((99, 98)))
            step = self.add("successions", trust=last, **{"from": ROOTS[at], "to": THIEF})
            return self.new_trust(root=THIEF, stolen=set() if self.rng.random() < 0.3 else None), [*self.chain[:at], step]
        if kind == "stranger":
            return self.new_trust(root=STRANGER), []
        # Under the shop's own root; the shop's next version comes after it.
        if kind == "reinstated":
            given = self.new_trust(stolen=set()), list(self.chain)
        else:
            given = self.new_trust(without=tuple(self.stolen)), list(self.chain)
        self.renew()
        return given

    def new_list(self, root):
        kind = self.rng.random()
        notices = self.rng.sample(self.pool, min(len(self.pool), self.rng.randrange(4)))
        if kind < 0.2 and self.list_names:
            return self.rng.choice(self.list_names)
        keys, number = [self.rng.choice(self.active(DESKS))], self.list_number + 1
        if kind < 0.45:
            keys, number = [self.rng.choice(DESKS)], self.rng.choice((LARGEST, LARGEST - 1, self.list_number + 2, 1))
        else:
            self.list_number = number
        if self.rng.random() < 0.15:
            keys = sorted({*keys, self.rng.choice(DESKS)})
        name = self.add("lists", root=root, number=number, keys=keys, claimed=clock(self.now), notices=notices)
        self.list_names.append(name)
        return name

    def new_job_list(self, root):
        rows = {}
        for name in self.rng.sample(self.pool, min(len(self.pool), self.rng.randrange(1, 5))):
            one = self.bundle(name)
            rows[one["sequence"]] = {"bundle": name, "base": one["base"], "revision": one["revision"], "sequence": one["sequence"]}
        ordered, base, seen = [], 0, set()
        for number in sorted(rows):
            identity = repr({k: v for k, v in self.bundle(rows[number]["bundle"]).items() if k not in ("name", "keys")})
            if rows[number]["base"] >= base and identity not in seen:
                base = rows[number]["base"]
                seen.add(identity)
                ordered.append(rows[number])
        return self.add("job_lists", root=root, job="j", key=self.rng.choice(AUTHORS), claimed=clock(self.now), revisions=ordered)

    def step(self, bundle, **fixed):
        rng = self.rng
        trust, successions = self.trust, list(self.chain)
        if rng.random() < 0.15:
            trust, successions = self.false_trust()
        if successions and rng.random() < 0.3:
            successions = successions[rng.randrange(len(successions) + 1):]
        root = next(one for one in self.history["trusts"] if one["name"] == trust)["root"]
        stated = rng.choice((0, 0, 0, root, root, root, ROOTS[0], rng.choice(ROOTS + [THIEF]))) if rng.random() < 0.5 else 0
        now = self.now
        if rng.random() < 0.1:
            now = self.now + rng.choice((-50, 100, 500, 20000)) * DAY
        job = self.bundle(bundle)["job"]
        step = {"bundle": bundle, "trust": trust, "successions": successions, "stated": stated,
                "withdrawals": self.new_list(root) if rng.random() < 0.25 else "",
                "job_list": self.new_job_list(root) if rng.random() < 0.15 else "",
                "newest": rng.choice([name for name in self.pool if self.bundle(name)["job"] == job]) if rng.random() < 0.1 else "",
                "mode": rng.choice(("write",) * 12 + ("look",) * 4 + ("seal", "none", "revive", "revive")),
                "return": rng.random() < 0.3, "old_base": rng.random() < 0.3, "clock_is_right": rng.random() < 0.1,
                "now": clock(now), "car": self.car if rng.random() < 0.9 else rng.choice("xy")}
        step.update(fixed)
        self.history["steps"].append(step)


EVENTS = (("next_revision", 6), ("old_bundle", 5), ("way_back", 4), ("thief", 3), ("theft_is_known", 2), ("another_root", 2), ("another_base", 2),
          ("permitted_return", 8), ("read_again", 1), ("signed_again", 2), ("threshold_changes", 1), ("other_rules", 3),
          ("rules_of_a_thief", 2))


def draw(seed, number):
    """A history of 12 to 20 checks, and in the end the way back of whatever controller there is, under the shop's own files."""
    rng = random.Random(f"{seed} {number}")
    drawn = Drawn(rng, f"{seed}-{number}")
    drawn.step(drawn.pool[0], mode="write", withdrawals="", job_list="", newest="")
    names, weights = zip(*EVENTS)
    for _ in range(rng.randrange(11, 19)):
        drawn.now += rng.choice((1, 5, 20, 60)) * DAY
        event = rng.choices(names, weights)[0]
        more = {"return": True} if event == "permitted_return" else {}
        drawn.step(getattr(drawn, event)(), **more)
    ends = []
    firsts = [name for name in drawn.pool if drawn.bundle(name)["revision"] == 0 and drawn.bundle(name)["software"] == drawn.car]
    for name in firsts[:3]:
        one = dict(drawn.bundle(name))
        one.pop("name")
        one["keys"] = drawn.active(AUTHORS)
        again = drawn.add("bundles", **one)
        drawn.step(again, trust=drawn.trust, successions=list(drawn.chain), stated=drawn.root, mode="write", withdrawals="", job_list="", newest="",
                   now=clock(drawn.now), car=drawn.car)
        ends.append((len(drawn.history["steps"]) - 1, again))
    return drawn.history, ends
