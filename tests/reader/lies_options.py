"""Options, and what was ordered of them: honest, and one rule of `ordered` broken."""

from lies_manifest import ACCEPTED, REFUSED
from refused import sha256

ORDERED_AT = "2026-02-28T23:59:59Z"
CATALOGUE = {"economy": "Economy", "launch": "", "quiet": "Quiet", "towing": "Anhängerbetrieb – 3,5 t", "winter": "Winter start"}
WHYS = ("needs another gearbox", "später", "x" * 200, " ")


def honest_options(rng, draft):
    """More options in the revision, in any order; `quiet` is named by changes.json and stays."""
    options = draft.manifest["options"]
    for name in rng.sample(sorted(set(CATALOGUE) - {"quiet"}), rng.choice((0, 0, 1, 2))):
        options.insert(rng.randint(0, len(options)), option_of(name))


def option_of(name):
    return {"name": name, "title": CATALOGUE[name], "digest": sha256(name.encode("ascii"))}


def honest_order(rng, draft):
    """What the customer had ordered: some of it in the revision, some of it not. Revision 0 knows of no order."""
    honest_options(rng, draft)
    if draft.manifest["revision"] == 0:
        return
    there = {option["name"] for option in draft.manifest["options"]}
    wanted = sorted(rng.sample(sorted(CATALOGUE), rng.choice((0, 1, 2, 2, 3, 5))))
    draft.manifest["ordered"] = {
        "time": ORDERED_AT, "parcel": sha256(rng.randbytes(4)) if rng.random() < 0.5 else "",
        "options": [{"name": name, "title": CATALOGUE[name], "why": "" if name in there else rng.choice(WHYS)} for name in wanted]}


# ---- lies: each needs an order of some kind, and gives its demand, and the reason where only one can be given

def picked(rng, draft, is_in):
    """An ordered option that is in the revision, or one that is not; an order that has none gets one."""
    options = draft.manifest["ordered"]["options"]
    found = [option for option in options if (option["why"] == "") == is_in]
    if found:
        return rng.choice(found)
    name = rng.choice([name for name in sorted(CATALOGUE) if (name in {o["name"] for o in draft.manifest["options"]}) == is_in])
    options.append({"name": name, "title": CATALOGUE[name], "why": "" if is_in else "not yet"})
    options.sort(key=lambda option: option["name"])
    return next(option for option in options if option["name"] == name)


def two(rng, draft):
    """The order has at least two options."""
    picked(rng, draft, True)
    picked(rng, draft, False)
    return draft.manifest["ordered"]["options"]


def why_missing(rng, draft):
    picked(rng, draft, False)["why"] = ""
    return REFUSED, "manifest-invalid"


def why_though_in(rng, draft):
    picked(rng, draft, True)["why"] = rng.choice(WHYS)
    return REFUSED, "manifest-invalid"


def option_gone(rng, draft):
    """The revision lost an option that the order says is in it; changes.json may name it too, but the manifest is judged first."""
    name = picked(rng, draft, True)["name"]
    draft.manifest["options"] = [option for option in draft.manifest["options"] if option["name"] != name]
    return REFUSED, "manifest-invalid"


def option_came(rng, draft):
    """The revision has an option that the order says is not in it."""
    one = picked(rng, draft, False)
    draft.manifest["options"].append({**option_of(one["name"]), "title": one["title"]})
    return REFUSED, "manifest-invalid"


def other_title(rng, draft):
    one = picked(rng, draft, True)
    one["title"] = rng.choice((one["title"] + "x", one["title"][:-1] + "X", one["title"].swapcase() + "!"))
    return REFUSED, "manifest-invalid"


def other_title_of_missing(rng, draft):
    """Nothing stands beside the title of an option that is not in the revision."""
    picked(rng, draft, False)["title"] = rng.choice(("", "Something else", "Quiet"))
    return ACCEPTED, None


def descending(rng, draft):
    options = two(rng, draft)
    i = rng.randrange(len(options) - 1)
    options[i], options[i + 1] = options[i + 1], options[i]
    return REFUSED, "manifest-invalid"


def named_twice(rng, draft):
    options = two(rng, draft)
    i = rng.randrange(len(options))
    options.insert(i, dict(options[i]))
    return REFUSED, "manifest-invalid"


def no_time(rng, draft):
    """Options or a parcel, and nobody knows since when."""
    ordered = draft.manifest["ordered"]
    way = rng.choice(("parcel", "options", "both"))
    ordered["parcel"] = "" if way == "options" else sha256(b"parcel")
    if way == "parcel":
        ordered["options"] = []
    else:
        two(rng, draft)
    ordered["time"] = ""
    return REFUSED, "manifest-invalid"


def of_the_base(rng, draft):
    """An order in revision 0, which is only what came."""
    draft.manifest["ordered"].update(time=ORDERED_AT, options=draft.manifest["ordered"]["options"] if rng.random() < 0.5 else [])
    return (REFUSED, "manifest-invalid") if draft.manifest["revision"] == 0 else (ACCEPTED, None)


def too_many(rng, draft):
    """257 options, none of them in the revision; 256 of them are allowed."""
    count = rng.choice((256, 257, 257))
    draft.manifest["ordered"]["options"] = [{"name": f"n{i:03}", "title": "", "why": "later"} for i in range(count)]
    return (ACCEPTED, None) if count == 256 else (REFUSED, "json-value")


def wrong_value(rng, draft):
    """A value that its type does not allow."""
    ordered, one = draft.manifest["ordered"], picked(rng, draft, False)
    place, key, value = rng.choice((
        (ordered, "time", "2026-02-29T00:00:00Z"), (ordered, "time", "2026-02-28T00:00:00"), (ordered, "time", "never"), (ordered, "time", " "),
        (ordered, "parcel", "ab" * 31), (ordered, "parcel", "AB" * 32), (ordered, "parcel", "none"),
        (one, "name", ""), (one, "name", "Launch"), (one, "name", "a" * 65), (one, "title", "x" * 201), (one, "title", "two\nlines"),
        (one, "why", "x" * 201), (one, "why", "ä" * 101), (one, "why", "\x7f")))
    place[key] = value
    return REFUSED, "json-value"


def wrong_type(rng, draft):
    """A value of another type."""
    ordered, one = draft.manifest["ordered"], picked(rng, draft, False)
    place, key = rng.choice(((draft.manifest, "ordered"), (ordered, "time"), (ordered, "parcel"), (ordered, "options"), (one, "name"), (one, "title"), (one, "why")))
    fits = {"ordered": dict, "options": list}.get(key, str)
    place[key] = rng.choice([value for value in (0, True, [], {}, "") if not isinstance(value, fits)])
    return REFUSED, "json-type"


def other_keys(rng, draft):
    """A key too few, one too many, or the keys in another order."""
    place = rng.choice((draft.manifest["ordered"], picked(rng, draft, False)))
    way = rng.choice(("missing", "unknown", "order"))
    key = rng.choice(sorted(place))
    if way == "unknown":
        place["since"] = ""
        return REFUSED, "json-unknown-key"
    value = place.pop(key)
    if way == "missing":
        return REFUSED, "json-missing-key"
    turned = {key: value, **place}
    if list(turned) in (["time", "parcel", "options"], ["name", "title", "why"]):
        turned = dict(reversed(turned.items()))
    place.clear()
    place.update(turned)
    return REFUSED, "json-not-canonical"


def field_elsewhere(rng, draft):
    """`ordered` is not there at all, or stands in another place."""
    ordered = draft.manifest.pop("ordered")
    if rng.random() < 0.5:
        return REFUSED, "json-missing-key"
    draft.manifest["ordered"] = ordered
    return REFUSED, "json-not-canonical"


def order_forgotten(rng, draft):
    """An order that the manifest knows nothing of, or an empty one: the shop's word."""
    draft.manifest["ordered"] = {"time": "", "parcel": "", "options": []}
    if draft.manifest["revision"] and rng.random() < 0.5:
        draft.manifest["ordered"]["time"] = rng.choice((ORDERED_AT, "1970-01-01T00:00:00Z", "9999-12-31T23:59:59Z"))
    return ACCEPTED, None


RULES = (why_missing, why_though_in, option_gone, option_came, other_title, other_title_of_missing, descending, named_twice, no_time, of_the_base,
         too_many, wrong_value, wrong_type, other_keys, field_elsewhere, order_forgotten)


def ordered_lie(rng, draft):
    """(kind, demand, reasons): one lie about what was ordered, beside an honest order where the revision may have one."""
    lie = rng.choice(RULES)
    if draft.manifest["ordered"]["time"] == "" and draft.manifest["revision"] > 0:
        honest_order(rng, draft)
    demand, reason = lie(rng, draft)
    if demand == ACCEPTED and lie is not order_forgotten and draft.manifest["revision"] == 0:
        demand, reason = REFUSED, "manifest-invalid"  # an order has no place there
    return f"ordered {lie.__name__}", demand, reason and {reason}
