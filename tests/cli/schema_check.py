#!/usr/bin/env python3
"""Checks docs/region-map.schema.json against the region maps under fixtures/region_maps.

usage: schema_check.py [PROJECT_ROOT]

Every good map must be valid. Every bad map must be in bad/expected.json and be invalid exactly where its row says
"schema": true (or not be strict JSON at all). Every key that the schema knows must stand in some good map.
"""

import json
import pathlib
import sys

import jsonschema


def refuse_repeated(pairs):
    keys = [key for key, _ in pairs]
    if len(keys) != len(set(keys)):
        raise ValueError("repeated key")
    return dict(pairs)


def load(path):
    return json.loads(path.read_text(encoding="utf-8"), object_pairs_hook=refuse_repeated)


def keys_of_schema(node):
    if isinstance(node, dict):
        for key, value in node.items():
            if key == "properties":
                yield from value
            yield from keys_of_schema(value)
    elif isinstance(node, list):
        for value in node:
            yield from keys_of_schema(value)


def keys_of_value(node):
    if isinstance(node, dict):
        yield from node
        for value in node.values():
            yield from keys_of_value(value)
    elif isinstance(node, list):
        for value in node:
            yield from keys_of_value(value)


def main():
    root = pathlib.Path(sys.argv[1]) if len(sys.argv) > 1 else pathlib.Path(__file__).resolve().parents[2]
    schema = load(root / "docs/region-map.schema.json")
    jsonschema.Draft202012Validator.check_schema(schema)
    validator = jsonschema.Draft202012Validator(schema)
    faults = []

    good = sorted((root / "fixtures/region_maps/good").glob("*.json"))
    if not good:
        faults.append("no good maps")
    used = set()
    for path in good:
        value = load(path)
        used.update(keys_of_value(value))
        faults += [f"good/{path.name}: {error.json_path}: {error.message}" for error in validator.iter_errors(value)]
    faults += [f"no good map uses \"{key}\"" for key in sorted(set(keys_of_schema(schema)) - used)]

    expected = load(root / "fixtures/region_maps/bad/expected.json")
    bad = {path.name: path for path in (root / "fixtures/region_maps/bad").glob("*.json")}
    bad.pop("expected.json", None)
    faults += [f"bad/{name}: not in expected.json" for name in sorted(bad.keys() - expected.keys())]
    faults += [f"bad/{name}: in expected.json, but no such file" for name in sorted(expected.keys() - bad.keys())]
    for name in sorted(bad.keys() & expected.keys()):
        try:
            valid = validator.is_valid(load(bad[name]))
        except ValueError:
            valid = False
        if valid == expected[name]["schema"]:
            faults.append(f"bad/{name}: {'valid' if valid else 'invalid'} against the schema")

    for fault in faults:
        print(fault)
    print(f"{len(good)} good, {len(bad)} bad, {len(faults)} faults")
    return 1 if faults else 0


if __name__ == "__main__":
    sys.exit(main())
