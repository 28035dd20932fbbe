"""The project's own Python environment, `.venv`: made once, mended when broken, never half made.

Environments of other Pythons, for the tests, are made the same way beside it, as `.venv-3.12`.
Rules, which the rest of this file keeps:

- A stamp inside `.venv` is written last. It names pyproject.toml's content, the Python and the
  place of the project; where all three still hold there is nothing to do, and nothing is said.
- `.venv-setup/begun` exists while a set-up is under way. Found without a running set-up, it means
  that the last one was cut off, and then everything is made anew: a package that was half
  installed looks whole to pip.
- One set-up at a time holds the lock. The system frees it when its holder dies, pip included.
- A `.venv` is moved aside in one step before it is deleted, so that it is never half deleted.
- What is not ours is not deleted: a `.venv` that is no Python environment stops the set-up.
- In a pack (pack.py) the project may not be writable and may be gone tomorrow. The environment then
  lies in the user's data folder and is installed from the pack's wheels, without the network.
"""

from __future__ import annotations

import hashlib
import os
import shutil
import sys
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path

import wheels
from setup_words import explain_creation, explain_installing, is_network_trouble

WINDOWS = sys.platform == "win32"
# What pip is asked to install for each stamp, and which stamps that satisfies: whatever can check
# the project can test it, and whatever can test it can run it.
KINDS = {"run": ".", "pack": ".[pack]", "test": ".[test]", "check": ".[check]"}
IMPLIED = {
    "run": ("run",),
    "pack": ("run", "pack"),
    "test": ("run", "pack", "test"),
    "check": ("run", "pack", "test", "check"),
}
LOCK_WAIT_S = 900.0  # longer than any set-up over a slow line should take


class SetupError(Exception):
    """The environment cannot be made; the message says why and what to do."""


def tell(sentence: str) -> None:
    """Say one sentence on stderr at once; stdout belongs to the command that follows."""
    print(sentence, file=sys.stderr, flush=True)


class Environment:
    """The environment of the project at `root`, made with the interpreter `base_python`.

    version: the first two numbers of that interpreter's version; it is this Python's without.
    name: the folder's name below `root`. packed: `root` is a pack, see wheels.py.
    """

    def __init__(
        self,
        root: str | Path,
        *,
        base_python: str | None = None,
        version: tuple[int, int] = sys.version_info[:2],
        name: str = ".venv",
        packed: bool = False,
        say: Callable[[str], None] = tell,
        lock_wait_s: float = LOCK_WAIT_S,
    ) -> None:
        self.root = Path(root).resolve()  # one name, by whatever link we were called
        self.packed = packed
        self.home = wheels.data_folder() if packed else self.root
        self.folder = self.home / name
        self.scripts = self.folder / ("Scripts" if WINDOWS else "bin")
        self.python = self.scripts / ("python.exe" if WINDOWS else "python")
        self.aside = self.home / f"{name}-setup"
        self.begun = self.aside / "begun"
        # Inside an environment sys.executable dies with that environment; its base does not.
        self.base_python = base_python or getattr(sys, "_base_executable", "") or sys.executable
        self.version = version
        self.say = say
        self.lock_wait_s = lock_wait_s

    def script(self, name: str) -> Path:
        """Return the path of an installed command, such as lint-imports."""
        return self.scripts / (name + ".exe" if WINDOWS else name)

    def stamp(self, kind: str) -> Path:
        """Return the path of the stamp of one kind of set-up, a key of KINDS."""
        return self.folder / f"hostlink-{kind}.stamp"

    def wanted_stamp(self) -> str:
        """Return what a valid stamp holds: project text, Python and place."""
        # A pack may be plugged in elsewhere the next time, so its place says nothing.
        source = wheels.checksums(self.root) if self.packed else self.root / "pyproject.toml"
        project = hashlib.sha256(_text(source).encode()).hexdigest()
        python = "{}-{}{}".format(sys.implementation.name, *self.version)
        return f"{project}\n{python}\n{'a pack' if self.packed else self.root}\n"

    def ready(self, kind: str) -> bool:
        """Tell whether the environment stands as it should; quick, starts no process."""
        return (
            _text(self.stamp(kind)) == self.wanted_stamp()
            and not self.begun.exists()
            and self.python.exists()
            and self._base_exists()
        )

    def prepare(self, kind: str) -> None:
        """Make, mend or leave alone. Raises SetupError; leaves nothing half made."""
        if self.ready(kind):
            return
        try:
            if self.packed:
                self.home.mkdir(parents=True, exist_ok=True)
            self.aside.mkdir(exist_ok=True)
            with self._lock() as lock:
                if not self.ready(kind):  # another set-up may have done it while we waited
                    self._set_up(kind, lock)
        except OSError as error:
            raise SetupError(
                f"The set-up could not write in {self.home} ({error.strerror or error}). "
                "Make room or get the right to write there, then start again."
            ) from error

    def _set_up(self, kind: str, lock: int) -> None:
        if self.packed and (damaged := wheels.damaged(self.root)):
            raise SetupError(
                f"This pack is damaged or incomplete: {', '.join(damaged)} in its folder wheels. "
                "Nothing was installed. Copy it anew from where it was made, then start again."
            )
        name = str(self.folder) if self.packed else self.folder.name
        what = f"Bringing hostlink's environment {name} up to date"
        if self._unusable():
            what = f"The environment {name} was cut off, moved or broken; making it anew"
            self._discard()
        elif not self.folder.exists():
            what = f"Setting hostlink up in {name}, once"
        self.say(f"{what}; this can take a minute.")
        self.begun.touch()
        if not self.folder.exists():
            self._create(lock)
        self._install(kind, lock)
        for each in IMPLIED[kind]:
            self.stamp(each).write_text(self.wanted_stamp(), encoding="utf-8")
        self.begun.unlink()

    def _unusable(self) -> bool:
        """Tell whether the `.venv` at hand must be made anew. Raises SetupError if not ours."""
        if not self.folder.exists() and not self.folder.is_symlink():
            return False
        if self.begun.exists():
            return True
        settings = self.folder / "pyvenv.cfg"
        if not settings.is_file():
            if self.folder.is_dir() and not any(self.folder.iterdir()):
                return True
            raise SetupError(
                f"{self.folder} is in the way: it is no Python environment, so it was left alone. "
                "Move it elsewhere, then start again."
            )
        stamps = [_text(self.stamp(kind)) for kind in KINDS]
        # Of a pack the content counts too: another pack may have other wheels of one version.
        counts = 0 if self.packed else 1
        here = self.wanted_stamp().splitlines()[counts:]
        if any(stamp and stamp.splitlines()[counts:] != here for stamp in stamps):
            return True  # the project was moved, or another Python is used now
        return not self._base_exists() or not self._pip_works()

    def _base_exists(self) -> bool:
        """Tell whether the Python that the environment leans on is still installed."""
        for line in _text(self.folder / "pyvenv.cfg").splitlines():
            key, _, value = line.partition("=")
            if key.strip() == "home":
                return Path(value.strip()).is_dir()
        return False

    def _pip_works(self) -> bool:
        status, output = _run([str(self.python), "-m", "pip", "--version"], self.root)
        version = "(python {}.{})".format(*self.version)
        return status == 0 and version in output

    def _discard(self) -> None:
        if self.folder.is_symlink():
            self.folder.unlink()
        elif self.folder.exists():
            old = self.aside / f"old-{os.getpid()}-{time.time_ns()}"
            try:
                self.folder.rename(old)
            except OSError as error:
                raise SetupError(
                    f"{self.folder} must be made anew, but something is using it. Nothing was "
                    "changed. Close the programs that were started from it, then start again."
                ) from error
        for leftover in self.aside.glob("old-*"):
            shutil.rmtree(leftover, ignore_errors=True)

    def _create(self, lock: int) -> None:
        command = [self.base_python, "-m", "venv", str(self.folder)]
        status, output = _run(command, self.root, lock)
        if status != 0:
            self._discard()  # without ensurepip a folder without pip is left behind
            self._fail(explain_creation(output, self.version), output)

    def _install(self, kind: str, lock: int) -> None:
        pip = [str(self.python), "-m", "pip", "install", "--quiet", "--no-input", "--retries", "2"]
        pip.append("--disable-pip-version-check")
        pip += wheels.installing(self.root) if self.packed else ["--editable", KINDS[kind]]
        status, output = _run(pip, self.root, lock)
        if status == 0:
            check = [str(self.python), "-P", "-c", "import hostlink"]
            status, output = _run(check, self.root / "scripts", lock)
        if status != 0:
            # Downloads come before any change, so an unreachable index has changed nothing and
            # what stood before still stands. After any other failure, make it anew next time.
            self._fail(explain_installing(output), output, clean=is_network_trouble(output))

    def _fail(self, sentence: str, output: str, *, clean: bool = True) -> None:
        log = self.aside / "log.txt"
        log.write_text(output, encoding="utf-8", errors="replace")
        if clean:
            self.begun.unlink(missing_ok=True)
        raise SetupError(f"{sentence} What the installer said is in {log}.")

    @contextmanager
    def _lock(self) -> Iterator[int]:
        """Hold the lock, waiting for another set-up at most `lock_wait_s` seconds."""
        with (self.aside / "lock").open("a+b") as file:
            give_up = time.monotonic() + self.lock_wait_s
            told = False
            while not _try_lock(file.fileno()):
                if time.monotonic() >= give_up:
                    raise SetupError(
                        "Another set-up of hostlink is still running. Nothing was changed. "
                        "Wait for it to end, then start again."
                    )
                if not told:
                    self.say("Another set-up of hostlink is running; waiting for it to end.")
                    told = True
                time.sleep(0.2)
            yield file.fileno()


def _try_lock(descriptor: int) -> bool:
    """Take the lock without waiting; tell whether it was free."""
    try:
        if sys.platform == "win32":
            import msvcrt

            msvcrt.locking(descriptor, msvcrt.LK_NBLCK, 1)
        else:
            import fcntl

            fcntl.flock(descriptor, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except (BlockingIOError, PermissionError):
        return False
    return True


def _text(path: Path) -> str:
    """Return a small file's text, or nothing where there is none to read."""
    try:
        return path.read_text(encoding="utf-8")
    except (OSError, UnicodeDecodeError):
        return ""


def _run(command: list[str], folder: Path, lock: int | None = None) -> tuple[int, str]:
    """Run to the end; return the status and all output. A missing program is a failure too."""
    import subprocess

    # The child holds the lock as well: if we are killed, it still guards what pip is doing.
    held = () if lock is None or WINDOWS else (lock,)
    try:
        done = subprocess.run(
            command,
            cwd=folder,
            stdin=subprocess.DEVNULL,
            stdout=subprocess.PIPE,
            stderr=subprocess.STDOUT,
            text=True,
            errors="replace",
            pass_fds=held,
            check=False,
        )
    except OSError as error:
        return 127, f"{command[0]}: {error}"
    return done.returncode, done.stdout


def become(command: list[str]) -> int:
    """Run a command in this process's place; where that is not possible return its status."""
    sys.stdout.flush()
    sys.stderr.flush()
    if not WINDOWS:
        os.execv(command[0], command)
    import subprocess

    with subprocess.Popen(command) as process:
        while True:
            try:
                return process.wait()
            except KeyboardInterrupt:
                continue  # the child got it too, and says what state the board is in
