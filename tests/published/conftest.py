"""Helpers for checks against outside programs."""

from __future__ import annotations

import importlib.util
import re
import subprocess
import sys
from collections.abc import Callable, Iterable
from pathlib import Path

import pytest

TESTS = Path(__file__).parent.parent


@pytest.fixture
def foreign_output(
    require_program: Callable[[str], str], tmp_path: Path
) -> Callable[..., list[str]]:
    """Run a listing that ends with END on the real bwbasic; the lines it printed, blanks collapsed.

    The interpreter runs the file it is given, then prompts, and leaves at the end of its input,
    the lines for INPUT.
    """
    interpreter = require_program("bwbasic")

    def run(listing: str, inputs: Iterable[str] = ()) -> list[str]:
        source = tmp_path / "listing.bas"
        source.write_text(listing, encoding="latin-1")
        ran = subprocess.run(
            [interpreter, source.name],
            cwd=tmp_path,
            input="".join(f"{line}\n" for line in inputs).encode("latin-1"),
            capture_output=True,
            timeout=120,
            check=False,
        )
        # Its own heading is the only place where it sends CR; the last such line is blank.
        heading, found, printed = ran.stdout.decode("latin-1").partition("\r \n")
        assert found, heading
        return collapse(printed.rstrip().removesuffix("bwBASIC:"))

    return run


def collapse(text: str) -> list[str]:
    """The lines of a text, runs of blanks made one, blanks and empty lines at its end left out."""
    return [re.sub(" +", " ", line).strip() for line in text.rstrip().splitlines()]


@pytest.fixture(scope="session")
def collapsed() -> Callable[[str], list[str]]:
    """`collapse`, for output of our own."""
    return collapse


@pytest.fixture(scope="session")
def make_program() -> Callable[..., str]:
    """The generator of programs in tests/practice: seed to listing."""
    name = "published_generate"
    spec = importlib.util.spec_from_file_location(name, TESTS / "practice" / "generate.py")
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    sys.modules[name] = module
    spec.loader.exec_module(module)
    return module.make_program
