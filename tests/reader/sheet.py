"""The shop's sheet (docs/sheet.md)."""

import x25519
from lists import judge_list
from refused import require, sha256
from shapes import DIGEST, LINE, NAME, ascending, is_boolean, is_choice, is_integer, is_list, is_object, is_text, is_time, or_empty
from statement import read_fields, read_lines, signers_of

SHEET_FILE = 1048576
LARGEST = 2**53 - 1
NAMES = is_list(256, NAME)
CONDITIONS = is_object({"options": NAMES, "fuel": NAMES, "hardware": NAMES})
OPTION = is_object({"name": NAME, "title": LINE, "purpose": is_text(4096), "controllers": is_list(256, NAME, 1), "requires": CONDITIONS,
                    "excludes": CONDITIONS, "cautions": is_list(256, LINE)})
QUESTION = is_object({"name": NAME, "text": LINE, "kind": is_choice("choice", "number", "text"), "states": is_choice("", "fuel", "hardware"),
                      "required": is_boolean, "choices": is_list(64, is_object({"name": NAME, "text": LINE}))})
READ = is_object({"controller": NAME, "title": LINE, "memories": is_list(16, is_object({"name": NAME, "size": is_integer(0, 268435456)}), 1),
                  "again": is_boolean})
SHEET = {"calseal": is_choice("sheet/1"), "root": DIGEST, "number": is_integer(1, LARGEST), "claimed_time": is_time, "parcel_key": or_empty(DIGEST),
         "options": is_list(256, OPTION), "questions": is_list(64, QUESTION), "reads": is_list(16, READ), "cautions": is_list(64, LINE)}


def differ(items):
    return len(set(items)) == len(items)


def check_options(options, good):
    names = [option["name"] for option in options]
    good(ascending(names), "order of options")
    for option in options:
        lists = [option["controllers"]] + [option[side][what] for side in ("requires", "excludes") for what in option[side]]
        good(all(ascending(items) for items in lists), "order of an option's lists")
        good(all(name in names and name != option["name"] for side in ("requires", "excludes") for name in option[side]["options"]), "an option that is not on the sheet")


def check_questions(questions, good):
    good(differ([question["name"] for question in questions]), "names of questions")
    for question in questions:
        choices = [choice["name"] for choice in question["choices"]]
        is_one = question["kind"] == "choice"
        good(len(choices) >= 2 if is_one else not choices, "number of choices")
        good(differ(choices), "names of choices")
        good(is_one or question["states"] == "", "only a choice states something")


def read_sheet(data, trust):
    """The fields, with the `digest` of the first line."""
    signed, pairs = read_lines(data, b"sheet/1", SHEET_FILE, "sheet-invalid")
    signers = signers_of(signed, pairs, trust)
    fields = read_fields(signed, SHEET, "sheet-invalid")

    def good(condition, why):
        require(condition, "sheet-invalid", why)
    check_options(fields["options"], good)
    check_questions(fields["questions"], good)
    good(ascending([read["controller"] for read in fields["reads"]]), "order of reads")
    good(all(differ([memory["name"] for memory in read["memories"]]) for read in fields["reads"]), "names of memories")
    good(fields["parcel_key"] == "" or not x25519.is_small(bytes.fromhex(fields["parcel_key"])), "parcel_key")
    judge_list(fields, signers, trust, "sheet-invalid", "sheet", lambda key: key["jobs"] or key["controllers"])
    return {**fields, "digest": sha256(signed)}
