"""Whatever breaks while writing, an output is there whole or not at all, an old file stays as it was, and no litter remains."""

import os
import pathlib
import pty
import resource
import signal
import subprocess
import tempfile
import termios
import time
import unittest

import desk as desks
from desk import CALSEAL, CALSEAL_CHECK

SUPPORT = pathlib.Path(__file__).resolve().parents[2] / "support"
SANITIZED = b"__asan_init" in subprocess.run(["nm", CALSEAL], capture_output=True, check=False).stdout
OLD = {"flash.new": b"old flash", "eeprom.new": b"old eeprom"}


def setUpModule():
    global DESK, LIBRARY
    DESK = desks.Desk()
    DESK.open_shop()
    DESK.seal_base()
    DESK.seal_revision(1)
    # A second author, and a root that the trust file announces.
    for name in ("second.key", "root2.key"):
        DESK.json(CALSEAL, "key", "new", DESK.at(name), "--passphrase-file", DESK.at("word.txt"))
    root = ["--root-key", DESK.at("root.key"), "--passphrase-file", DESK.at("word.txt"), "--claimed-time", desks.TIME]
    DESK.json(CALSEAL, "shop", "add-key", DESK.at("shop.trust"), DESK.at("second.key.pub"), "--name", "Second", "--role", "author",
              "--valid-from", "2026-01-01T00:00:00Z", *root, "-o", DESK.at("shop-2.trust"))
    DESK.json(CALSEAL, "shop", "announce-root", DESK.at("shop-2.trust"), DESK.at("root2.key.pub"), *root, "-o", DESK.at("shop-3.trust"))
    LIBRARY = os.environ.get("CALSEAL_FAIL_NTH_CALL")
    if not LIBRARY:
        LIBRARY = str(DESK.root / "fail_nth_call.so")
        subprocess.run(["cc", "-shared", "-fPIC", "-O1", "-Wall", "-Werror", "-o", LIBRARY, SUPPORT / "fail_nth_call.c"], check=True)


def tearDownModule():
    DESK.close()


class Case:
    """A command, what it leaves when it ran whole, and what was there before."""

    def __init__(self, arguments, before=None, whole=None):
        self.arguments, self.before = [str(a) for a in arguments], before or {}
        self.reset()
        DESK.must(*self.arguments)
        # Keys and salts are drawn anew on every run, so only their names can be foretold.
        self.whole = whole or DESK.written()
        self.random = whole is None and DESK.written() != self.again()

    def again(self):
        self.reset()
        DESK.must(*self.arguments)
        return DESK.written()

    def reset(self):
        DESK.clear_out()
        for name, data in self.before.items():
            (DESK.out / name).write_bytes(data)

    def is_whole(self, found):
        if self.random:
            return found.keys() == self.whole.keys() and all(len(found[n]) == len(self.whole[n]) for n in found)
        return found == self.whole


def cases():
    check = [CALSEAL, "check", *DESK.check_arguments(DESK.at("r1.calseal")), *DESK.image_arguments()]
    flash, eeprom = DESK.expected(1)
    image = {"flash.new": flash, "eeprom.new": eeprom}
    word = ["--passphrase-file", DESK.at("word.txt")]
    return {
        "check": Case(check, whole=image),
        "check, replacing": Case(check, before=OLD, whole=image),
        "seal": Case([CALSEAL, *DESK.revision_arguments(1), "-o", DESK.out / "r.calseal"]),
        "counter-sign, replacing": Case([CALSEAL, "countersign", DESK.at("r1.calseal"), "--key", DESK.at("second.key"), "--trust",
                                         DESK.at("shop-3.trust"), *word, "-o", DESK.out / "r.calseal"],
                                        before={"r.calseal": pathlib.Path(DESK.at("r1.calseal")).read_bytes()}),
        "key new": Case([CALSEAL, "key", "new", DESK.out / "k.key", *word]),
        "shop threshold, keeping the name": Case([CALSEAL, "shop", "threshold", DESK.out / "shop.trust", "2", "--root-key", DESK.at("root.key"),
                                                  *word, "--claimed-time", desks.TIME],
                                                 before={"shop.trust": pathlib.Path(DESK.at("shop-2.trust")).read_bytes()}),
        "shop succeed": Case([CALSEAL, "shop", "succeed", DESK.at("shop-3.trust"), "--root-key", DESK.at("root.key"), "--new-root-key",
                              DESK.at("root2.key"), *word, "--claimed-time", desks.TIME, "--succession", DESK.out / "s.succession",
                              "-o", DESK.out / "new.trust"]),
        "seal, new salt": Case([CALSEAL, *DESK.base_arguments(), "--new-salt", DESK.out / "s.salt", "-o", DESK.out / "r.calseal"]),
    }


@unittest.skipIf(SANITIZED, "the sanitizers' runtime must be loaded first")
class EveryCall(unittest.TestCase):
    """One of all calls that write, sync, name or close, made to fail or to be the last."""

    def sweep(self, judge, **variables):
        for name, case in cases().items():
            nothing = 0  # runs that left all as it was
            for n in range(1, 400):
                case.reset()
                log = DESK.root / "reached"
                log.unlink(missing_ok=True)
                env = {"LD_PRELOAD": LIBRARY, "FAIL_NTH_CALL": str(n), "FAIL_LOG": str(log), **variables}
                done = DESK.run(*case.arguments, env=env)
                found = DESK.written()
                with self.subTest(case=name, call=n, status=done.returncode, found={k: len(v) for k, v in found.items()},
                                  stderr=done.stderr[-300:]):
                    judge(case, done, found, log.exists())
                nothing += {name: data for name, data in found.items() if not name.startswith(".")} == case.before
                if not log.exists():
                    break
            self.assertGreater(n, 8, "the library was not loaded, or nothing was written")
            self.assertLess(n, 399)
            self.assertGreaterEqual(nothing, 3, "no call was made to fail")
        DESK.clear_out()

    def failed(self, case, done, found, reached):
        self.assertIn(done.returncode, (0, 3))
        if not reached:
            self.assertEqual(done.returncode, 0)
        if done.returncode == 0:
            self.assertTrue(case.is_whole(found))
        elif b"standard output" in done.stderr:
            self.assertTrue(case.is_whole(found), "the files were written; only the report was not")
        else:
            self.assertEqual(found, case.before)
            self.assertIn(b"[write-failed]", done.stderr)

    def test_fails_with_a_full_disk(self):
        self.sweep(self.failed, FAIL_WITH="28")

    def test_fails_with_a_device_error(self):
        self.sweep(self.failed, FAIL_WITH="5")

    def interrupted(self, case, done, found, reached):
        self.assertIn(done.returncode, (0, 130))
        self.assertFalse([name for name in found if name.startswith(".")], "litter")
        self.assertTrue(case.is_whole(found) or found == case.before)
        if done.returncode == 0:
            self.assertTrue(case.is_whole(found))
        elif reached:
            self.tells_the_truth(case, done.stderr.decode(), found)

    def tells_the_truth(self, case, said, found):
        """Either nothing was written, or the message names all that was."""
        self.assertIn("[interrupted]", said)
        if "nothing was written" in said:
            self.assertEqual(found, case.before)
        else:
            self.assertIn("this was written before, and is whole: ", said)
            self.assertTrue(case.is_whole(found))
            for name in found:
                self.assertIn(str(DESK.out / name), said)

    def test_interrupted_on_a_terminal(self):
        """A terminal gets a line of progress from a thread of its own, which must leave interruptions to the first one."""
        for name in ("check, replacing", "seal, new salt"):
            case = cases()[name]
            for n in range(1, 400):
                case.reset()
                log = DESK.root / "reached"
                log.unlink(missing_ok=True)
                ours, theirs = pty.openpty()
                env = {**os.environ, "LD_PRELOAD": LIBRARY, "FAIL_NTH_CALL": str(n), "FAIL_LOG": str(log), "FAIL_SIGNAL": str(int(signal.SIGINT))}
                process = subprocess.Popen([str(a) for a in case.arguments], env=env, cwd=DESK.root, stdin=subprocess.DEVNULL, stdout=subprocess.DEVNULL, stderr=theirs)
                os.close(theirs)
                said = b""
                while True:
                    try:
                        piece = os.read(ours, 65536)
                    except OSError:
                        break
                    if not piece:
                        break
                    said += piece
                os.close(ours)
                status = process.wait()
                with self.subTest(case=name, call=n, status=status, said=said[-300:]):
                    found = DESK.written()
                    self.assertIn(status, (0, 130))
                    if status == 0:
                        self.assertTrue(case.is_whole(found))
                    else:
                        self.tells_the_truth(case, said.decode().replace("\r\n", "\n"), found)
                if not log.exists():
                    break
            self.assertGreater(n, 8)
        DESK.clear_out()

    def test_interrupted(self):
        self.sweep(self.interrupted, FAIL_SIGNAL=str(int(signal.SIGINT)))

    def test_terminated(self):
        self.sweep(self.interrupted, FAIL_SIGNAL=str(int(signal.SIGTERM)))

    def killed(self, case, done, found, reached):
        self.assertIn(done.returncode, (0, -signal.SIGKILL))
        # Nothing can tidy up after SIGKILL; but what stands under a final name is whole, old or new.
        for name, data in found.items():
            if name.startswith("."):
                continue
            whole = len(data) == len(case.whole[name]) if case.random else data == case.whole[name]
            self.assertTrue(whole or data == case.before.get(name), name)
        for name in case.before:
            self.assertIn(name, found)
        if not reached:
            self.assertTrue(case.is_whole(found))

    def test_killed(self):
        self.sweep(self.killed, FAIL_SIGNAL=str(int(signal.SIGKILL)))


class AnyMoment(unittest.TestCase):
    """The same by the clock, from outside."""

    def test_signals_after_small_delays(self):
        arguments = [CALSEAL, *DESK.base_arguments(), "--new-salt", DESK.out / "s.salt", "-o", DESK.out / "r.calseal"]
        for sent in (signal.SIGINT, signal.SIGKILL):
            for step in range(12):
                DESK.clear_out()
                with subprocess.Popen([str(a) for a in arguments], stdout=subprocess.DEVNULL, stderr=subprocess.PIPE,
                                      stdin=subprocess.DEVNULL) as process:
                    time.sleep(0.05 * step)
                    process.send_signal(sent)
                    process.communicate(timeout=60)
                names = {name for name in DESK.written() if not name.startswith(".")}
                with self.subTest(signal=sent, step=step, status=process.returncode):
                    if sent == signal.SIGINT:
                        self.assertFalse([n for n in DESK.written() if n.startswith(".")])
                        self.assertIn(names, (set(), {"s.salt", "r.calseal"}))
                        # Before main() the default action ends the run, which leaves nothing either.
                        self.assertIn(process.returncode, (0, 130, -signal.SIGINT))
                    for name in names:
                        self.assertTrue(DESK.written()[name])
                    if "r.calseal" in names:
                        DESK.must(CALSEAL, "show", DESK.out / "r.calseal")
        DESK.clear_out()

    def test_ignored_signals_stay_ignored(self):
        done = DESK.run("sh", "-c", "trap '' HUP; \"$0\" \"$@\" & kill -HUP $!; wait $!", CALSEAL, *DESK.revision_arguments(1), "-o",
                        DESK.out / "r.calseal")
        self.assertEqual(done.returncode, 0, done.stderr)
        self.assertIn("r.calseal", DESK.written())
        DESK.clear_out()


class FullAndReadOnly(unittest.TestCase):
    def setUp(self):
        DESK.clear_out()

    def test_file_size_limit(self):
        for size in (0, 1, 100, 255):
            done = DESK.run(CALSEAL_CHECK, *DESK.check_arguments(DESK.at("r1.calseal")), *DESK.image_arguments(),
                            preexec_fn=lambda: resource.setrlimit(resource.RLIMIT_FSIZE, (size, size)))
            self.assertEqual(done.returncode, 3, (done.returncode, done.stderr))
            self.assertIn(b"[write-failed]", done.stderr)
            self.assertEqual(DESK.written(), {})

    def test_full_disk(self):
        folder = tempfile.mkdtemp(prefix="calseal-full-")
        mounted = subprocess.run(["mount", "-t", "tmpfs", "-o", "size=16k,mode=777", "tmpfs", folder], capture_output=True, check=False)
        if mounted.returncode != 0:
            os.rmdir(folder)
            self.skipTest("needs the right to mount; the file size limit and the failing calls show the same")
        try:
            filler = pathlib.Path(folder) / "filler"
            with open(filler, "wb", buffering=0) as out:
                try:
                    while True:
                        out.write(bytes(4096))
                except OSError:
                    pass
            done = DESK.run(CALSEAL_CHECK, *DESK.check_arguments(DESK.at("r1.calseal")), "--image", f"flash={folder}/f", "--image",
                            f"eeprom={folder}/e")
            self.assertEqual(done.returncode, 3, done.stderr)
            self.assertIn(b"free some space", done.stderr)
            self.assertEqual([p.name for p in pathlib.Path(folder).iterdir()], ["filler"])
        finally:
            subprocess.run(["umount", folder], check=True)
            os.rmdir(folder)

    def test_read_only_folder(self):
        options = {"user": 65534, "group": 65534, "extra_groups": []} if os.geteuid() == 0 else {}
        os.chmod(DESK.root, 0o755)
        os.chmod(DESK.out, 0o555)
        try:
            done = DESK.run(CALSEAL_CHECK, DESK.at("r1.calseal"), "--trust", DESK.at("shop.trust"), "--vehicle", "blue estate",
                            "--read", "flash=" + DESK.at("flash.bin"), "--read", "eeprom=" + DESK.at("eeprom.bin"),
                            *DESK.image_arguments(), **options)
        finally:
            os.chmod(DESK.out, 0o755)
        if b"unreadable" in done.stderr or done.returncode == 126:
            self.skipTest("the scratch folder is closed to other users")
        self.assertEqual(done.returncode, 3, done.stderr)
        self.assertIn(b"a folder that you may write to", done.stderr)
        self.assertEqual(DESK.written(), {})

    def test_no_such_folder(self):
        done = DESK.run(CALSEAL, *DESK.revision_arguments(1), "-o", DESK.out / "none" / "r.calseal")
        self.assertEqual(done.returncode, 3)
        self.assertIn(b"create the folder first", done.stderr)

    def test_the_second_output_cannot_be_named(self):
        """Its name is a folder's: the first, already exchanged, is given back."""
        (DESK.out / "flash.new").write_bytes(b"old flash")
        (DESK.out / "eeprom.new").mkdir()
        try:
            done = DESK.run(CALSEAL_CHECK, *DESK.check_arguments(DESK.at("r1.calseal")), *DESK.image_arguments())
            self.assertEqual(done.returncode, 3, done.stderr)
            self.assertEqual(sorted(p.name for p in DESK.out.iterdir()), ["eeprom.new", "flash.new"])
            self.assertEqual((DESK.out / "flash.new").read_bytes(), b"old flash")
            (DESK.out / "flash.new").unlink()
            done = DESK.run(CALSEAL_CHECK, *DESK.check_arguments(DESK.at("r1.calseal")), *DESK.image_arguments())
            self.assertEqual(done.returncode, 3, done.stderr)
            self.assertEqual([p.name for p in DESK.out.iterdir()], ["eeprom.new"])
        finally:
            (DESK.out / "eeprom.new").rmdir()

    @unittest.skipIf(SANITIZED, "the sanitizers need more address space than any limit leaves")
    def test_out_of_memory(self):
        huge = DESK.root / "huge.bin"  # a read; of a bundle that large no more is read than its seal promises
        with open(huge, "wb") as out:
            out.truncate(1 << 30)
        limit = 256 << 20
        for extra in ([], ["--json"]):
            done = DESK.run(CALSEAL_CHECK, DESK.at("r1.calseal"), "--trust", DESK.at("shop.trust"), "--read", f"flash={huge}", *extra,
                            preexec_fn=lambda: resource.setrlimit(resource.RLIMIT_AS, (limit, limit)))
            self.assertEqual(done.returncode, 4, done.stderr)
            self.assertIn("out-of-memory", (done.stdout + done.stderr).decode())
        huge.unlink()


class Terminal(unittest.TestCase):
    def ask(self, then):
        """Waits for the prompt on a terminal of its own, does `then` and returns exit status, echo afterwards, and the talk."""
        child, master = pty.fork()
        if child == 0:
            os.execve(CALSEAL, [CALSEAL, "key", "show", DESK.at("author.key")], {"LC_ALL": "C", "TERM": "dumb"})
        talk = b""
        while b"Passphrase" not in talk:
            talk += os.read(master, 1000)
        deadline = time.monotonic() + 30
        while termios.tcgetattr(master)[3] & termios.ECHO and time.monotonic() < deadline:
            time.sleep(0.01)
        self.assertFalse(termios.tcgetattr(master)[3] & termios.ECHO, "the passphrase must not show")
        echo = then(master, child)
        status = None
        while True:
            try:
                piece = os.read(master, 1000)
            except OSError:
                break
            if not piece:
                break
            talk += piece
        _, status = os.waitpid(child, 0)
        os.close(master)
        return os.waitstatus_to_exitcode(status), echo, talk

    def test_passphrase_is_read_without_echo(self):
        status, _, talk = self.ask(lambda master, child: os.write(master, desks.PASSPHRASE.encode() + b"\n"))
        self.assertEqual(status, 0, talk)
        self.assertNotIn(desks.PASSPHRASE.encode(), talk)
        self.assertIn(b"fingerprint", talk)

    def echo_after(self, act):
        # A second descriptor of the terminal keeps it alive to be looked at.
        def then(master, child):
            keep = os.open(os.readlink(f"/proc/{child}/fd/0"), os.O_RDWR | os.O_NOCTTY)
            act(master, child)
            os.waitid(os.P_PID, child, os.WEXITED | os.WNOWAIT)
            echo = bool(termios.tcgetattr(keep)[3] & termios.ECHO)
            os.close(keep)
            return echo

        return self.ask(then)

    def test_interrupted_prompt_gives_the_echo_back(self):
        for act in (lambda master, child: os.write(master, b"\x03"), lambda master, child: os.kill(child, signal.SIGTERM)):
            status, echo, talk = self.echo_after(act)
            self.assertEqual(status, 130, talk)
            self.assertTrue(echo)


if __name__ == "__main__":
    unittest.main()
