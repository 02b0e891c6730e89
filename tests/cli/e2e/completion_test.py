"""Completion in three shells, from the same declarations as --help: every command and option occurs, the shells take the scripts, and
what they offer is what --help names. A shell that is not installed is left out."""

import os
import pathlib
import re
import shutil
import subprocess
import tempfile
import unittest

from desk import CALSEAL

# What zsh's completion functions would be asked to offer, printed instead.
ZSH = """
compdef() {}; compset() {}; compadd() { shift; print -rl -- "$@"; }; _message() { print -r -- "message $1"; }
_files() { print -r -- "files $*"; }
_describe() { print -rl -- ${(P)2%%:*}; }
source $1; shift
words=("$@"); CURRENT=$#words
_calseal
"""


def run(*words, **options):
    return subprocess.run([str(word) for word in words], capture_output=True, check=True, text=True, **options).stdout


def installed(*shells):
    return [shell for shell in shells if shutil.which(shell)]


def pages(*path):
    """Every command, and the options that its --help names."""
    options, below, found = [], False, []
    for line in run(CALSEAL, *path, "--help").splitlines():
        if line.endswith(":") and not line.startswith(" "):
            below = line not in ("Positionals:", "Options:", "Examples:")
        elif below and re.match("  [a-z]", line):
            found += pages(*path, line.split()[0])
        elif not below and (names := re.match(r"  (?:-\w,)?--([a-z-]+)", line)):
            options.append(names[1])
    return [(path, options), *found]


class Completion(unittest.TestCase):
    @classmethod
    def setUpClass(cls):
        cls.holder = tempfile.TemporaryDirectory(prefix="calseal-completion-")
        cls.scripts = {}
        for shell in ("bash", "zsh", "fish"):
            cls.scripts[shell] = pathlib.Path(cls.holder.name) / shell
            cls.scripts[shell].write_text(run(CALSEAL, "completion", shell))
        cls.pages = pages()

    @classmethod
    def tearDownClass(cls):
        cls.holder.cleanup()

    def complete(self, shell, *words):
        script = self.scripts[shell]
        if shell == "zsh":
            return run("zsh", "-fc", ZSH, "zsh", script, *words).splitlines()
        # fish looks for the program, and for its own files in HOME.
        env = dict(os.environ, HOME=self.holder.name, PATH=f"{pathlib.Path(CALSEAL).parent}:{os.environ['PATH']}")
        line = " ".join(words)
        told = run("fish", "--no-config", "-c", f"source {script}; complete -C '{line}'", env=env, cwd=self.holder.name)
        return [row.split("\t")[0] for row in told.splitlines()]

    def test_shells_take_the_scripts(self):
        for shell in installed("bash", "zsh", "fish"):
            self.assertEqual(run(shell, "-n", self.scripts[shell]), "")

    def test_every_command_and_option_occurs(self):
        self.assertGreater(len(self.pages), 60)
        bash, zsh, fish = (self.scripts[shell].read_text().splitlines() for shell in ("bash", "zsh", "fish"))
        for path, options in self.pages:
            name = " ".join(("calseal", *path))
            for script, start in ((bash, f"    '{name}') echo '"), (zsh, f"    '{name}') words_here=(")):
                text = " ".join(line for line in script if line.startswith(start))
                for option in options:
                    self.assertRegex(text, rf"--{option}[ ':]", name)
            text = [line for line in fish if f'= "{name}"\' ' in line]
            for option in options:
                self.assertTrue(any(f" -l {option} " in line for line in text), f"{name} --{option}")
            if path:
                above = " ".join(("calseal", *path[:-1]))
                self.assertTrue(any(f'= "{above}"\' -f -a {path[-1]} ' in line for line in fish), name)

    def test_they_offer_what_fits(self):
        for shell in installed("zsh", "fish"):
            self.assertIn("withdraw", self.complete(shell, "calseal", "withdr"))
            self.assertIn("pin-head", self.complete(shell, "calseal", "shop", "pin-"))
            self.assertNotIn("withdraw", self.complete(shell, "calseal", "shop", ""))
            self.assertEqual(self.complete(shell, "calseal", "seal", "--payload", ""), ["areas", "full"])
            self.assertIn("--base-bundle", self.complete(shell, "calseal", "seal", "--key", "author.key", "--ba"))

    def test_files_and_folders_are_the_shells_own(self):
        (pathlib.Path(self.holder.name) / "folder").mkdir()
        expected = {"zsh": (["files "], ["files -/"]), "fish": (["bash", "fish", "folder/"], ["folder/"])}
        for shell in installed("zsh", "fish"):
            files, folders = expected[shell]
            self.assertLessEqual(set(files), set(self.complete(shell, "calseal", "seal", "--key", "")))
            self.assertLessEqual(set(files), set(self.complete(shell, "calseal", "check", "")))
            self.assertEqual([name for name in self.complete(shell, "calseal", "evidence", "--ledger", "") if name[0] != "."], folders)


if __name__ == "__main__":
    unittest.main()
