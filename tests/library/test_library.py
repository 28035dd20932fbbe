"""The shipped programs: the index is complete, each fits a 999-byte board and runs as written."""

from __future__ import annotations

import re
from pathlib import Path
from typing import Any

import pytest
from basic_runs import STATEMENTS, drive, run_program

from hostlink.listing.measure import measure
from hostlink.listing.mending.mend import mend
from hostlink.listing.parse import Listing
from hostlink.listing.reviewing.review import review
from hostlink.listing.rules import Language, Rules
from hostlink.practice.basic import Basic
from hostlink.practice.kind import BoardKind
from hostlink.practice.pin_bank import PinInput
from hostlink.practice.walk import Walk

EXPECTED = Path(__file__).parent / "expected"
PROGRAM_BYTES = 999  # common practice, no source
LONGEST_LINE = 64  # characters; the input buffer of Palo Alto Tiny BASIC (May 1976), the shortest
RULES = Rules(language=Language(statements=STATEMENTS, separator=":", computed_jumps=True))
TABLE = {
    "file": str,
    "title": str,
    "notes": str,
    "tags": list,
    "author": str,
    "licence": str,
    "deterministic": bool,
    "differs_by": list,
    "inputs": list,
    "runs_on": list,
}


@pytest.fixture
def text(program: dict[str, Any], folder: Path) -> str:
    """The listing of one program."""
    path: Path = folder / program["file"]
    return path.read_bytes().decode("ascii")


def test_index_names_every_file_once(index: dict[str, Any], folder: Path) -> None:
    """Every listing in the folder is in the index, once, and nothing else is."""
    named = [table["file"] for kind in ("program", "damaged") for table in index[kind]]
    found = [
        path.relative_to(folder).as_posix()
        for path in folder.rglob("*")
        if path.is_file() and path.name not in ("index.toml", ".gitattributes")
    ]
    assert sorted(named) == sorted(found)
    assert len(index["program"]) >= 18
    assert len(index["damaged"]) >= 4


def test_expected_outputs_belong_to_programs(index: dict[str, Any]) -> None:
    """Every program has its checked output, and no output is left over from another."""
    stems = sorted(Path(table["file"]).stem for table in index["program"])
    assert sorted(path.stem for path in EXPECTED.iterdir()) == stems


def test_titles_are_told_apart(index: dict[str, Any]) -> None:
    """No two programs have the same title."""
    titles = [table["title"] for table in index["program"]]
    assert len(set(titles)) == len(titles)


def test_index_tells_what_a_person_needs(program: dict[str, Any]) -> None:
    """Every program has a title, notes of two to four sentences, tags, author and licence."""
    assert {key: type(value) for key, value in program.items() if key != "pins"} == TABLE
    assert re.fullmatch(r"[a-z]+\.bas", program["file"])
    assert re.fullmatch(r"\S.*\S", program["title"])
    assert 2 <= len(re.findall(r"[.?](?:\s|$)", program["notes"])) <= 5
    assert program["tags"]
    assert all(re.fullmatch(r"[a-z]+", tag) for tag in program["tags"])
    assert program["author"] == "the hostlink authors"
    assert program["licence"] == "MIT"


def test_index_tells_what_other_basics_do_differently(program: dict[str, Any], text: str) -> None:
    """INPUT, RND, ROOM and computed jumps in the listing are all named; only then is it false
    that every BASIC prints the same."""
    words = {
        "INPUT": r"\bINPUT\b",
        "RND": r"\bRND\b",
        "ROOM": r"\bROOM\(",
        "computed jump": r"\b(?:GOTO|GOSUB) \d+\+",
        "pins": r"(?m)\b(?:PIN|LEVEL)\(\d|^\d+ (?:OUT|DUTY|TONE) \d+,",
    }
    differs = set(program["differs_by"])
    assert differs <= {*words, "division"}
    assert differs - {"division"} == {
        name for name, pattern in words.items() if re.search(pattern, text)
    }
    assert "division" not in differs or "/" in text
    assert program["deterministic"] == (not differs)
    assert bool(program["inputs"]) == ("INPUT" in differs)


def test_listing_reads_as_a_tidy_program(text: str) -> None:
    """Every line has a number, ascending; one blank follows it; the first line is a remark."""
    assert text.endswith("\n")
    assert "\n\n" not in text
    listing = Listing.from_text(text)
    numbers = [line.number or 0 for line in listing]
    assert all(numbers)
    assert numbers == sorted(set(numbers))
    assert list(listing.numbered().values()) == list(listing)
    assert listing.lines[0].text.startswith("REM ")
    for line in listing:
        assert line.typed == f"{line.number} {line.text}".rstrip()
        assert len(line.typed) <= LONGEST_LINE
        assert line.typed == line.typed.upper()


def test_review_finds_only_computed_jumps(program: dict[str, Any], text: str) -> None:
    """By the practice board's rules there is no error, and no warning but that of a computed
    jump, which cannot be checked without running."""
    found = review(Listing.from_text(text), RULES).findings
    assert {finding.rule for finding in found} == {"computed-jump"} & {
        name.replace(" ", "-") for name in program["differs_by"]
    }
    assert all(finding.severity == "warning" for finding in found)


def test_mend_leaves_it_alone(text: str) -> None:
    """A shipped program is not damaged: mend neither repairs nor doubts anything."""
    mended = mend(text)
    assert (mended.text, mended.mends, mended.doubts) == (text, (), ())


def test_ledger_and_board_agree_on_its_size(text: str) -> None:
    """The byte ledger and the board's own free-memory function give the same size; it fits."""
    ledger = measure(Listing.from_text(text), Rules())
    board = Basic(program_bytes=PROGRAM_BYTES)
    for line in text.splitlines():
        assert drive(board.enter(line.encode("ascii"))) == ""
    room = int(drive(board.enter(b"PRINT ROOM()")))
    assert ledger.fits
    assert ledger.limit - ledger.total == room >= 0


def test_prints_its_checked_output(program: dict[str, Any], text: str) -> None:
    """On the practice board it prints what is kept under expected/, and ends by itself.

    Behind it stands what it put out at pins.
    """
    pins = [PinInput(*each) for each in program.get("pins", ())]
    walk = Walk(text, BoardKind(), program["inputs"], pins)
    assert walk.run() == "end"
    put = [
        f"{each.ms:g} ms: {each.pin} {each.what} {each.value}" for each in walk.state.pins.changes
    ]
    printed = walk.output + "".join(f"{row}\n" for row in put)
    assert printed == (EXPECTED / f"{Path(program['file']).stem}.txt").read_text(encoding="ascii")
    assert not re.search(r"^(?:! |\* stopped)", printed, re.MULTILINE)


def test_uses_up_all_its_inputs(program: dict[str, Any], text: str) -> None:
    """Every input of the index is asked for: with one fewer the run is stopped at an INPUT."""
    if not program["inputs"]:
        assert run_program(text, ["1"]) == run_program(text)
        return
    assert "* stopped in" in run_program(text, program["inputs"][:-1])
