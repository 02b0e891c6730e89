"""Verifies bundles with Python's standard library and openssl alone, and rebuilds their images.

usage: python3 bundle.py KEYS BUNDLE...      revisions 0 first; KEYS: the folder with <key id>.pem

For each bundle: every signature over manifest.json, by a key whose id is the SHA-256 of the key; every content against the size and
SHA-256 that the manifest gives it; the image, laid over that of revision 0, against the SHA-256 of every span; and that no changed byte
lies in a span that the region map keeps locked.
"""

import hashlib
import json
import os
import subprocess
import sys
import tempfile
import zipfile

MAY_CHANGE = {"editable", "derived", "floating", "volatile", "binding"}


def digest(data):
    return hashlib.sha256(data).hexdigest()


def wrong(what):
    sys.exit("WRONG: " + what)


def unhex(text):
    data = bytes.fromhex(text)
    if data.hex() != text:
        wrong(f"{text} is not written in lower-case digits")
    return data


def read_json(text, kind):
    """Only in the one form that calseal writes, so that no byte of it stands for nothing."""
    value = json.loads(text)
    if value.get("calseal") != kind or json.dumps(value, separators=(",", ":"), ensure_ascii=False).encode() != text:
        wrong(f"not in the form of {kind}: {text[:60]!r}")
    return value


def verify_signature(keys, key_id, text, signature):
    pem = os.path.join(keys, key_id + ".pem")
    der = subprocess.run(["openssl", "pkey", "-pubin", "-in", pem, "-outform", "DER"], capture_output=True, check=True).stdout
    if digest(der) != key_id:
        wrong(f"{pem} is not the key with that id")
    with tempfile.TemporaryDirectory() as folder:
        paths = [os.path.join(folder, name) for name in ("text", "signature")]
        for path, data in zip(paths, (text, signature)):
            with open(path, "wb") as out:
                out.write(data)
        done = subprocess.run(["openssl", "pkeyutl", "-verify", "-rawin", "-pubin", "-inkey", pem, "-in", paths[0], "-sigfile", paths[1]],
                              capture_output=True, check=False)
    if done.returncode != 0:
        wrong(f"the signature by {key_id} does not verify")


def rebuilt(controller, contents, base):
    """Memory -> bytes; where nothing is carried the base stays."""
    image = {name: bytearray(data) for name, data in base.items()}
    origin = {}
    for memory in controller["memories"]:
        origin[memory["name"]] = int(memory["origin"], 16)
        image.setdefault(memory["name"], bytearray(memory["size"]))
    for part in controller["payload"]["parts"]:
        content, at = contents[part["entry"]], 0
        for place in part["ranges"]:
            start = int(place["start"], 16) - origin[part["memory"]]
            image[part["memory"]][start:start + place["size"]] = content[at:at + place["size"]]
            at += place["size"]
    return image, origin


def compare(name, controller, image, origin, base):
    changed = spans = 0
    for span in controller["spans"]:
        start = int(span["start"], 16) - origin[span["memory"]]
        data = image[span["memory"]][start:start + span["size"]]
        if span["after"]:
            spans += 1
            if digest(bytes(data)) != span["after"]:
                wrong(f"{name}: {span['memory']} from {span['start']} is not as sealed")
        if base:
            before = base[span["memory"]][start:start + span["size"]]
            differing = sum(a != b for a, b in zip(data, before))
            changed += differing
            # A region map may permit patches inside of locked spans; which bytes those are is for the map to say.
            if differing and span["kind"] not in MAY_CHANGE and not controller["patches"]:
                wrong(f"{name}: {differing} bytes of a {span['kind']} span from {span['start']} are changed")
    return spans, changed


def main(keys, paths):
    bases = {}
    for path in paths:
        with zipfile.ZipFile(path) as file:
            text = file.read("manifest.json")
            manifest = json.loads(text)
            signatures = [name for name in file.namelist() if name.startswith("signatures/")]
            if not signatures:
                wrong(f"{path}: no signature")
            for name in signatures:
                verify_signature(keys, name[len("signatures/"):-len(".sig")], text, file.read(name))
            if file.namelist() != ["manifest.json", *signatures, *[entry["name"] for entry in manifest["entries"]]]:
                wrong(f"{path}: other contents than the manifest lists")
            contents = {entry["name"]: file.read(entry["name"]) for entry in manifest["entries"]}
        for entry in manifest["entries"]:
            if (len(contents[entry["name"]]), digest(contents[entry["name"]])) != (entry["size"], entry["digest"]):
                wrong(f"{path}: {entry['name']} is not as signed")
        controller = manifest["controllers"][0]
        of = (manifest["job"], controller["name"], manifest["base"]["number"])
        print(f"{path}: revision {manifest['revision']} of base {manifest['base']['number']}, identity {digest(text)}")
        print(f"  signed by {', '.join(name[11:-4] for name in signatures)}; all contents are as signed")
        if manifest["revision"] != 0 and of not in bases:
            print("  not rebuilt: its revision 0 was not given before it")
            continue
        base = bases.get(of, {})
        image, origin = rebuilt(controller, contents, {} if manifest["revision"] == 0 else base)
        spans, changed = compare(path, controller, image, origin, {} if manifest["revision"] == 0 else base)
        if manifest["revision"] == 0:
            bases[of] = image
            print(f"  rebuilt: {spans} spans are as sealed")
        else:
            print(f"  rebuilt: {spans} spans are as sealed; {changed} bytes differ from revision 0, none of them in a locked span" + (", permitted patches apart" if controller["patches"] else ""))


if __name__ == "__main__":
    sys.stdout.reconfigure(errors="backslashreplace")  # names may be anything
    main(sys.argv[1], sys.argv[2:])
