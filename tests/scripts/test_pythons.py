"""Interpreters are taken for what they answer, never for their names; missing ones are told."""

from __future__ import annotations

import os
import stat
import sys
import tomllib
from collections.abc import Callable
from pathlib import Path

import pytest

ANSWERS = {
    "version": [3, 12, 1],
    "final": True,
    "kind": "cpython",
    "file": "/opt/python3.12",
    "makes_environments": True,
}
posix = pytest.mark.skipif(os.name != "posix", reason="the stand-ins are shell scripts")


@pytest.fixture
def pythons(script):
    """Return the module."""
    return script("pythons")


@pytest.fixture
def stand_in(tmp_path: Path) -> Callable[..., Path]:
    """Makes a program that stands for an interpreter: stand_in(name, prints, status=0)."""

    def make(name: str, prints: str, status: int = 0) -> Path:
        file = tmp_path / name
        file.parent.mkdir(parents=True, exist_ok=True)
        file.write_text(f"#!/bin/sh\ncat <<'END'\n{prints}\nEND\nexit {status}\n")
        file.chmod(file.stat().st_mode | stat.S_IXUSR)
        return file

    return make


def told(**changed: object) -> str:
    """What an interpreter answers, with some of it changed."""
    import json

    return json.dumps({**ANSWERS, **changed})


def variables(tmp_path: Path, *folders: str) -> dict[str, str]:
    """An environment in which only these folders are looked at."""
    path = os.pathsep.join(str(tmp_path / folder) for folder in (*folders, "none"))
    return {"PATH": path, "PYENV_ROOT": str(tmp_path / "pyenv")}


def test_this_python_tells_its_version_and_the_file_behind_its_environment(pythons):
    """The real question, put to the real interpreter that runs this test."""
    found = pythons.ask(sys.executable)
    assert found.version == sys.version_info[:3]
    assert Path(found.file).resolve() == Path(sys._base_executable).resolve()


@posix
@pytest.mark.parametrize(
    "prints",
    [
        "pyenv: python3.12: command not found",
        "",
        "[3, 12]",
        told(kind="pypy"),
        told(final=False),
        told(makes_environments=False),
        told(version="3.12"),
    ],
    ids=["shim", "nothing", "other", "not-cpython", "not-final", "no-ensurepip", "odd-version"],
)
def test_what_is_no_usable_python_is_none(pythons, stand_in, prints):
    """Whatever its name: a shim that refuses, another implementation, one without ensurepip."""
    assert pythons.ask(str(stand_in("python3.12", prints))) is None


def test_what_cannot_be_run_is_none(pythons, tmp_path):
    """A file that is not there, and one that is no program."""
    (tmp_path / "text").write_text("no program")
    assert pythons.ask(str(tmp_path / "none")) is None
    assert pythons.ask(str(tmp_path / "text")) is None


@posix
def test_an_interpreter_that_never_answers_is_none(pythons, stand_in, monkeypatch):
    """The question has a deadline."""
    monkeypatch.setattr(pythons, "ANSWER_S", 0.05)
    file = stand_in("python3.12", told())
    file.write_text("#!/bin/sh\nexec sleep 30\n")
    assert pythons.ask(str(file)) is None


@posix
def test_a_version_is_found_by_its_answer_not_by_its_name(pythons, stand_in, tmp_path):
    """What is called 3.13 and is 3.12 counts as 3.12; a name on PATH that refuses counts for none,
    and the version that pyenv keeps behind it is found anyway."""
    stand_in("bin/python3.13", told(version=[3, 12, 4], file="/opt/liar"))
    stand_in("bin/python3.14", "pyenv: python3.14: command not found", 127)
    stand_in("pyenv/versions/3.14.0/bin/python3", told(version=[3, 14, 0], file="/opt/kept"))
    found = pythons.find(((3, 12), (3, 13), (3, 14)), variables(tmp_path, "bin"))
    assert {minor: python.file for minor, python in found.items()} == {
        (3, 12): "/opt/liar",
        (3, 14): "/opt/kept",
    }


@posix
def test_the_newest_of_a_minor_version_is_taken_and_no_other_version(pythons, stand_in, tmp_path):
    """3.12.10 before 3.12.9, wherever they stand; 3.10 is not wanted."""
    stand_in("a/python3", told(version=[3, 12, 9], file="/opt/9"))
    stand_in("b/python3.12", told(version=[3, 12, 10], file="/opt/10"))
    stand_in("b/python", told(version=[3, 10, 2], file="/opt/old"))
    found = pythons.find(((3, 12),), variables(tmp_path, "a", "b"))
    assert {minor: python.file for minor, python in found.items()} == {(3, 12): "/opt/10"}


@posix
def test_links_to_one_file_are_asked_once(pythons, stand_in, tmp_path):
    """python, python3 and python3.12 of one installation are one candidate."""
    file = stand_in("bin/python3.12", told())
    for name in ("python", "python3"):
        (file.parent / name).symlink_to(file)
    candidates = pythons.candidates(((3, 12),), variables(tmp_path, "bin"))
    assert len([each for each in candidates if str(tmp_path) in each]) == 1


def test_the_summary_says_where_tests_ran_and_what_is_missing(pythons):
    """Every supported version is in it once: as run, or as not found; one that is here but could
    not be set up is neither, since its problem is told."""
    ran = [pythons.Interpreter((3, 12, 1), "/opt/a")]
    said = pythons.summary((3, 11), ran, [(3, 12)])
    assert said == "tested on Python 3.11 (all), 3.12.1 (core); not found here: 3.13, 3.14"
    said = pythons.summary((3, 11), ran, [(3, 12), (3, 13)])
    assert said == "tested on Python 3.11 (all), 3.12.1 (part of the core); not found here: 3.14"


def test_lines_are_counted_by_the_newest_python_that_does_it_quickly(pythons):
    """From 3.12 on (PEP 669); without one by our own."""
    assert pythons.counts_lines([(3, 12), (3, 13)], (3, 11)) == (3, 13)
    assert pythons.counts_lines([(3, 11), (3, 12)], (3, 13)) == (3, 13)
    assert pythons.counts_lines([], (3, 11)) == (3, 11)


def test_the_core_of_the_tests_is_there(pythons, scripts_folder):
    """Each path named exists, so that nothing is left out by a misspelling."""
    root = scripts_folder.parent
    named = (*pythons.CORE, *pythons.APART, *pythons.COVERING)
    assert set(pythons.BETWEEN) < set(pythons.CORE)
    assert [path for path in named if not (root / path).exists()] == []
    for path in pythons.APART:
        assert any(path.startswith(f"{folder}/") for folder in pythons.CORE), path


def test_the_package_names_the_pythons_and_systems_that_are_supported(script, scripts_folder):
    """Its metadata says what scripts/pythons.py says, and no newer Python is needed."""
    text = (scripts_folder.parent / "pyproject.toml").read_text(encoding="utf-8")
    project = tomllib.loads(text)["project"]
    begin = "Programming Language :: Python :: 3."
    named = [each.removeprefix(begin) for each in project["classifiers"] if begin in each]
    supported = script("pythons").SUPPORTED
    assert [(3, int(minor)) for minor in named] == list(supported)
    assert project["requires-python"] == ">={}.{}".format(*supported[0])
    assert "Operating System :: OS Independent" in project["classifiers"]
