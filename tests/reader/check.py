"""One request judged: trust file, what is remembered, lists, bundle, evidence and read, in the order of checks of docs/bundle-format.md and docs/order.md."""

from consistency import check_consistency
from contents import check_changes, check_files, check_map, check_set, known_of, payload_image
from framing import check_framing, content_of, read_prefix
from lists import read_inclusion, read_job_list, read_withdrawals
from manifest import read_changes, read_manifest, read_set
from order import Known, check_reinstated, follow, in_force, is_newer_list, judge_clock, judge_rules, judge_sequence, learn_time
from proof import Proof
from read_files import read_files
from ranges import overlap
from refused import Refused, require, sha256
from region_map import read_region_map
from signers import judge_keys
from state import copied, drop_maps, find_root, learn_list, learn_map, learn_revision, learn_trust, read_state, write_state
from statement import signers_of
from trust import Chain

# What a request may leave out. Files are bytes, or nothing; a state may be empty.
NOT_GIVEN = {"successions": [], "state": None, "withdrawals": None, "job_list": None, "inclusion": None, "newest": None, "return": False,
             "old_base": False, "clock_is_right": False}


# The most bytes of a file; a bundle's size is the first of its own checks.
MOST = {"trust": 262144, "successions": 655360, "withdrawals": 4194304, "job_list": 1048576, "inclusion": 65536, "state": 8 * 1048576}
KINDS = ("trust", "successions", "bundle", "reads", "withdrawals", "job_list", "inclusion", "newest", "state")


def check_sizes(request):
    """Before anything is read: no file is empty, but a state; none is larger than anything of its kind."""
    for kind in KINDS:
        given = request[kind]
        files = [content for _, content in given] if kind == "reads" else given if kind == "successions" else [given] if given is not None else []
        for content in files:
            require(content or kind == "state", "file-empty", kind)
            require(len(content) <= MOST.get(kind, 2**31), "file-too-large", kind)


class Opened:
    """A bundle after its own checks."""

    def __init__(self, data):
        self.data = data

    def verify(self, trust):
        """Steps 1 to 5c."""
        self.manifest_bytes, self.pairs = read_prefix(self.data)
        self.signers = signers_of(self.manifest_bytes, self.pairs, trust)
        self.manifest = read_manifest(self.manifest_bytes)
        check_consistency(self.manifest)
        self.digest = sha256(self.manifest_bytes)

    def judge_seal(self, trust, proof):
        """Steps 6 to 8."""
        self.stored = check_framing(self.data, self.manifest_bytes, self.pairs, self.manifest)
        for entry, data in zip(self.manifest["entries"], self.stored):
            require(sha256(data) == entry["stored_digest"], "stored-digest", entry["name"])
        self.keys = judge_keys(self.manifest, self.manifest_bytes, self.signers, trust, proof)

    def take_out(self):
        """Step 11."""
        self.region_map, self.changes, contents, controller = None, {}, {}, self.manifest["controllers"][0]
        for entry, data in zip(self.manifest["entries"], self.stored):
            content = contents[entry["name"]] = content_of(entry, data)
            if entry["name"].startswith("regions/"):
                self.map_bytes = content
                self.region_map = read_region_map(content)
                check_map(self.region_map, controller)
            elif entry["name"] == "changes.json":
                self.changes = check_changes(read_changes(content), self.region_map, self.manifest)
            elif entry["name"] == "set.json":
                check_set(read_set(content), self.manifest)
        self.payload = payload_image(self.region_map, controller, contents)
        check_files(self.region_map, self.manifest, self.payload)


def written_files(region_map, opened, image):
    if opened:
        return {each.name: sha256(each.written(image)) for each in opened}
    # Without a read: raw for a whole memory. Other forms follow from nothing that these pages fix, so they give no digest here.
    whole = [m for m in region_map.space.memories if overlap(image.known, [(m.base, m.base + m.size)]) == m.segments]
    return {m.name: sha256(b"".join(image.bytes(first, last) for first, last in m.segments)) for m in whole}


class Checking:
    """One check. `state` is what the file says, or nothing without one; `followed` is what this chain makes of it."""

    def __init__(self, request):
        self.request = {**NOT_GIVEN, **request}
        self.state, self.followed = None, None
        self.withdrawals, self.withdrawn, self.is_newer, self.job_list, self.proof, self.newest = None, set(), False, None, None, None
        self.gathered = False  # from here on even a refusal is remembered
        self.bundle = Opened(self.request["bundle"])

    def run(self):
        check_sizes(self.request)
        self.establish_trust()
        self.gather()
        self.gathered = True
        self.open_bundle()
        m = self.bundle.manifest
        require(not m["set"] or m["revision"] == 0 or self.request["seal_only"], "set-incomplete")
        return {} if self.request["seal_only"] else self.proved()

    def establish_trust(self):
        self.chain = Chain(self.request["trust"], self.request["successions"], self.request["stated_root"])
        self.trust = self.chain.trust
        if self.request["state"] is not None:
            try:
                self.state = read_state(self.request["state"])
            except Refused:
                return check_reinstated(self.chain, None)
            self.followed = follow(self.state, self.chain)
        return check_reinstated(self.chain, self.followed)

    def gather(self):
        """Withdrawals, list of revisions, proof and newest bundle, in this order."""
        request, trust = self.request, self.trust
        if self.followed:
            self.withdrawn = in_force(self.followed, trust["root_id"], trust)
        if request["withdrawals"] is not None:
            self.withdrawals = read_withdrawals(request["withdrawals"], trust)
            self.is_newer = is_newer_list(self.withdrawals, self.followed, trust)
            if self.is_newer:
                self.withdrawn = {notice["revision"] for notice in self.withdrawals["notices"]}
        if request["job_list"] is not None:
            self.job_list = read_job_list(request["job_list"], trust)
        if request["inclusion"] is not None:
            self.proof = read_inclusion(request["inclusion"])
        if request["newest"] is not None:
            self.newest = Opened(request["newest"])
            self.newest.verify(trust)
            self.newest.judge_seal(trust, self.proof)
            self.newest.take_out()

    def open_bundle(self):
        bundle, request = self.bundle, self.request
        bundle.verify(self.trust)
        bundle.judge_seal(self.trust, self.proof)
        m, controller = bundle.manifest, bundle.manifest["controllers"][0]["name"]
        require(m["revision"] == 0 or bundle.digest not in self.withdrawn, "withdrawn")
        newest = self.newest and (self.newest.manifest, self.newest.digest)
        known = Known(self.followed, self.trust, self.job_list, newest, m["job"], controller)
        judge_sequence(m, bundle.digest, known, request)
        seen = self.followed["last_time"] if self.followed and not request["clock_is_right"] else ""
        judge_clock(m, seen, request["now"])
        bundle.take_out()
        if self.followed:
            judge_rules(m, bundle.digest, known, self.followed, bundle.region_map, self.trust)
        if self.job_list:
            require((self.job_list["job"], self.job_list["controller"]) == (m["job"], controller), "job-list-invalid", "of another job")
        if self.newest:
            other = self.newest.manifest
            require((other["job"], other["controllers"][0]["name"]) == (m["job"], controller), "usage", "the newest bundle is of another job")

    def proved(self):
        request, m = self.request, self.bundle.manifest
        reviving = request["revive"] and not request["reads"]
        require(request["reads"] or (reviving and m["revision"] == 0), "read-missing")
        evidence = {"vehicle_reference": request["vehicle_reference"], "salt": request["salt"], "read_is_fresh": request["read_is_fresh"] or reviving}
        if reviving:
            require(request["vehicle_reference"], "vehicle-not-provable")
            read, opened = self.bundle.payload.copy(), []
        else:
            read, opened = read_files(self.bundle.region_map, request["reads"])
        known = known_of(m["controllers"][0], self.bundle.region_map.space)
        proof = Proof(m, self.bundle.region_map, known, self.bundle.payload, self.bundle.changes)
        return written_files(self.bundle.region_map, opened, proof.run(read, evidence))

    # ---- what is remembered: the bytes of the state file afterwards, after a look and after a write

    def remembered(self, outcome):
        given = self.request["state"]
        if given is None:
            return {}
        look = write = given
        if self.state is not None and self.gathered and outcome == "accepted":
            look, write = self.after_acceptance()
        elif self.state is not None and self.gathered:
            look = write = self.after_look()
        return {"look": look or given, "write": write or look or given}

    def after_look(self):
        """A refusal, or a look at the seal alone."""
        state = copied(self.state)
        is_stated = self.chain.stated >= 0 and not any(find_root(state, identity) for identity in self.chain.ids)
        if find_root(state, self.trust["root_id"]) or is_stated:
            self.learn_given_list(learn_trust(state, self.trust))
        return write_state(state)

    def after_acceptance(self):
        state, m = copied(self.followed), self.bundle.manifest
        root = find_root(state, self.trust["root_id"])
        self.learn_given_list(root)
        if m["revision"] == 0:
            self.learn_own_revision(state, root)
        drop_maps(state)
        look = write_state(state)
        self.learn_own_revision(state, root)
        signed = [m, self.trust, self.withdrawals, self.job_list]
        learn_time(state, self.request["now"], [one["claimed_time"] for one in signed if one], self.request["clock_is_right"])
        return look, write_state(state)

    def learn_own_revision(self, state, root):
        learn_revision(root, self.bundle.manifest, self.bundle.digest, self.bundle.keys)
        learn_map(state, self.bundle.map_bytes)

    def learn_given_list(self, root):
        if self.withdrawals and self.is_newer:
            learn_list(root, self.withdrawals)


def judge(request):
    """The answer to a request whose files are bytes: {"outcome", "reason", "why", "results", "state"}."""
    checking = Checking(request)
    try:
        results = checking.run()
        outcome, reason, why = "authentic" if request["seal_only"] else "accepted", "", ""
    except Refused as refused:
        outcome, reason, why, results = "refused", refused.reason, refused.why, {}
    return {"outcome": outcome, "reason": reason, "why": why, "results": results, "state": checking.remembered(outcome)}
