#!/usr/bin/env python3
"""At least 300 seeded faults in archives: every one found, named rightly and healed to the byte; nothing on an untouched one.

CALSEAL_SEED gives a run back; CALSEAL_FAULTS draws more.
"""

import concurrent.futures
import os
import random
import unittest

import faults

SEED = int(os.environ.get("CALSEAL_SEED") or random.SystemRandom().randrange(1 << 31))
COUNT = int(os.environ.get("CALSEAL_FAULTS") or 300)


class SeededFaults(unittest.TestCase):
    def test_every_fault_is_found_named_and_healed(self):
        proved = COUNT * 2 // 3
        draws = [(proved // 2, SEED, "proved"), (proved - proved // 2, SEED + 1, "proved"), (COUNT - proved, SEED + 2, "stored")]
        with concurrent.futures.ThreadPoolExecutor(2) as pool:
            wrong = sum(pool.map(lambda draw: faults.try_many(*draw, 3), draws), [])
        self.assertEqual([], wrong, f"CALSEAL_SEED={SEED}")

    def test_every_kind_of_fault_is_drawn(self):
        archive = faults.desk.Archive(1)
        try:
            kinds = len(faults.Faults(archive, SEED).kinds)
        finally:
            archive.close()
        self.assertGreater(kinds, 20)
        self.assertGreaterEqual(COUNT // 3, kinds)


if __name__ == "__main__":
    unittest.main()
