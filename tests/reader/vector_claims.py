"""Rows for contents, claims, rebuild, confinement and checksums: the bundle lies, the read is honest."""

import json

import lies_contents
from image import Image
from lies_manifest import at as path_at
from refused import sha256
from region_map import read_region_map
from vector_match import failing_base
from vector_rows import F, Row, driven, revised_read
from vector_worlds import sum8
from worlds import FLASH, place, slot
from writer import corrected


def bent(name, path, value, repin=False, **more):
    """One field of the controller is another."""
    row = Row(name, **more)
    path_at(row.c, path[:-1])[path[-1]] = value
    if repin:
        row.draft.pin()
    return row


def span_of(row, kind, i=0):
    return [at for at, span in enumerate(row.c["spans"]) if span["kind"] == kind][i]


def span_bent(name, kind, key, value, i=0, **more):
    row = Row(name, **more)
    row.c["spans"][span_of(row, kind, i)][key] = value
    row.draft.pin()
    return row


def joined(name, first):
    """Two neighbours of one kind said to be one span."""
    row = Row(name)
    spans = row.c["spans"]
    a, b = spans[first], spans[first + 1]
    begin = row.space.named[a["memory"]].range(int(a["start"], 16), a["size"] + b["size"])
    a.update(size=a["size"] + b["size"], kind=a["kind"], before=sha256(row.base.bytes(*begin)), after=sha256(row.result.bytes(*begin)))
    spans.pop(first + 1)
    row.draft.pin()
    return row


def changes(row, change):
    change(row.draft.changes)
    return row


def first_change(name, key, value, **more):
    return changes(Row(name, **more), lambda listed: listed[0].update({key: value}))


def with_order(row):
    """Two options were ordered: one is in the revision, as the shop says, and one is not."""
    row.draft.manifest["ordered"] = {"time": "2026-02-28T23:59:59Z", "parcel": sha256(b"parcel"), "options": [
        {"name": "loud", "title": "Loud", "why": "needs another silencer"}, {"name": "quiet", "title": "Quiet", "why": ""}]}
    return row


def another_runs(name, patches=(), **more):
    """The read runs another revision, so that nothing but the manifest says what the list must be."""
    row = Row(name, patches=patches, **more)
    row.read = Row(name, patches=patches, edits=((2, 0x40),)).result.over(row.world.whole)
    return row


def wider(row):
    return changes(row, lambda listed: listed[0].update(size=listed[0]["size"] + 1))


def with_set(change=None, revision=0):
    row = Row("vin", revision, "full" if revision == 0 else "areas")
    lies_contents.honest_set(Fixed(), row.draft)
    if change:
        change(row.draft.set)
    row.draft.manifest["set"] = sha256(lies_contents.canonical(row.draft.set).encode("utf-8"))
    return row


class Fixed:
    """The first of every choice."""

    def choice(self, items):
        return items[0]

    def random(self):
        return 0.9


def checksum(fields, name):
    return next(c for c in fields["checksums"] if c["name"] == name)


def circle(fields):
    """Two sums of Fletcher that read each other: no equations over GF(2)."""
    for name in ("left", "right"):
        checksum(fields, name)["algorithm"] = {"fletcher": 16}


def many(fields):
    one = checksum(fields, "maps")
    one["coverage"] = [{"memory": "flash", "start": f"0x{F:08x}", "size": 16}] * (64 * 192 // 16 + 1)


def one_piece_more(fields):
    fields["checksums"].append(sum8("one", [{**fields["checksums"][0]["coverage"][0], "size": 1}], slots=[slot("flash", FLASH + 8300, 1)]))


def reading(last):
    """4,080 rules that read 257 slots each, and one that reads `last` of them."""
    def change(fields):
        slots = place("flash", FLASH + 8192, 257)
        fields["checksums"] = [sum8("source", [place("flash", FLASH, 1)], slots=[slot("flash", FLASH + 8192 + i, 1) for i in range(257)]),
                               sum8("rule", [slots], repeat=4080, rule={"equals": 0}), sum8("last", [{**slots, "size": last}], rule={"equals": 0})]
    return change


def ambiguous(fields):
    """Four bytes of balance for two of a CRC over learned values."""
    one = checksum(fields, "both")
    one.pop("slots")
    one["coverage"].append({"memory": "flash", "start": f"0x{F + 36:08x}", "size": 4})
    one["rule"] = {"equals": 0, "balance": {"memory": "flash", "at": f"0x{F + 36:08x}", "size": 4}}


def circle_of_copies(fields):
    fields["copies"][1]["of"]["start"] = f"0x{F + 16:08x}"


def little_table(fields):
    checksum(fields, "listed")["coverage"][0]["table"]["order"] = "little"


def unknown_table():
    """The table lies where the base knows nothing. Sealed under a map that has no table, shipped with the one that has."""
    row = Row("tables")
    honest = row.world.map_bytes
    fields = json.loads(honest)
    fields["checksums"] = [c for c in fields["checksums"] if c["name"] != "listed"]
    row.world.map_bytes = json.dumps(fields, separators=(",", ":")).encode("utf-8") + b"\n"
    row.world.region_map = row.map = read_region_map(row.world.map_bytes)
    row.map.make_nodes()
    known = [(0, 16), (40, 320)]
    row.base = Image(row.map.space, row.base.data, known).cut(known)
    row.result = row.base.copy()
    row.flip(row.result, F + 64)
    row.result = corrected(row.map, row.result)
    row.again()
    row.world.map_bytes = honest
    row.c["region_map"]["digest"] = sha256(honest)
    return row


def uncorrected(name, address, claim_holds=True):
    row = Row(name)
    row.flip(row.result, address, bits=0x10)
    row.again()
    for one in row.c["checksums"]:
        one["state"] = "holds" if claim_holds and one["state"] == "fails" else one["state"]
    return row


def patch_said_after():
    row = Row("hidden-patch")
    row.c["patches"][0]["result"] = "after"
    return row


def other_base_of_a_patch():
    """Said to have stood as after in the base, and changed back; `before` of its span says otherwise."""
    row = Row("patches", patches=[(2, "after")])
    stated = row.c["patches"][0]
    stated["base"] = "after" if stated["base"] == "before" else "before"
    change = {"memory": "flash", "start": f"0x{F + 8:08x}", "size": 1, "region": "", "option": ""}
    row.draft.changes.insert(0, change)
    return row


def base_and_before_together():
    """The base's patch turned, with every digest that follows from it."""
    row = Row("patches", patches=[(1, "after")])
    base = row.base.copy()
    first, last, patch = row.map.patches[0]
    base.data[first:last] = patch["after" if row.c["patches"][0]["base"] == "before" else "before"]
    row.base = base
    return row.again()


def dark_slot_elsewhere():
    """The read's slot over bytes that the base does not know differs from the sealed one: whose is right nobody can tell."""
    row = Row("partial")
    return row.flip(row.read, F + 164)


def checks(name, i, key, value, **more):
    return bent(name, ("checksums", i, key), value, **more)


def without_last(field, name="vin"):
    row = Row(name)
    row.c[field].pop()
    return row


def mirror_edited():
    row = Row("mirrored")
    row.flip(row.result, F + 13)
    row.again()
    row.c["checksums"][1]["state"] = row.c["checksums"][0]["state"] = "holds"
    return row


def full_locked():
    return Row("vin", 1, "full").carried(F + 40)


def moved_family():
    row = Row("marked")
    row.at(row.result, F + 8, b"E3")
    row.again()
    return row


def bigger_payload():
    row = Row("whole")
    part = row.c["payload"]["parts"][0]
    part["ranges"][0]["size"] += 1
    return row


def wrong_floating():
    row = Row("vin")
    return row.flip(row.read, 64, "eeprom")


def said_to_hold():
    row = failing_base(floating=False)
    row.c["checksums"][0]["state"] = "holds"
    return row


ROWS = [
    ("map-controller", "claim-mismatch", "contents, map: controller", lambda: Row("vin").other_map(lambda f: f.update(controller="transmission"))),
    ("map-version", "claim-mismatch", "contents, map: version", lambda: bent("vin", ("region_map", "version"), 4)),
    ("map-grade", "claim-mismatch", "contents, map: grade", lambda: bent("vin", ("region_map", "grade"), "verified")),
    ("map-memories", "claim-mismatch", "contents, map: memories in order", lambda: Row("vin").other_map(lambda f: f["memories"].reverse())),
    ("map-identity", "claim-mismatch", "contents, map: names of fields that do not bind, in order", lambda: bent("vin", ("identity", 0, "name"), "hardware")),
    ("map-binding", "claim-mismatch", "contents, map: name and place of binding fields", lambda: bent("vin", ("binding", 0, "name"), "vin-2")),
    ("map-patches", "claim-mismatch", "contents, map: names of patches", lambda: bent("patches", ("patches", 0, "name"), "blink-2")),
    ("changes-memory", "claim-mismatch", "contents, changes: its memory is one of the map's", lambda: first_change("vin", "memory", "ram")),
    ("changes-unchanged-span", "claim-mismatch", "contents, changes: a span whose before and after differ", 
     lambda: changes(another_runs("vin"), lambda c: c.append({**c[0], "start": f"0x{F + 112:08x}", "region": "spark"}) or c.sort(key=lambda x: x["start"]))),
    ("changes-two-spans", "claim-mismatch", "contents, changes: the range lies in one span",
     lambda: changes(Row("vin", edits=((46, 1), (47, 1))), lambda c: c[0].update(size=3))),
    ("changes-touch", "claim-mismatch", "contents, changes: ranges of one span do not touch",
     lambda: changes(another_runs("vin", edits=((0, 1), (1, 1))), lambda c: (c[0].update(size=1), c.insert(1, {**c[0], "start": f"0x{F + 65:08x}"})))),
    ("changes-region", "claim-mismatch", "contents, changes: region", lambda: first_change("vin", "region", "spark")),
    ("changes-option", "claim-mismatch", "contents, changes: option is one of options", lambda: first_change("vin", "option", "loud")),
    ("changes-option-ordered", "claim-mismatch", "contents, changes: one that was ordered and is not in the revision is none of options",
     lambda: with_order(first_change("vin", "option", "loud"))),
    ("ordered-word", "accepted", "who proves what: an order, and that an option of it is in the revision, is the shop's word",
     lambda: with_order(first_change("vin", "option", ""))),
    ("changes-span-without", "claim-mismatch", "contents, changes: every span whose before and after differ has a change", lambda: changes(another_runs("vin"), lambda c: c.pop())),
    ("changes-locked-more", "claim-mismatch", "contents, changes: those of a locked span are exactly the patches' bytes",
     lambda: changes(another_runs("patches", [(1, "after")]), lambda c: next(x for x in c if x["start"] == f"0x{F + 96:08x}").update(size=2))),
    ("changes-locked-less", "claim-mismatch", "contents, changes: likewise, one left out",
     lambda: changes(another_runs("patches", [(1, "after")]), lambda c: c.remove(next(x for x in c if x["start"] == f"0x{F + 103:08x}")))),
    ("changes-order-of-memories", "claim-mismatch", "contents, changes: map order", lambda: changes(Row("whole", edits=((0, 1), (97, 1))), lambda c: c.sort(key=lambda x: x["memory"]))),
    ("set-way-back", "accepted", "contents, set: revision 0 of a set needs no partner", with_set),
    ("set-alone", "set-incomplete", "contents, set: a later one does", lambda: with_set(revision=1)),
    ("set-job", "claim-mismatch", "contents, set: its job", lambda: with_set(lambda s: s.update(job="job-8"))),
    ("set-member-missing", "claim-mismatch", "contents, set: its member for this controller", lambda: with_set(lambda s: (s["members"][0].update(controller="body"), s.update(write_order=["body", "transmission"])))),
    ("set-base", "claim-mismatch", "contents, set: base number", lambda: with_set(lambda s: s["members"][0].update(base=2))),
    ("set-sequence", "claim-mismatch", "contents, set: sequence", lambda: with_set(lambda s: s["members"][0].update(sequence=7))),
    ("set-map", "claim-mismatch", "contents, set: digest of the region map", lambda: with_set(lambda s: s["members"][0].update(map_digest="00" * 32))),
    ("set-pinned", "claim-mismatch", "contents, set: pinned's after", lambda: with_set(lambda s: s["members"][0].update(pinned="00" * 32))),
    ("files-base", "claim-mismatch", "contents, files: digest of a raw file of revision 0", lambda: bent("vin", ("files", 0, "digest"), "00" * 32, revision=0, kind="full")),
    ("files-base-size", "claim-mismatch", "contents, files: and its size", lambda: bent("vin", ("files", 0, "size"), 255, revision=0, kind="full")),
    ("files-base-word", "accepted", "who proves what: another form is the shop's word", lambda: bent("vin", ("files", 0, "form"), "intel-hex", revision=0, kind="full")),
    ("plan-table-invalid", "descriptor-invalid", "claims 1: tables name bytes that exist", lambda: Row("tables").other_map(little_table)),
    ("plan-table-unknown", "read-incomplete", "claims 1: and their values are known", unknown_table),
    ("plan-64-times", "descriptor-invalid", "claims 1: at most 64 times the bytes of the memories", lambda: Row("bank").other_map(many)),
    ("plan-pieces", "accepted", "region map, limits: 131,072 pieces", lambda: Row("cut")),
    ("plan-pieces-more", "descriptor-invalid", "claims 1: and no more", lambda: Row("cut").other_map(one_piece_more)),
    ("plan-places", "claim-mismatch", "region map, limits: 1,048,576 slots are read, and the spans are others", lambda: Row("cut").other_map(reading(16))),
    ("plan-places-more", "descriptor-invalid", "claims 1: one more is refused before the spans are asked", lambda: Row("cut").other_map(reading(17))),
    ("plan-circle", "checksum-cycle", "claims 1: circles can be solved", lambda: Row("tables").other_map(circle)),
    ("plan-circle-of-copies", "checksum-cycle", "claims 1: circles of copies cannot", lambda: Row("mirrored").other_map(circle_of_copies)),
    ("plan-floating", "map-floating", "claims 1: a floating place has exactly one right value", lambda: Row("fresh").other_map(ambiguous)),
    ("span-kind", "claim-mismatch", "claims 2: a floating place called volatile", lambda: span_bent("vin", "floating", "kind", "volatile", 1)),
    ("span-kind-derived", "claim-mismatch", "claims 2: a derived place called editable", lambda: span_bent("vin", "derived", "kind", "editable")),
    ("span-joined", "claim-mismatch", "claims 2: two regions that touch are two spans", lambda: joined("vin", 1)),
    ("span-region-cut", "claim-mismatch", "words: regions cut, also locked ones", lambda: Row("patches").other_map(lambda f: f["regions"].pop())),
    ("write-ranges-floating", "claim-mismatch", "claims 3: what floats and reads an area is written too", lambda: without_last("write_ranges", "fresh")),
    ("write-ranges-more", "claim-mismatch", "claims 3: and nothing else", lambda: bent("whole", ("write_ranges", 0, "size"), 35)),
    ("payload-locked", "claim-mismatch", "claims 4: areas are carried, and nothing else", bigger_payload),
    ("payload-full-locked", "claim-mismatch", "claims 5: the bytes of locked spans in a full payload", full_locked),
    ("before-of-locked", "claim-mismatch", "claims 6: before of a locked span", lambda: span_bent("patches", "locked", "before", "00" * 32, 0, patches=[(0, "after")])),
    ("before-of-patch", "claim-mismatch", "claims 6: every patch as its base says", other_base_of_a_patch),
    ("before-of-patch-word", "accepted", "claims 6: base and before that agree are the shop's word together", base_and_before_together),
    ("before-of-editable", "accepted", "who proves what: before of another span is the shop's word in a later revision",
     lambda: span_bent("vin", "editable", "before", "00" * 32)),
    ("rebuild-own-bytes", "accepted", "rebuild 1: the vehicle keeps its own volatile and floating bytes", lambda: driven(Row("vin", 0, "full"), [45, 50], "eeprom")),
    ("rebuild-corrected", "accepted", "rebuild 2: a floating value that came wrong is computed anew", wrong_floating),
    ("rebuild-no-balance", "checksum-fails", "rebuild 2: a rule without a balance cannot be corrected", lambda: (lambda r: r.flip(r.read, F + 17))(Row("watched"))),
    ("rebuild-result", "result-mismatch", "rebuild 3: the SHA-256 of every pinned span of the result", lambda: Row("vin").carried(F + 64)),
    ("rebuild-after", "result-mismatch", "rebuild 3: after that nothing gives", lambda: span_bent("vin", "editable", "after", "00" * 32)),
    ("rebuild-files", "claim-mismatch", "rebuild 4: the digest of a later revision's file", lambda: bent("whole", ("files", 1, "digest"), "00" * 32)),
    ("confined-patch", "claim-mismatch", "confinement 6: where both hold it stands as before", patch_said_after),
    ("confined-patch-flips", "accepted", "confinement 6: a patch turned on", lambda: Row("patches", patches=[(1, "after")])),
    ("confined-not-provable", "checksum-not-provable", "confinement 5: a place that changed although its node is not provable", dark_slot_elsewhere),
    ("confined-changes", "claim-mismatch", "confinement 7: the ranges are exactly those that changed", lambda: wider(Row("vin"))),
    ("confined-changes-elsewhere", "accepted", "confinement 7: a span that is not as in the base proves nothing about the list", lambda: wider(revised_read("vin"))),
    ("checks-number", "claim-mismatch", "checksums 1: as many as nodes", lambda: without_last("checksums")),
    ("checks-fails", "checksum-fails", "checksums 2: it must not fail", lambda: uncorrected("vin", F + 70)),
    ("checks-fails-said", "checksum-fails", "checksums 2: also where the manifest says so, in a later revision", lambda: uncorrected("vin", F + 70, False)),
    ("checks-copy", "copy-one-sided", "checksums 2: a copy", mirror_edited),
    ("checks-came-failing", "accepted", "checksums 2: a check that came failing, in revision 0", lambda: failing_base(floating=False)),
    ("checks-came-failing-hidden", "checksum-fails", "checksums 2: unless the manifest says so it must not fail", said_to_hold),
    ("checks-came-failing-floats", "accepted", "checksums 2: one that floats was corrected, and holds here", lambda: failing_base(floating=True)),
    ("checks-said-failing", "claim-mismatch", "checksums 2: state is the one found", lambda: checks("vin", 0, "state", "fails", revision=0, kind="full")),
    ("checks-not-provable", "checksum-not-provable", "checksums 2: one that is not provable where state is holds", lambda: checks("partial", 1, "state", "holds")),
    ("checks-name", "claim-mismatch", "checksums 2: name", lambda: checks("vin", 0, "name", "spark")),
    ("checks-value", "claim-mismatch", "checksums 2: value", lambda: checks("vin", 0, "value", "0000")),
    ("checks-value-of-floating", "claim-mismatch", "checksums 3: a floating node has no value", lambda: checks("vin", 1, "value", "00000000")),
    ("checks-value-of-rule", "accepted", "checksums 3: of a rule the finished result", lambda: Row("whole")),
    ("checks-value-of-rule-short", "claim-mismatch", "checksums 3: with every digit", lambda: checks("whole", 1, "value", "0")),
    ("identity-encodings", "accepted", "checksums 4: every encoding", lambda: Row("encodings")),
    ("identity-padding", "claim-mismatch", "checksums 4: trailing 00, 20 and ff are taken off", lambda: bent("encodings", ("identity", 0, "text"), "A b ")),
    ("identity-not-pinned", "claim-mismatch", "checksums 4: empty when a byte is not pinned", lambda: bent("encodings", ("identity", 8, "text"), "0000")),
    ("identity-result", "claim-mismatch", "checksums 4: text is that of the result", lambda: bent("vin", ("identity", 3, "text"), "MARK")),
    ("family-of-the-result", "family-mismatch", "checksums 5: the result is recognised as the read was", moved_family),
]
