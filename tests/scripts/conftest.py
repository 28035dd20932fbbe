"""Gives the tests the scripts, and them a project folder in which no process is run."""

from __future__ import annotations

import importlib
import sys
from collections.abc import Callable
from pathlib import Path
from types import ModuleType

import pytest

SCRIPTS = Path(__file__).resolve().parents[2] / "scripts"


@pytest.fixture
def script() -> Callable[[str], ModuleType]:
    """Import a module of scripts/ by name, as the scripts import one another."""
    return importlib.import_module


@pytest.fixture
def scripts_folder() -> Path:
    """Return the folder of the scripts."""
    return SCRIPTS


class FakePythons:
    """Stands for `_run`: acts like venv and pip on the disk, and records each command.

    answers: what a stage ("venv", "pip install", ...) returns instead of working.
    """

    def __init__(self, place: object) -> None:
        self.place = place
        self.commands: list[list[str]] = []
        self.answers: dict[str, tuple[int, str]] = {}
        self.interrupt_at = ""

    def stages(self) -> list[str]:
        """Return what was asked for so far, shortly."""
        return [self._stage(command) for command in self.commands]

    def __call__(
        self, command: list[str], _folder: Path, _lock: int | None = None
    ) -> tuple[int, str]:
        self.commands.append(command)
        stage = self._stage(command)
        if stage == self.interrupt_at:
            raise KeyboardInterrupt
        if stage == "venv":
            self._make(Path(command[-1]))
        if stage in self.answers:
            return self.answers[stage]
        if stage == "pip --version":
            return 0, f"pip 1 from x (python {sys.version_info[0]}.{sys.version_info[1]})\n"
        return 0, ""

    @staticmethod
    def _stage(command: list[str]) -> str:
        if command[1:3] == ["-m", "venv"]:
            return "venv"
        return " ".join(command[2:4]) if command[1] == "-m" else "import"

    def _make(self, folder: Path) -> None:
        python = self.place.python  # type: ignore[attr-defined]
        python.parent.mkdir(parents=True)
        python.touch()
        (folder / "pyvenv.cfg").write_text(f"home = {Path(sys.executable).parent}\n")


@pytest.fixture
def fake_pythons() -> type[FakePythons]:
    """Return what stands for `_run` in the environment that it is given."""
    return FakePythons


@pytest.fixture
def project(tmp_path: Path, script: Callable[[str], ModuleType], monkeypatch: pytest.MonkeyPatch):
    """Return (environment of an empty project, its fake Pythons, the sentences said)."""
    module = script("environment")
    (tmp_path / "pyproject.toml").write_text('[project]\nname = "x"\n')
    said: list[str] = []
    place = module.Environment(tmp_path, say=said.append, lock_wait_s=0.0)
    pythons = FakePythons(place)
    monkeypatch.setattr(module, "_run", pythons)
    return place, pythons, said
