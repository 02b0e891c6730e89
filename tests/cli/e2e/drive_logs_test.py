"""Drive logs as loggers write them: a table of files in the manner of real ones (all invented), each read right or kept with the reason
why it was not; and a large one in bounded memory. Encodings are made by Python's codecs, which know nothing of ours."""

import hashlib
import json
import pathlib
import subprocess
import unittest

from desk import CALSEAL, SANITIZED
from job_desk import JobDesk

SUPPORT = pathlib.Path(__file__).resolve().parents[2] / "support"


def facts(rows, columns, column, unit, first, last, encoding="utf-8", separator="comma", gaps=0, longest=""):
    return {"rows": rows, "columns": columns, "time_column": column, "unit": unit, "first": first, "last": last, "gaps": gaps,
            "longest_gap": longest, "encoding": encoding, "separator": separator}


# name: text, Python's name of its encoding, what it says; a text in place of facts: why it is kept unread.
LOGS = {
    "plain": ("Time (s),Speed (1/min),Load (%)\n0.00,850,22\n0.05,853,22\n0.10,855,23\n", "utf-8", facts(3, 3, "Time (s)", "s", "0.00", "0.10")),
    "quoted-crlf": ('"Time [ms]","Speed, filtered"\r\n"0","850"\r\n"50","853"\r\n', "utf-8", facts(2, 2, "Time [ms]", "ms", "0", "50")),
    "spreadsheet-german": ("Zeit (s);Drehzahl (1/min);Öltemperatur (°C)\r\n0,00;850;91,5\r\n0,05;853;91,5\r\n2,05;853;91,5\r\n", "cp1252",
                           facts(3, 3, "Zeit (s)", "s", "0,00", "2,05", "windows-1252", "semicolon")),
    "spreadsheet-unicode": ("Time (s)\tSpeed\tTemp °C\r\n0.0\t850\t91\r\n0.1\t851\t91\r\n", "utf-16", facts(2, 3, "Time (s)", "s", "0.0", "0.1", "utf-16", "tab")),
    "utf-16-big-no-mark": ("time_ms;rpm\n0;850\n20;851\n40;851\n", "utf-16-be", facts(3, 2, "time_ms", "ms", "0", "40", "utf-16", "semicolon")),
    "byte-order-mark": ("Timestamp (sec),rpm\n1.5,850\n1.6,851\n", "utf-8-sig", facts(2, 2, "Timestamp (sec)", "s", "1.5", "1.6")),
    "comments-and-units": ("# Logger 2.1, invented\n# Car: blue estate\n\nTime;Engine speed;Torque\ns;1/min;Nm\n0,000;850;45\n0,020;851;45\n", "utf-8",
                           facts(2, 3, "Time", "s", "0,000", "0,020", "utf-8", "semicolon")),
    "units-in-brackets": ("Session 4\nOperator: nobody\nTime,Speed\n[ms],[1/min]\n0,850\n10,851\n20,852\n30,852\n500,852\n", "utf-8",
                          facts(5, 2, "Time", "ms", "0", "500", gaps=1, longest="0.470")),
    "iso-with-offset": ("timestamp,rpm\n2026-05-01T13:02:11.250+02:00,850\n2026-05-01T13:02:11.300+02:00,851\n", "utf-8",
                        facts(2, 2, "timestamp", "date", "2026-05-01T13:02:11.250+02:00", "2026-05-01T13:02:11.300+02:00")),
    "local-dotted": ("Uhrzeit;Drehzahl\n01.05.2026 23:59:59,9;850\n02.05.2026 00:00:00,0;851\n", "utf-8",
                     facts(2, 2, "Uhrzeit", "date", "01.05.2026 23:59:59,9", "02.05.2026 00:00:00,0", "utf-8", "semicolon")),
    "local-slashes": ("Time,rpm\n5/1/2026 1:02:11 PM,850\n5/1/2026 1:02:12 PM,851\n", "utf-8",
                      facts(2, 2, "Time", "date", "5/1/2026 1:02:11 PM", "5/1/2026 1:02:12 PM")),
    "date-and-clock-apart": ("Date,Time,rpm\n2026-05-01,23:59:59.5,850\n2026-05-02,00:00:00.0,851\n2026-05-02,00:00:00.5,851\n", "utf-8",
                             facts(3, 3, "Time", "clock", "23:59:59.5", "00:00:00.5")),
    "since-the-start": ("Elapsed time;rpm\n00:00.000;850\n00:00.100;851\n01:00.100;851\n00:60.100;851\n", "utf-8",
                        "line 5: time \"00:60.100\"; expected a number, a time of day or a date with one"),
    "milliseconds-since-1970": ("time (ms),rpm\n1777640531250,850\n1777640531300,851\n", "utf-8", facts(2, 2, "time (ms)", "ms", "1777640531250", "1777640531300")),
    "microseconds": ("time_us,rpm,\n0,850,\n10000,851,\n20000,851,\n", "ascii", facts(3, 3, "time_us", "us", "0", "20000")),
    "cut-off": ("Time (s),rpm,load\n0.0,850,10\n0.1,851,11\n0.2,85", "utf-8", facts(2, 3, "Time (s)", "s", "0.0", "0.1")),
    "blank-lines": ("\n\nTime (s)\trpm\n\n0.0\t850\n\n0.1\t851\n\n", "utf-8", facts(2, 2, "Time (s)", "s", "0.0", "0.1", separator="tab")),
    "no-unit": ("Time,rpm\n0,850\n1,851\n", "utf-8", "line 1, Time: no unit; expected us, ms, s or min, as in \"Time (s)\""),
    "no-time": ("rpm,load\n850,22\n", "utf-8", "line 2: no header with a column of time so far; expected one of two columns or more, one of them called time or timestamp"),
    "begins-anew": ("Time (s),rpm\n0.0,850\n9.0,851\n0.0,850\n", "utf-8", "line 4: time 0.0 after 9.0; expected time that never runs backwards"),
    "two-marks": ("Time (s);rpm\n0,5;850\n1.5;851\n", "utf-8", "line 3: time \"1.5\"; expected a time written like 0,5"),
    "month-or-day": ("Time,rpm\n5/1/2026 10:00:00,850\n5/2/2026 11:00:00,851\n", "utf-8",
                     "line 3: time \"5/2/2026 11:00:00\"; expected the same date: which number is the month cannot be told"),
    "summer-time-ends": ("timestamp,rpm\n2026-10-25 02:59:59,850\n2026-10-25 02:00:00,851\n", "utf-8",
                         "line 3: time 2026-10-25 02:00:00 after 2026-10-25 02:59:59; expected time that never runs backwards"),
    "an-archive": ("PK\x03\x04\x14\x00\x00\x00" + "\x00" * 60, "latin-1", "line 1: a control character; expected text"),
    "another-width": ("Time (s),rpm\n0.0,850\n0.1,851,7\n", "utf-8", "line 3: 3 fields; expected 2 fields, as in the header"),
}


class DriveLogs(unittest.TestCase):
    @classmethod
    def setUpClass(cls):
        cls.desk = JobDesk.with_revision()

    @classmethod
    def tearDownClass(cls):
        cls.desk.close()

    def test_each_is_read_right_or_kept_with_the_reason(self):
        self.assertGreaterEqual(len(LOGS), 15)
        for name, (text, encoding, expected) in LOGS.items():
            with self.subTest(name):
                data = text.encode(encoding)
                path = self.desk.put(name + ".log", data)
                attached = self.desk.job("log", path)
                log = attached["event"]["log"]
                if isinstance(expected, str):
                    self.assertEqual(log, {"unread": expected, "by": "nothing"})
                else:
                    self.assertEqual(log, {**expected, "by": "nothing"})
                kept = pathlib.Path(self.desk.folder, attached["event"]["file"])
                self.assertEqual(kept.read_bytes(), data)
                self.assertEqual(attached["event"]["digest"], hashlib.sha256(data).hexdigest())
                self.assertTrue(self.desk.job("log", path)["was_there"])
        status = self.desk.must(CALSEAL, "job", "status", self.desk.folder).stdout.decode()
        self.assertIn("not measured; counts as no revision's", status)

    def test_what_was_kept_unread_is_measured_once_it_is_said_how(self):
        path = self.desk.put("later.log", LOGS["no-unit"][0].replace("850", "860").encode())
        self.assertIn("unread", self.desk.job("log", path)["event"]["log"])
        again = self.desk.job("log", path, "--time-unit", "s")
        self.assertFalse(again["was_there"])
        self.assertEqual(again["event"]["log"]["rows"], 2)
        # What was said and does not fit is a mistake, and nothing is noted.
        before = pathlib.Path(self.desk.folder, "events.jsonl").read_bytes()
        for words in (["--time-column", "Zeit"], ["--separator", "tab"]):
            self.assertEqual(self.desk.job("log", path, *words, status=1)["reason"], "log-malformed")
        self.assertEqual(pathlib.Path(self.desk.folder, "events.jsonl").read_bytes(), before)

    def test_a_mark_in_a_comment_or_in_another_encoding_names_the_revision(self):
        for name, data in (("comment", b"# software: R1-00111\nTime (s);rpm\n0,0;850\n"),
                           ("wide", "Time (s)\tmark\r\n0.0\tR1-00111\r\n0.1\tR1-00111\r\n".encode("utf-16"))):
            log = self.desk.job("log", self.desk.put(name + ".log", data))["event"]
            self.assertEqual((log["revision"], log["log"]["by"]), (1, "revision-mark"))

    @unittest.skipIf(SANITIZED, "the sanitizers take memory of their own")
    def test_two_hundred_megabytes_in_bounded_memory(self):
        path = self.desk.root / "large.log"
        row = ";".join(["850,25"] * 24)
        with open(path, "w", encoding="cp1252") as out:
            out.write("Zeit (s);" + ";".join(f"Kanal {i} (°)" for i in range(24)) + "\n")
            for block in range(120):
                out.write("".join(f"{(block * 10000 + i) // 50},{(block * 10000 + i) % 50 * 2:02};{row}\n" for i in range(10000)))
        self.assertGreater(path.stat().st_size, 200_000_000)
        measure = str(self.desk.root / "peak_memory")
        subprocess.run(["cc", "-O1", "-Wall", "-Werror", "-o", measure, SUPPORT / "peak_memory.c"], check=True)
        done = self.desk.run(measure, CALSEAL, "job", "log", self.desk.folder, str(path), "--json")
        peak = int(done.stderr.decode().splitlines()[-1])
        log = json.loads(done.stdout)["event"]["log"]
        self.assertEqual((log["rows"], log["gaps"], log["unit"], log["encoding"]), (1_200_000, 0, "s", "windows-1252"))
        self.assertLess(peak, 64 << 10)  # KiB
        print(f"peak of a log of {path.stat().st_size >> 20} MiB: {peak >> 10} MiB")


if __name__ == "__main__":
    unittest.main()
