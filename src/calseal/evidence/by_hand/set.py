"""Verifies that bundles are one set: valid only together.

usage: python3 set.py BUNDLE...      all members of one set; bundle.py has verified each of them before

Every member carries the same set.json, whose SHA-256 its manifest names; that text names each member by controller, base, sequence,
region map and pinned bytes, and says in which order they are written.
"""

import hashlib
import json
import sys
import zipfile


def wrong(what):
    sys.exit("WRONG: " + what)


def read(path):
    with zipfile.ZipFile(path) as file:
        text = file.read("set.json")
        manifest = json.loads(file.read("manifest.json"))
    if hashlib.sha256(text).hexdigest() != manifest["set"]:
        wrong(f"{path}: its set.json is not the one that its manifest names")
    return text, manifest


def main(paths):
    texts, members = set(), []
    for path in paths:
        text, manifest = read(path)
        texts.add(text)
        controller = manifest["controllers"][0]
        members.append({"controller": controller["name"], "base": manifest["base"]["number"], "sequence": manifest["sequence"],
                        "map_digest": controller["region_map"]["digest"], "pinned": controller["pinned"]["after"]})
        if manifest["job"] != json.loads(text)["job"]:
            wrong(f"{path}: of another job than its set")
    if len(texts) != 1:
        wrong("these bundles are of different sets")
    said = json.loads(texts.pop())
    if sorted(members, key=lambda one: one["controller"]) != said["members"]:
        wrong("these bundles are not the members that the set names")
    print("one set of " + ", ".join(f"{one['controller']} sequence {one['sequence']}" for one in said["members"]))
    print("  to be written in this order: " + ", ".join(said["write_order"]) +
          ("; the vehicle may be driven in between" if said["drivable_between"] else "; not to be driven in between"))


if __name__ == "__main__":
    sys.stdout.reconfigure(errors="backslashreplace")  # names may be anything
    main(sys.argv[1:])
