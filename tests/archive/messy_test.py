#!/usr/bin/env python3
"""Faults in an archive as it lies on a real disk, with and without a record: none is called Clean, none is told of another place.

CALSEAL_SEED gives a run back; CALSEAL_MESSY draws more.
"""

import os
import random
import unittest

import messy

SEED = int(os.environ.get("CALSEAL_SEED") or random.SystemRandom().randrange(1 << 31))
COUNT = int(os.environ.get("CALSEAL_MESSY") or 42)  # every kind of fault about twice


class Messy(unittest.TestCase):
    def test_what_is_harmful_is_found_and_nothing_else(self):
        wrong, counts = messy.try_many(range(SEED, SEED + COUNT))
        self.assertEqual([], wrong, f"CALSEAL_SEED={SEED}: {counts.text()}")
        self.assertEqual(counts["harmful"], counts["named"])
        self.assertGreater(counts["harmful"], COUNT // 2)


if __name__ == "__main__":
    unittest.main()
