"""The deeper review: what it finds, where, and that it keeps quiet over sound programs."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import pytest
from basic_runs import drive
from hypothesis import given
from hypothesis import strategies as st

from hostlink.board.profile.file import find_profile
from hostlink.errors import UsageError
from hostlink.listing import Language, Listing, Rules, review
from hostlink.listing.finding import RULES
from hostlink.listing.reading import Reader
from hostlink.listing.reviewing.crossref import cross_reference
from hostlink.listing.reviewing.flow import flow_of
from hostlink.practice.basic import Basic

# Many seeds go the same way: other tests pass these lines, so tracing here only costs time.
pytestmark = pytest.mark.no_cover

PRACTICE = find_profile("practice").rules
OTHER = Rules(
    language=Language(
        statements=(
            "PRINT",
            "IF",
            "ON",
            "LET",
            "DATA",
            "READ",
            "DIM",
            "FOR",
            "TO",
            "NEXT",
            "POKE",
            "END",
        ),
        separator=":",
        long_names=True,
    )
)


def found(
    text: str, rules: Rules = PRACTICE, **options: object
) -> list[tuple[str, int | None, int]]:
    """Rule, line number and column of everything the deep review finds."""
    outcome = review(Listing.from_text(text), rules, deep=True, **options)  # type: ignore[arg-type]
    return [(f.rule, f.number, f.column) for f in outcome.findings]


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("10 GOTO 30\n20 PRINT\n30 END\n", ("unreachable-line", 20, 4)),
        ("10 GOSUB 30\n20 END\n30 PRINT\n40 GOTO 30\n", ("subroutine-without-return", 10, 10)),
        ("10 GOSUB 20\n20 PRINT\n30 RETURN\n", ("return-without-gosub", 30, 4)),
        ("10 PRINT\n20 RETURN\n", ("return-without-gosub", 20, 4)),
        ("10 FOR I=1 TO 3\n20 PRINT I\n", ("for-without-next", 10, 8)),
        ("10 A=1\n20 NEXT A\n", ("next-without-for", 20, 9)),
        ("10 NEXT\n", ("next-without-for", 10, 4)),
        (
            "10 FOR I=1 TO 3\n20 FOR J=1 TO 3\n30 NEXT I\n40 NEXT J\n",
            ("crossed-loops", 30, 9),
        ),
        ('10 PRINT "TIDE\n', ("open-quote", 10, 10)),
        ("10 A=(1\n", ("unbalanced-bracket", 10, 6)),
        ("10 A=1)\n", ("unbalanced-bracket", 10, 7)),
        ("10 A=32768\n", ("number-out-of-range", 10, 6)),
        ("10 A=-32769\n", ("number-out-of-range", 10, 7)),
        ("10 PRINT A\n", ("variable-never-set", 10, 10)),
        ("10 PRNT 1\n", ("unknown-word", 10, 4)),
        ("10 A=PEEK(1)\n", ("unknown-word", 10, 6)),
        ("10 ?1\n", ("unknown-word", 10, 4)),
        ("10 GOTO 20\n20 REM\n", ("jump-into-remark", None, 0)),
        ("10 TOOT 5\n", ("unknown-word", 10, 4)),
        ("10 A=1.5\n20 PRINT A\n", ("number-with-fraction", 10, 6)),
        ("10 A=1:GOTO 10*A\n", ("computed-jump", 10, 13)),
    ],
)
def test_each_fault_is_found_at_its_place(text: str, expected: tuple[str, int, int]) -> None:
    """One fault, one finding: the rule, the line and the column of what is wrong."""
    assert found(text) == [expected]


@pytest.mark.parametrize(
    "text",
    [
        "10 GOTO 30\n20 REM ASIDE\n30 END\n",  # a remark need not be reached
        "10 GOSUB 30\n20 END\n30 PRINT\n40 RETURN\n",
        "10 A=1\n20 IF A=1 THEN 40\n30 END\n40 PRINT\n",
        "10 A=1\n20 IF A=1 GOTO 20\n30 END\n",
        "10 FOR I=1 TO 3:FOR J=1 TO 3\n20 NEXT J\n30 NEXT I\n",
        "10 FOR I=1 TO 3\n20 NEXT\n",
        "10 INPUT A,B\n20 PRINT A+B\n",
        "10 A=-32768\n20 PRINT A,32767\n",
        "10 IF ABS(RND(3))=2 THEN B=1\n20 A=1:IF A=1 B=3\n30 PRINT B\n",
        "10 A=1:IF A=A B=2\n20 PRINT B\n",
        '10 PRINT "PEEK(1) IS (NOT"\n',
        "10 STOW TIDE\n20 FETCH TIDE\n",
    ],
)
def test_sound_programs_are_left_alone(text: str) -> None:
    """What may look odd to a careless reader and is right."""
    assert found(text) == []


def test_on_lists_data_and_other_boards_statements_are_understood() -> None:
    """ON falls through and reaches all its targets; DATA is no fault; POKE may set anything."""
    text = (
        "10 READ COUNT\n20 ON COUNT GOTO 40,50\n30 END\n40 PRINT COUNT\n50 POKE SPOT, 1\n"
        '60 PRINT SPOT\n70 DATA 1, (, "\n'
    )
    assert found(text, OTHER) == []


def test_a_computed_jump_silences_what_cannot_be_known() -> None:
    """Where a jump may go anywhere, no line is called unreachable."""
    assert [rule for rule, _, _ in found("10 A=3:GOTO 10*A\n20 PRINT\n30 RETURN\n")] == [
        "computed-jump"
    ]


def test_unreachable_lines_in_a_row_are_one_finding() -> None:
    """From the first to the last of them, remarks between them left aside."""
    text = "10 END\n20 PRINT\n30 REM\n40 PRINT\n"
    outcome = review(Listing.from_text(text), PRACTICE, deep=True)
    assert [f.message for f in outcome.findings] == [
        "Lines 20 to 40 cannot be reached: nothing leads there."
    ]


def test_text_wider_than_the_screen_is_named() -> None:
    """Joined pieces count together; a comma begins a new zone; no width, no finding."""
    narrow = replace(PRACTICE, form=replace(PRACTICE.form, screen_width=10))
    assert found('10 PRINT "12345678901"\n', narrow) == [("wraps-on-screen", 10, 10)]
    assert found('10 PRINT "123456";"12345"\n', narrow) == [("wraps-on-screen", 10, 10)]
    assert found('10 PRINT "123456","12345"\n', narrow) == []
    assert found('10 PRINT "1234567890"\n', narrow) == []
    assert ("wraps-on-screen", 10, 10) in found('10 PRINT "12345678901\n', narrow)
    assert ("wraps-on-screen", 10, 10) not in found('10 PRINT "1234567890\n', narrow)
    assert found('10 PRINT "12345678901"\n') == []


def test_the_nearest_known_word_is_named() -> None:
    """The advice for a misspelt word is the word that it is nearest to."""
    outcome = review(Listing.from_text("10 PRNT 1\n20 GOSBU 10\n"), PRACTICE, deep=True)
    assert [f.advice for f in outcome.findings if f.rule == "unknown-word"] == [
        "Nearest known: PRINT.",
        "Nearest known: GOSUB.",
    ]


@pytest.mark.parametrize(
    ("text", "word"),
    [
        ("10 TOOT 5\n", "TOOT"),  # TO is a keyword, OT is not
        ("10 A=TOOT(5)\n", "TOOT"),
        ("10 LETTER 5\n", "LETTER"),
        ("10 TOX\n", "TOX"),
        ("10 IF A=1 THEN TOOT 5\n", "TOOT"),
        ("10 PRNT 1\n", "PRNT"),
    ],
)
def test_an_unknown_word_is_named_whole(text: str, word: str) -> None:
    """Also where a part of it is a keyword."""
    outcome = review(Listing.from_text(text), PRACTICE, deep=True)
    told = [f.message for f in outcome.findings if f.rule == "unknown-word"]
    assert told == [f"This board's BASIC has no {word}, as far as hostlink knows."]


@pytest.mark.parametrize(("text", "begins"), [("20 30 REM X\n", "30"), ('10 "HI"\n', '"HI"')])
def test_a_value_that_begins_a_statement_is_not_called_an_unknown_word(
    text: str, begins: str
) -> None:
    """Nothing is to be looked up: it is in the wrong place."""
    (found,) = review(Listing.from_text(text), PRACTICE, deep=True).findings
    assert found.message == f"No statement begins with {begins}."
    assert "missing word" in found.advice


def test_jumps_to_remarks_are_advice_given_once() -> None:
    """One finding names the lines that jump; it is neither an error nor a warning."""
    text = "".join(f"{n} GOTO 100\n" for n in range(10, 90, 10)) + "100 REM\n110 GOTO 10\n"
    outcome = review(Listing.from_text("5 GOTO 110\n" + text), PRACTICE, deep=True)
    (advice,) = [f for f in outcome.findings if f.rule == "jump-into-remark"]
    assert outcome.advice == (advice,)
    assert (advice.severity, advice.line_at) == ("advice", 0)
    assert advice.message == (
        "Lines 10, 20, 30, 40, 50, 60 and 2 more lead to lines that are only remarks."
    )
    alone = review(Listing.from_text("10 GOTO 20\n20 REM\n"), PRACTICE, deep=True)
    assert [f.message for f in alone.advice] == ["Line 10 leads to lines that are only remarks."]


def test_a_silenced_rule_is_left_out_and_counted() -> None:
    """Others stay; a rule that does not exist is refused with the nearest name."""
    listing = Listing.from_text("10 PRINT A\n20 GOTO 40\n")
    outcome = review(listing, PRACTICE, deep=True, silenced=["variable-never-set"])
    assert [f.rule for f in outcome.findings] == ["missing-jump-target"]
    assert outcome.silenced == 1
    with pytest.raises(UsageError, match="variable-never-sett"):
        review(listing, PRACTICE, silenced=["variable-never-sett"])


def test_without_depth_the_review_is_as_before() -> None:
    """The quick review, made before a load, has none of it."""
    assert review(Listing.from_text("10 PRINT A\n"), PRACTICE).findings == ()


def test_shipped_programs_have_only_what_is_meant(
    library: dict[str, tuple[str, tuple[str, ...]]],
) -> None:
    """Computed jumps, which cannot be checked; no false alarm, no text wider than the screen."""
    rules = {rule for text, _ in library.values() for rule, _, _ in found(text)}
    assert rules == {"computed-jump"}


@pytest.mark.slow
def test_lines_called_unreachable_are_never_run(make_program: Callable[..., str]) -> None:
    """300 generated programs run on the practice board, watched line by line."""
    silent = 0
    for seed in range(300):
        text = make_program(seed)
        listing = Listing.from_text(text)
        flow = flow_of(listing, Reader(PRACTICE.language))
        unreachable = {node.line.number for node in flow.unreachable()}
        board = Basic()
        for row in text.splitlines():
            drive(board.enter(row.encode()))
        ran: set[int] = set()
        state = board._state  # the only way to watch it
        firmware = board.enter(b"RUN")
        answer = None
        try:
            while True:
                firmware.send(answer)
                answer = False
                if 0 <= state.line < len(state.memory.numbers):
                    ran.add(state.memory.numbers[state.line])
        except StopIteration:
            pass
        assert ran
        assert not ran & unreachable, seed
        silent += len(unreachable)
    assert silent > 100


def test_the_cross_reference_names_who_names_whom() -> None:
    """Jumps, LIST and RUN by target; variables by where they are set and read; arrays apart."""
    text = (
        "10 FOR I=1 TO 9\n20 GOSUB 50\n30 NEXT I\n40 IF A=1 THEN 99\n50 LET A=A+I\n"
        "60 RETURN\n70 GOTO 10*A\n"
    )
    made = cross_reference(Listing.from_text(text), PRACTICE)
    assert [(e.number, e.there, e.used) for e in made.lines] == [
        (50, True, (("GOSUB", 20),)),
        (99, False, (("THEN", 40),)),
    ]
    assert [(v.name, v.set_in, v.read_in) for v in made.variables] == [
        ("A", (50,), (40, 50, 70)),
        ("I", (10,), (50,)),
    ]
    assert made.worked_out == (70,)


def test_every_rule_in_a_finding_has_a_name_in_the_table(make_program: Callable[..., str]) -> None:
    """What can be found can be silenced."""
    texts = [make_program(seed) for seed in range(20)] + ["X\n5\n10 GOTO\n9 A=((99999\n" + "é" * 99]
    rules = {
        f.rule
        for text in texts
        for f in review(Listing.from_text(text), PRACTICE, deep=True).findings
    }
    assert len(rules) > 8
    assert rules <= RULES.keys()


@given(st.text(max_size=200))
def test_any_text_can_be_reviewed_deeply(text: str) -> None:
    """Rubbish in, findings out, no error."""
    for rules in (PRACTICE, OTHER):
        for prefix in ("", "10 ", "10 IF A=(B"):
            review(Listing.from_text(prefix + text), rules, deep=True)
            cross_reference(Listing.from_text(prefix + text), rules)
