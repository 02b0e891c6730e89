#!/usr/bin/env python3
"""Holds the pages against the lists of fields that the programs read and write by.

usage: records_test.py RECORD_SCHEMAS [PROJECT_ROOT]

RECORD_SCHEMAS prints a schema of every record. In docs/*.md every text like `{"calseal":"set/1","job",...}` must name
the fields of its kind, in their order; the table of the manifest and those of its parts likewise. docs/option.schema.json must
say the same as the list. The schemas themselves are held against the manifests of fixtures/.
"""

import json
import pathlib
import re
import subprocess
import sys

import jsonschema

ROOT = pathlib.Path(sys.argv[2]) if len(sys.argv) > 2 else pathlib.Path(__file__).resolve().parents[2]
# Kinds whose fields are texts of their own on the pages, and no list in the programs.
WITHOUT_A_LIST = {"receipt-code/1"}

# Rows whose fault only a reader sees: a day that does not exist, and a line end behind a line.
NOT_IN_A_SCHEMA = {"json-time", "json-line-break"}


class Text:
    """A text like {"calseal":"set/1","members":[{"controller",...}]}: names, and for some what is inside."""

    def __init__(self, text):
        self.text = text
        self.at = 0

    def skip(self, pattern):
        match = re.compile(pattern).match(self.text, self.at)
        if match is None:
            raise ValueError(f"{self.text}: expected {pattern} at {self.text[self.at:self.at + 20]}")
        self.at = match.end()
        return match

    def next_is(self, character):
        return self.text.startswith(character, self.at)

    def members(self):
        fields = []
        self.skip(r"\{")
        if self.next_is("…"):
            self.skip("…}")
            return None
        while not self.next_is("}"):
            name = self.skip(r'"([a-z0-9_]+)"')[1]
            inside = None
            if self.next_is(":"):
                self.skip(":")
                inside = self.value()
            fields.append((name, inside))
            if not self.next_is("}"):
                self.skip(",")
        self.skip("}")
        return fields

    def value(self):
        if self.next_is("{"):
            return self.members()
        if self.next_is("["):
            self.skip(r"\[")
            inside = self.members() if self.next_is("{") else None
            self.skip(r"[^\]]*\]")
            return inside
        self.skip(r'"[^"]*"|[a-z]+')
        return None


def record_of(schema):
    """The object that a schema is of, or whose items it is of."""
    while schema.get("type") == "array" and "items" in schema:
        schema = schema["items"]
    return schema if schema.get("type") == "object" else None


def compare(said, schema, place, faults):
    names = [name for name, _ in said]
    listed = list(schema["properties"])
    # One of two forms names the fields that are not optional, and its own.
    if [name for name in listed if name in schema["required"] or name in names] != names:
        faults.append(f"{place}: {names}, and the list has {listed}")
        return
    for name, inside in said:
        if inside is not None:
            record = record_of(schema["properties"][name])
            if record is None:
                faults.append(f"{place}: {name} is no object")
            else:
                compare(inside, record, f"{place}/{name}", faults)


def check_texts(schemas, faults):
    seen = set()
    for page in sorted((ROOT / "docs").glob("*.md")):
        for match in re.finditer(r'`(\{"calseal":"([a-z-]+/1)",[^`]*\})`', page.read_text(encoding="utf-8")):
            if match[2] in WITHOUT_A_LIST:
                continue
            seen.add(match[2])
            compare(Text(match[1]).members(), schemas[match[2]], f"{page.name}: {match[2]}", faults)
    unsaid = set(schemas) - seen - {"revision/1", "option/1", "parcel/1"}  # these have tables
    faults += [f"no page says what {kind} is" for kind in sorted(unsaid)]


def table_after(text, heading):
    """The rows of the first table after a line that begins so: names, and the type."""
    rows = text[text.index(heading):].split("| --- | --- | --- |\n", 1)[1].split("\n\n", 1)[0].splitlines()
    for row in rows:
        names, kind = row.strip("| ").split(" | ")[:2]
        yield re.findall(r"`([a-z_0-9]+)`", names), kind


def check_table(text, heading, schema, faults, without=()):
    rows = list(table_after(text, heading))
    names = [name for names, _ in rows for name in names]
    listed = [name for name in schema["properties"] if name not in without]
    if names != listed:
        faults.append(f"{heading.strip()}: the table has {names}, and the list {listed}")
    for names, kind in rows:
        inside = re.search(r"`(\{.*\})`", kind)
        if inside is not None and names[0] in schema["properties"]:
            compare(Text(inside[1]).members(), record_of(schema["properties"][names[0]]), f"{heading.strip()}/{names[0]}", faults)


def check_tables(schemas, faults):
    text = (ROOT / "docs/bundle-format.md").read_text(encoding="utf-8")
    manifest = schemas["revision/1"]
    check_table(text, "## Manifest\n", manifest, faults)
    check_table(text, "A **controller**:", record_of(manifest["properties"]["controllers"]), faults)
    entry = re.search(r"An \*\*entry\*\*: `(\{[^`]*\})`", text)[1]
    compare(Text(entry).members(), record_of(manifest["properties"]["entries"]), "entry", faults)
    key = re.search(r"A key: `(\{[^`]*\})`", text)[1]
    compare(Text(key).members(), record_of(schemas["trust/1"]["properties"]["keys"]), "key", faults)
    notice = re.search(r"A notice: `(\{[^`]*\})`", text)[1]
    compare(Text(notice).members(), record_of(schemas["withdrawal/1"]["properties"]["notices"]), "notice", faults)
    check_limits(text, "## Manifest\n", manifest, faults)


def check_parcel_tables(schemas, faults):
    text = (ROOT / "docs/parcel.md").read_text(encoding="utf-8")
    parcel, customer = schemas["parcel/1"], schemas["customer/1"]
    check_table(text, "## parcel.json\n", parcel, faults)
    check_limits(text, "## parcel.json\n", parcel, faults)
    check_table(text, "## The customer file\n", customer, faults, without=("calseal",))
    check_limits(text, "## The customer file\n", customer, faults)
    text = (ROOT / "docs/sheet.md").read_text(encoding="utf-8")
    sheet = schemas["sheet/1"]
    check_table(text, "## The file\n", sheet, faults, without=("calseal",))
    check_limits(text, "## The file\n", sheet, faults)
    for word, field in (("option", "options"), ("question", "questions"), ("read", "reads")):
        said = re.search(rf"An? \*\*{word}\*\*: `(\{{[^`]*\}})`", text)[1]
        compare(Text(said).members(), record_of(sheet["properties"][field]), f"sheet: {word}", faults)


def check_limits(text, heading, schema, faults):
    """'at most N' in the row of a list is the list's limit."""
    rows = text[text.index(heading):].split("| --- | --- | --- |\n", 1)[1].split("\n\n", 1)[0].splitlines()
    for row in rows:
        names, *meaning = row.strip("| ").split(" | ")
        said = re.search(r"at most ([0-9,]+)", " ".join(meaning))
        for name in re.findall(r"`([a-z_0-9]+)`", names):
            limit = schema["properties"][name].get("maxItems")
            if said and limit is not None and int(said[1].replace(",", "")) != limit:
                faults.append(f"{heading.strip()}: {name} is at most {limit} in the list, and the page says {said[1]}")


def plain(schema, definitions):
    """A schema without names of parts, texts for people, and what only one of the two ways to say it has."""
    if not isinstance(schema, dict):
        return schema
    if "$ref" in schema:
        return plain(definitions[schema["$ref"].split("/")[-1]], definitions)
    if "oneOf" in schema:
        forms = [plain(form, definitions) for form in schema["oneOf"]]
        properties = {}
        for form in forms:
            properties.update(form["properties"])
        required = [key for key in forms[0]["required"] if all(key in form["required"] for form in forms)]
        return {"type": "object", "additionalProperties": False, "required": required, "properties": properties}
    out = {}
    for key, value in schema.items():
        # Empty lists, and lists of which nothing comes twice, are judged behind the fields.
        if key in ("$schema", "$defs", "title", "description", "minItems", "uniqueItems"):
            continue
        if key == "properties":
            out[key] = {name: plain(inner, definitions) for name, inner in value.items()}
        else:
            out[key] = plain(value, definitions)
    if out.get("type") == "object":
        out.setdefault("required", [])
    return out


def sort_required(schema):
    if isinstance(schema, dict):
        return {key: sorted(value) if key == "required" else sort_required(value) for key, value in schema.items()}
    return schema


def check_option(schemas, faults):
    page = json.loads((ROOT / "docs/option.schema.json").read_text(encoding="utf-8"))
    ours = sort_required(plain(schemas["option/1"], {}))
    theirs = sort_required(plain(page, page["$defs"]))
    if ours == theirs:
        return
    for name in ours["properties"].keys() | theirs["properties"].keys():
        if ours["properties"].get(name) != theirs["properties"].get(name):
            faults.append(f"option.schema.json: {name}: {theirs['properties'].get(name)}\n  list: {ours['properties'].get(name)}")
    if ours["required"] != theirs["required"]:
        faults.append(f"option.schema.json requires {theirs['required']}, the list {ours['required']}")


def check_vectors(schemas, faults):
    """Manifests that are accepted are valid, and those that are refused for a field are not."""
    for schema in schemas.values():
        jsonschema.Draft202012Validator.check_schema(schema)
    validator = jsonschema.Draft202012Validator(schemas["revision/1"])
    judged = {True: 0, False: 0}
    for folder in ("bundles", "proof", "rules"):
        for row in json.loads((ROOT / "fixtures" / folder / "index.json").read_text(encoding="utf-8"))["vectors"]:
            good = row["expect"] == "accepted"
            for_a_field = row["expect"] in ("json-type", "json-value", "json-missing-key", "json-unknown-key")
            if row["name"] in NOT_IN_A_SCHEMA or not (good or for_a_field):
                continue
            bundle = (ROOT / "fixtures" / folder / row["bundle"]).read_bytes()
            manifest = json.loads(bundle[43 : 43 + int.from_bytes(bundle[18:22], "little")])
            judged[good] += 1
            if validator.is_valid(manifest) != good:
                faults.append(f"{folder}/{row['bundle']}: {row['expect']}, and the schema says otherwise")
    if judged[True] < 100 or judged[False] < 20:
        faults.append(f"{judged} manifests are too few to tell")


def main():
    printed = subprocess.run([sys.argv[1]], check=True, capture_output=True, text=True).stdout
    schemas = {schema["properties"]["calseal"]["const"]: schema for schema in json.loads(printed)}
    faults = []
    check_texts(schemas, faults)
    check_tables(schemas, faults)
    check_parcel_tables(schemas, faults)
    check_option(schemas, faults)
    check_vectors(schemas, faults)
    for fault in faults:
        print(fault)
    sys.exit(1 if faults else 0)


main()
