"""An archive that was made for a test, its mirror, and what an audit says of it."""

import json
import os
import pathlib
import shutil
import subprocess
import tempfile

CALSEAL = os.environ["CALSEAL"]
MAKE_ARCHIVE = os.environ["CALSEAL_MAKE_ARCHIVE"]
ASIDE = ".calseal-aside"


def run(*arguments, status=None, env=None):
    done = subprocess.run([str(a) for a in arguments], capture_output=True, env={**os.environ, **(env or {})})
    if status is not None and done.returncode != status:
        raise AssertionError(f"{arguments}: status {done.returncode}\n{done.stdout.decode()[-3000:]}\n{done.stderr.decode()[-3000:]}")
    return done


def files_of(folder):
    """Path -> bytes of every file, without calseal's own helps: what healing put aside, what a killed writer left."""
    folder = pathlib.Path(folder)
    return {str(p.relative_to(folder)): p.read_bytes() for p in sorted(folder.rglob("*"))
            if p.is_file() and not any(part.startswith(".calseal-") for part in p.relative_to(folder).parts)}


class Archive:
    def __init__(self, jobs=3, *options):
        self._scratch = tempfile.TemporaryDirectory(prefix="calseal-archive-")
        self.root = pathlib.Path(self._scratch.name)
        run(MAKE_ARCHIVE, self.root, "--jobs", jobs, "--forged", *options, status=0)
        self.archive = self.root / "archive"
        self.mirror = self.root / "mirror"
        shutil.copytree(self.archive, self.mirror)
        self.trust = self.root / "shop.trust"
        self.record = self.root / "before.record"
        self.forged = self.root / "forged"

    def close(self):
        self._scratch.cleanup()

    def audit(self, *more, status=None, env=None):
        return run(CALSEAL, "audit", self.archive, "--trust", self.trust, *more, status=status, env=env)

    def json(self, *more, status=None):
        return json.loads(self.audit(*more, "--json", status=status).stdout)

    def findings(self, *more, status=None):
        return [f for f in self.json(*more, status=status)["findings"] if f["severity"] != "note"]

    def restore(self):
        """Puts the archive back without calseal's help, where a test has left it otherwise."""
        shutil.rmtree(self.archive)
        shutil.copytree(self.mirror, self.archive)

    def at(self, path):
        return self.archive / path

    def paths(self, *suffixes):
        return [p for p in sorted(files_of(self.mirror)) if not suffixes or p.endswith(suffixes)]
