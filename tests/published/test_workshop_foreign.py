"""Programs, others' too, renumbered and shrunk, on interpreters that are not ours.

The interpreters: bwbasic 2.20 (Debian package bwbasic), and the BASIC that comes as an example with
the parser generator PLY (Debian packages python-ply-doc and python3-ply), which is near ECMA-55.
"""

from __future__ import annotations

import os
import shutil
import subprocess
from collections.abc import Callable, Iterator
from dataclasses import replace
from pathlib import Path
from typing import NoReturn

import pytest
from basic_runs import FUNCTIONS, run_program

from hostlink.board.profile.file import find_profile
from hostlink.listing import Form, Language, Listing, Rules, decode_listing
from hostlink.listing.renumber import renumber
from hostlink.listing.shrinking.shrink import shrink
from hostlink.shipped import library_folder

STATEMENTS = (
    "PRINT INPUT LET IF FOR TO NEXT ON ERROR END DIM DATA READ RETURN STOP DEF STEP GOTO GOSUB "
    "WHILE WEND DO LOOP EXIT OPTION BASE RESTORE RANDOMIZE WIDTH OPEN CLOSE LINE"
)
FUNCTION_NAMES = "ABS ASC CHR$ INT LEFT$ LEN MID$ RIGHT$ RND SQR STR$ TAB VAL"
BWBASIC = Rules(
    form=Form(last_line=32766, longest_line=0, characters=((9, 9), (32, 126))),
    language=Language(
        statements=tuple(STATEMENTS.split()),
        functions=tuple(FUNCTION_NAMES.split()),
        remarks=("REM", "'"),
        separator=":",
        long_names=True,
        words_apart=True,
        optional=("LET",),
    ),
)
EXAMPLES = Path("/usr/share/doc/bwbasic/examples")
SAME = (
    *("abs", "assign", "dataread", "deffn", "dim", "doloop", "dowhile", "fncallfn", "fornext"),
    *("ifline", "loopuntl", "option", "pascaltr", "whilwend", "width"),
)
"""Those that end by themselves without a question, a file, the time of day (random.bas begins its
numbers with it), or an error (whose message would name another line)."""
PLY = Path("/usr/share/doc/python-ply-doc/examples/BASIC")
PLY_SAME = ("gcd", "gosub", "hello", "linear", "maxsin", "powers", "sales", "sears", "sqrt1", "dim")
"""All but rand.bas (other numbers at each run), func.bas and sqrt2.bas (they end in an error)."""


@pytest.fixture
def need(lacking: Callable[[str], NoReturn]) -> Callable[[Path], Path]:
    """Finds a folder of packaged examples."""

    def find(folder: Path) -> Path:
        if not folder.is_dir():
            lacking(f"there is no {folder}; is its package installed?")
        return folder

    return find


def changed(text: str, rules: Rules) -> Iterator[tuple[str, str]]:
    """A listing shrunk and renumbered in two ways each: how, and the text."""
    listing = Listing.from_text(text)
    for level in ("words", "everything"):
        made = shrink(listing, rules, level)
        assert made.after <= made.before
        yield f"shrunk, {level}", made.listing.text()
    for start, step in ((1, 1), (1000, 7)):
        yield f"from {start}", renumber(listing, rules, start=start, step=step).listing.text()


def test_generated_programs_changed_print_the_same_on_bwbasic(
    make_program: Callable[..., str], foreign_output: Callable[[str], list[str]]
) -> None:
    """40 programs from fixed seeds; the shrinking must save something in all."""
    saved = 0
    for seed in range(40):
        text = make_program(seed)
        wanted = foreign_output(text)
        assert wanted
        made = shrink(Listing.from_text(text), BWBASIC)
        saved += made.before - made.after
        assert foreign_output(made.listing.text()) == wanted, (seed, made.listing.text())
        moved = renumber(Listing.from_text(text), BWBASIC, start=1, step=1)
        assert foreign_output(moved.listing.text()) == wanted, seed
    assert saved > 1000


@pytest.mark.parametrize("name", ["carpet", "change", "counter", "odds", "tide", "twelfths"])
def test_shipped_programs_changed_print_the_same_on_bwbasic(
    name: str,
    foreign_output: Callable[[str], list[str]],
    collapsed: Callable[[str], list[str]],
) -> None:
    """Shrunk by bwbasic's rules, each still prints there what it prints on the practice board."""
    text = (library_folder() / f"{name}.bas").read_text(encoding="ascii")
    wanted = collapsed(run_program(text))
    for how, made in changed(text, BWBASIC):
        assert foreign_output(made) == wanted, how


@pytest.mark.parametrize("name", SAME)
def test_packaged_programs_changed_print_the_same_on_bwbasic(
    name: str, foreign_output: Callable[[str], list[str]], need: Callable[[Path], Path]
) -> None:
    """Programs that others wrote for their own interpreter, tabs, small letters and all."""
    raw = (need(EXAMPLES) / f"{name}.bas").read_bytes()
    text = decode_listing(raw, name=name, charset="latin-1")
    wanted = foreign_output(text)
    assert wanted
    for how, made in changed(text, BWBASIC):
        assert foreign_output(made) == wanted, (how, made)


@pytest.fixture
def ply_output(
    require_program: Callable[[str], str], need: Callable[[Path], Path], tmp_path: Path
) -> Callable[[str], str]:
    """Run a listing on the BASIC of the PLY examples; what it printed."""
    python = "/usr/bin/python3"
    if not Path(python).exists():
        python = require_program("python3")
    folder = tmp_path / "basic"
    shutil.copytree(need(PLY), folder)
    environment = {key: value for key, value in os.environ.items() if not key.startswith("PYTHON")}

    def run(listing: str) -> str:
        (folder / "listing.bas").write_text(listing, encoding="ascii")
        ran = subprocess.run(
            [python, "basic.py", "listing.bas"],
            cwd=folder,
            env=environment,
            stdin=subprocess.DEVNULL,
            capture_output=True,
            text=True,
            timeout=120,
            check=False,
        )
        assert ran.returncode == 0, ran.stderr
        return ran.stdout

    return run


@pytest.mark.one_in(5)
@pytest.mark.parametrize("name", PLY_SAME)
def test_packaged_programs_changed_print_the_same_on_plys_basic(
    name: str, ply_output: Callable[[str], str], need: Callable[[Path], Path]
) -> None:
    """Under the profile of ECMA-55: LET and END stay, keywords keep their blanks."""
    rules = find_profile("ecma-55").rules
    rules = replace(rules, form=replace(rules.form, longest_line=0))
    text = (need(PLY) / f"{name}.bas").read_text(encoding="ascii")
    wanted = ply_output(text)
    assert wanted.strip()
    for how, made in changed(text, rules):
        assert ply_output(made) == wanted, (how, made)


def test_the_practice_boards_functions_are_not_in_the_way() -> None:
    """A guard for these tests: none of the compared programs uses the board's own functions."""
    for name in ("carpet", "change", "counter", "odds", "tide", "twelfths"):
        text = (library_folder() / f"{name}.bas").read_text(encoding="ascii")
        assert not any(f"{function}(" in text for function in FUNCTIONS if function != "ABS")
