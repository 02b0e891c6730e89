"""calseal-check is one file that needs nothing, and none of the signing code is in it."""

import os
import subprocess
import unittest

from desk import CALSEAL, CALSEAL_CHECK


def output(*command):
    return subprocess.run(command, capture_output=True, text=True, check=True).stdout


def symbols(program):
    return output("nm", "-C", program)


SIGNING = ("calseal::seal(", "calseal::PrivateKey::", "calseal::sign_statement", "calseal::write_bundle", "calseal::seal_trust_file",
           "calseal::seal_private_pem", "calseal::make_salt", "calseal::obtain_passphrase", "calseal::wipe(")


@unittest.skipIf("__asan_init" in symbols(CALSEAL), "sanitizers need shared libraries")
class StaticChecker(unittest.TestCase):
    def test_needs_no_interpreter_and_no_library(self):
        segments = output("readelf", "--program-headers", "--wide", CALSEAL_CHECK)
        self.assertIn("LOAD", segments)
        self.assertNotIn("INTERP", segments)
        self.assertNotIn("NEEDED", output("readelf", "--dynamic", CALSEAL_CHECK))
        self.assertTrue(os.path.isfile(CALSEAL_CHECK) and not os.path.islink(CALSEAL_CHECK))

    def test_runs_in_an_empty_environment(self):
        done = subprocess.run([CALSEAL_CHECK, "--version"], env={}, capture_output=True, text=True, check=True)
        self.assertTrue(done.stdout.startswith("calseal-check "))

    def test_holds_no_signing_code(self):
        table = symbols(CALSEAL_CHECK)
        self.assertIn("calseal::check_bundle", table, "symbols are needed to judge")
        for name in SIGNING:
            self.assertNotIn(name, table)

    def test_the_names_are_the_right_ones(self):
        table = symbols(CALSEAL)
        for name in SIGNING:
            self.assertIn(name, table)


if __name__ == "__main__":
    unittest.main()
