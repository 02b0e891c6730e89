"""What a job is after each command, from docs/job.md alone. A command is asked of the model first: the answer is the exit status, the
reasons that may be given, and the job as it is afterwards. A refused command leaves the job as it was."""

import copy
import dataclasses
import datetime

from days_vehicle import KINDS, OPTIONS

OK = (0, None)
OUTWARD = ("sent", "written")
WHOLE_SET = ("sent", "acknowledged", "withdrawn")
BEFORE = {"acknowledged": "sent", "written": "sent", "confirmed": "written"}
ELSEWHERE = "another controller"  # why an option that is for one is not in this revision
BEGIN = datetime.datetime(2026, 3, 4, 5, 6, 7)


def clock(minutes):
    return (BEGIN + datetime.timedelta(minutes=minutes)).strftime("%Y-%m-%dT%H:%M:%SZ")


@dataclasses.dataclass
class Revision:
    controller: str
    base: int
    number: int
    sequence: int
    images: dict
    time: int
    set: int = 0  # 0: valid alone
    options: tuple = ()
    reissue_of: int = 0  # sequence of the revision that it replaces
    withdrawn: bool = False
    ordered: dict = dataclasses.field(default_factory=dict)  # option: why it is not in it, "" where it is
    facts: dict = dataclasses.field(default_factory=dict)  # fact: times at which it was noted

    @property
    def key(self):
        return self.controller, self.base, self.sequence

    def has(self, fact):
        return bool(self.facts.get(fact))


@dataclasses.dataclass
class Base:
    number: int
    images: dict
    carried: tuple = ()  # options that came with it
    revisions: list = dataclasses.field(default_factory=list)

    def newest(self):
        return self.revisions[-1]

    def find(self, number):
        """The newest bundle with this number."""
        return next((one for one in reversed(self.revisions) if one.number == number), None)


@dataclasses.dataclass
class Controller:
    kind: object
    bases: list
    closed: bool = False
    logs: set = dataclasses.field(default_factory=set)  # what was attached, and as which revision's

    @property
    def base(self):
        return self.bases[-1]

    def every(self):
        return [one for base in self.bases for one in base.revisions]

    def seal(self, number, images, time, **more):
        """One more revision of the current base."""
        sequence = max((one.sequence for one in self.every()), default=0) + 1
        self.base.revisions.append(Revision(self.kind.name, self.base.number, number, sequence, images, time, **more))
        return self.base.newest()

    def open_base(self, images, time, carried=()):
        self.bases.append(Base(len(self.bases) + 1, images, carried))
        return self.seal(0, images, time)


class Refusal(Exception):
    def __init__(self, status, *reasons):
        super().__init__(status, reasons)
        self.answer = (status, reasons)


class Model:
    def __init__(self):
        self.controllers = {}
        self.handovers = []  # of keys
        self.sets = 0
        self.wishes = None  # names of options; nothing: none was noted

    def asked(self, command):
        """Exit status, reasons (of one of them), and the job afterwards."""
        after = copy.deepcopy(self)
        try:
            command.change(after)
        except Refusal as refusal:
            return refusal.answer, self
        return OK, after

    def find(self, key):
        return next(one for one in self.controllers[key[0]].every() if one.key == key)

    def every(self):
        return [one for controller in self.controllers.values() for one in controller.every()]

    def members(self, revision):
        """All of its set, itself too."""
        return [one for one in self.every() if one.set == revision.set] if revision.set else [revision]

    def outdated(self, revision):
        return revision.base != self.controllers[revision.controller].base.number

    def may_go_out(self, revision):
        """The customer can accept it, and its partners, and holds their way backs."""
        return not any(one.withdrawn or self.outdated(one) or not self.controllers[one.controller].base.find(0).has("acknowledged")
                       for one in self.members(revision))

    def hand_over(self, revisions):
        self.handovers.append(sorted({one.key for one in revisions}))

    # One method for each verb.

    def new(self, names, time):
        for name in names:
            self.controllers[name] = Controller(KINDS[name], [])
        self.hand_over([self.controllers[name].open_base(dict(KINDS[name].first), time) for name in names])

    def add(self, name, time):
        if name in self.controllers:
            raise Refusal(None)
        self.new([name], time)

    def carry(self, name, images, time, carried):
        controller = self.controllers[name]
        if images == controller.base.images:
            raise Refusal(2, "usage")
        self.hand_over([controller.open_base(images, time, carried)])

    def reissue(self, name, number, time):
        controller = self.controllers[name]
        old = controller.base.find(number)
        if old is None:
            raise Refusal(2, "usage")
        if old.withdrawn:
            raise Refusal(1, "withdrawn")
        if old.set:
            raise Refusal(None)
        again = old if number == 0 else controller.seal(number, old.images, time, options=old.options, ordered=old.ordered,
                                                                  reissue_of=old.reissue_of or old.sequence)
        self.hand_over([again])

    def handover(self, name, number):
        if name is None:
            wanted = [one.base.newest() for one in self.controllers.values() if not one.closed]
        else:
            base = self.controllers[name].base
            wanted = [base.newest() if number is None else base.find(number)]
        if None in wanted or not wanted:
            raise Refusal(None)
        if any(one.withdrawn for one in wanted):
            raise Refusal(1, "withdrawn")
        together = [member for one in wanted for member in self.members(one)]
        if any(self.outdated(one) for one in together):
            raise Refusal(1, "job-order")
        self.hand_over(together)

    def log(self, name, text, number):
        base = None if number is None else len(self.controllers[name].bases)
        self.controllers[name].logs.add((text, base, number))  # attached again it is noted once

    def state(self, fact, name):
        """closed, reopened, remark"""
        for controller in self.controllers.values():
            if name in (None, controller.kind.name) and fact != "remark":
                controller.closed = fact == "closed"

    def ordered(self, names):
        self.wishes = tuple(sorted(names))

    def fits(self, name, option):
        """The shop's files are for the software of the first read; a later base has those that were carried to it."""
        base = self.controllers[name].base
        return OPTIONS[option].controller == name and (base.number == 1 or option in base.carried)

    def keep(self, name, options=(), none=False, without=()):
        """Options of the next revision; what becomes of each that was ordered; whether one of them is open."""
        base, order = self.controllers[name].base, self.wishes or ()
        newest, was = base.newest(), base.newest().ordered
        mine = [one for one in options if OPTIONS[one].controller == name]
        if not mine and not none:
            mine = [one for one in (newest.options if newest.number else base.carried) if one not in without and not (one in was and one not in order)]
            mine += [one for one in order if one not in mine and one not in without and was.get(one, "") in ("", ELSEWHERE) and self.fits(name, one)]
        ordered = {}
        for one in order:
            elsewhere = not self.fits(name, one) and any(self.fits(other, one) for other in self.controllers if other != name)
            ordered[one] = "" if one in mine else ELSEWHERE if elsewhere else "later" if one in without else was.get(one, "").replace(ELSEWHERE, "") or None
        return tuple(sorted(mine)), ordered, None in ordered.values()

    def to_compose(self, without):
        """Controllers that a send without files is about: nothing but options are in their newest revision."""
        names = []
        for name, one in sorted(self.controllers.items()):
            newest = one.base.newest()
            spans = [OPTIONS[option].span(one.kind) for option in newest.options]
            if one.closed or newest.number and one.kind.left_over(one.base.images, newest.images, spans):
                continue
            mine, _, is_open = self.keep(name, without=without)
            if is_open:
                raise Refusal(1, "order-open")
            if mine != tuple(sorted(newest.options)):
                names.append(name)
        return names

    def note(self, fact, name, number, time):
        if number is not None:
            found = self.controllers[name].base.find(number)
            if found is None or (fact == "withdrawn" and number == 0):
                raise Refusal(2, "usage")
            bundles = [one for one in self.controllers[name].base.revisions if one.number == number] if fact == "withdrawn" else [found]
            subjects = list({one.key: one for bundle in bundles for one in self.members(bundle)}.values()) if fact in WHOLE_SET else [found]
        else:
            subjects = [self.find(key) for key in self.handovers[-1] if name in (None, key[0])]
            # A hand-over of a whole set holds all of it: the facts of one member are those of all.
            if fact in WHOLE_SET:
                subjects = list({one.key: one for subject in subjects for one in self.members(subject)}.values())
            if not subjects or fact == "withdrawn":
                raise Refusal(2, "usage")
        reasons = {reason for one in subjects for reason in self.order(fact, one, time)}
        if reasons:
            raise Refusal(1, *sorted(reasons))
        for one in subjects:
            one.facts.setdefault(fact, []).append(time)
            one.withdrawn = one.withdrawn or fact == "withdrawn"

    def order(self, fact, one, time):
        """Why it may not be noted of this revision."""
        if fact in OUTWARD and one.withdrawn:
            yield "withdrawn"
        way_back = self.controllers[one.controller].bases[one.base - 1].find(0)
        if fact == "sent" and one.number != 0 and not way_back.has("acknowledged"):
            yield "job-order"
        before = BEFORE.get(fact)
        if before and not one.has(before):
            yield "job-order"
        elif time < (one.facts[before][-1] if before else one.time) or time > 10 ** 6:
            yield "job-order"

    def send(self, edits, choice, time, **more):
        """`edits`: images by controller; more: options (names), none (bool), stated (bool: a reason for what no option explains), unchanged (bool)."""
        names = sorted(set(edits) | {OPTIONS[one].controller for one in more.get("options", ()) if OPTIONS[one].controller in self.controllers})
        again = self.partners(names, choice)
        if set(more.get("without", ())) - set(self.wishes or ()):  # the order has changed since it was typed
            raise Refusal(2, "usage")
        if not names and not again and choice is None and not more.get("none"):  # what was ordered, or came with the base
            names = self.to_compose(more.get("without", ()))
        if not names and not again:
            raise Refusal(2, "usage")
        sealed = [self.edited(name, edits.get(name, {}), time, **more) for name in names]
        reasons = {reason for found, _ in sealed for reason in found}
        if any(time < self.controllers[name].base.newest().time or time > 10 ** 6 for name in again):
            reasons.add("job-order")
        if reasons:
            raise Refusal(1, *sorted(reasons))
        contents = {name: given for name, (_, given) in zip(names, sealed)}
        for name in again:
            newest = self.controllers[name].base.newest()
            contents[name] = (newest.images, newest.options, newest.ordered)
        if len(contents) > 1 and choice != "leave":
            self.sets += 1
        number_of_set = self.sets if len(contents) > 1 and choice != "leave" else 0
        made = []
        for name, (images, options, ordered) in sorted(contents.items()):
            controller = self.controllers[name]
            highest = max(one.number for one in controller.base.revisions)
            made.append(controller.seal(highest + 1, images, time, options=options, ordered=ordered, set=number_of_set))
        self.hand_over(made)

    def partners(self, names, choice):
        """The members of sets that are not sent, and are sealed again."""
        def in_set(name):
            controller = self.controllers[name]
            return None if controller.closed else controller.base.newest().set or None
        renewed = [name for name in sorted(self.controllers) if in_set(name)] if not names and choice == "renew" else []
        left, names = set(), names or renewed
        for name in names:
            if in_set(name):
                left |= {one.controller for one in self.members(self.controllers[name].base.newest())}
        left = {name for name in left if name not in names and not self.controllers[name].closed}
        if left and choice is None:
            raise Refusal(2, "usage")
        return sorted(left.union(renewed)) if choice == "renew" else []

    def edited(self, name, edit, time, options=(), none=False, without=(), stated=False, unchanged=False):
        """Reasons against it; and its images, its options and what it says of the order."""
        controller = self.controllers[name]
        newest, base, kind = controller.base.newest(), controller.base.images, controller.kind
        mine, ordered, is_open = self.keep(name, options, none, without)
        images = {**base, **edit}
        reasons = ["order-open"] if is_open else []
        for one in mine:
            option, memory = OPTIONS[one], kind.memory
            at, end = option.span(kind)
            if images[memory][at:end] == base[memory][at:end]:
                # The shop's option files are for the software of the first read; a new base has its own, carried.
                if controller.base.number > 1 and one in options:
                    reasons.append("option-foreign")
                images = kind.edit(images, option.at, option.new)
            elif images[memory][at:end] != option.new:
                reasons.append("option-half")
        images = kind.correct(images)
        spans = {one: option.span(kind) for one, option in OPTIONS.items() if option.controller == name}
        unnamed = [one for one, (at, end) in spans.items() if one not in mine and self.fits(name, one)
                   and base[kind.memory][at:end] != images[kind.memory][at:end] == OPTIONS[one].new]
        if unnamed and self.wishes is not None:
            reasons.append("order-open")
        if images in (base, newest.images) and not unchanged:
            reasons.append("job-order")
        if time < newest.time or time > 10 ** 6:
            reasons.append("job-order")
        if kind.left_over(base, images, [(kind.area[0], sum(kind.area))]):  # an edit of the base before
            reasons.append("change-locked")
        if mine and not stated and kind.left_over(base, images, [OPTIONS[one].span(kind) for one in mine]):
            reasons.append("change-unaccounted")
        return reasons, (images, mine, ordered)
