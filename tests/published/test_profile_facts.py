"""The shipped profiles against the publications that they follow."""

from __future__ import annotations

import pytest

from hostlink.board.profile.file import find_profile
from hostlink.board.profile.model import Profile
from hostlink.listing.measure import measure
from hostlink.listing.parse import Listing

# ECMA-55, Minimal BASIC, January 1978, section 3: the reserved words.
ECMA_55_KEYWORDS = [
    "BASE",
    "DATA",
    "DEF",
    "DIM",
    "END",
    "FOR",
    "GO",
    "GOSUB",
    "GOTO",
    "IF",
    "INPUT",
    "LET",
    "NEXT",
    "ON",
    "OPTION",
    "PRINT",
    "RANDOMIZE",
    "READ",
    "REM",
    "RESTORE",
    "RETURN",
    "STEP",
    "STOP",
    "SUB",
    "THEN",
    "TO",
]

# Design notes for Tiny BASIC, People's Computer Company 1975; Dr. Dobb's Journal vol. 1 no. 1,
# 1976, p. 9 (read in a source that quotes it): the statements of its grammar.
DESIGN_NOTES = [
    "PRINT",
    "IF",
    "THEN",
    "GOTO",
    "INPUT",
    "LET",
    "GOSUB",
    "RETURN",
    "CLEAR",
    "LIST",
    "RUN",
    "END",
]


@pytest.fixture
def palo_alto() -> Profile:
    """The profile after Palo Alto Tiny BASIC, Dr. Dobb's Journal, May 1976."""
    return find_profile("palo-alto")


@pytest.fixture
def ecma_55() -> Profile:
    """The profile after Standard ECMA-55, Minimal BASIC, January 1978."""
    return find_profile("ecma-55")


def test_ecma_55_has_the_26_keywords_of_the_standard(ecma_55: Profile) -> None:
    """ECMA-55, section 3."""
    assert len(ECMA_55_KEYWORDS) == 26
    assert sorted(ecma_55.rules.language.statements) == sorted(ECMA_55_KEYWORDS)


def test_ecma_55_lines_are_those_of_the_standard(ecma_55: Profile) -> None:
    """ECMA-55, section 5: 1 to 4 digits, not zero, at most 72 characters."""
    form = ecma_55.rules.form
    assert (form.first_line, form.last_line, form.longest_line) == (1, 9999, 72)


def test_ecma_55_jumps_are_those_of_the_standard(ecma_55: Profile) -> None:
    """ECMA-55, section 12: a line number follows GOTO, GOSUB and THEN, never an expression."""
    language = ecma_55.rules.language
    assert set(language.jumps) == {"GOTO", "GOSUB", "THEN"}
    assert not language.computed_jumps
    assert {"GO", "TO", "SUB"} <= set(language.statements)  # GO TO and GO SUB may be written


def test_ecma_55_has_the_eleven_functions(ecma_55: Profile) -> None:
    """ECMA-55, section 9 (from memory), and TAB of the PRINT statement."""
    functions = ["ABS", "ATN", "COS", "EXP", "INT", "LOG", "RND", "SGN", "SIN", "SQR", "TAN", "TAB"]
    assert list(ecma_55.rules.language.functions) == functions


def test_palo_alto_talks_as_published(palo_alto: Profile) -> None:
    """Dr. Dobb's Journal, May 1976 (v2.0 listing of 10 October 1976): prompt and errors."""
    assert palo_alto.talk.prompt == b">"
    assert palo_alto.commands.error_words == ("WHAT?", "HOW?", "SORRY")
    assert palo_alto.commands.free_memory == "PRINT SIZE"


def test_palo_alto_confirms_a_line_by_its_prompt(palo_alto: Profile) -> None:
    """v2.0 listing of 10 October 1976: GETLN echoes the CR, then the line is stored, then ">"."""
    assert palo_alto.talk.echo and palo_alto.talk.line_done == "prompt"
    assert palo_alto.talk.reply_end == b"\r\n"  # OUTC sends a LF after each CR


def test_palo_alto_keys_are_those_of_the_listing(palo_alto: Profile) -> None:
    """v2.0 listing of 10 October 1976, GETLN and CHKIO: 7F rub-out, 7D cancel, 03 interrupt."""
    talk = palo_alto.talk
    assert (talk.erase, talk.line_cancel, talk.interrupt) == (b"\x7f", b"\x7d", b"\x03")


def test_palo_alto_line_numbers_and_buffer_are_as_published(palo_alto: Profile) -> None:
    """May 1976: 0 is direct, above 32767 is HOW?; 64 characters of input with the CR."""
    form = palo_alto.rules.form
    assert (form.first_line, form.last_line) == (1, 32767)
    assert form.longest_line + len(palo_alto.talk.line_end) == 64


def test_palo_alto_language_is_as_published(palo_alto: Profile) -> None:
    """May 1976: ; between statements, abbreviations end in a full stop, RND ABS SIZE."""
    language = palo_alto.rules.language
    assert (language.separator, language.abbreviation_mark) == (";", ".")
    assert language.functions == ("RND", "ABS", "SIZE")
    assert language.computed_jumps
    assert "THEN" not in (*language.statements, *language.jumps)


@pytest.mark.parametrize(("line", "size"), [('10 PRINT "HELLO"', 16), ("20 GOTO 10", 10)])
@pytest.mark.parametrize("name", ["palo-alto", "tiny", "practice"])
def test_lines_cost_what_the_published_storage_gives(name: str, line: str, size: int) -> None:
    """Palo Alto Tiny BASIC, May 1976: number 2, text, CR 1; sizes derived from that rule."""
    assert len(line.split(" ", 1)[1]) + 3 == size
    measured = measure(Listing.from_text(line + "\n"), find_profile(name).rules)
    assert measured.total - find_profile(name).rules.storage.empty_bytes == size


def test_tiny_knows_the_statements_of_the_design_notes() -> None:
    """Dr. Dobb's Journal vol. 1 no. 1, 1976, p. 9; GOTO expr makes jumps computable."""
    language = find_profile("tiny").rules.language
    assert set(DESIGN_NOTES) <= set(language.statements)
    assert language.computed_jumps
