"""Verifies a parcel from a customer, with Python's standard library and openssl alone.

usage: python3 parcel.py CONTROLLERS PARCEL...      CONTROLLERS: the folder with one folder of evidence for each controller

For each parcel: the signature over parcel.json by the key that it names itself; every content against the size and SHA-256 that it
gives; which files of a controller's job are one of these contents; and which entries of the ledger name the parcel.
"""

import hashlib
import json
import os
import subprocess
import sys
import tempfile
import zipfile

ED25519 = bytes.fromhex("302a300506032b6570032100")  # RFC 8410 section 4: what comes before the 32 bytes of a public key


def digest(data):
    return hashlib.sha256(data).hexdigest()


def wrong(what):
    sys.exit("WRONG: " + what)


def read_text(path, text):
    """Only in the one form that calseal writes, so that no byte of it stands for nothing."""
    value = json.loads(text)
    if value.get("calseal") != "parcel/1" or json.dumps(value, separators=(",", ":"), ensure_ascii=False).encode() != text:
        wrong(f"{path}: parcel.json is not in its form")
    return value


def verify(path, key, text, signature):
    with tempfile.TemporaryDirectory() as folder:
        names = [os.path.join(folder, name) for name in ("key", "text", "signature")]
        for name, data in zip(names, (key, text, signature)):
            with open(name, "wb") as out:
                out.write(data)
        done = subprocess.run(["openssl", "pkeyutl", "-verify", "-rawin", "-pubin", "-keyform", "DER", "-inkey", names[0],
                               "-in", names[1], "-sigfile", names[2]], capture_output=True, check=False)
    if done.returncode != 0:
        wrong(f"{path}: its signature does not verify")


def files_below(folder):
    """SHA-256 -> names, of every file of the jobs."""
    found = {}
    for at, _, names in os.walk(folder):
        for name in names:
            path = os.path.join(at, name)
            with open(path, "rb") as file:
                found.setdefault(digest(file.read()), []).append(path)
    return found


def entries_about(folder, about):
    """Entries of the ledger whose details name this digest; ledger.py has held the details against the entries."""
    for controller in sorted(os.listdir(folder)):
        path = os.path.join(folder, controller, "ledger", "this-job.jsonl")
        if not os.path.exists(path):
            continue
        with open(path, "rb") as file:
            for line in file:
                detail = json.loads(line)
                if detail.get("facts", {}).get("kind") == "parcel-taken" and detail["facts"]["about"] == about:
                    yield f"{controller}, entry {detail['entry']}: {detail['facts']['claimed_time']}, {detail['facts']['words']}"


def check(path, controllers, kept):
    with open(path, "rb") as file:
        whole = digest(file.read())
    with zipfile.ZipFile(path) as file:
        names = file.namelist()
        text = file.read("parcel.json")
        said = read_text(path, text)
        key = ED25519 + bytes.fromhex(said["key"])
        signature = f"signatures/{digest(key)}.sig"
        if names != ["parcel.json", signature, *[entry["name"] for entry in said["entries"]]]:
            wrong(f"{path}: other contents than parcel.json lists")
        verify(path, key, text, file.read(signature))
        contents = {entry["name"]: file.read(entry["name"]) for entry in said["entries"]}
    print(f"{path}: SHA-256 {whole}")
    print(f"  signed by {digest(key)}, number {said['number']}, {said['claimed_time']} by the customer's clock")
    for entry in said["entries"]:
        content = contents[entry["name"]]
        if (len(content), digest(content)) != (entry["size"], entry["digest"]):
            wrong(f"{path}: {entry['name']} is not as signed")
        here = kept.get(entry["digest"], [])
        print(f"  {entry['name']}: as signed" + "".join(f"; it is {name}" for name in here))
    for line in entries_about(controllers, whole):
        print("  in the ledger: " + line)


def main(controllers, paths):
    kept = files_below(controllers)
    for path in paths:
        check(path, controllers, kept)


if __name__ == "__main__":
    sys.stdout.reconfigure(errors="backslashreplace")  # names may be anything
    main(sys.argv[1], sys.argv[2:])
