"""A pack: the wheels suffice for all systems, and the start from it needs nothing else."""

from __future__ import annotations

import ast
import signal
import subprocess
import sys
import tomllib
from collections.abc import Callable
from pathlib import Path
from types import ModuleType
from zipfile import ZipFile

import platformdirs.macos
import platformdirs.unix
import pytest

from hostlink.archive import Archive, Content, Origin

STOPS = ("SIGTERM", "SIGHUP")
POSIX = pytest.mark.skipif(sys.platform == "win32", reason="needs a POSIX shell")


def wheel(folder: Path, name: str, *required: str, tag: str = "py3-none-any") -> Path:
    """Write a wheel that holds nothing but what it requires."""
    folder.mkdir(parents=True, exist_ok=True)
    stem, version = name.replace("-", "_").split("=")
    made = folder / f"{stem}-{version}-{tag}.whl"
    with ZipFile(made, "w") as opened:
        rows = [f"Name: {stem}", f"Version: {version}", *(f"Requires-Dist: {r}" for r in required)]
        opened.writestr(f"{stem}-{version}.dist-info/METADATA", "\n".join(rows) + "\n\n")
    return made


def test_what_only_another_system_needs_is_lacking(tmp_path, script):
    """Markers count for Linux, macOS and Windows and each supported Python, not for this one."""
    wheel(
        tmp_path,
        "words=1.0",
        'colorama>=0.4; platform_system == "Windows"',
        'appnope; sys_platform == "darwin"',
        'uvloop; sys_platform == "linux"',
        'winnames; os_name == "nt"',
        'exceptiongroup; python_version < "3.11"',
        'backport; python_full_version < "3.13"',
        'rows[all]>=2; extra == "more"',
        "Rich_Text>=14,<15",
    )
    pack = script("pack")
    assert pack.lacking(tmp_path) == [
        *("Rich_Text<15,>=14", "appnope", "backport", "colorama>=0.4", "uvloop", "winnames"),
    ]
    for name in ("colorama=0.4.6", "appnope=1", "backport=2", "uvloop=1", "winnames=1"):
        wheel(tmp_path, name)
    wheel(tmp_path, "rich-text=13.0")
    assert pack.lacking(tmp_path) == ["Rich_Text<15,>=14"]
    wheel(tmp_path, "rich-text=14.2")
    assert pack.lacking(tmp_path) == []


def test_a_wheel_for_one_system_or_an_old_python_is_named(tmp_path, script):
    """Everything else runs wherever Python 3 does."""
    wheel(tmp_path, "good=1")
    wheel(tmp_path, "both=1", tag="py2.py3-none-any")
    wheel(tmp_path, "fast=1", tag="cp311-cp311-manylinux_2_17_x86_64")
    wheel(tmp_path, "stable=1", tag="cp39-abi3-win_amd64")
    wheel(tmp_path, "old=1", tag="py2-none-any")
    assert script("pack").not_pure(tmp_path) == [
        "fast-1-cp311-cp311-manylinux_2_17_x86_64.whl",
        "old-1-py2-none-any.whl",
        "stable-1-cp39-abi3-win_amd64.whl",
    ]


def test_downloading_goes_on_until_nothing_is_lacking(tmp_path, script, monkeypatch):
    """What a first round leaves out for another system comes in the next; only pure wheels do."""
    pack = script("pack")
    asked = []

    def run(command, _done):
        asked.append(command)
        if "hatchling" in command:
            wheel(tmp_path / "wheels", "hostlink=0.2.0", "words")
        elif command[-1].endswith(".whl"):
            wheel(tmp_path / "wheels", "words=1", 'colorama; sys_platform == "win32"')
        else:
            wheel(tmp_path / "wheels", "colorama=0.4.6")

    monkeypatch.setattr(pack, "_run", run)
    pack.gather(tmp_path / "wheels")
    assert [command[-1].rpartition("/")[2] for command in asked[1:]] == [
        "hostlink-0.2.0-py3-none-any.whl",
        "colorama",
    ]
    for command in asked[1:]:
        assert command[command.index("--platform") + 1] == "any"
        assert command[command.index("--only-binary") + 1] == ":all:"


def test_what_no_round_brings_ends_the_packing(tmp_path, script, monkeypatch):
    """A download that brings nothing of what is lacking is not repeated for ever."""
    pack = script("pack")
    monkeypatch.setattr(pack, "_run", lambda *_: wheel(tmp_path / "wheels", "hostlink=1", "words"))
    with pytest.raises(pack.PackError, match="No wheel meets words"):
        pack.gather(tmp_path / "wheels")


@pytest.mark.parametrize(
    ("folder", "files", "says"),
    [
        ("here", [], "already exists"),
        ("none/here/new", [], "There is no folder"),
        ("new", ["missing.hex"], "There is no"),
        ("new", ["a/red.hex", "b/Red.hex"], "Two files are called red.hex"),
        ("here/new", ["here"], "here holds the pack itself"),
    ],
)
def test_a_pack_that_cannot_be_made_changes_nothing(tmp_path, script, folder, files, says):
    """A folder that is there, or a file that is not, is told before anything is written."""
    pack = script("pack")
    (tmp_path / "here").mkdir()
    with pytest.raises(pack.PackError, match=says):
        pack.make(tmp_path / folder, [tmp_path / file for file in files])
    assert [each.name for each in tmp_path.iterdir()] == ["here"]


def test_the_folder_above_goes_in_by_its_name(tmp_path, script, monkeypatch):
    """Typed as two dots it is no other part of the pack."""
    pack = script("pack")
    (tmp_path / "a" / "b").mkdir(parents=True)
    monkeypatch.chdir(tmp_path / "a" / "b")
    asked = []
    monkeypatch.setattr(pack, "make", lambda target, files: asked.extend([target, *files]) or [])
    assert pack.main([str(tmp_path / "stick"), ".."]) == 0
    assert asked == [tmp_path / "stick", tmp_path / "a"]


def test_a_pack_within_what_is_packed_is_refused(script):
    """Else it would hold itself."""
    pack = script("pack")
    with pytest.raises(pack.PackError, match="part of what is packed"):
        pack.make(pack.ROOT / "scripts" / "stick", [])


def test_a_pack_that_fails_leaves_nothing(tmp_path, script, monkeypatch, capsys):
    """Without a network one sentence says so; the folder is not there, nor a part of it."""
    pack = script("pack")

    def fail(_):
        raise pack.PackError("No network.")

    monkeypatch.setattr(pack, "gather", fail)
    assert pack.main([str(tmp_path / "stick")]) == 1
    assert capsys.readouterr().err == "No network.\n"
    assert list(tmp_path.iterdir()) == []

    assert pack.main([]) == pack.main(["--help"]) == 2


@pytest.mark.parametrize(
    "name", ["SIGINT", pytest.param("SIGTERM", marks=POSIX), pytest.param("SIGHUP", marks=POSIX)]
)
def test_a_pack_that_is_stopped_leaves_nothing(tmp_path, script, monkeypatch, capsys, name):
    """By Ctrl+C, or because its terminal was closed."""
    pack = script("pack")
    before = {each: signal.getsignal(each) for each in signal.Signals if each.name in STOPS}
    monkeypatch.setattr(pack, "gather", lambda _: signal.raise_signal(signal.Signals[name]))
    try:
        assert pack.main([str(tmp_path / "stick")]) == 130
    finally:
        for each, handler in before.items():
            signal.signal(each, handler)
    assert capsys.readouterr().err == "\nStopped. Nothing was left behind.\n"
    assert list(tmp_path.iterdir()) == []


def test_a_pack_holds_what_the_source_archive_holds(script):
    """So that nothing is left out of the one or the other."""
    pack = script("pack")
    project = tomllib.loads((pack.ROOT / "pyproject.toml").read_text(encoding="utf-8"))
    packed = project["tool"]["hatch"]["build"]["targets"]["sdist"]["include"]
    assert sorted(f"/{name}" for name in pack.PROJECT) == sorted(packed)


@pytest.fixture
def whole(tmp_path, script, monkeypatch):
    """A pack with one listing, one file of the user's and one wheel, made without a network."""
    pack = script("pack")
    monkeypatch.setenv("HOSTLINK_ARCHIVE", str(tmp_path / "mine.sqlite3"))
    monkeypatch.setattr(pack, "gather", lambda folder: wheel(folder, "hostlink=0.2.0"))
    from hostlink.cli.entry import run_line

    (tmp_path / "lamp.bas").write_text('10 PRINT "LAMP"\n', encoding="utf-8")
    (tmp_path / "red.hex").write_text(":00000001FF\n", encoding="ascii")
    assert run_line(["keep", str(tmp_path / "lamp.bas"), "--quiet"]) == 0
    assert pack.main([str(tmp_path / "stick"), str(tmp_path / "red.hex")]) == 0
    return tmp_path / "stick"


def test_a_pack_holds_project_starters_archive_listings_and_files(whole, script):
    """What is the user's goes along: the archive as a duplicate, and as plain listings."""
    pack, wheels = script("pack"), script("wheels")
    for name in (*pack.PROJECT, *pack.STARTERS, "pyproject.toml"):
        assert (whole / name).exists(), name
    assert (whole / "listings" / "lamp.bas").read_bytes() == b'10 PRINT "LAMP"\n'
    assert (whole / "files" / "red.hex").exists()
    from hostlink.archive import Archive

    with Archive.open(whole / wheels.ARCHIVE, create=False, read_only=True) as archive:
        assert [program.name for program in archive.programs()] == ["LAMP"]
    assert not list(whole.rglob("__pycache__"))
    assert wheels.is_pack(whole)
    assert wheels.damaged(whole) == []


@pytest.fixture
def user(tmp_path, monkeypatch, script, fake_pythons):
    """Somebody with a data folder of their own, and Pythons that only act on the disk."""
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path / "data"))
    monkeypatch.setenv("LOCALAPPDATA", str(tmp_path / "data"))
    monkeypatch.setattr(Path, "home", lambda: tmp_path / "data")
    environment = script("environment")

    def place(root):
        made = environment.Environment(
            root, name="environment-3", packed=True, say=lambda _: None, lock_wait_s=0.0
        )
        pythons = fake_pythons(made)
        monkeypatch.setattr(environment, "_run", pythons)
        return made, pythons

    return place


def test_a_pack_is_installed_into_the_user_s_folder_from_its_wheels(whole, user):
    """Nothing is written into the pack, and pip is told to look nowhere else."""
    before = sorted(whole.rglob("*"))
    place, pythons = user(whole)
    place.prepare("run")
    assert pythons.stages() == ["venv", "pip install", "import"]
    pip = pythons.commands[1]
    assert pip[pip.index("--find-links") + 1] == str(whole / "wheels")
    assert {"--no-index", "--isolated"} <= set(pip)
    assert pip[-1] == "hostlink"
    assert whole not in place.folder.parents
    assert sorted(whole.rglob("*")) == before
    pythons.commands.clear()
    place.prepare("run")
    assert pythons.commands == []


def test_a_pack_that_is_plugged_in_elsewhere_is_the_same_pack(whole, user, tmp_path):
    """Another drive letter or mount point makes nothing anew."""
    user(whole)[0].prepare("run")
    whole.rename(tmp_path / "other place")
    place, _ = user(tmp_path / "other place")
    assert place.ready("run")


def test_a_pack_with_other_wheels_is_installed_anew(whole, user, script):
    """Also where their version has stayed the same, which pip would leave as it is."""
    user(whole)[0].prepare("run")
    wheel(whole / "wheels", "hostlink=0.2.0", "words")
    script("wheels").seal(whole)
    place, pythons = user(whole)
    place.prepare("run")
    assert pythons.stages() == ["venv", "pip install", "import"]


@pytest.mark.parametrize("damage", ["changed", "missing"])
def test_a_damaged_pack_is_named_before_anything_is_installed(whole, user, script, damage):
    """A stick that lost a byte is no riddle."""
    (made,) = (whole / "wheels").glob("*.whl")
    if damage == "changed":
        data = bytearray(made.read_bytes())
        data[10] ^= 1
        made.write_bytes(data)
    else:
        made.unlink()
    place, pythons = user(whole)
    with pytest.raises(script("environment").SetupError, match=f"damaged.*{made.name}"):
        place.prepare("run")
    assert pythons.commands == []


def test_the_data_folder_is_that_of_platformdirs(monkeypatch, script):
    """Which is not installed yet where a pack asks. On Windows: %LOCALAPPDATA%, from memory."""
    wheels = script("wheels")
    how = {"appname": "hostlink", "appauthor": False}
    monkeypatch.delenv("XDG_DATA_HOME", raising=False)
    monkeypatch.setattr(sys, "platform", "linux")
    assert str(wheels.data_folder()) == platformdirs.unix.Unix(**how).user_data_dir
    monkeypatch.setenv("XDG_DATA_HOME", "/srv/mine")
    assert str(wheels.data_folder()) == platformdirs.unix.Unix(**how).user_data_dir
    monkeypatch.delenv("XDG_DATA_HOME")
    monkeypatch.setattr(sys, "platform", "darwin")
    assert str(wheels.data_folder()) == platformdirs.macos.MacOS(**how).user_data_dir
    monkeypatch.setattr(sys, "platform", "win32")
    monkeypatch.setenv("LOCALAPPDATA", "/c/Local")
    assert wheels.data_folder() == Path("/c/Local/hostlink")


def test_a_pack_makes_no_pack(whole):
    """It says to copy the folder; so the starter at its top knows where it is."""
    done = subprocess.run(
        [sys.executable, str(whole / "start.py"), "--pack", "x"], capture_output=True, text=True
    )
    assert done.returncode == 1
    assert "is a pack itself" in done.stderr


# --- the starters ----------------------------------------------------------------------------


@pytest.fixture
def beside(tmp_path, scripts_folder):
    """A folder with blanks in its name: the starters, and a start.py that tells its arguments."""
    folder = tmp_path / "my stick"
    folder.mkdir()
    for name in ("hostlink.cmd", "hostlink.command", "hostlink.desktop"):
        (folder / name).write_bytes((scripts_folder / name).read_bytes())
    (folder / "start.py").write_text(
        "import os, sys\nprint(os.path.abspath(__file__), sys.argv[1:])\nsys.exit(len(sys.argv))\n"
    )
    return folder


@POSIX
def test_the_starter_of_macos_runs_what_lies_beside_it(beside, tmp_path):
    """From any folder, with its arguments, and the status is that of hostlink."""
    done = subprocess.run(
        ["sh", str(beside / "hostlink.command"), "find", "a b"],
        cwd=tmp_path,
        stdin=subprocess.DEVNULL,
        capture_output=True,
        text=True,
    )
    assert done.returncode == 3
    assert done.stdout == f"{beside / 'start.py'} ['find', 'a b']\n"


@POSIX
def test_the_starter_takes_a_python_that_is_new_enough(beside, tmp_path):
    """One that is too old, or a name that leads nowhere, is passed over; where none is left, one
    sentence says what is needed."""
    tools = tmp_path / "bin"
    tools.mkdir()
    for name in ("sh", "dirname"):
        (tools / name).symlink_to(Path("/bin") / name)

    def python(name, code):
        (tools / name).write_text(f"#!/bin/sh\n{code}\n")
        (tools / name).chmod(0o755)

    def start():
        return subprocess.run(
            ["sh", str(beside / "hostlink.command")],
            env={"PATH": str(tools)},
            stdin=subprocess.DEVNULL,
            capture_output=True,
            text=True,
        )

    python("python3.13", "echo broken; exit 127")
    python("python3", "exit 1")
    done = start()
    assert done.returncode == 1
    assert "needs Python 3.11 or newer" in done.stderr
    python("python3.12", f'exec "{sys.executable}" "$@"')
    assert "start.py" in start().stdout


def unescaped(command: str) -> list[str]:
    """The arguments of an Exec value: first the escapes of a string, then the quoting of Exec.

    Source: freedesktop.org, Desktop Entry Specification 1.5, "Possible value types" and "The Exec
    key", from memory.
    """
    text = command.replace("\\\\", "\\")
    words, word, quoted, at = [], "", False, 0
    while at < len(text):
        one = text[at]
        if quoted and one == "\\" and text[at + 1] in '"`$\\':
            at += 1
            word += text[at]
        elif one == '"':
            quoted = not quoted
        elif one == " " and not quoted:
            words.append(word)
            word = ""
        else:
            word += one
        at += 1
    return [each.replace("%%", "%") for each in [*words, word]]


@POSIX
@pytest.mark.parametrize("begin", ["", "file://"])
def test_the_desktop_file_runs_what_lies_beside_it(beside, tmp_path, begin):
    """Its own place comes as %k, a path or a URI, and stands outside the quotes."""
    rows = (beside / "hostlink.desktop").read_text(encoding="ascii").splitlines()
    assert rows[0] == "[Desktop Entry]"
    entry = dict(row.split("=", 1) for row in rows[1:])
    assert (entry["Type"], entry["Terminal"]) == ("Application", "true")
    arguments = unescaped(entry["Exec"])
    assert arguments[-1] == "%k"
    done = subprocess.run(
        [*arguments[:-1], f"{begin}{beside / 'hostlink.desktop'}"],
        cwd=tmp_path,
        stdin=subprocess.DEVNULL,
        capture_output=True,
        text=True,
    )
    assert done.stdout == f"{beside / 'start.py'} []\n"


def test_the_starter_of_windows_is_what_its_shell_reads(scripts_folder):
    """Rows end in CR LF, all is ASCII, and it names start.py by its own folder (`%~dp0`).

    It could not be run: there is no Windows here.
    """
    data = (scripts_folder / "hostlink.cmd").read_bytes()
    assert data.count(b"\n") == data.count(b"\r\n") > 5
    text = data.decode("ascii")
    assert text.startswith("@echo off")
    assert text.count('"%~dp0start.py" %*') == 2
    assert text.count("(") == text.count(")")


def test_any_old_python_can_read_the_starter_of_a_pack(whole):
    """It is the same file as scripts/start.py."""
    text = (whole / "start.py").read_text(encoding="ascii")
    ast.parse(text, feature_version=(3, 6))
    assert text == (whole / "scripts" / "start.py").read_text(encoding="ascii")


def test_a_pack_says_that_it_has_the_names_of_learners(
    tmp_path: Path, script: Callable[[str], ModuleType], monkeypatch: pytest.MonkeyPatch
) -> None:
    """They are in the archive's duplicate; their work is among no listings that are given out."""
    place = tmp_path / "mine.sqlite3"
    monkeypatch.setenv("HOSTLINK_ARCHIVE", str(place))
    folder = tmp_path / "pack"
    folder.mkdir()
    copy_yours = script("pack").copy_yours
    with Archive.open(place) as archive:
        text = "10 PRINT 1\n"
        content = Content(text.encode(), text, text, "practice", "utf-8", len(text))
        archive.keep("ADA", content, Origin("board"))
        archive.tag("ADA", "learner")
    assert copy_yours(folder, ()) == [
        "Your archive is in it as archive.sqlite3, with the names of learners."
    ]
    assert not (folder / "listings").exists()
    with Archive.open(place) as archive:
        archive.keep("LAMP", content, Origin("file"))
    (folder / "archive.sqlite3").unlink()
    assert copy_yours(folder, ())[1] == "Its programs are in the folder listings."
    assert [each.name for each in (folder / "listings").iterdir()] == ["lamp.bas"]
