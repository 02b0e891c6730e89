"""What a shop signs beside its bundles (trust files, successions, lists, proofs), and a state that remembers some of it: honest, and drawn.

Everything is kept as fields and signed last, so that a lie can change a field and be signed like the truth.
"""

import copy
import functools
import hashlib
import hmac

import ed25519
from framing import read_prefix
from json_text import canonical
from lists import leaf_hash, node_hash
from order import clock, seconds
from refused import sha256
from state import covers, find_root, learn_list, learn_trust, learn_way_back, maps_in_use, new_state, place_of_revision
from trust import read_trust
from writer import AUTHOR, REVIEWER, ROOT, SECOND_AUTHOR, TIME, sealed

DESK, SECOND_DESK, LEDGER, THIEF, MAPPER, OTHER_ROOT, STRANGER_ROOT = (bytes([n]) * 32 for n in (6, 7, 8, 9, 10, 18, 19))
OLD_ROOTS = [bytes([n]) * 32 for n in (20, 21, 22)]
START = "2026-01-01T00:00:00Z"
LATER = "2026-03-10T00:00:00Z"
DAY = 86400


@functools.lru_cache(None)
def public(secret):
    return ed25519.public_key(secret)


@functools.lru_cache(None)
def key_of(secret):
    return ed25519.key_id(public(secret))


def statement(fields, secrets):
    signed = canonical(fields).encode("utf-8")
    lines = sorted(f"{key_of(secret)} {ed25519.sign(secret, signed).hex()}\n" for secret in secrets)
    return signed + b"\n" + "".join(lines).encode("ascii")


def key_row(secret, name, *roles):
    return {"id": key_of(secret), "public_key": public(secret).hex(), "name": name, "roles": list(roles), "jobs": [], "controllers": [], "region_maps": [],
            "valid_from": START, "valid_until": "", "state": "active"}


def trust_fields(root, version, keys, following=None, threshold=1, heads=()):
    return {"calseal": "trust/1", "version": version, "shop": "Vector shop", "root": public(root).hex(), "claimed_time": START,
            "next_root": key_of(following) if following else "", "ledger_heads": list(heads), "policy": {"threshold": threshold},
            "keys": sorted(copy.deepcopy(keys), key=lambda key: key["id"])}


def succession_fields(old_trust, new_root):
    return {"calseal": "succession/1", "old_trust": old_trust.decode("utf-8"), "new_root": public(new_root).hex(), "claimed_time": START, "reason": "moved"}


class Tree:
    """A Merkle tree after RFC 9162 over lines, and its audit paths, by the definition."""

    def __init__(self, lines):
        self.leaves = [leaf_hash(line) for line in lines]

    def root(self, first, last):
        if last - first == 1:
            return self.leaves[first]
        middle = self.middle(first, last)
        return node_hash(self.root(first, middle), self.root(middle, last))

    @staticmethod
    def middle(first, last):
        half = 1
        while half * 2 < last - first:
            half *= 2
        return first + half

    def path(self, index, first, last):
        if last - first == 1:
            return []
        middle = self.middle(first, last)
        if index < middle:
            return self.path(index, first, middle) + [self.root(middle, last)]
        return self.path(index, middle, last) + [self.root(first, middle)]


def sealed_line(digest, salt, kind="sealed"):
    subject = hmac.new(salt, bytes.fromhex(digest), hashlib.sha256).hexdigest()
    return canonical({"calseal": "entry/1", "kind": kind, "claimed_time": TIME, "subject": subject}).encode("utf-8")


def inclusion_of(rng, digest):
    """(fields of a proof, head): a ledger of up to 20 entries that holds this revision."""
    size, salt = rng.randint(1, 20), rng.randbytes(32)
    index = rng.randrange(size)
    lines = [sealed_line(sha256(rng.randbytes(4)), rng.randbytes(32), rng.choice(("sealed", "sent"))) for _ in range(size)]
    lines[index] = sealed_line(digest, salt)
    tree = Tree(lines)
    head = {"size": size, "root_hash": tree.root(0, size).hex()}
    return {"calseal": "inclusion/1", "entry": lines[index].decode("utf-8"), "salt": salt.hex(), "head": dict(head), "index": index,
            "path": [one.hex() for one in tree.path(index, 0, size)]}, head


class Shop:
    """Everything that lies beside one bundle. `draft` is placed in time here: sequence, base, trial."""

    def __init__(self, rng, draft):
        self.rng, self.draft, self.m, self.world = rng, draft, draft.manifest, draft.world
        self.map_digest = sha256(self.world.map_bytes)
        self.roots = rng.sample(OLD_ROOTS, rng.choice((0, 0, 0, 1, 1, 2, 3))) + [ROOT]
        self.place_in_time()
        self.signers = rng.choice(((AUTHOR,), (AUTHOR,), (AUTHOR, SECOND_AUTHOR), (AUTHOR, REVIEWER)))
        self.bundle = sealed(draft, self.signers)
        self.digest = sha256(read_prefix(self.bundle)[0])
        self.stolen = {secret for secret in (SECOND_AUTHOR, SECOND_DESK, THIEF) if secret not in self.signers and rng.random() < 0.4}
        self.inclusion, self.heads = None, []
        if rng.random() < 0.15:
            self.inclusion, head = inclusion_of(rng, self.digest)
            self.heads, self.signers, self.stolen = [head], (AUTHOR,), {AUTHOR} | self.stolen - {SECOND_AUTHOR}
            self.bundle = sealed(draft, self.signers)
        self.threshold = 2 if len(self.signers) > 1 and rng.random() < 0.3 else 1
        self.make_trusts()
        self.state = self.make_state() if rng.random() < 0.8 else None
        self.withdrawals = self.make_withdrawals() if rng.random() < 0.4 else None
        self.list_signers = (DESK,) if SECOND_DESK in self.stolen or rng.random() < 0.7 else (DESK, SECOND_DESK)
        self.job_list = self.make_job_list() if rng.random() < 0.3 else None
        self.job_list_signers = (SECOND_AUTHOR if AUTHOR in self.stolen else AUTHOR,)
        self.newest = self.make_newest() if rng.random() < 0.15 and not self.inclusion else None
        self.words = {"return": rng.random() < 0.3, "old_base": rng.random() < 0.2, "clock_is_right": rng.random() < 0.15}
        known = [i for i, root in enumerate(self.roots) if self.state and find_root(self.state, key_of(root))]
        self.stated = rng.choice(self.roots) if rng.random() < 0.4 or (self.state and self.state["roots"] and not known) else None
        self.edits = {}  # key of the request: what is done to the bytes at last

    def place_in_time(self):
        rng, m = self.rng, self.m
        m["base"]["number"] = rng.choice((1, 1, 2, 3))
        m["sequence"] = m["revision"] + rng.randint(1, 30)
        if m["base"]["number"] > 1:
            m["parent"] = sha256(b"parent")
        if m["revision"] > 0 and rng.random() < 0.3:
            m["trial"], m["expires"] = True, rng.choice(("2026-03-20T00:00:00Z", "2026-05-01T00:00:00Z"))
        self.now = rng.choice((TIME, LATER, LATER, "2026-03-19T23:59:59Z"))

    # ---- keys and roots

    def key_rows(self):
        rows = [key_row(AUTHOR, "author", "author"), key_row(SECOND_AUTHOR, "second author", "author"), key_row(REVIEWER, "reviewer", "reviewer"),
                key_row(DESK, "desk", "withdrawal"), key_row(SECOND_DESK, "second desk", "withdrawal"), key_row(LEDGER, "ledger", "ledger"),
                key_row(MAPPER, "map author", "map-author")]
        rows += [key_row(THIEF, "thief", "author", "withdrawal")] if THIEF in self.stolen else []
        for row in rows:
            row["state"] = "compromised" if row["id"] in {key_of(secret) for secret in self.stolen} else "active"
        return rows

    def make_trusts(self):
        """A trust file for each root; the old ones announce the next, and know of fewer thefts."""
        rng, rows = self.rng, self.key_rows()
        self.trusts = []
        for i, root in enumerate(self.roots):
            following = self.roots[i + 1] if i + 1 < len(self.roots) else (OTHER_ROOT if rng.random() < 0.2 else None)
            keys = copy.deepcopy(rows)
            for row in keys if i + 1 < len(self.roots) else []:
                row["state"] = row["state"] if rng.random() < 0.5 else "active"
            self.trusts.append(trust_fields(root, rng.randint(2, 6), keys, following, self.threshold, self.heads if i + 1 == len(self.roots) else ()))

    def trust_file(self, i):
        return statement(self.trusts[i], (self.roots[i],))

    def successions(self):
        return [statement(succession_fields(self.trust_file(i), new), (self.roots[i], new)) for i, new in enumerate(self.roots[1:])]

    # ---- what a state remembers

    def make_state(self):
        rng, state = self.rng, new_state()
        first = rng.randrange(len(self.roots))
        last = rng.randint(first, len(self.roots) - 1)
        for i in range(first, last + 1):
            root = self.learn_root(state, i)
            root["next"] = key_of(self.roots[i + 1]) if i < last else ""
            for _ in range(rng.choice((0, 0, 1, 2, 3))):
                self.learn_some_list(root)
            self.learn_some_job(root, self.m["job"])
            if rng.random() < 0.3:
                self.learn_some_job(root, "job-9")
        if rng.random() < 0.3:
            other = trust_fields(STRANGER_ROOT, 3, self.key_rows())
            self.learn_some_job(learn_trust(state, read_trust(statement(other, (STRANGER_ROOT,)), "")), self.m["job"])
        state["last_time"] = rng.choice(("", START, TIME, self.now))
        self.state = state
        self.keep_maps()
        return state

    def keep_maps(self, texts=()):
        """The texts that the state's revisions have, of these and of the bundle's own; a text may be missing."""
        known = {sha256(text.encode("utf-8")): text for text in [*texts, self.world.map_bytes.decode("utf-8")]}
        self.state["maps"] = [known[digest] for digest in sorted(maps_in_use(self.state) & known.keys()) if texts or self.rng.random() < 0.8]

    def drop_empty_jobs(self):
        for root in self.state["roots"]:
            root["jobs"] = [job for job in root["jobs"] if job["revisions"] or job["ways_back"]]

    def reseal(self):
        """The manifest has changed: what names it is left out."""
        self.bundle = sealed(self.draft, self.signers)
        self.digest, self.job_list, self.newest, self.inclusion = sha256(read_prefix(self.bundle)[0]), None, None, None

    def learn_root(self, state, i):
        """The trust file in use, or an older version of it."""
        fields = copy.deepcopy(self.trusts[i])
        if self.rng.random() < 0.5:
            fields["version"] = self.rng.randint(1, fields["version"] - 1)
        return learn_trust(state, read_trust(statement(fields, (self.roots[i],)), ""))

    def learn_some_list(self, root):
        rng = self.rng
        keys = rng.choice(((DESK,), (DESK,), (SECOND_DESK,), (DESK, SECOND_DESK), (THIEF,)))
        notices = sorted(sha256(bytes([rng.randrange(12)])) for _ in range(rng.randrange(4)))
        number = max([one["number"] for one in root["withdrawals"]], default=0) + rng.randint(1, 3)
        learn_list(root, {"number": number, "digest": sha256(rng.randbytes(4)), "keys": sorted(key_of(secret) for secret in keys),
                          "notices": [{"revision": one} for one in sorted(set(notices))]})

    def some_revision(self, sequence=None):
        """One that is older than the bundle."""
        rng = self.rng
        keys = rng.choice(((AUTHOR,), (AUTHOR,), (SECOND_AUTHOR,), (AUTHOR, SECOND_AUTHOR), (THIEF,), (bytes([30]) * 32,), ()))
        return {"base": rng.randint(1, self.m["base"]["number"]), "sequence": sequence or rng.randint(1, max(1, self.m["sequence"] - 1)),
                "revision": sha256(rng.randbytes(4)), "map": self.map_digest, "reviewed": rng.random() < 0.2, "keys": sorted(key_of(secret) for secret in keys)}

    def learn_some_job(self, root, name):
        rng = self.rng
        if any(job["job"] == name for job in root["jobs"]):
            return
        job = {"job": name, "controller": "engine", "revisions": [], "ways_back": []}
        for _ in range(rng.randrange(5) if self.m["sequence"] > 1 or name != self.m["job"] else 0):
            add_revision(job, {**self.some_revision(), "set": "", "returns": []})
        for _ in range(rng.randrange(3) if self.m["revision"] > 0 and self.m["sequence"] > 1 else 0):
            learn_way_back(job, self.some_revision())
        if self.m["revision"] == 0 and rng.random() < 0.5:
            learn_way_back(job, {**self.own_row(), "keys": sorted(key_of(secret) for secret in rng.choice(((AUTHOR,), (SECOND_AUTHOR,), (THIEF,))))})
        if job["revisions"] or job["ways_back"]:
            root["jobs"] = sorted([*root["jobs"], job], key=lambda one: (one["job"], one["controller"]))

    def own_row(self):
        """How a state remembers this very bundle."""
        return {"base": self.m["base"]["number"], "sequence": self.m["sequence"], "revision": self.digest, "map": self.map_digest,
                "reviewed": "reviewer" in self.m["required_roles"],
                "keys": sorted(key_of(secret) for secret in self.signers if secret not in self.stolen)}

    def own_root(self):
        """The state's root of the trust file in use, learned where it is not known."""
        return find_root(self.state, key_of(ROOT)) or self.learn_root(self.state, len(self.roots) - 1)

    def own_job(self):
        root = self.own_root()
        job = next((one for one in root["jobs"] if one["job"] == self.m["job"]), None)
        if job is None:
            job = {"job": self.m["job"], "controller": "engine", "revisions": [], "ways_back": []}
            root["jobs"] = sorted([*root["jobs"], job], key=lambda one: (one["job"], one["controller"]))
        return job

    # ---- lists

    def make_withdrawals(self):
        rng = self.rng
        remembered = [one["number"] for root in (self.state["roots"] if self.state else []) for one in root["withdrawals"]]
        notices = [self.notice(digest) for digest in sorted({sha256(bytes([rng.randrange(12)])) for _ in range(rng.randrange(4))})]
        return {"calseal": "withdrawal/1", "root": key_of(ROOT), "number": max(remembered, default=0) + rng.randint(1, 3), "claimed_time": TIME,
                "fresh_until": rng.choice((LATER, "2027-01-01T00:00:00Z")), "notices": notices}

    def notice(self, digest):
        action = self.rng.choice(("do-not-write", "go-back"))
        return {"revision": digest, "job": self.m["job"], "controller": "engine", "class": self.rng.choice(("commercial", "error", "replaced", "safety")),
                "action": action, "go_to": sha256(b"there") if action == "go-back" and self.rng.random() < 0.5 else "", "text": "why"}

    def make_job_list(self):
        rng, m = self.rng, self.m
        rows = [{"digest": sha256(rng.randbytes(4)), "base": 1, "revision": 0, "sequence": number} for number in range(1, m["sequence"])]
        rows = rng.sample(rows, min(len(rows), rng.randrange(4)))
        own = {"digest": self.digest, "base": m["base"]["number"], "revision": m["revision"], "sequence": m["sequence"]}
        rows += [own] if rng.random() < 0.6 or not rows else []
        return {"calseal": "job-list/1", "root": key_of(ROOT), "job": m["job"], "controller": "engine", "claimed_time": rng.choice((TIME, START)),
                "revisions": sorted(rows, key=lambda row: row["sequence"])}

    def make_newest(self):
        """An earlier revision of the job; order says nothing against the bundle."""
        draft = self.draft.clone()
        draft.manifest["title"] = "another"
        draft.manifest["sequence"] = max(draft.manifest["revision"] + 1, self.m["sequence"] - self.rng.randint(1, 3))
        return draft if draft.manifest["sequence"] < self.m["sequence"] else None

    # ---- the request

    def files(self):
        """What the request says of time: made and signed now, and bent where a lie asks for it."""
        chain = self.successions()
        out = {"trust": self.trust_file(len(self.roots) - 1), "successions": chain, "now": self.now, **self.words,
               "stated_root": key_of(self.stated) if self.stated else "",
               "state": None if self.state is None else state_file(self.state),
               "withdrawals": self.withdrawals and statement(self.withdrawals, self.list_signers),
               "job_list": self.job_list and statement(self.job_list, self.job_list_signers),
               "inclusion": self.inclusion and canonical(self.inclusion).encode("utf-8") + b"\n",
               "newest": self.newest and sealed(self.newest, self.signers)}
        for key, edit in self.edits.items():
            out[key] = edit(out[key])
        return out


def state_file(state):
    """A state as it says, whether a reader takes it or not."""
    line = canonical(state).encode("utf-8")
    return line + b"\n" + sha256(line).encode("ascii") + b"\n"


def remembered(**fields):
    """A revision or way back as a state writes it: its fields in the order of the page."""
    order = ("base", "sequence", "revision", "map", "reviewed", "keys", "set", "returns")
    return {key: fields[key] for key in order if key in fields}


def add_revision(job, one):
    """As a checker would keep it, so that no revision covers another."""
    if not any(covers(other, one) for other in job["revisions"]):
        job["revisions"] = sorted([other for other in job["revisions"] if not covers(one, other)] + [one], key=place_of_revision)


def days_later(text, days):
    return clock(seconds(text) + days * DAY)
