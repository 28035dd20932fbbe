"""What holds for all tests: the same examples in every run, no deadline on a busy machine, and
each line traced once where coverage is measured. A real terminal and a real browser for the tests
that need one, and what becomes of a test that lacks a program."""

import gc
import os
import shutil
import signal
import subprocess
import tempfile
import time
from collections import Counter
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Any, NoReturn

import pytest
from hypothesis import HealthCheck, settings

if TYPE_CHECKING:
    from devtools import DrivenBrowser

BROWSER = (
    *("--headless", "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run"),
    *("--disable-background-networking", "--disable-component-update", "--disable-sync"),
)
DEADLINE_S = 180.0  # a bound, not a wait: the computer may be busy with other tests

# How long it takes to make up an example tells how busy the computer is, not what is wrong.
settings.register_profile(
    "steady",
    derandomize=True,
    deadline=None,
    max_examples=30 if os.environ.get("HOSTLINK_QUICK") == "1" else 100,
    suppress_health_check=[HealthCheck.too_slow],
)
settings.load_profile("steady")


@pytest.hookimpl(tryfirst=True)
def pytest_sessionstart(session: pytest.Session) -> None:
    """Stop pytest-cov's first measurement in a worker process, before it starts its second.

    It begins one early, not yet told that it is in a worker, and never ends it (seen in 7.1). Every
    line was traced twice, and the mark no_cover stopped only one of the two.
    """
    measuring = session.config.pluginmanager.getplugin("_cov")
    if hasattr(session.config, "workerinput") and getattr(measuring, "cov_controller", None):
        measuring.cov_controller.pause()


def pytest_configure(config: pytest.Config) -> None:
    """Heed Ctrl+C, and give tests settings, profiles and archives of their own.

    A shell's job in the background ignores Ctrl+C, and what nohup starts a hangup; so would the
    watching and waiting that tests end by these.
    """
    if signal.getsignal(signal.SIGINT) is signal.SIG_IGN:
        signal.signal(signal.SIGINT, signal.default_int_handler)
    if hasattr(signal, "SIGHUP") and signal.getsignal(signal.SIGHUP) is signal.SIG_IGN:
        signal.signal(signal.SIGHUP, signal.SIG_DFL)
    # Profiles and boards that the developer has would be recognised by tests, and theirs be kept
    # among them (XDG Base Directory Specification; platformdirs goes by it).
    home = tempfile.mkdtemp(prefix="hostlink-tests-")
    config.add_cleanup(lambda: shutil.rmtree(home, ignore_errors=True))
    for name in ("CONFIG", "DATA", "STATE"):
        os.environ[f"XDG_{name}_HOME"] = str(Path(home, name.lower()))


@pytest.hookimpl(tryfirst=True)
def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Make all cases but each n-th of a test marked one_in(n) slow ones."""
    met: Counter[str] = Counter()
    for item in items:
        if mark := item.get_closest_marker("one_in"):
            test = item.nodeid.partition("[")[0]
            if met[test] % mark.args[0]:
                item.add_marker("slow")
            met[test] += 1


@pytest.hookimpl(trylast=True)
def pytest_collection_finish() -> None:
    """Spare the garbage collector what lives as long as the tests: eight thousand of them.

    To look through it again and again took a sixth of the time of the app's tests.
    """
    gc.collect()
    gc.freeze()
    gc.set_threshold(50_000, 20, 20)


@pytest.fixture(scope="session")
def lacking() -> Callable[[str], NoReturn]:
    """Ends a test that lacks something: skipped with the reason, failed where HOSTLINK_CI is 1."""

    def end(reason: str) -> NoReturn:
        if os.environ.get("HOSTLINK_CI") == "1":
            pytest.fail(reason)
        pytest.skip(reason)

    return end


@pytest.fixture(scope="session")
def require_program(lacking: Callable[[str], NoReturn]) -> Callable[[str], str]:
    """Find an installed program by name; its path."""

    def require(name: str) -> str:
        return shutil.which(name) or lacking(f"the program {name} is not installed")

    return require


@pytest.fixture(scope="session")
def blank_archive(tmp_path_factory: pytest.TempPathFactory) -> bytes:
    """Holds the file of an archive that was just made, without its identity."""
    from hostlink.archive import Archive
    from hostlink.archive.database import opening

    file = tmp_path_factory.mktemp("blank") / "archive.sqlite3"
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(opening, "_identify", lambda *_: None)
        with Archive.open(file):
            pass
    return file.read_bytes()


@pytest.fixture
def _ready_archives(blank_archive: bytes, monkeypatch: pytest.MonkeyPatch) -> None:
    """Make this test's new archives of one blank file, each with an identity of its own.

    All migrations take 16 ms of processor time; tests/archive proves them.
    """
    from hostlink.archive.database import opening

    bring_up = opening._bring_up

    def copy_blank(access: Any, path: Path, *, create: bool, now: Any, steps: Any) -> None:
        is_new = create and not access.read_only and not path.stat().st_size
        if is_new:
            path.write_bytes(blank_archive)
        bring_up(access, path, create=create, now=now, steps=steps)
        if is_new:
            db = access.connect()
            opening._identify(db, now)
            db.close()

    monkeypatch.setattr(opening, "_bring_up", copy_blank)


class PatientClock:
    """A clock for what answers in real time: half of the time that was slept, and nothing else.

    A busy computer is late with what another process or thread has to do, and that must not count
    as the board's silence. Time that nobody asked for does not pass here, and what was asked for
    leaves the other end twice as long.
    """

    def __init__(self) -> None:
        self._now = 0.0

    def now(self) -> float:
        return self._now

    def sleep(self, seconds: float) -> None:
        if seconds > 0:
            time.sleep(2 * seconds)
            self._now += seconds


@pytest.fixture(scope="session")
def patient_clock() -> Callable[[], PatientClock]:
    """Makes a clock for a board that answers in real time."""
    return PatientClock


class Terminal:
    """A real terminal that a program runs in; tmux holds it."""

    def __init__(self, folder: Path) -> None:
        self._socket = str(folder / "tmux")

    def start(self, columns: int, rows: int, *words: str) -> None:
        """Open it, with that many columns and rows, on a command."""
        size = ("-x", str(columns), "-y", str(rows))
        self.run("new-session", "-d", "-s", "desk", *size, *words)
        # tmux is nobody's child: without this it would outlive tests that are killed.
        alive = f"while kill -0 {os.getpid()} 2>/dev/null; do sleep 1; done"
        self.run("run-shell", "-b", f"{alive}; tmux -S '{self._socket}' kill-server")

    def run(self, *words: str) -> str:
        """One command of tmux itself; what it prints."""
        done = subprocess.run(
            ["tmux", "-S", self._socket, *words],
            capture_output=True,
            encoding="utf-8",
            check=True,
            timeout=DEADLINE_S,
        )
        return done.stdout

    def press(self, *keys: str) -> None:
        """Press keys, by the names that tmux has for them."""
        self.run("send-keys", "-t", "desk", *keys)

    def type(self, text: str) -> None:
        """Type text as it stands."""
        self.run("send-keys", "-t", "desk", "-l", text)

    def paste(self, file: Path) -> None:
        """Paste a file as terminals do, in brackets where the program asked for them."""
        self.run("load-buffer", str(file))
        self.run("paste-buffer", "-p", "-t", "desk")

    def text(self) -> str:
        """What stands on the screen."""
        return self.run("capture-pane", "-p", "-t", "desk")

    def until(self, is_so: Callable[[str], bool], seconds: float = DEADLINE_S) -> str:
        """Look at the screen until something stands there; the test fails where it never does."""
        end = time.monotonic() + seconds
        while not is_so(text := self.text()):
            assert time.monotonic() < end, text
            time.sleep(0.05)
        return text


@pytest.fixture
def terminal(tmp_path: Path, require_program: Callable[[str], str]) -> Iterator[Terminal]:
    """A terminal that the test starts."""
    require_program("tmux")
    opened = Terminal(tmp_path)
    yield opened
    subprocess.run(["tmux", "-S", opened._socket, "kill-server"], check=False)


@pytest.fixture
def browse(tmp_path: Path, require_program: Callable[[str], str]) -> Callable[..., str]:
    """Run Chromium over a page: browse(html, option...) -> what it wrote to stdout."""
    chromium = require_program("chromium")

    def run(page: str, *options: str) -> str:
        (tmp_path / "page.html").write_text(page, encoding="utf-8")
        user = f"--user-data-dir={tmp_path / 'browser'}"
        ran = subprocess.run(
            [chromium, *BROWSER, user, *options, (tmp_path / "page.html").as_uri()],
            capture_output=True,
            timeout=DEADLINE_S,
            check=True,
        )
        return ran.stdout.decode("utf-8", "replace")

    return run


@pytest.fixture(scope="module")
def browser(
    tmp_path_factory: pytest.TempPathFactory, require_program: Callable[[str], str]
) -> Iterator["DrivenBrowser"]:
    """A browser that the tests of a module drive."""
    from devtools import DrivenBrowser  # of POSIX systems

    command = [require_program("chromium"), *BROWSER]
    with DrivenBrowser(command, tmp_path_factory.mktemp("browser")) as driven:
        yield driven


@pytest.fixture
def printed(
    browse: Callable[..., str], tmp_path: Path, require_program: Callable[[str], str]
) -> Callable[..., tuple[int, list[str]]]:
    """Print a page; the number of sheets of paper, and the rows of text on them.

    printed(html, paper="A4"): the paper that the printer has, by its name in CSS.
    """
    pdfinfo, pdftotext = require_program("pdfinfo"), require_program("pdftotext")

    def run(page: str, paper: str = "A4") -> tuple[int, list[str]]:
        page = page.replace("</head>", f"<style>@page {{ size: {paper}; }}</style></head>")
        pdf = str(tmp_path / "page.pdf")
        browse(page, "--no-pdf-header-footer", f"--print-to-pdf={pdf}")
        info = subprocess.run([pdfinfo, pdf], capture_output=True, text=True, check=True).stdout
        pages = next(row.split()[1] for row in info.splitlines() if row.startswith("Pages:"))
        assert f"({paper})".lower() in info.lower()
        text = subprocess.run(
            [pdftotext, "-layout", pdf, "-"], capture_output=True, text=True, check=True
        ).stdout
        return int(pages), text.splitlines()

    return run
