"""What `cmake --install` puts down is used as others would use it: from C and C++ by find_package, by pkg-config, by man and by bash.

usage: install_test.py BUILD SOURCE
"""

import gzip
import os
import pathlib
import re
import subprocess
import sys
import tempfile
import unittest

BUILD, SOURCE = pathlib.Path(sys.argv[1]), pathlib.Path(sys.argv[2])


def run(*words, **options):
    done = subprocess.run([str(w) for w in words], capture_output=True, text=True, check=False, **options)
    if done.returncode != 0:
        raise AssertionError(f"{' '.join(map(str, words))}: exit {done.returncode}\n{done.stdout}{done.stderr}")
    return done.stdout


class Installed(unittest.TestCase):
    @classmethod
    def setUpClass(cls):
        cls.holder = tempfile.TemporaryDirectory(prefix="calseal-install-")
        cls.at = pathlib.Path(cls.holder.name)
        run("cmake", "--install", BUILD, "--prefix", cls.at / "usr")
        cls.usr = cls.at / "usr"
        cls.library = next(cls.usr.glob("lib/**/libcalseal.so.0")).parent

    @classmethod
    def tearDownClass(cls):
        cls.holder.cleanup()

    def test_programs_run(self):
        for program in ("calseal", "calseal-check"):
            self.assertRegex(run(self.usr / "bin" / program, "--version"), rf"^{program} \d+\.\d+\.\d+\n$")

    def test_the_checker_needs_no_library(self):
        self.assertIn("static-pie linked", run("file", self.usr / "bin/calseal-check"))

    def test_find_package_gives_both_libraries(self):
        run("cmake", "-S", SOURCE / "tests/packages/consumer", "-B", self.at / "consumer", f"-DCMAKE_PREFIX_PATH={self.usr}")
        run("cmake", "--build", self.at / "consumer")
        environment = dict(os.environ, LD_LIBRARY_PATH=str(self.library))
        version = run(self.usr / "bin/calseal", "--version").split()[1]
        self.assertEqual(run(self.at / "consumer/use_c", env=environment), version + "\n")
        # The check value of the catalogue of parametrised CRC algorithms for CRC-16/IBM-3740.
        self.assertEqual(run(self.at / "consumer/use_cpp", env=environment), "29b1 refused\n")

    def test_the_example_builds_against_what_is_installed(self):
        run("cmake", "-S", SOURCE / "tests/packages/consumer", "-B", self.at / "example", f"-DCMAKE_PREFIX_PATH={self.usr}",
            f"-DEXAMPLE={SOURCE / 'tests/api/example.cc'}")
        run("cmake", "--build", self.at / "example", "--target", "example")
        self.assertEqual(subprocess.run([self.at / "example/example"], check=False).returncode, 2)  # usage

    def test_only_the_interfaces_have_headers(self):
        page = (SOURCE / "docs/cpp-api.md").read_text()
        headers = {str(path.relative_to(self.usr / "include")) for path in self.usr.glob("include/**/*") if path.is_file()}
        self.assertEqual({header for header in headers if header.startswith("calseal/api/") and header not in page}, set())
        self.assertEqual(headers - {header for header in headers if header.startswith("calseal/api/")},
                         {"calseal/capi/calseal.h", "calseal/digest/crc.h", "calseal/digest/sha256.h", "calseal/base/bytes.h",
                          "calseal/base/reason.h", "calseal/base/reasons.inc", "calseal/base/result.h"})
        self.assertEqual(len(headers), 13)

    def test_pkg_config_gives_the_c_library(self):
        environment = dict(os.environ, PKG_CONFIG_PATH=str(self.library / "pkgconfig"))
        prefix = f"--define-variable=prefix={self.usr}"
        flags = run("pkg-config", prefix, "--cflags", "--libs", "calseal", env=environment).split()
        run("cc", SOURCE / "tests/packages/consumer/use_c.c", "-o", self.at / "by-hand", *flags)
        self.assertRegex(run(self.at / "by-hand", env=dict(os.environ, LD_LIBRARY_PATH=str(self.library))), r"^\d+\.\d+\.\d+\n$")

    def commands(self, *path):
        """Every command that --help names, by asking --help."""
        found = [path]
        below = False
        for line in run(self.usr / "bin/calseal", *path, "--help").splitlines():
            if line.endswith(":") and not line.startswith(" "):
                below = line not in ("Positionals:", "Options:", "Examples:")
            elif below and line.startswith("  ") and line[2] != " ":
                found += self.commands(*path, line.split()[0])
            elif line.startswith("Besides: "):
                found += [(*path, word) for word in re.findall("calseal ([a-z]+)", line)]
        return found

    def test_every_command_has_a_page_that_man_takes(self):
        pages = {p.name for p in (self.usr / "share/man/man1").iterdir()}
        commands = self.commands()
        self.assertGreater(len(commands), 30)
        self.assertEqual(pages, {"-".join(("calseal", *path)) + ".1.gz" for path in commands})
        for page in sorted(pages):
            text = gzip.decompress((self.usr / "share/man/man1" / page).read_bytes())
            done = subprocess.run(["groff", "-man", "-Tutf8", "-ww", "-z"], input=text, capture_output=True, check=False)
            self.assertEqual((done.returncode, done.stderr), (0, b""), page)

    def test_pages_say_what_help_says(self):
        text = gzip.decompress((self.usr / "share/man/man1/calseal-seal.1.gz").read_bytes()).decode().replace("\\-", "-")
        for line in run(self.usr / "bin/calseal", "seal", "--help").splitlines():
            if line.startswith("  --"):
                self.assertIn(line.split()[0], text)

    def test_every_shell_has_its_completion(self):
        for file, start in (("zsh/vendor-completions/_calseal", "#compdef calseal\n"), ("fish/vendor_completions.d/calseal.fish", "# fish completion")):
            self.assertTrue((self.usr / "share" / file).read_text().startswith(start), file)

    def complete(self, *words):
        script = self.usr / "share/bash-completion/completions/calseal"
        body = f'source {script}; COMP_WORDS=("$@"); COMP_CWORD=$(($# - 1)); _calseal; printf "%s\\n" "${{COMPREPLY[@]}}"'
        return run("bash", "-c", body, "bash", *words).split()

    def test_bash_completes(self):
        self.assertEqual(self.complete("calseal", "withdr"), ["withdraw"])
        self.assertEqual(self.complete("calseal", "shop", "pin-"), ["pin-head"])
        self.assertEqual(self.complete("calseal", "seal", "--payload", ""), ["areas", "full"])
        self.assertIn("--base-bundle", self.complete("calseal", "seal", "--ba"))
        self.assertEqual(self.complete("calseal", "seal", "--key", ""), [])  # a file: bash's own
        self.assertEqual(self.complete("calseal", "nonsense"), [])


if __name__ == "__main__":
    unittest.main(argv=sys.argv[:1])
