"""Helpers for the practice board's tests: typing at a board without a wire."""

from __future__ import annotations

import importlib.util
import sys
from collections.abc import Callable, Iterable
from pathlib import Path

import pytest
from basic_runs import drive

from hostlink.practice.basic import Basic


@pytest.fixture
def typed() -> Callable[..., str]:
    """Type lines at a board one after the other; what it sent, lines ended by LF."""

    def enter(board: Basic, *lines: str, inputs: Iterable[str] = ()) -> str:
        answers = iter(inputs)
        sent = [drive(board.enter(line.encode("latin-1")), answers) for line in lines]
        return "".join(sent).replace("\r\n", "\n")

    return enter


@pytest.fixture(scope="session")
def make_program() -> Callable[..., str]:
    """The generator of programs beside this file: seed to listing."""
    name = "practice_generate"
    spec = importlib.util.spec_from_file_location(name, Path(__file__).with_name("generate.py"))
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    sys.modules[name] = module
    spec.loader.exec_module(module)
    return module.make_program
