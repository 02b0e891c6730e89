#!/usr/bin/env python3
"""What an audit gives out, read by others: JUnit XML by xmllint and its schema, CSV by Python, JSON lines, the table of findings in
docs/audit.md; and what is new, gone and still there against an earlier audit, by record and by report.

CALSEAL_SEED gives a run back.
"""

import collections
import csv
import io
import json
import os
import pathlib
import random
import re
import subprocess
import unittest
import xml.etree.ElementTree

import desk

HERE = pathlib.Path(__file__).resolve().parent
SEED = int(os.environ.get("CALSEAL_SEED") or random.SystemRandom().randrange(1 << 31))
FIELDS = {"code", "severity", "age", "path", "subject", "text", "next", "copy", "healed"}


def harmless(text):
    """A field that a spreadsheet takes for no formula."""
    return "'" + text if text[:1] in tuple("=+-@\t\r") else text


class Formats(unittest.TestCase):
    def setUp(self):
        self.archive = desk.Archive(3)
        self.reports = {ending: self.archive.root / f"report.{ending}" for ending in ("txt", "jsonl", "csv", "xml", "prom")}

    def tearDown(self):
        self.archive.close()

    def audit(self, *more, status=None):
        self.report = self.archive.json("--depth", "proved", *(w for r in self.reports.values() for w in ("--report", r)), *more, status=status)
        return self.report

    def bend(self, count, draw):
        for path in draw.sample([p for p in self.archive.paths() if p.endswith((".calseal", ".salt", "flash.bin")) and "/edited/" not in p], count):
            data = bytearray(self.archive.at(path).read_bytes())
            data[draw.randrange(len(data))] ^= 1 << draw.randrange(8)
            self.archive.at(path).write_bytes(data)

    def findings(self, severities=("error", "warning")):
        return [f for f in self.report["findings"] if f["severity"] in severities]

    def check_junit(self):
        schema = subprocess.run(["xmllint", "--noout", "--schema", HERE / "junit.xsd", self.reports["xml"]], capture_output=True)
        self.assertEqual(0, schema.returncode, schema.stderr.decode())
        root = xml.etree.ElementTree.parse(self.reports["xml"]).getroot()
        cases = list(root.iter("testcase"))
        failures = list(root.iter("failure"))
        self.assertEqual((str(len(cases)), str(len(failures))), (root.get("tests"), root.get("failures")))
        failed = sorted(c.get("classname").removeprefix("calseal.audit.") for c in cases if c.find("failure") is not None)
        self.assertEqual(sorted(f["code"] for f in self.findings() if f["age"] != "gone"), failed)

    def check_csv(self):
        rows = list(csv.DictReader(io.StringIO(self.reports["csv"].read_bytes().decode(), newline="")))
        self.assertEqual(len(self.report["findings"]), len(rows))
        for row, finding in zip(rows, self.report["findings"]):
            self.assertEqual({k: harmless(v) for k, v in finding.items() if k not in ("fault", "healed")}, {k: row[k] for k in FIELDS - {"healed"}})
            self.assertEqual(finding.get("fault", {}).get("reason", ""), row["reason"])
        for line in self.reports["csv"].read_bytes().split(b"\r\n")[:-1]:
            self.assertTrue(line.startswith(b'"') and line.endswith(b'"'))

    def check_metrics(self):
        """Every line is a comment or one sample; each family is described once, before its samples."""
        described, samples = set(), {}
        for line in self.reports["prom"].read_text().splitlines():
            if match := re.fullmatch(r"# (HELP|TYPE) (calseal_audit_[a-z_]+) (.+)", line):
                described.add(match.group(1, 2))
                continue
            match = re.fullmatch(r'(calseal_audit_[a-z_]+)(\{[a-z]+="[a-z-]+"\})? ([0-9]+)', line)
            self.assertTrue(match, line)
            self.assertLessEqual({("HELP", match.group(1)), ("TYPE", match.group(1))}, described)
            self.assertNotIn(match.group(1) + (match.group(2) or ""), samples)
            samples[match.group(1) + (match.group(2) or "")] = int(match.group(3))
        self.assertEqual(int(self.report["clean"]), samples["calseal_audit_clean"])
        for key in ("files", "bytes", "bundles", "ledgers"):
            self.assertEqual(self.report[key], samples["calseal_audit_" + key])
        for severity in ("error", "warning", "note"):
            self.assertEqual(self.report[severity + "s"], samples[f'calseal_audit_findings{{severity="{severity}"}}'])
        by_code = collections.Counter(f["code"] for f in self.report["findings"] if f["age"] != "gone")
        self.assertEqual(by_code, {k.split('"')[1]: v for k, v in samples.items() if k.startswith("calseal_audit_findings_by_code")})

    def check_json_lines(self):
        lines = self.reports["jsonl"].read_text().splitlines()
        self.assertEqual({k: v for k, v in self.report.items() if k != "findings"}, json.loads(lines[0]))
        self.assertEqual(self.report["findings"], [json.loads(line) for line in lines[1:]])
        for finding in self.report["findings"]:
            self.assertLessEqual(FIELDS, set(finding))

    def test_every_format_tells_the_same(self):
        draw = random.Random(SEED)
        for count in (0, 1, 5, 9):
            self.bend(count, draw)
            self.audit(status=1 if count else 0)
            self.assertEqual(bool(count), bool(self.findings()), f"CALSEAL_SEED={SEED}")
            self.check_junit()
            self.check_csv()
            self.check_json_lines()
            self.check_metrics()
            text = self.reports["txt"].read_text()
            for finding in self.findings():
                self.assertIn(f"{finding['code']}  {finding['path']}", text)

    def test_no_name_is_a_formula(self):
        names = ["=1+1.calseal", "+1.calseal", "-1.calseal", "@a.calseal"]
        for name in names:
            self.archive.at(name).write_bytes(b"no bundle")
        self.audit(status=1)
        self.check_csv()
        rows = list(csv.DictReader(io.StringIO(self.reports["csv"].read_bytes().decode(), newline="")))
        self.assertEqual(sorted("'" + n for n in names), sorted(row["path"] for row in rows if row["severity"] != "note"))

    def test_what_is_new_gone_and_still_there(self):
        draw = random.Random(SEED)
        self.audit("--record", self.archive.record, status=0)
        bundles = draw.sample(self.archive.paths(".calseal"), 3)
        for path in bundles[:2]:
            self.archive.at(path).unlink()
        self.audit("--record", self.archive.root / "second.record", "--since", self.archive.record, status=1)
        self.assertEqual({"new"}, {f["age"] for f in self.findings()})
        second = self.reports["jsonl"].read_bytes()
        (self.archive.root / "second.jsonl").write_bytes(second)
        self.archive.at(bundles[0]).write_bytes((self.archive.mirror / bundles[0]).read_bytes())
        self.archive.at(bundles[2]).unlink()
        for since in ("second.record", "second.jsonl"):
            self.audit("--since", self.archive.root / since, status=1)
            self.assertEqual({bundles[0]: "gone", bundles[1]: "still-there", bundles[2]: "new"},
                             {f["path"]: f["age"] for f in self.findings() if f["code"] == "missing"}, f"{since}, CALSEAL_SEED={SEED}")
            self.check_junit()
        for path in bundles[1:]:
            self.archive.at(path).write_bytes((self.archive.mirror / path).read_bytes())
        self.audit("--since", self.archive.root / "second.record", status=0)
        self.assertEqual({"gone"}, {f["age"] for f in self.findings()})

    def test_partial_copies_are_named_and_only_healed_when_asked(self):
        path = self.archive.paths("r2.calseal")[0]
        self.archive.at(path).unlink()
        before = desk.files_of(self.archive.archive)
        report = self.audit("--mirror", self.archive.mirror, status=1)
        self.assertEqual([str(self.archive.mirror / path)], [f["copy"] for f in report["findings"] if f["code"] == "missing"])
        self.assertEqual(before, desk.files_of(self.archive.archive))

    def test_a_copy_is_found_wherever_it_lies_and_a_bad_one_is_not_taken(self):
        draw = random.Random(SEED)
        for turn, path in enumerate(draw.sample(self.archive.paths(".calseal"), 6)):
            good = (self.archive.mirror / path).read_bytes()
            (self.archive.mirror / path).unlink()
            bad = bytearray(good)
            bad[draw.randrange(len(bad))] ^= 1
            (self.archive.mirror / path).write_bytes(bad)
            self.archive.at(path).unlink()
            self.audit("--mirror", self.archive.mirror, "--heal", status=1)
            self.assertFalse(self.archive.at(path).exists(), f"a damaged copy was taken, CALSEAL_SEED={SEED}")
            odd = self.archive.mirror / f"elsewhere/{turn}/{'other name'}"
            odd.parent.mkdir(parents=True)
            odd.write_bytes(good)
            self.audit("--mirror", self.archive.mirror, "--heal", status=1)
            self.assertEqual(good, self.archive.at(path).read_bytes(), f"CALSEAL_SEED={SEED}")
            self.audit(status=0)

    def test_the_table_of_findings_is_that_of_the_docs(self):
        table = desk.run(desk.CALSEAL, "audit", "findings", "--markdown", status=0).stdout.decode()
        self.assertIn(table, (HERE.parents[1] / "docs/audit.md").read_text())
        listed = json.loads(desk.run(desk.CALSEAL, "audit", "findings", "--json", status=0).stdout)["findings"]
        self.assertEqual(len(listed), len({f["code"] for f in listed}))
        self.assertEqual(len(listed), table.count("\n| `"))


if __name__ == "__main__":
    unittest.main()
