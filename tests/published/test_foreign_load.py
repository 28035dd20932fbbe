"""Loading into and saving from the real bwbasic interpreter, over a pseudo-terminal by pyserial.

The programs are its own examples (Debian package bwbasic, /usr/share/doc/bwbasic/examples). What it
holds after a load is also read from the file that its own SAVE writes, and what is saved was also
put there by its own LOAD, so that neither way proves only itself.
"""

from __future__ import annotations

import importlib.util
import os
import shutil
import sys
from collections.abc import Callable, Iterator
from pathlib import Path
from types import ModuleType
from typing import Any, NoReturn

import pytest

from hostlink.board.dialogue.dialogue import Dialogue
from hostlink.board.dialogue.loading import Loader
from hostlink.board.profile.file import load_profile
from hostlink.errors import ReadBackError
from hostlink.link.serial_port import SerialPort
from hostlink.link.wire import Wire
from hostlink.listing.canonical import canonical_line
from hostlink.listing.parse import Listing

EXAMPLES = Path("/usr/share/doc/bwbasic/examples")
HELPER = Path(__file__).parent.parent / "board" / "foreign_board.py"

USED = (
    *("abs", "assign", "dataread", "deffn", "dim", "doloop", "dowhile", "end", "err", "fncallfn"),
    *("fornext", "function", "gosub", "ifline", "input", "lof", "loopuntl", "on", "onerr"),
    *("ongosub", "opentest", "option", "pascaltr", "random", "stop", "term", "whilwend"),
    "writeinp",
)
_NO_NUMBERS = "its lines have no numbers, so it cannot be typed in"
EXCLUDED = {
    **dict.fromkeys(("callfunc", "callsub", "chain1", "chain2", "elseif"), _NO_NUMBERS),
    **dict.fromkeys(("gotolabl", "main", "mlifthen", "onerrlbl", "putget"), _NO_NUMBERS),
    **dict.fromkeys(("selcase", "snglfunc"), _NO_NUMBERS),
    "width": "LIST wraps its line 30 at 80 columns; see the last tests",
}


def helper() -> ModuleType:
    name = "published_foreign_board"
    spec = importlib.util.spec_from_file_location(name, HELPER)
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    sys.modules[name] = module
    spec.loader.exec_module(module)
    return module


class Board:
    """The interpreter, attached, and its working folder."""

    def __init__(self, dialogue: Dialogue, folder: Path) -> None:
        self.dialogue = dialogue
        self.folder = folder
        self.rules = dialogue.profile.rules

    def canonical(self, listing: Listing) -> dict[int, str]:
        return {n: canonical_line(line, self.rules) for n, line in listing.numbered().items()}

    def own_save(self) -> Listing:
        """The program as the interpreter itself writes it to a file."""
        assert self.dialogue.ask('SAVE "own.bas"').strip() == ""
        return Listing.from_text((self.folder / "own.bas").read_text(encoding="latin-1"))

    def own_load(self, listing: str) -> None:
        """Let the interpreter itself read a program from a file."""
        (self.folder / "given.bas").write_text(listing, encoding="latin-1")
        assert self.dialogue.ask('LOAD "given.bas"').strip() == ""

    def held(self) -> dict[int, str]:
        """The program by a proven capture."""
        tally = self.dialogue.capture()
        assert tally.count >= 2
        return {n: canonical_line(line, self.rules) for n, line in tally.lines.items()}


@pytest.fixture(scope="module")
def board(lacking: Callable[[str], NoReturn], patient_clock: Callable[[], Any]) -> Iterator[Board]:
    """One interpreter for all tests of this file."""
    if os.name != "posix":
        lacking("a pseudo-terminal needs a POSIX system")
    if shutil.which("bwbasic") is None or not EXAMPLES.is_dir():
        lacking("the package bwbasic with its examples is not installed")
    foreign = helper()
    with foreign.foreign_board() as place:
        profile = load_profile(foreign.PROFILE)
        wire = Wire(SerialPort(place.port, profile.talk.baud), patient_clock())
        dialogue = Dialogue(wire, profile)
        dialogue.attach()
        yield Board(dialogue, place.folder)
        wire.close()


def example(name: str) -> str:
    return (EXAMPLES / f"{name}.bas").read_text(encoding="latin-1")


@pytest.mark.one_in(7)
@pytest.mark.parametrize("name", USED)
def test_a_packaged_program_goes_in_and_comes_out_proven(board: Board, name: str) -> None:
    """Its own SAVE writes what we loaded; what its own LOAD has read is what we save."""
    listing = Listing.from_text(example(name))
    want = board.canonical(listing)
    report = Loader(board.dialogue, listing.numbered()).load()
    assert (report.lines, report.repairs, report.starts) == (len(want), 0, 1)
    assert board.canonical(board.own_save()) == want
    assert board.held() == want

    board.dialogue.clear()
    board.own_load(example(name))
    assert board.held() == want


@pytest.mark.usefixtures("board")
def test_every_packaged_program_is_used_or_excluded_for_a_reason() -> None:
    """The two lists are the package's whole folder; the commonest reason is looked at again."""
    packaged = {path.stem for path in EXAMPLES.glob("*.bas")}
    assert packaged == {*USED, *EXCLUDED}
    assert len(USED) >= 8
    for name in packaged:
        numbered = all(line.number is not None for line in Listing.from_text(example(name)))
        assert numbered == (EXCLUDED.get(name) != _NO_NUMBERS), name


def test_a_line_that_the_interpreter_wraps_is_not_called_loaded(board: Board) -> None:
    """It holds line 30 of WIDTH but lists it in two rows: no proof, and line 30 is named."""
    with pytest.raises(ReadBackError, match="It keeps 73 characters of line 30"):
        Loader(board.dialogue, Listing.from_text(example("width")).numbered()).load()


def test_a_line_that_the_interpreter_wraps_is_not_called_saved(board: Board) -> None:
    """Two captures agree on half of line 30; the other half is noticed and the save refused."""
    board.own_load(example("width"))
    with pytest.raises(ReadBackError, match="At line 30 the board lists"):
        board.dialogue.capture()
