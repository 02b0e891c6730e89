#!/usr/bin/env python3
"""Writes fixtures/parcels/: a file and a row of index.json for each sentence of docs/parcel.md and docs/sheet.md, and looks.json. The same every time.

usage: make_parcels.py FOLDER
       make_parcels.py --check          compares what it would write with fixtures/parcels, and every row's verdict with the reader's
       make_parcels.py --large FOLDER   writes the files that are too large to be kept, whose rows have a digest in `made`
"""

import json
import os
import sys
import tempfile

import make_vectors
import read_parcel
import vector_beside
import vector_looks
import vector_parcels
import vector_sheets
from make_vectors import Files, write
from refused import sha256

FOLDER = os.path.join(os.path.dirname(make_vectors.FOLDER), "parcels")
KEPT = 100000  # bytes: what is larger is made anew
ENDINGS = {"parcel": "parcel", "sheet": "sheet", "customer": "customer"}


class Folder:
    """The files that are kept, and those that are made anew."""

    def __init__(self):
        self.kept, self.large = Files(), {}

    def add(self, name, content):
        if len(content) <= KEPT:
            return self.kept.add(name, content)
        self.large[name] = content
        return name

    def given(self, row):
        """The row's evidence, as names of files."""
        def one(key, ending):
            return self.add(f"{row.name}.{ending}", row.given[key]) if row.given[key] is not None else ""
        key = row.given["parcel_key"]
        return {"parcel_key": self.add("shop.key", key.hex().encode("ascii") + b"\n") if key else "", "trust": one("trust", "trust"),
                "successions": [self.add(f"{row.name}.succession", data) for data in row.given["successions"]], "sheet": one("sheet", "sheet"),
                "job": row.given["job"], "vehicle_reference": row.given["vehicle_reference"],
                "earlier": [self.add(f"{row.name}-{i}.parcel", data) for i, data in enumerate(row.given["earlier"], 1)],
                "customer_changed": row.given["customer_changed"]}

    def row(self, row):
        name = self.add(f"{row.name}.{ENDINGS[row.kind]}", row.file)
        out = {"name": row.name, "kind": row.kind, "file": name, "made": sha256(row.file) if name in self.large else ""}
        given = self.given(row)
        if row.kind == "parcel":
            out.update(given)
        elif row.kind == "sheet":
            out["trust"] = given["trust"]
        return {**out, "expect": row.expect, "cautions": row.cautions}

    def everything(self):
        return {**self.kept.named, **self.large}


def with_paths(row, folder):
    """A row as a request: its files as whole paths."""
    def path(name):
        return os.path.join(folder, name) if name else ""
    request = {key: value for key, value in row.items() if key not in ("name", "made", "expect", "cautions", "results", "note")}
    request.update({key: path(row[key]) for key in ("file", "parcel_key", "trust", "sheet") if key in row})
    request.update({key: [path(name) for name in row[key]] for key in ("successions", "earlier") if key in row})
    return {"id": row["name"], **request}


def judged(rows, folder):
    """Results of each row by the reader, and words for each that is not what the row expects."""
    wrong = []
    for row in rows:
        answer = read_parcel.judge(with_paths(row, folder))
        found = answer["reason"] or answer["outcome"]
        if (found, answer["cautions"]) != (row["expect"], row["cautions"]):
            wrong.append(f"{row['name']}: {found} {answer['cautions']} ({answer.get('why', '')}), expected {row['expect']} {row['cautions']}")
        row["results"] = answer["results"] if answer["outcome"] == "accepted" else {}
    return wrong


def lines(kind, rows):
    return f'{{"calseal":"{kind}","vectors":[\n'.encode() + ",\n".join(json.dumps(row, separators=(",", ":")) for row in rows).encode() + b"\n]}\n"


def looks():
    return [{"name": look.name, "kind": "looks", "reads": look.reads, "sizes": look.sizes, "expect": look.expect, "note": look.note} for look in vector_looks.rows()]


def make():
    """(files that are kept, files that are made anew, words for what is wrong)."""
    folder, rows, notes = Folder(), [], []
    for part in (vector_parcels, vector_beside, vector_sheets):
        for row in part.rows():
            rows.append(folder.row(row))
            notes.append(row.note)
    wrong = [f"{name}: two rows" for name in {row["name"] for row in rows} if sum(row["name"] == name for row in rows) > 1]
    with tempfile.TemporaryDirectory() as there:
        write(folder.everything(), there)
        wrong += judged(rows, there)
    for row, note in zip(rows, notes):
        row["note"] = note
    kept = {**folder.kept.named, "index.json": lines("parcel-vectors/1", rows), "looks.json": lines("parcel-looks/1", looks())}
    return kept, folder.large, wrong


def check(kept):
    """Words for every file that is missing, too many, or another."""
    make_vectors.FOLDER = FOLDER
    return make_vectors.check(kept)


def main():
    if len(sys.argv) not in (2, 3) or (len(sys.argv) == 3 and sys.argv[1] != "--large"):
        print(__doc__)
        return 2
    kept, large, wrong = make()
    if sys.argv[1] == "--check":
        wrong += check(kept)
    else:
        write(large if sys.argv[1] == "--large" else kept, sys.argv[-1])
    print("\n".join(wrong + [f"{len(kept)} files kept, {sum(map(len, kept.values()))} bytes; {len(large)} made anew, {sum(map(len, large.values()))} bytes; {len(wrong)} wrong"]))
    return 1 if wrong else 0


if __name__ == "__main__":
    sys.exit(main())
