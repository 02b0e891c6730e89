"""The shop of the random days, and the commands that a day draws."""

import json
import pathlib
import subprocess

import desk as desks
from days_model import clock
from days_vehicle import KINDS, OPTIONS
from desk import CALSEAL

SUPPORT = pathlib.Path(__file__).resolve().parents[2] / "support"
FAR = 10 ** 8  # minutes: long after any clock
FACTS = ("sent", "acknowledged", "written", "confirmed")


class Shop(desks.Desk):
    """Keys, trust file, region maps and options, made once for all days."""

    def __init__(self):
        super().__init__()
        self.open_shop()
        for name in ("root.key", "author.key", "withdrawal.key"):
            self.quicken(name)
        self.maps = self.inputs / "maps"
        self.maps.mkdir()
        for kind in KINDS.values():
            (self.maps / (kind.name + ".json")).write_text(json.dumps(kind.regions))
        self.stock = self.inputs / "stock"  # the shop's folder of options
        self.stock.mkdir()
        for option in OPTIONS.values():
            self.make(option)
            (self.stock / (option.name + ".json")).write_bytes((self.inputs / (option.name + ".json")).read_bytes())
        self.library = str(self.root / "fail_nth_call.so")
        subprocess.run(["cc", "-shared", "-fPIC", "-O1", "-o", self.library, SUPPORT / "fail_nth_call.c"], check=True)

    def make(self, option):
        kind = KINDS[option.controller]
        first = dict(kind.first)
        images = kind.edit(first, option.at, option.new)
        arguments = []
        for memory in first:
            arguments += ["--base", memory + "=" + self.put("base." + memory, first[memory])]
            arguments += ["--image", memory + "=" + self.put("edited." + memory, images[memory])]
        self.json(CALSEAL, "option", "make", "--regions", self.maps / (kind.name + ".json"), *arguments, "--name", option.name, "--title", option.name,
                  "-o", self.at(option.name + ".json"))

    def sealing(self, minutes):
        return ["--key", self.at("author.key"), "--trust", self.at("shop.trust"), "--passphrase-file", self.at("word.txt"), "--claimed-time",
                clock(minutes) if minutes < FAR else "2120-01-01T00:00:00Z"]


class Command:
    """A command line, and what it makes of a model."""

    def __init__(self, label, arguments, change, seals=False, looks=False):
        self.label, self.arguments, self.change, self.seals, self.looks = label, [str(one) for one in arguments], change, seals, looks


class Maker:
    """Draws commands: sensible ones, and such as must be refused."""

    def __init__(self, day):
        self.day, self.draw, self.shop, self.folder = day, day.draw, day.shop, day.folder

    @property
    def model(self):
        return self.day.model

    def any(self):
        makers = (self.send, self.note, self.handover, self.add, self.state, self.carry, self.reissue, self.log, self.withdrawn, self.forward, self.ordered)
        return self.draw.choices(makers, (30, 12, 5, 4, 4, 6, 5, 3, 4, 16, 6))[0]()

    def open_ones(self):
        return [name for name, one in sorted(self.model.controllers.items()) if not one.closed]

    def one(self):
        return self.draw.choice(sorted(self.model.controllers))

    def of(self, name):
        """The folder argument of a command about one controller."""
        return self.draw.choice(([self.folder / name], [self.folder, "--controller", name]))

    def reads(self, images, prefix=""):
        return [f"{prefix}{memory}={self.day.put(data)}" for memory, data in images.items()]

    def new(self):
        names = ["engine"] if self.draw.random() < 0.25 else ["engine", "transmission"]
        reads = [word for name in names for word in self.reads(dict(KINDS[name].first), name + ".")]
        return Command("new", ["new", *reads, "--regions", self.shop.maps, "--vehicle", "blue estate", *self.shop.sealing(0), "-o", self.folder],
                       lambda model: model.new(names, 0), seals=True)

    def add(self):
        missing = sorted(set(KINDS) - set(self.model.controllers))
        name = self.draw.choice(missing) if missing else self.one()
        minutes = self.day.minutes
        reads = self.reads(dict(KINDS[name].first), name + ".")
        return Command("add", ["add", self.folder, *reads, "--regions", self.shop.maps, *self.shop.sealing(minutes)],
                       lambda model: model.add(name, minutes), seals=True)

    def send(self):
        names = self.open_ones()
        names = self.draw.sample(names, self.draw.randint(1, len(names))) if names and self.draw.random() < 0.95 else []
        edits = {name: self.edit(name) for name in sorted(names)}
        choice = self.draw.choices((None, "renew", "leave"), (4, 4, 2))[0]
        more, words = {}, []
        if self.draw.random() < 0.25:
            offered = [name for name, one in OPTIONS.items() if one.controller in self.open_ones()]
            more["options"] = tuple(self.draw.sample(offered, self.draw.randint(0, min(2, len(offered)))))
            words += [word for name in more["options"] for word in ("--option", self.shop.at(name + ".json"))]
            edits = {name: edit for name, edit in edits.items() if self.draw.random() < 0.5}
        elif self.draw.random() < 0.2:
            more["none"] = True
            words += ["--no-options"]
        given = more.get("options", ())
        left_out = [name for name in self.model.wishes or () if name not in given and self.draw.random() < (0.6 if given or more.get("none") else 0.2)]
        if left_out:
            more["without"] = tuple(left_out)
            words += [word for name in left_out for word in ("--without", name + "=later")]
        words += ["--option-folder", self.shop.stock]
        if self.draw.random() < 0.6:
            more["stated"] = True
            words += ["--unaccounted", "tried on the ramp"]
        if edits and self.draw.random() < 0.05:
            more["unchanged"] = True
            words += ["--unchanged"]
        return self.sending(edits, choice, more, words)

    def sending(self, edits, choice, more, words):
        minutes = self.draw.choices((self.day.minutes, -60, FAR), (20, 1, 1))[0]
        alone = len(edits) == 1 and not more.get("options") and self.draw.random() < 0.3
        place = [self.folder / name for name in edits] if alone else [self.folder]
        files = [word for name, images in edits.items() for word in self.reads(images, "" if alone else name + ".")]
        words = [*words, "--set", choice] if choice else words
        return Command("send", ["send", *place, *files, *words, "--title", "tune", *self.shop.sealing(minutes)],
                       lambda model: model.send(edits, choice, minutes, **more), seals=True)

    def edit(self, name):
        """What an editor leaves: mostly something new, with or without the options; else what is there already, or half an option."""
        controller = self.model.controllers[name]
        kind, base = controller.kind, controller.base
        images = kind.edit(base.images, self.draw.randrange(12), self.draw.randbytes(2))
        for option in base.newest().options or base.carried:
            if self.draw.random() < 0.5:
                images = kind.edit(images, OPTIONS[option].at, OPTIONS[option].new)
        drawn = self.draw.random()
        if drawn < 0.1:
            images = base.newest().images
        elif drawn < 0.15:
            images = base.images
        elif drawn < 0.2:
            for option in [one for one in OPTIONS.values() if one.controller == name]:
                images = kind.edit(images, option.at, option.new[:2])
        return {kind.memory: images[kind.memory]}

    def carry(self):
        names = self.open_ones()
        if not names:
            return self.state()
        name = self.draw.choice(names)
        controller = self.model.controllers[name]
        number = len(controller.bases)
        images = controller.base.images if self.draw.random() < 0.15 else controller.kind.updated(controller.base.images, number + 1)
        newest = controller.base.newest()
        carried = newest.options if newest.number else controller.base.carried
        minutes = self.day.minutes
        return Command("carry", ["carry", *self.of(name), *self.reads(images), "--reason", "dealer's update", *self.shop.sealing(minutes)],
                       lambda model: model.carry(name, images, minutes, carried), seals=True)

    def reissue(self):
        name = self.one()
        number = self.draw.randint(0, max(one.number for one in self.model.controllers[name].base.revisions) + (self.draw.random() < 0.2))
        minutes = self.day.minutes
        return Command("reissue", ["reissue", *self.of(name), number, *self.shop.sealing(minutes)],
                       lambda model: model.reissue(name, number, minutes), seals=True)

    def handover(self):
        name = self.draw.choice((None, self.one()))
        number = None
        words = self.of(name) if name else [self.folder]
        if name and self.draw.random() < 0.6:
            number = self.draw.randint(0, max(one.number for one in self.model.controllers[name].base.revisions) + (self.draw.random() < 0.1))
            words += ["--revision", number]
        return Command("handover", ["handover", *words], lambda model: model.handover(name, number), seals=True)

    def ordered(self):
        names = [name for name in OPTIONS if self.draw.random() < 0.5]
        words = [word for name in names for word in ("--order", name)] or ["--order-nothing"]
        return Command("ordered", ["note", self.folder, "ordered", *words, "--time", clock(self.day.minutes)], lambda model: model.ordered(names))

    def log(self):
        name = self.one()
        text = f"Time (s),rpm\n0,{900 + self.draw.randrange(3)}\n1,910\n".encode()
        number = None if self.draw.random() < 0.5 else 0
        words = [] if number is None else ["--revision", number, "--word", "driven by me"]
        return Command("log", ["log", *self.of(name), self.day.put(text), *words], lambda model: model.log(name, text, number))

    def state(self):
        fact = self.draw.choice(("closed", "reopened", "reopened", "remark"))
        name = self.draw.choice((None, self.one(), self.one()))
        words = self.of(name) if name else [self.folder]
        return Command(fact, ["note", words[0], fact, *words[1:], "--detail", "words", "--time", clock(self.day.minutes)],
                       lambda model: model.state(fact, name))

    def note(self):
        return self.noting(self.draw.choice(FACTS), self.draw.choice((None, self.one())), self.draw.random() < 0.6)

    def withdrawn(self):
        return self.noting("withdrawn", self.one(), True)

    def forward(self):
        """The fact that comes next for the newest hand-over."""
        if not self.model.handovers:
            return self.note()
        subject = self.model.find(self.model.handovers[-1][0])
        return self.noting(next((fact for fact in FACTS if not subject.has(fact)), "sent"), None, False)

    def noting(self, fact, name, numbered):
        number = None
        words = self.of(name) if name else [self.folder]
        if name and numbered:
            number = self.draw.randint(0, max(one.number for one in self.model.controllers[name].base.revisions) + (self.draw.random() < 0.1))
            words += ["--revision", number]
        detail = {"sent": ["--detail", "mail"], "confirmed": ["--detail", "bytes"], "withdrawn": ["--detail", "too lean"]}.get(fact, [])
        minutes = self.draw.choices((self.day.minutes, -60, FAR), (20, 1, 1))[0]
        time = "2120-01-01T00:00:00Z" if minutes == FAR else clock(minutes)
        return Command(fact, ["note", words[0], fact, *words[1:], *detail, "--time", time], lambda model: model.note(fact, name, number, minutes))
