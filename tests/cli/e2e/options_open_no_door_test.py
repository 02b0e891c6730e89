"""No option opens a door: every option of the checker that is no evidence, alone and in pairs, against every refused bundle of
fixtures/bundles, is refused as before, for the same reason, and writes nothing. Every piece of evidence is shown in the verdict as
given or missing. The list of options comes from --help, so that a new one cannot be forgotten."""

import concurrent.futures
import itertools
import json
import os
import pathlib
import re
import shutil
import subprocess
import tempfile
import unittest

import desk as desks
from desk import CALSEAL, CALSEAL_CHECK, SANITIZED

VECTORS = pathlib.Path(__file__).resolve().parents[3] / "fixtures" / "bundles"

# Evidence, by option: its name in the verdict.
EVIDENCE = {
    "--trust": "trust-file", "--root": "root-fingerprint", "--read": "read", "--salt": "salt", "--vehicle": "vehicle-reference",
    "--read-is-fresh": "read-is-fresh", "--state": "state", "--withdrawals": "withdrawals", "--job-list": "job-list",
    "--partner": "partners", "--return": "return", "--newest": "newest", "--succession": "succession", "--inclusion": "inclusion",
    "--ledger-head": "ledger-head",
    "--revive": "revive", "--old-base": "old-base", "--clock-is-right": "clock-is-right",
}
# Steps whose refusal a look at the seal alone does not come to.
BEHIND_THE_SEAL = {"set", "match", "claims", "freshness", "rebuild", "confinement", "checksums"}


def options_of(program, *words):
    text = subprocess.run([program, *words, "--help"], capture_output=True, check=True).stdout.decode()
    return set(re.findall(r"^ +(?:-\w,)?(--[a-z-]+)", text.split("Examples:")[0], re.M))


class Options(unittest.TestCase):
    @classmethod
    def setUpClass(cls):
        cls.rows = json.loads((VECTORS / "index.json").read_text())["vectors"]
        cls.folder = pathlib.Path(tempfile.mkdtemp(prefix="calseal-options-"))

    @classmethod
    def tearDownClass(cls):
        shutil.rmtree(cls.folder, ignore_errors=True)

    def test_every_option_is_known_here(self):
        known = set(EVIDENCE) | set(NO_EVIDENCE) | {"--help", "--version", "--ascii"}
        self.assertEqual(options_of(CALSEAL_CHECK), known, "say in this test whether the new option is evidence")
        self.assertEqual(options_of(CALSEAL, "check"), known - {"--version", "--ascii"})

    def arguments(self, row):
        words = [str(VECTORS / row["bundle"]), "--trust", str(VECTORS / row["trust"])]
        for option, key in (("--root", "stated_root"), ("--vehicle", "vehicle_reference")):
            if row[key]:
                words += [option, row[key]]
        if row["salt"]:
            words += ["--salt", str(VECTORS / row["salt"])]
        for read in row["reads"]:
            memory, file = read.split("=")
            words += ["--read", f"{memory}={VECTORS / file}"]
        words += ["--read-is-fresh"] * row["read_is_fresh"] + ["--revive"] * row["revive"] + ["--seal-only"] * row["seal_only"]
        return words

    def run_one(self, program, words):
        done = subprocess.run([*program, *words], stdin=subprocess.DEVNULL, capture_output=True, check=False, timeout=120,
                              env={"PATH": os.environ["PATH"], "LC_ALL": "C"})
        return done.returncode, done.stdout.decode(), done.stderr.decode()

    def reason(self, outcome):
        """The reason of a refusal, from whichever form the answer has."""
        status, out, err = outcome
        if out.startswith("{"):
            return json.loads(out)["reason"]
        found = re.search(r"\[([a-z0-9-]+)\]", err) or re.search(r"^  why +([a-z0-9-]+):", out, re.M)
        return found.group(1) if found else f"exit {status}"

    def judge(self, row):
        """What went wrong with one row: a list of texts."""
        words = self.arguments(row)
        base = self.run_one([CALSEAL_CHECK], [*words, "--json"])
        if base[0] == 0:
            return [], False  # this machine's clock lets it pass: nothing to hold against it here
        expected = self.reason(base)
        verdict = json.loads(base[1])
        failed = {step["name"] for step in verdict.get("steps", []) if step["state"] == "failed"}
        late = expected == "read-missing" or not failed or bool(failed & BEHIND_THE_SEAL)
        # The program reads the file itself, in pieces; the vectors' reasons must come out of that too.
        wrong = [] if expected in (row["expect"], "expired") else [f"{row['name']}: {expected}, not {row['expect']}"]
        folder = self.folder / row["name"]
        folder.mkdir()
        names = sorted(TRIED)
        picks = [(name,) for name in names] + ([] if SANITIZED else list(itertools.combinations(names, 2)))
        for number, pick in enumerate(picks):
            if "--seal-only" in pick and row["seal_only"] or set(pick) == {"--customer", "--receipt"}:  # each brings a key of its own
                continue
            more = [word for name in pick for word in TRIED[name](row, folder)]
            outcome = self.run_one([CALSEAL, "check"] if number % 2 else [CALSEAL_CHECK], [*words, *more])
            status, out, err = outcome
            allowed = {expected}
            if "--image" in pick and "--seal-only" in pick:
                allowed = {expected, "usage"}  # the two exclude each other
            seal_alone = "--seal-only" in pick and late
            found = self.reason(outcome)
            authentic = '"verdict":"authentic"' in out or out.startswith("AUTHENTIC")
            if status == 0 and not (seal_alone and authentic):
                wrong.append(f"{row['name']} {pick}: not refused any more")
            if status != 0 and found not in allowed and not seal_alone:
                wrong.append(f"{row['name']} {pick}: {found} instead of {expected}")
            left = [path.name for path in folder.iterdir() if path.name.startswith("out")]
            if left:
                wrong.append(f"{row['name']} {pick}: wrote {left}")
        return wrong, True

    def test_no_option_opens_a_door(self):
        refused = [row for row in self.rows if row["expect"] not in ("accepted", "authentic")]
        self.assertGreater(len(refused), 200)
        with concurrent.futures.ThreadPoolExecutor(max_workers=os.cpu_count()) as pool:
            results = list(pool.map(self.judge, refused))
        wrong = [text for texts, _ in results for text in texts]
        self.assertEqual(wrong, [])
        judged = sum(was for _, was in results)
        self.assertGreaterEqual(judged, len(refused) - 5)

    def test_evidence_is_shown_as_given_or_missing(self):
        desk = desks.Desk()
        self.addCleanup(desk.close)
        shop = desk.open_shop()
        desk.seal_base()
        desk.seal_revision(1)
        bundle = desk.at("r1.calseal")
        trust = ["--trust", desk.at("shop.trust")]
        anything = desk.put("anything", b"{\n")  # evidence that cannot be read is given all the same
        given = {
            "--trust": [], "--root": ["--root", shop["root_fingerprint"]], "--read": ["--read", "flash=" + desk.at("flash.bin")],
            "--salt": ["--salt", desk.at("oak.salt")], "--vehicle": ["--vehicle", "blue estate"], "--read-is-fresh": ["--read-is-fresh"],
            "--state": ["--state", str(desk.root / "new.state")], "--return": ["--return"], "--revive": ["--revive"],
            "--old-base": ["--old-base"], "--clock-is-right": ["--clock-is-right"],
            "--newest": ["--newest", bundle], "--partner": ["--partner", bundle],
        }
        for option in EVIDENCE:
            words = given.get(option, [option, anything])
            done = desk.run(CALSEAL_CHECK, bundle, *trust, *words, "--json")
            shown = {item["name"]: item["given"] for item in json.loads(done.stdout)["evidence"]}
            with self.subTest(option=option):
                self.assertEqual(set(shown), set(EVIDENCE.values()))
                self.assertEqual({name for name, is_given in shown.items() if is_given}, {"trust-file", EVIDENCE[option]})


def outputs(row, folder):
    return [word for read in row["reads"] for word in ("--image", f"{read.split('=')[0]}={folder}/out-{read.split('=')[0]}")]


def customer_file(folder):
    """A new one, without salt or state."""
    path = folder / "customer"
    if not path.exists():
        subprocess.run([CALSEAL_CHECK, "parcel", "--new-customer", path, "--words", "x", "-o", folder / "parcel"], capture_output=True, check=True)
    return str(path)


# Options that are no evidence: how each is written for a row.
NO_EVIDENCE = {
    "--json": lambda row, folder: ["--json"],
    "--image": outputs,
    "--seal-only": lambda row, folder: ["--seal-only"],
    "--receipt": lambda row, folder: ["--receipt", f"{folder}/receipt", "--receipt-key", f"{folder}/receipt.key"],
    "--receipt-key": lambda row, folder: [],  # beside --receipt
    "--receipt-code": lambda row, folder: ["--receipt-code"] * bool(row["salt"]),
    "--customer": lambda row, folder: ["--customer", customer_file(folder)],
}
# A new memory and a word without ground open nothing either.
TRIED = {name: words for name, words in NO_EVIDENCE.items() if name != "--receipt-key"} | {
    "--state": lambda row, folder: ["--state", f"{folder}/state"],
    "--return": lambda row, folder: ["--return"],
    "--old-base": lambda row, folder: ["--old-base"],
    "--clock-is-right": lambda row, folder: ["--clock-is-right"],
}


if __name__ == "__main__":
    unittest.main()
