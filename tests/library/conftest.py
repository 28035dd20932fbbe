"""The shipped programs, their index, and the practice board's BASIC to run them."""

from __future__ import annotations

import tomllib
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from basic_runs import run_program

from hostlink.shipped import library_folder

FOLDER = library_folder()
INDEX: dict[str, Any] = tomllib.loads((FOLDER / "index.toml").read_text(encoding="utf-8"))


def pytest_generate_tests(metafunc: pytest.Metafunc) -> None:
    """Run a test that takes `program` or `damaged` once for each table of the index."""
    for name in ("program", "damaged"):
        if name in metafunc.fixturenames:
            tables = INDEX[name]
            metafunc.parametrize(name, tables, ids=[table["file"] for table in tables])


@pytest.fixture(scope="session")
def folder() -> Path:
    """Where the shipped listings are."""
    return FOLDER


@pytest.fixture(scope="session")
def index() -> dict[str, Any]:
    """The index of the library."""
    return INDEX


@pytest.fixture(scope="session")
def run() -> Callable[..., list[str]]:
    """Run a shipped program: its name, and what is typed at each INPUT; the lines it printed.

    replace: {line number: its new text}, for a program that is meant to be changed.
    """

    def run_named(
        name: str, *inputs: str, seed: int = 1, replace: dict[int, str] | None = None
    ) -> list[str]:
        text = (FOLDER / f"{name}.bas").read_text(encoding="ascii")
        for number, line in (replace or {}).items():
            assert f"\n{number} " in text
            text += f"{number} {line}\n"
        return run_program(text, inputs, seed=seed).splitlines()

    return run_named
