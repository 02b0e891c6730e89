"""The folder of a day, its bundles and the customer's check, beside the model."""

import collections
import hashlib
import itertools
import json
import pathlib
import shutil

from days_commands import FACTS
from days_model import Model, clock
from desk import CALSEAL, CALSEAL_CHECK


class Disagreement(Exception):
    pass


def require(holds, *said):
    if not holds:
        raise Disagreement(" ".join(str(one) for one in said))


class Look:
    """What is there, and what the model says of it."""

    def __init__(self, shop, root, events):
        self.shop, self.root, self.folder, self.events = shop, root, root / "oak", events
        self.model = Model()
        self.minutes = 0
        self.files = itertools.count()
        self.identities, self.bundles, self.places, self.checked = {}, {}, {}, set()
        self.tolerated = set()  # findings that a run that was cut off has left
        self.listed = set()  # keys on the list of withdrawals
        self.told = []

    def tell(self, *words):
        self.told.append(" ".join(str(one) for one in words))

    def put(self, data):
        path = self.root / f"in{next(self.files)}.bin"
        path.write_bytes(data)
        return path

    def look(self, *arguments):
        """Something that changes nothing: its JSON, and the exit status."""
        done = self.shop.run(*arguments, "--json")
        require(not done.stderr and done.stdout.count(b"\n") == 1, "not one line of JSON", arguments, done)
        return json.loads(done.stdout), done.returncode

    def status(self):
        return self.look(CALSEAL, "job", "status", self.folder, "--trust", self.shop.at("shop.trust"))

    def count(self, label, outcome):
        self.events[label, outcome] += 1

    def look_at_next(self):
        """Nothing newer is offered before the way back is acknowledged, and nothing that is withdrawn or fits no more."""
        said, status = self.look(CALSEAL, "job", "next", self.folder)
        require(status == 0 and said["next"], "next ends with", status)
        for step in said["next"]:
            concerned = [one for name, one in self.model.controllers.items() if step["controller"] in ("", name) and not one.closed]
            for base in [one.base for one in concerned if step["code"] in ("deliver", "await-receipt", "await-write")]:
                offered = base.find(step["revision"]) if step["controller"] else [one for one in base.revisions if not one.withdrawn][-1]
                closed = any(self.model.controllers[one.controller].closed for one in self.model.members(offered))
                require(closed or self.model.may_go_out(offered), "offered:", step)

    def differs(self, model, state, only=None):
        """Nothing, or the first difference between the model and `job status`."""
        given = {one["controller"]: one for one in state["controllers"]}
        if only is None and sorted(given) != sorted(model.controllers):
            return f"controllers {sorted(given)}, expected {sorted(model.controllers)}"
        order = state["order"]["options"] if state.get("order") else None
        if only is None and order != (None if model.wishes is None else list(model.wishes)):
            return f"order {order}, expected {model.wishes}"
        sets = collections.defaultdict(set)
        for name, controller in model.controllers.items():
            if only in (None, name):
                said, expected = of_status(given[name], sets), of_model(controller)
                if said != expected:
                    return f"{name}: status {said}\nexpected {expected}"
        wanted = collections.defaultdict(set)
        for one in model.every():
            if one.set and only is None:
                wanted[one.set].add(one.key)
        if only is None and sorted(map(sorted, sets.values())) != sorted(map(sorted, wanted.values())):
            return f"sets {dict(sets)}, expected {dict(wanted)}"
        return None

    def compare(self, command=None):
        if not self.folder.exists():
            return
        state, status = self.status()
        fault = self.differs(self.model, state)
        require(fault is None, fault)
        found = findings(state)
        require(found <= self.tolerated, "findings", found - self.tolerated, "after", command and command.label)
        self.tolerated = found
        require(status == (1 if found else 0), "status ends with", status, found)
        self.places = self.remember(state)
        for path in sorted(self.folder.rglob("*.calseal")):
            self.same_bundle(path)
        self.look_at_handover(state)
        for name in self.model.controllers:
            self.customer(self.model.controllers[name].base.newest())

    def remember(self, state):
        """Identities never change, and none is there twice. Where each bundle is."""
        for controller, base, one in revisions_of(state):
            key = (controller, base, one["sequence"])
            require(self.identities.setdefault(key, one["identity"]) == one["identity"], "another identity under", key)
            require(one["seal"] == "holds" and not one["incomplete"], "seal", key, one)
        require(len(set(self.identities.values())) == len(self.identities), "one identity twice")
        return places_of(state)

    def same_bundle(self, path):
        """Whole when first seen, and never another afterwards."""
        if any(part.startswith(".") for part in path.relative_to(self.folder).parts):
            return
        digest = hashlib.sha256(path.read_bytes()).hexdigest()
        name = str(path.relative_to(self.folder))
        if name not in self.bundles:
            verdict, status = self.look(CALSEAL_CHECK, path, "--trust", self.shop.at("shop.trust"), "--seal-only")
            require(status == 0 and verdict["verdict"] == "authentic", name, verdict)
        require(self.bundles.setdefault(name, digest) == digest, "another bundle under", name)

    def handover_differs(self, model, places):
        """Nothing, or what the newest hand-over should hold."""
        numbers = sorted(int(path.name[9:]) for path in self.folder.glob("handover-*"))
        if numbers != list(range(1, len(model.handovers) + 1)):
            return f"hand-overs {numbers}, expected {len(model.handovers)}"
        names = {path.name for path in (self.folder / f"handover-{numbers[-1]}").iterdir()} if numbers else {"message.txt"}
        wanted = {f"{key[0]}-{places[key][0]}" for keys in model.handovers[-1:] for key in keys} | {"message.txt"}
        return None if names == wanted else f"hand-over holds {names}, expected {wanted}"

    def look_at_handover(self, state):
        fault = self.handover_differs(self.model, self.places)
        require(fault is None, fault)
        if not self.model.handovers:
            return
        require(state["handover"] == f"handover-{len(self.model.handovers)}", "newest hand-over", state["handover"])
        folder = self.folder / state["handover"]
        message = " ".join((folder / "message.txt").read_text().split())
        for key in self.model.handovers[-1]:
            name = f"{key[0]}-{self.places[key][0]}"
            require(name in message, "the message does not name", name)
            kept = self.kept(key)
            require(not kept.exists() or kept.read_bytes() == (folder / name).read_bytes(), "handed over another", key)

    def kept(self, key):
        name, base = self.places[key]
        return self.folder / key[0] / f"base-{base}" / name

    def bundle(self, key):
        """The bundle where it is kept; handed over, where a run that was cut off has not put it there."""
        if self.kept(key).exists():
            return self.kept(key)
        number = max(at for at, keys in enumerate(self.model.handovers, 1) if key in keys)
        return self.folder / f"handover-{number}" / f"{key[0]}-{self.places[key][0]}"

    def check(self, one, *more):
        """The customer's check; the images that it rebuilds."""
        out = self.root / "out"
        shutil.rmtree(out, ignore_errors=True)
        out.mkdir()
        arguments = [self.bundle(one.key), "--trust", self.shop.at("shop.trust"), "--salt", self.folder / one.controller / "job.salt", "--read-is-fresh"]
        base = self.model.controllers[one.controller].bases[one.base - 1]
        for memory, data in base.images.items():
            (self.root / ("read." + memory)).write_bytes(data)
            arguments += ["--read", f"{memory}={self.root}/read.{memory}", "--image", f"{memory}={out}/{memory}"]
        verdict, status = self.look(CALSEAL_CHECK, *arguments, *more)
        return verdict, status, {path.name: path.read_bytes() for path in out.iterdir()}

    def customer(self, one, again=False):
        if one.key in self.checked and not again:
            return
        self.checked.add(one.key)
        partners = [member for member in self.model.members(one) if member is not one]
        evidence = [word for member in partners for word in ("--partner", self.bundle(member.key))]
        verdict, status, images = self.check(one, *evidence)
        require(status == 0 and verdict["verdict"] == "accepted", "the customer refuses", one.key, verdict)
        require(images == one.images, "rebuilt other bytes than expected:", one.key)
        said = {line["name"]: line["why"] for line in verdict["ordered"]["options"] if line["state"] != "not-ordered"}
        require({name: why if why in ("", "later") else "another controller" for name, why in said.items()} == one.ordered, "ordered:", one.key, said)
        self.count("customer, accepted", "set" if partners else "alone")
        if partners:
            verdict, status, images = self.check(one)
            require((status, verdict["reason"], images) == (1, "set-incomplete", {}), "a member of a set alone:", one.key, verdict)
            self.count("customer, refused", "set-incomplete")

    # The list of withdrawals.

    def withdraw(self):
        """The shop signs its list; the customer's check and `status` follow it."""
        noted = [one for one in self.model.every() if one.withdrawn and one.key not in self.listed]
        if not noted:
            return
        listing = self.root / "withdrawn.list"
        after = ["--after", listing] if listing.exists() else ["-o", listing]
        self.shop.json(CALSEAL, "withdraw", *(self.bundle(one.key) for one in noted), "--class", "error", "--text", "cuts out", *after,
                       "--key", self.shop.at("withdrawal.key"), "--trust", self.shop.at("shop.trust"), "--passphrase-file", self.shop.at("word.txt"),
                       "--claimed-time", clock(self.minutes))
        self.tell("withdraw", *(one.key for one in noted))
        self.listed |= {one.key for one in noted}
        for one in noted:
            evidence = [word for member in self.model.members(one) if member is not one for word in ("--partner", self.bundle(member.key))]
            verdict, status, images = self.check(one, *evidence, "--withdrawals", listing)
            require((status, verdict["reason"], images) == (1, "withdrawn", {}), "withdrawn, and", one.key, verdict)
            self.count("customer, refused", "withdrawn")
        for controller in self.model.controllers.values():
            verdict, status, _ = self.check(controller.base.find(0), "--withdrawals", listing)
            require(status == 0, "the way back beside a list of withdrawals", verdict)
        self.status_with_list()

    def status_with_list(self):
        listing = self.root / "withdrawn.list"
        if listing.exists():
            state, _ = self.look(CALSEAL, "job", "status", self.folder, "--trust", self.shop.at("shop.trust"), "--withdrawals", listing)
            missing = [code for code, _ in findings(state) if code == "withdrawal-not-listed"]
            left = {one.key for one in self.model.every() if one.withdrawn} - self.listed
            require(bool(missing) == bool(left), "withdrawals not listed:", missing, left)


def findings(state):
    """Code and file, as seen from the job's folder."""
    found = {(one["code"], one["file"]) for one in state.get("findings", [])}
    for controller in state["controllers"]:
        found |= {(one["code"], controller["controller"] + "/" + one["file"]) for one in controller["findings"]}
    return found


def revisions_of(state):
    for controller in state["controllers"]:
        for base in controller["bases"]:
            for one in base["revisions"]:
                yield controller["controller"], base["base"], one


def places_of(state):
    """Name of each bundle, and its base. One that was handed over and not put in its place goes by the name that it will have."""
    names = {}
    for controller, base, one in revisions_of(state):
        name = pathlib.Path(one["bundle"]).name
        away = one["bundle"].startswith("../") and name.startswith(controller + "-")
        names[controller, base, one["sequence"]] = (name[len(controller) + 1:] if away else name), base
    return names


def of_model(controller):
    return controller.closed, len(controller.logs), [
        [(one.number, one.sequence, one.options, one.withdrawn, one.reissue_of, [[clock(at) for at in one.facts.get(fact, [])] for fact in FACTS])
         for one in base.revisions] for base in controller.bases]


def of_status(given, sets):
    """The same of `job status`; adds the members of each set to `sets`."""
    bases = []
    for base in given["bases"]:
        sequence_of = {one["identity"]: one["sequence"] for one in base["revisions"]}
        bases.append([(one["revision"], one["sequence"], tuple(sorted(one["options"])), one["withdrawn"], sequence_of.get(one["reissue_of"], 0),
                       [[at["time"] for at in one[fact]] for fact in FACTS]) for one in base["revisions"]])
        for one in base["revisions"]:
            if one["set"]:
                sets[one["set"]].add((given["controller"], base["base"], one["sequence"]))
    return given["closed"], len(given["logs"]), bases
