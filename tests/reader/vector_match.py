"""Rows for match, freshness, output and revive: the read and the evidence lie, the bundle is honest."""

from lies_reads import intel_hex, s_record
from vector_rows import F, Row, driven, revised_read
from writer import SALT


def as_form(row, form):
    row.form = {"flash": form}
    return row


def no_digest(row):
    row.c["binding"][0]["digest"] = ""
    return row


def part_only(row):
    row.read = row.read.cut(row.base.known)
    return row


def marker_unread():
    return Row("bank").unread(F + 162, 2)


def broken_and_foreign():
    row = Row("patches")
    return row.flip(row.read, F + 8, bits=0x80).flip(row.read, F + 1)


def other_number():
    """The read runs a revision whose software number is no longer one of the family's."""
    row = Row("marked")
    return row.at(row.read, F + 8, b"E2")


def failing_base(floating):
    """A base that came with a failing check: a floating one is corrected on every vehicle, another one stays as it came."""
    whole = Row("vin", 0, "full").world.whole.copy()
    row = Row("vin", 0, "full")
    row.at(whole, 64 if floating else F + 136, b"\x13\x57", "eeprom" if floating else "flash")
    row.base = row.result = row.read = whole
    return row.again()


ROWS = [
    # name, expect, sentence, row
    ("match-complete", "accepted", "match 1: a read that knows all", lambda: Row("vin")),
    ("match-locked-unread", "read-incomplete", "match 1: every byte of a pinned span is known to the read", lambda: Row("vin").unread(F + 40, 1)),
    ("match-editable-unread", "read-incomplete", "match 1: also of one that is written", lambda: Row("vin").unread(F + 70, 1)),
    ("match-binding-unread", "read-incomplete", "match 1: and of a binding one", lambda: Row("vin").unread(16, 1, "eeprom")),
    ("match-unknown-unread", "accepted", "match 1: what the base did not know the read need not know", lambda: part_only(Row("partial"))),
    ("match-volatile-unread", "checksum-not-provable", "match 1 asks for no volatile byte; a check over it then proves nothing", lambda: Row("vin").unread(44, 1, "eeprom")),
    ("match-foreign", "read-foreign", "match 2: the SHA-256 of a known locked span is its after", lambda: (lambda r: r.flip(r.read, F + 40))(Row("vin"))),
    ("match-incomplete-first", "read-incomplete", "match 1 comes before 2", lambda: (lambda r: r.flip(r.read, F + 40).unread(F + 70, 1))(Row("vin"))),
    ("match-patched-read", "accepted", "match 2: the patch is laid as its result says, so a read that has it is the base's too", lambda: revised_read("patches", [(1, "after")])),
    ("match-patched-both", "accepted", "match 2: likewise where base, read and result differ", lambda: revised_read("patches", [(0, "after")], **{"kind": "full"})),
    ("match-half-patch", "change-patch", "match 3: every permitted patch stands, in the read, as before or as after", lambda: (lambda r: r.flip(r.read, F + 96, bits=0x80))(Row("patches"))),
    ("match-half-patch-unknown", "change-patch", "match 3: by all bytes that the read knows, also where the base knew less",
     lambda: (lambda r: r.flip(r.read, F + 18, bits=0x80))(Row("hidden-patch"))),
    ("match-foreign-first", "read-foreign", "match 2 comes before 3", broken_and_foreign),
    ("match-family", "family-mismatch", "match 4: on all that the read knows, also where the base knew less", lambda: (lambda r: r.flip(r.read, F + 8))(Row("partial"))),
    ("match-family-passed-over", "accepted", "match 4: what the read does not know is passed over", lambda: part_only(Row("partial"))),
    ("match-family-nothing", "family-mismatch", "match 4: but something must be known", lambda: part_only(Row("unmarked"))),
    ("match-family-number", "family-mismatch", "match 4: every field of kind software-number", other_number),
    ("match-bank", "bank-not-active", "match 4: the active bank of every copy that has one", lambda: (lambda r: r.flip(r.read, F + 162))(Row("bank"))),
    ("match-bank-unread", "bank-not-active", "match 4: it must be known", marker_unread),
    ("match-reference", "vehicle-reference", "match 5: a reference that was given is the manifest's", lambda: Row("vin").given(vehicle_reference="red van")),
    ("match-reference-first", "vehicle-reference", "match 5: it comes before the salt", lambda: Row("vin").given(vehicle_reference="red van", salt=bytes(32))),
    ("match-salt", "salt-wrong", "match 5: the salt has the SHA-256 salt_digest", lambda: Row("vin").given(salt=bytes(32))),
    ("match-salt-for-nothing", "vehicle-not-provable", "match 5: a salt where the manifest has no salt_digest counts for nothing",
     lambda: Row("vin", salt=None).given(salt=SALT, vehicle_reference="")),
    ("match-salt-for-nothing-reference", "accepted", "match 5: then the reference says which vehicle", lambda: Row("vin", salt=None).given(salt=bytes(32))),
    ("match-vehicle", "vehicle-mismatch", "match 5: the salted digest of a binding field", lambda: driven(Row("vin"), [3], "eeprom")),
    ("match-vehicle-by-reference", "accepted", "match 5: without the salt nothing is compared, and the reference counts", lambda: driven(Row("vin"), [3], "eeprom").given(salt=None)),
    ("match-vehicle-no-digest", "vehicle-not-provable", "match 5: a field without a digest proves nothing", lambda: no_digest(Row("vin")).given(vehicle_reference="")),
    ("match-not-provable", "vehicle-not-provable", "match 5: neither salt nor reference", lambda: Row("vin").given(salt=None, vehicle_reference="")),
    ("match-missing", "read-missing", "the steps: no read, and none to be revived", lambda: Row("vin").given(no_read=True)),
    ("fresh-sector-unread", "read-incomplete", "freshness 1: every byte of a written sector that the base knew", lambda: Row("fresh").unread(F + 26, 1)),
    ("fresh-sector", "read-not-fresh", "freshness 2: a written sector that holds learned bytes", lambda: Row("fresh-apart").given(read_is_fresh=False)),
    ("fresh-sector-declared", "accepted", "freshness 2: unless the read is declared fresh", lambda: Row("fresh-apart")),
    ("fresh-range", "read-not-fresh", "freshness 2: a write range that holds bytes owned by a node that reads learned bytes", lambda: Row("fresh-no-sectors").given(read_is_fresh=False)),
    ("fresh-range-declared", "accepted", "freshness 2: likewise, declared fresh", lambda: driven(Row("fresh-no-sectors"), [F + 25])),
    ("fresh-binding", "accepted", "freshness 2: a value that depends on binding fields alone never goes stale", lambda: Row("vin").given(read_is_fresh=False)),
    ("output-hex", "accepted", "output: the form of the read's files, Intel HEX", lambda: as_form(Row("vin"), intel_hex)),
    ("output-s-record", "accepted", "output: likewise S-records", lambda: as_form(Row("vin"), s_record)),
    ("output-unknown", "accepted", "output: bytes that the base did not know stay as the read has them", lambda: (lambda r: r.flip(r.read, F + 50))(Row("partial"))),
    ("revive", "accepted", "revive: the read is the image that the full payload holds", lambda: Row("vin", 0, "full").given(no_read=True, revive=True)),
    ("revive-corrected", "accepted", "revive: what is written is the result, floating places corrected", lambda: failing_base(floating=True).given(no_read=True, revive=True)),
    ("revive-no-reference", "vehicle-not-provable", "revive: a vehicle reference must be given", lambda: Row("vin", 0, "full").given(no_read=True, revive=True, vehicle_reference="")),
    ("revive-wrong-reference", "vehicle-reference", "revive: and it is the manifest's", lambda: Row("vin", 0, "full").given(no_read=True, revive=True, vehicle_reference="red van")),
    ("revive-later", "read-missing", "revive: for revision 0 alone", lambda: Row("vin").given(no_read=True, revive=True)),
]
