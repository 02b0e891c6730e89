"""Two builds in different folders give the same bytes: the static checker and the C library, built once more from a copy of the
sources, without a compiler cache, compared with those of this build.

usage: reproducible_test.py BUILD SOURCE BUILD_TYPE WERROR
"""

import hashlib
import pathlib
import shutil
import subprocess
import sys
import tempfile

BUILD, SOURCE, BUILD_TYPE, WERROR = pathlib.Path(sys.argv[1]), pathlib.Path(sys.argv[2]), sys.argv[3], sys.argv[4]
FILES = {"calseal-check": "bin/calseal-check", "calseal_c": "lib/libcalseal.so.0.0.0"}


def run(*words):
    done = subprocess.run([str(w) for w in words], capture_output=True, text=True, check=False)
    if done.returncode != 0:
        sys.exit(f"{' '.join(map(str, words))}: exit {done.returncode}\n{done.stdout[-4000:]}{done.stderr[-4000:]}")


def digest(path):
    return hashlib.sha256(path.read_bytes()).hexdigest()


with tempfile.TemporaryDirectory(prefix="another-place-") as holder:
    copy = pathlib.Path(holder) / "a longer name than before" / "calseal"
    copy.mkdir(parents=True)
    for name in ("src", "docs", "fixtures/demo"):
        shutil.copytree(SOURCE / name, copy / name)
    shutil.copy(SOURCE / "README.md", copy)
    shutil.copy(SOURCE / "CMakeLists.txt", copy)
    run("cmake", "-S", copy, "-B", copy / "out", "-G", "Ninja", f"-DCMAKE_BUILD_TYPE={BUILD_TYPE}", "-DCALSEAL_TESTS=OFF",
        f"-DCALSEAL_WERROR={WERROR}")
    run("cmake", "--build", copy / "out", "--target", *FILES)
    differing = [name for name, path in FILES.items() if digest(BUILD / path) != digest(copy / "out" / path)]
    for name, path in FILES.items():
        print(name, digest(BUILD / path), digest(copy / "out" / path))
    if differing:
        sys.exit(f"two builds of the same sources differ: {', '.join(differing)}")
