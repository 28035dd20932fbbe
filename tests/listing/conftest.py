"""Programs to try on, and the practice board's BASIC to run them."""

from __future__ import annotations

import importlib.util
import sys
import tomllib
from collections.abc import Callable, Iterable
from pathlib import Path
from typing import Any

import pytest
from practice_run import outcome as run_listing

from hostlink.shipped import library_folder

TESTS = Path(__file__).parent.parent


@pytest.fixture(scope="session")
def make_program() -> Callable[..., str]:
    """The generator of programs in tests/practice: seed to listing."""
    name = "listing_generate"
    spec = importlib.util.spec_from_file_location(name, TESTS / "practice" / "generate.py")
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    sys.modules[name] = module
    spec.loader.exec_module(module)
    return module.make_program


@pytest.fixture(scope="session")
def library() -> dict[str, tuple[str, tuple[str, ...]]]:
    """Each shipped program: its name, its text, and what is typed when it asks."""
    folder = library_folder()
    index: dict[str, Any] = tomllib.loads((folder / "index.toml").read_text(encoding="utf-8"))
    found = {
        entry["file"]: (
            (folder / entry["file"]).read_text(encoding="ascii"),
            tuple(entry["inputs"]),
        )
        for entry in index["program"]
    }
    assert len(found) >= 20
    return found


@pytest.fixture(scope="session")
def outcome() -> Callable[..., str]:
    """What a program prints on the practice board: its text, what is typed, bytes of memory.

    An error is raised if the board refuses a line or ends the program with an error.
    """

    def run(text: str, inputs: Iterable[str] = (), *, size: int = 999) -> str:
        return run_listing(text, inputs, size=size).output

    return run
