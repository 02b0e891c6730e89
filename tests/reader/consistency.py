"""What must fit together in a manifest (docs/bundle-format.md), rule by rule."""

import re

from refused import require, sha256
from shapes import CONTENT, ascending, begin, end


def is_pinned(span):
    return span["kind"] in ("locked", "editable", "derived") and span["known"]


def check_consistency(m):
    def rule(number, condition):
        require(condition, "manifest-invalid", f"rule {number}")

    c = m["controllers"][0]
    names = [memory["name"] for memory in c["memories"]]

    rule(1, m["sequence"] >= m["revision"] + 1)
    rule(1, m["parent"] != "" or (m["revision"] == 0 and m["base"]["number"] == 1))
    rule(1, (m["expires"] != "") == m["trial"])
    rule(1, not m["trial"] or (m["revision"] != 0 and m["expires"] > m["claimed_time"]))
    rule(1, m["required_roles"] in (["author"], ["author", "reviewer"]))

    rule(2, names and len(set(names)) == len(names))
    for memory in c["memories"]:
        memory["begin"] = int(memory["origin"], 16)
        at = memory["begin"] - 1
        for known in memory["known"]:
            rule(2, begin(known) > at and end(known) <= memory["begin"] + memory["size"])
            at = end(known)
    rule(2, sum(memory["size"] for memory in c["memories"]) <= CONTENT)

    check_spans(c, names, m, rule)
    for side in ("before", "after"):
        lines = "".join(f"{s['memory']} {s['start']} {s['size']} {s[side]}\n" for s in c["spans"] if is_pinned(s))
        rule(4, sha256(lines.encode("ascii")) == c["pinned"][side])
    check_binding(c, names, m, rule)

    rule(6, all(len({x["name"] for x in c[field]}) == len(c[field]) for field in ("identity", "patches")))
    check_files(c, names, m, rule)
    rule(6, all(x["value"] == "" for x in c["checksums"] if x["state"] == "not-provable"))

    check_write_ranges(c, names, rule)
    check_payload(c, names, m, rule)
    if m["revision"] == 0:
        rule(9, c["payload"]["kind"] == "full")
        rule(9, all(s["before"] == s["after"] for s in c["spans"]) and not patched(c))
        rule(9, m["ordered"]["time"] == "")

    rule(10, ascending(m["permitted_returns"]) and len({o["name"] for o in m["options"]}) == len(m["options"]))
    check_ordered(m, rule)
    rule(10, ascending([a["entry"] for a in m["attachments"]]) and all(attachment_name(a["entry"]) for a in m["attachments"]))

    for entry in m["entries"]:
        if entry["method"] == "stored":
            rule(11, entry["stored_size"] == entry["size"] and entry["stored_digest"] == entry["digest"])
        else:
            rule(11, entry["stored_size"] < entry["size"] <= 1032 * entry["stored_size"])
    rule(11, sum(entry["size"] for entry in m["entries"]) <= 536870912)
    check_entries(c, m, rule)


def patched(c):
    return any(patch["base"] != patch["result"] for patch in c["patches"])


def check_files(c, names, m, rule):
    if m["revision"] == 0:
        places = [names.index(f["memory"]) if f["memory"] in names else (-1 if f["memory"] == "" else None) for f in c["files"]]
        rule(6, None not in places and all(a < b or a == b == -1 for a, b in zip(places, places[1:])))
        return
    whole = [(memory["name"], "raw", memory["size"]) for memory in c["memories"]]
    found = [(f["memory"], f["form"], f["size"]) for f in c["files"]]
    rule(6, found == (whole if all(is_pinned(span) for span in c["spans"]) else []))


def check_spans(c, names, m, rule):
    expected = [(memory["name"], memory["begin"], memory["begin"] + memory["size"]) for memory in c["memories"]]
    at = expected[0][1]
    for span in c["spans"]:
        rule(3, expected and span["memory"] == expected[0][0] and begin(span) == at and end(span) <= expected[0][2])
        at = end(span)
        known = next(memory for memory in c["memories"] if memory["name"] == span["memory"])["known"]
        span["known"] = any(begin(k) <= begin(span) and end(span) <= end(k) for k in known)
        touched = any(begin(k) < end(span) and begin(span) < end(k) for k in known)
        rule(3, span["known"] == touched)
        rule(3, (span["before"] != "") == is_pinned(span) and (span["after"] != "") == is_pinned(span))
        rule(3, span["kind"] != "locked" or patched(c) or span["before"] == span["after"])
        if at == expected[0][2]:
            expected.pop(0)
            at = expected[0][1] if expected else 0
    rule(3, not expected)


def merged(items):
    """(memory, begin, end) with touching ranges made one."""
    out = []
    for memory, first, last in sorted(items):
        if out and out[-1][0] == memory and out[-1][2] == first:
            out[-1] = (memory, out[-1][1], last)
        else:
            out.append((memory, first, last))
    return out


def covers(ranges, memory, first, last):
    return any(r[0] == memory and r[1] <= first and last <= r[2] for r in ranges)


def spans_as_ranges(c, wanted):
    return merged((s["memory"], begin(s), end(s)) for s in c["spans"] if wanted(s))


def check_binding(c, names, m, rule):
    rule(5, len({b["name"] for b in c["binding"]}) == len(c["binding"]))
    places = sorted((b["memory"], begin(b), end(b)) for b in c["binding"])
    rule(5, all(a[0] != b[0] or a[2] <= b[1] for a, b in zip(places, places[1:])))
    rule(5, all(b["memory"] in names for b in c["binding"]))
    rule(5, merged(places) == spans_as_ranges(c, lambda s: s["kind"] == "binding"))
    known = merged((memory["name"], begin(k), end(k)) for memory in c["memories"] for k in memory["known"])
    for binding in c["binding"]:
        rule(5, binding["digest"] == "" or (m["salt_digest"] != "" and covers(known, binding["memory"], begin(binding), end(binding))))


def check_write_ranges(c, names, rule):
    writable = spans_as_ranges(c, lambda s: s["known"] and s["kind"] != "volatile")
    last = (-1, 0)
    for item in c["write_ranges"]:
        rule(7, item["memory"] in names)
        place = (names.index(item["memory"]), begin(item))
        rule(7, place >= last and covers(writable, item["memory"], begin(item), end(item)))
        last = (place[0], end(item))


def check_payload(c, names, m, rule):
    parts, full = c["payload"]["parts"], c["payload"]["kind"] == "full"
    carried = []
    for part in parts:
        rule(8, part["memory"] in names and part["ranges"])
        rule(8, all(end(a) < begin(b) for a, b in zip(part["ranges"], part["ranges"][1:])))
        carried += [(part["memory"], begin(r), end(r)) for r in part["ranges"]]
    order = [names.index(part["memory"]) for part in parts]
    rule(8, ascending(order))
    pinned = spans_as_ranges(c, is_pinned)
    if full:
        whole = spans_as_ranges(c, lambda s: s["known"]) if m["revision"] == 0 else pinned
        rule(8, sorted(carried) == whole)
    else:
        rule(8, all(covers(pinned, *r) for r in carried))
        rule(8, all(covers(carried, *r) for r in spans_as_ranges(c, lambda s: is_pinned(s) and s["kind"] != "locked")))


def check_ordered(m, rule):
    ordered, titles = m["ordered"], {option["name"]: option["title"] for option in m["options"]}
    rule(10, ordered["time"] != "" or (ordered["parcel"] == "" and not ordered["options"]))
    rule(10, ascending([option["name"] for option in ordered["options"]]))
    for option in ordered["options"]:
        rule(10, (option["why"] == "") == (option["name"] in titles))
        rule(10, option["title"] == titles.get(option["name"], option["title"]))


def attachment_name(entry):
    if not re.fullmatch(r"attachments/[a-z0-9][a-z0-9._-]{0,99}", entry) or ".." in entry or entry.endswith("."):
        return False
    return not re.fullmatch(r"con|prn|aux|nul|com[1-9]|lpt[1-9]", entry[12:].split(".")[0])


def check_entries(c, m, rule):
    wanted = [(f"regions/{c['name']}.json", {"stored"}, 1048576), ("changes.json", {"stored", "deflated"}, 8388608)]
    if m["set"]:
        wanted.append(("set.json", {"stored"}, 65536))
    parts = {}
    for part in c["payload"]["parts"]:
        rule(12, part["entry"] == f"payload/{c['name']}/{part['memory']}.bin")
        parts[part["entry"]] = sum(r["size"] for r in part["ranges"])
        wanted.append((part["entry"], {"stored", "deflated"}, CONTENT))
    wanted += [(a["entry"], {"stored", "deflated"}, CONTENT) for a in m["attachments"]]
    rule(12, [e["name"] for e in m["entries"]] == [w[0] for w in wanted])
    for entry, (name, methods, limit) in zip(m["entries"], wanted):
        rule(12, entry["method"] in methods and entry["size"] <= limit and entry["size"] == parts.get(name, entry["size"]))
        if name.startswith("regions/"):
            rule(12, entry["digest"] == c["region_map"]["digest"])
        if name == "set.json":
            rule(12, entry["digest"] == m["set"])
