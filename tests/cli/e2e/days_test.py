"""A few random days (days.py), which agree with the model. CALSEAL_DAYS: how many (default 20); CALSEAL_SEED: the first one's seed."""

import collections
import os
import sys
import unittest

import days

COUNT = int(os.environ.get("CALSEAL_DAYS", "20"))
SEED = int(os.environ.get("CALSEAL_SEED", "1"))


class Days(unittest.TestCase):
    def test_every_day_agrees_with_the_model(self):
        shop, events = days.Shop(), collections.Counter()
        self.addCleanup(shop.close)
        for seed in range(SEED, SEED + COUNT):
            report = days.live(shop, seed, events)
            self.assertIsNone(report, f"CALSEAL_SEED={seed} CALSEAL_DAYS=1\n{report}")
        print(days.table(events), file=sys.stderr)
        if COUNT >= 20:
            labels = {label for label, _ in events}
            for label in ("send", "carry", "add", "handover", "two at once", "customer, refused"):
                self.assertIn(label, labels, "drawn at all")


if __name__ == "__main__":
    unittest.main()
