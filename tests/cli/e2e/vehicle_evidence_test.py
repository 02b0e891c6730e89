"""Evidence and report of a whole vehicle: one folder of evidence for each controller, the sets and the hand-overs, and a stranger who runs
the commands of VERIFY.txt as they stand there; the page that tells each controller's story and who is whose partner."""

import os
import pathlib
import random
import shutil
import unittest

import days
import evidence_test
from days_model import clock
from days_vehicle import KINDS
from desk import CALSEAL

SEED = int(os.environ.get("CALSEAL_SEED") or random.SystemRandom().randrange(1 << 31))
NAMES = ("engine", "transmission")


class Vehicle(unittest.TestCase):
    @classmethod
    def setUpClass(cls):
        cls.shop = shop = days.Shop()
        cls.made = shop.root / "oak"
        reads = [f"{name}.{memory}={shop.put(memory, data)}" for name in NAMES for memory, data in KINDS[name].first]
        shop.json(CALSEAL, "job", "new", *reads, "--regions", shop.maps, "--vehicle", "blue estate", *shop.sealing(0), "-o", cls.made)
        for fact in ("sent", "acknowledged"):
            shop.json(CALSEAL, "job", "note", cls.made, fact, "--detail", "mail", "--time", clock(1))
        edits = []
        for name in NAMES:
            kind = KINDS[name]
            edits.append(f"{name}.{kind.memory}={shop.put('edit-' + name, kind.edit(dict(kind.first), 4, bytes([7, 200]))[kind.memory])}")
        shop.json(CALSEAL, "job", "send", cls.made, *edits, "--write-order", "transmission,engine", *shop.sealing(1))
        cls.bin = shop.root / "stranger"
        cls.bin.mkdir()
        for name in ("sh", "sha256sum", "openssl", "python3", "head", "tr", "sed", "cut", "mktemp", "test", "cat"):
            os.symlink(shutil.which(name) if name != "python3" else "/usr/bin/python3", cls.bin / name)

    @classmethod
    def tearDownClass(cls):
        cls.shop.close()

    def setUp(self):
        name = self.id().rsplit(".", 1)[-1]
        self.folder = self.shop.root / (name + "-job")
        self.out = self.shop.root / name
        shutil.copytree(self.made, self.folder)

    def make(self, *more, status=0):
        return self.shop.json(CALSEAL, "evidence", self.folder, "--trust", self.shop.at("shop.trust"), "-o", self.out, *more, status=status)

    def report(self, folder, status=0):
        page = self.shop.root / "page.html"
        done = self.shop.json(CALSEAL, "report", folder, "--trust", self.shop.at("shop.trust"), "-o", page, status=status)
        text = page.read_text()
        evidence_test.Closed(text)
        return done["report"], text

    def verified(self):
        return evidence_test.verified(self.out, str(self.bin))

    def identities(self, number):
        """By the status, which knows nothing of reports."""
        state = self.shop.json(CALSEAL, "job", "status", self.made)
        return {one["controller"]: one["bases"][0]["revisions"][number]["identity"] for one in state["controllers"]}

    def test_each_controller_the_set_and_the_hand_overs(self):
        made = self.make()
        self.assertEqual((made["calseal"], made["job"], made["vehicle_reference"], made["findings"]), ("evidence-vehicle/1", "oak", "blue estate", []))
        self.assertEqual([one["folder"] for one in made["controllers"]], ["controllers/engine", "controllers/transmission"])
        for one in made["controllers"]:
            self.assertEqual((one["evidence"]["bundles"], one["evidence"]["findings"]), (2, []))
        (one,) = made["sets"]
        self.assertEqual((one["write_order"], [member["controller"] for member in one["members"]]), (["transmission", "engine"],) * 2)
        self.assertEqual({member["controller"]: member["identity"] for member in one["members"]}, self.identities(1))
        for member in one["members"]:
            self.assertEqual((self.out / member["file"]).read_bytes(), (self.made / member["controller"] / "base-1/r1.calseal").read_bytes())
        self.assertEqual({(handed["file"], handed["kept_as"]) for handed in made["handed"]},
                         {(f"job/handover-{n + 1}/{name}-r{n}.calseal", f"controllers/{name}/job/base-1/r{n}.calseal") for name in NAMES for n in (0, 1)})
        self.assertIsNone(self.verified())
        self.assertEqual(made["files"], sum(1 for path in self.out.rglob("*") if path.is_file()))
        for path in self.folder.rglob("*"):
            within = path.relative_to(self.folder)
            kept = self.out / "controllers" / within.parts[0] / "job" / pathlib.Path(*within.parts[1:]) if within.parts[0] in NAMES else self.out / "job" / within
            if path.is_file() and path.name != "job.salt":
                self.assertEqual(path.read_bytes(), kept.read_bytes(), within)
        self.assertEqual(list(self.out.rglob("job.salt")), [])
        page = (self.out / "evidence.html").read_text()
        evidence_test.Closed(page)
        readme = (self.out / "README.txt").read_text()
        for identity in self.identities(1).values():
            self.assertIn(identity, page)
            self.assertIn(identity, readme)
        self.assertIn("transmission, then engine; the vehicle must not be driven in between", " ".join(readme.split()))

    def test_a_controller_can_be_handed_on_alone(self):
        self.make()
        alone = self.shop.root / "alone"
        shutil.copytree(self.out / "controllers/engine", alone)
        shutil.rmtree(self.out)
        self.assertIsNone(evidence_test.verified(alone, str(self.bin)))

    def test_every_change_is_seen_without_the_list_too(self):
        self.make()
        draw = random.Random(SEED)
        names = [str(path.relative_to(self.out)) for pattern in ("job/handover-*/*.calseal", "controllers/*/job/base-1/*.calseal", "controllers/*/trust/shop.trust")
                 for path in sorted(self.out.glob(pattern))]
        self.assertEqual(len(names), 10)
        for name in names:
            path = self.out / name
            data = path.read_bytes()
            bent = bytearray(data)
            bent[draw.randrange(len(bent))] ^= 1 << draw.randrange(8)
            path.write_bytes(bent)
            lists = [one for one in (self.out / "SHA256SUMS", *self.out.glob("controllers/*/SHA256SUMS"))]
            texts = [one.read_text() for one in lists]
            for one in lists:
                # Whoever changes a file makes every list anew.
                one.write_text("")
            self.assertIsNotNone(self.without_lists(), f"{name}, CALSEAL_SEED={SEED}")
            for one, text in zip(lists, texts):
                one.write_text(text)
            self.assertIsNotNone(self.verified(), f"{name}, CALSEAL_SEED={SEED}")
            path.write_bytes(data)
        self.assertIsNone(self.verified())
        self.assertIsNone(self.without_lists())

    def without_lists(self):
        """VERIFY.txt but for the commands that use a list of digests."""
        texts = {path: path.read_text() for path in (self.out / "VERIFY.txt", *self.out.glob("controllers/*/VERIFY.txt"))}
        for path, text in texts.items():
            path.write_text(text.replace("$ sha256sum --quiet -c SHA256SUMS", "$ true"))
        done = self.verified()
        for path, text in texts.items():
            path.write_text(text)
        return done

    def test_names_of_files_are_no_commands(self):
        for name in ("it's $(touch x)", "new\nline\n", "-n", "back\\slash `touch x`", "\x1b[31mred\u202e", "$ false\n$ false"):
            shutil.copy(self.folder / "engine/base-1/r1.calseal", self.folder / f"handover-2/{name}")
            shutil.copy(self.folder / "engine/base-1/r1.calseal", self.folder / f"engine/base-1/{name}")
        shutil.copy(os.fsencode(self.folder / "engine/base-1/r1.calseal"), os.fsencode(self.folder) + b"/handover-2/\xff\xfe")
        odd = self.folder / "it's $(touch x)\n$ false"
        shutil.copytree(self.folder / "engine", odd)
        made = self.make(status=1)
        self.assertEqual(len(made["controllers"]), 3)
        before = sorted(self.out.rglob("*"))
        self.assertIsNone(self.verified())
        self.assertEqual(before, sorted(self.out.rglob("*")))
        for path in self.out.rglob("VERIFY.txt"):
            self.assertTrue(all(32 <= byte < 127 or byte == 10 for byte in path.read_bytes()), path)

    def test_a_link_is_not_followed(self):
        os.symlink(self.made / "engine", self.folder / "spare")
        made = self.make(status=1)
        self.assertEqual([one["folder"] for one in made["controllers"]], ["controllers/engine", "controllers/transmission"])
        self.assertIn("spare", made["left_out"])

    def test_a_lost_vehicle_file_is_evidence_too(self):
        (self.folder / "vehicle.json").unlink()
        made = self.make(status=1)
        self.assertEqual((made["job"], len(made["controllers"]), made["sets"]), ("", 2, []))
        self.assertIn("Which vehicle this is", " ".join(one["what"] for one in made["unknown"]))
        self.assertIsNone(self.verified())

    def test_a_set_that_lacks_a_member(self):
        (self.folder / "transmission/base-1/r1.calseal").unlink()
        shutil.rmtree(self.folder / "handover-2")
        made = self.make(status=1)
        self.assertIn("set-incomplete", [finding["code"] for finding in made["findings"]])
        self.assertEqual([bool(member["identity"]) for member in made["sets"][0]["members"]], [False, True])
        self.assertIn("Not in these commands, because a member is not here", (self.out / "VERIFY.txt").read_text())
        self.assertIsNone(self.verified())

    def test_a_bundle_that_stands_in_a_hand_over_alone(self):
        (self.folder / "engine/base-1/r1.calseal").unlink()
        made = self.make(status=1)
        self.assertIn({"file": "job/handover-2/engine-r1.calseal", "kept_as": ""}, made["handed"])
        self.assertIsNone(self.verified())
        bundle = self.out / "job/handover-2/engine-r1.calseal"
        data = bytearray(bundle.read_bytes())
        data[len(data) // 2] ^= 1
        bundle.write_bytes(data)
        self.assertIsNotNone(self.without_lists())

    def test_a_partner_of_another_set_is_seen(self):
        """Both bundles are sound; only together they are not what the set says."""
        self.make()
        commands = [line for line in (self.out / "VERIFY.txt").read_text().splitlines() if "by-hand/set.py" in line]
        self.assertEqual(len(commands), 1)
        text = (self.out / "VERIFY.txt").read_text()
        (self.out / "VERIFY.txt").write_text(text.replace("engine/job/base-1/r1.calseal", "engine/job/base-1/r0.calseal"))
        self.assertIsNotNone(self.without_lists())

    def test_never_over_something_nor_inside(self):
        self.out.mkdir()
        self.assertEqual("output-exists", self.make(status=2)["reason"])
        self.out = self.folder / "inside"
        self.assertEqual("usage", self.make(status=2)["reason"])
        self.assertFalse(self.out.exists())

    def test_the_page_of_a_vehicle(self):
        summary, page = self.report(self.folder)
        self.assertEqual((summary["kind"], summary["controllers"], summary["sets"], summary["findings"]), ("vehicle", list(NAMES), 1, 0))
        self.assertEqual(len(summary["next"]), len(self.shop.json(CALSEAL, "job", "next", self.folder)["next"]))
        identities = self.identities(1)
        order = [page.index(identities[name]) for name in ("transmission", "engine")]
        self.assertEqual(order, sorted(order))
        for words in ("ALL SEALS HOLD", "engine: Bases and revisions", "transmission: The story", "to be written: transmission, then engine"):
            self.assertIn(words, page)

    def test_the_page_of_one_controller_names_its_partners(self):
        partner = self.identities(1)["transmission"]
        summary, page = self.report(self.folder / "engine")
        self.assertEqual(summary["kind"], "job")
        self.assertIn(partner, page)
        self.assertIn("to be written: transmission, then engine", page)
        alone = self.shop.root / "engine-alone"
        shutil.copytree(self.folder / "engine", alone)
        page = self.report(alone)[1]
        self.assertNotIn(partner, page)
        self.assertIn("sequence 2", page)
        self.assertIn("to be written: transmission, then engine", page)

    def test_findings_of_the_vehicle_are_on_its_page(self):
        (self.folder / "transmission/base-1/r1.calseal").unlink()
        summary, page = self.report(self.folder, status=1)
        self.assertEqual(summary["findings"], self.count())
        self.assertIn("FINDING", page)
        for code in ("set-incomplete", "bundle-missing"):
            self.assertIn(code, page)

    def count(self):
        state = self.shop.json(CALSEAL, "job", "status", self.folder, "--trust", self.shop.at("shop.trust"), status=1)
        return len(state["findings"]) + sum(len(one["findings"]) for one in state["controllers"])


if __name__ == "__main__":
    unittest.main()
