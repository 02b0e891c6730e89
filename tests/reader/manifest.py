"""The manifest, changes.json and set.json: their fields in order, and what each holds."""

import re

from refused import require
from shapes import (ADDRESS, CONTENT, CRC32, DIGEST, LINE, LIST, NAME, TEXT, VALUE, ascending, begin, end, is_annotation, is_boolean,
                    is_choice, is_format, is_integer, is_list, is_object, is_time, or_empty, signed_json)

RANGE_SIZE = is_integer(1, 2**32)
RANGE = is_object({"start": ADDRESS, "size": RANGE_SIZE})
CONTROLLER = {
    "name": NAME,
    "region_map": is_object({"name": NAME, "version": is_integer(1, 2**53 - 1), "grade": is_choice("draft", "verified"), "digest": DIGEST}),
    "memories": is_list(16, is_object({"name": NAME, "origin": ADDRESS, "size": is_integer(1, CONTENT), "known": is_list(LIST, RANGE)})),
    "identity": is_list(LIST, is_object({"name": NAME, "text": VALUE})),
    "binding": is_list(LIST, is_object({"name": NAME, "memory": NAME, "start": ADDRESS, "size": RANGE_SIZE, "digest": or_empty(DIGEST)})),
    "spans": is_list(LIST, is_object({"memory": NAME, "start": ADDRESS, "size": RANGE_SIZE,
                                      "kind": is_choice("locked", "editable", "derived", "floating", "volatile", "binding"),
                                      "before": or_empty(DIGEST), "after": or_empty(DIGEST)})),
    "pinned": is_object({"before": DIGEST, "after": DIGEST}),
    "files": is_list(16, is_object({"memory": or_empty(NAME), "form": NAME, "size": is_integer(1, 2**31 - 1), "digest": DIGEST})),
    "checksums": is_list(LIST, is_object({"name": LINE, "state": is_choice("holds", "fails", "not-provable"), "value": VALUE})),
    "patches": is_list(LIST, is_object({"name": NAME, "base": is_choice("before", "after"), "result": is_choice("before", "after")})),
    "write_ranges": is_list(LIST, is_object({"memory": NAME, "start": ADDRESS, "size": RANGE_SIZE})),
    "payload": is_object({"kind": is_choice("full", "areas"),
                          "parts": is_list(16, is_object({"memory": NAME, "entry": LINE, "ranges": is_list(LIST, RANGE)}))}),
}
ENTRY = {"name": LINE, "method": is_choice("stored", "deflated"), "stored_size": is_integer(0, CONTENT), "stored_digest": DIGEST,
         "size": is_integer(0, CONTENT), "crc32": CRC32, "digest": DIGEST}
MANIFEST = {
    "calseal": is_choice("revision/1"),
    "format": is_format,
    "job": NAME,
    "base": is_object({"number": is_integer(1, 1000000), "reason": LINE}),
    "revision": is_integer(0, 2**40 - 1),
    "sequence": is_integer(1, 2**40),
    "parent": or_empty(DIGEST),
    "set": or_empty(DIGEST),
    "claimed_time": is_time,
    "trial": is_boolean,
    "expires": or_empty(is_time),
    "required_roles": is_list(2, is_choice("author", "reviewer")),
    "title": LINE,
    "notes": TEXT,
    "vehicle_reference": LINE,
    "salt_digest": or_empty(DIGEST),
    "controllers": is_list(1, is_object(CONTROLLER), 1),
    "permitted_returns": is_list(1000, DIGEST),
    "approvals": is_list(16, TEXT),
    "options": is_list(256, is_object({"name": NAME, "title": LINE, "digest": DIGEST})),
    "ordered": is_object({"time": or_empty(is_time), "parcel": or_empty(DIGEST),
                          "options": is_list(256, is_object({"name": NAME, "title": LINE, "why": LINE}))}),
    "requirements": is_list(64, LINE),
    "cautions": is_list(64, LINE),
    "attachments": is_list(64, is_object({"entry": LINE, "title": LINE})),
    "annotations": is_list(64, is_annotation),
    "tool": LINE,
    "entries": is_list(4087, is_object(ENTRY)),
}
CHANGES = {"calseal": is_choice("changes/1"),
           "changes": is_list(262144, is_object({"memory": NAME, "start": ADDRESS, "size": RANGE_SIZE, "region": LINE, "option": or_empty(NAME)}))}
SET = {"calseal": is_choice("set/1"), "job": NAME,
       "members": is_list(16, is_object({"controller": NAME, "base": is_integer(1, 1000000), "sequence": is_integer(1, 2**40),
                                         "map_digest": DIGEST, "pinned": DIGEST})),
       "write_order": is_list(16, NAME), "drivable_between": is_boolean}


def read_manifest(data):
    literal = b'{"calseal":"revision/1",'
    require(data.startswith(literal), "type-wrong")
    early = re.match(rb'"format":(0|[1-9][0-9]{0,15})(?![0-9])', data[len(literal):])
    require(not early or early[1] == b"1", "format-unknown")
    return signed_json(data, MANIFEST)


def read_changes(data):
    require(data.startswith(b'{"calseal":"changes/1",'), "type-wrong")

    seen, changes = [], signed_json(data, CHANGES)["changes"]
    for change in changes:
        if not seen or seen[-1][0] != change["memory"]:
            require(change["memory"] not in [memory for memory, _ in seen], "manifest-invalid", "memories of changes.json")
            seen.append((change["memory"], 0))
        require(begin(change) >= seen[-1][1], "manifest-invalid", "order of changes.json")
        seen[-1] = (change["memory"], end(change))
    return changes


def read_set(data):
    require(data.startswith(b'{"calseal":"set/1",'), "type-wrong")
    described = signed_json(data, SET)
    members = [member["controller"] for member in described["members"]]
    require(ascending(members) and len(members) >= 2 and sorted(described["write_order"]) == members, "manifest-invalid", "set.json")
    return described
