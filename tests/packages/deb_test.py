"""The .deb: made by CPack, judged by lintian, installed on a bare root made with debootstrap, where the demo then runs from it.

usage: deb_test.py BUILD [MIRROR]      (root; the Debian mirror must be reachable)
"""

import os
import pathlib
import shutil
import subprocess
import sys
import tempfile

BUILD = pathlib.Path(sys.argv[1])
MIRROR = sys.argv[2] if len(sys.argv) > 2 else "http://deb.debian.org/debian"
# What the demo's script itself uses beyond Essential packages.
DEMO_NEEDS = ["python3"]


def run(*words, **options):
    done = subprocess.run([str(w) for w in words], capture_output=True, text=True, check=False, **options)
    if done.returncode != 0:
        sys.exit(f"{' '.join(map(str, words))}: exit {done.returncode}\n{done.stdout[-6000:]}{done.stderr[-6000:]}")
    return done.stdout


def main():
    if os.geteuid() != 0:
        sys.exit("run this as root: debootstrap and chroot need it")
    with tempfile.TemporaryDirectory(prefix="calseal-deb-") as holder:
        at = pathlib.Path(holder)
        run("cpack", "--config", BUILD / "CPackConfig.cmake", "-B", at / "pack", "-D", "CPACK_PACKAGING_INSTALL_PREFIX=/usr")
        package = next((at / "pack").glob("*.deb"))
        complaints = [line for line in run("lintian", "--allow-root", package).splitlines() if line[:2] in ("E:", "W:")]
        if complaints:
            sys.exit("lintian:\n" + "\n".join(complaints))
        print("lintian: nothing beyond the stated overrides")

        depends = [word.split()[0] for word in run("dpkg-deb", "-f", package, "Depends").split(", ")]
        root = at / "root"
        run("debootstrap", "--variant=minbase", "--include=" + ",".join(depends + DEMO_NEEDS), "bookworm", root, MIRROR)
        try:
            shutil.copy(package, root / "tmp/calseal.deb")
            run("chroot", root, "dpkg", "-i", "/tmp/calseal.deb")
            print(run("chroot", root, "calseal", "--version").strip())
            played = run("chroot", root, "/usr/share/doc/calseal/examples/demo/run", "/usr/bin", "/usr/libexec/calseal")
            print(played.strip().splitlines()[-1])
            run("chroot", root, "dpkg", "--purge", "calseal")
            left = [p for p in ("usr/bin/calseal", "usr/share/doc/calseal", "usr/include/calseal") if (root / p).exists()]
            if left:
                sys.exit(f"left behind after purging: {left}")
        finally:
            subprocess.run(["umount", "-q", root / "proc", root / "sys"], check=False)


main()
