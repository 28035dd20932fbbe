"""Lines that are never reached: only such are found, and without them a program does the same.

The practice board's BASIC is code of its own, so it is a witness from outside.
"""

from __future__ import annotations

import random
from collections.abc import Callable
from operator import eq

import pytest

from hostlink.board.profile.file import find_profile
from hostlink.jobs.adapting import adapt_for
from hostlink.jobs.shrinking import prove_shrunk, unreached_words
from hostlink.listing import Listing
from hostlink.listing.shrinking.shrink import shrink
from hostlink.listing.shrinking.unreached import unreached
from hostlink.practice.kind_file import find_kind
from hostlink.practice.walk import Walk

KINDS = ("practice", "capital", "token", "ready")
STATEMENTS = 400


def found(text: str, profile: str = "practice") -> list[int | None]:
    """The numbers of the lines that could go."""
    lines = unreached(Listing.from_text(text), find_profile(profile).rules)
    return [line.number for line in lines]


@pytest.mark.parametrize(
    ("text", "profile", "numbers"),
    [
        ("10 GOTO 30\n20 PRINT 1\n30 END\n", "practice", [20]),
        ("10 GOTO 40\n20 GOSUB 30\n25 END\n30 RETURN\n40 PRINT 1\n", "practice", [20, 30]),
        ("10 END\n20 REM LAST\n30 PRINT 2\n", "practice", [30]),
        ('10 PRINT "GOTO 30"\n20 END\n30 PRINT 1\n', "practice", [30]),
        ("10 REM GOTO 30\n20 END\n30 PRINT 1\n", "practice", [30]),
        ("10 A=30\n20 GOTO A\n30 PRINT 1\n40 GOTO 10\n50 PRINT 2\n", "practice", []),
        ("10 GOSUB 10*A\n20 END\n30 PRINT 1\n", "practice", []),
        ("10 IF A=1 THEN 30\n20 END\n30 PRINT 1\n40 END\n50 PRINT 2\n", "practice", [50]),
        ("10 IF A=1 GOTO 30\n20 STOP\n30 PRINT 1\n40 END\n50 PRINT 2\n", "capital", [50]),
        ("10 ON A GOTO 40,50\n20 END\n30 PRINT 3\n40 END\n50 END\n", "ready", [30]),
        ("10 IF A=1 THEN 40 ELSE 50\n20 END\n30 PRINT 3\n40 END\n50 END\n", "ready", [30]),
        ("10 FOR I=1 TO 0\n20 GOTO 60\n30 NEXT I\n40 PRINT 1\n50 END\n60 END\n", "practice", []),
        (
            "10 READ A\n20 PRINT A\n30 END\n40 DATA 5\n50 PRINT 1:DATA 6\n60 PRINT 7\n",
            "ready",
            [60],
        ),
        ("10 RESTORE 50\n20 READ A\n30 END\n40 PRINT 1\n50 PRINT 2\n60 DATA 3\n", "ready", [40]),
        ("10 RUN 40\n20 PRINT 1\n30 PRINT 2\n40 END\n", "practice", [20, 30]),
        ("10 END\n20 PRINT 1\n30 END\n40 PRINT 2\nRUN 20\n", "practice", [40]),
        ("10 HOP 30\n20 END\n30 PRINT 1\n", "practice", []),
        ("10 GO TO 40\n20 PRINT 1\n40 GO SUB 60\n50 STOP\n60 RETURN\n70 END\n", "ecma-55", [20]),
        ('10 PRINT 1\n20 STOP\n30 PRINT "AFTER CONT"\n40 END\n', "ready", []),
        ("10 PRINT 1\n20 STOP\n30 PRINT 2\n40 END\n", "ecma-55", [30]),
        ("10 DIM A(3)\n20 GOTO 40\n30 DIM B(3)\n40 END\n", "token", []),
    ],
)
def test_only_what_nothing_leads_to_is_found(
    text: str, profile: str, numbers: list[int | None]
) -> None:
    """Jumps of every kind are followed; DATA, DIM and what RESTORE names stay; where a jump is
    computed, or a word unknown, nothing is certain."""
    assert found(text, profile) == numbers


def test_the_words_name_the_lines_and_what_would_miss_them() -> None:
    """So that one who starts a part of a program by hand is warned."""
    text = "10 END\n" + "".join(f"{number} PRINT {number}\n" for number in range(20, 100, 10))
    rules = find_profile("practice").rules
    listing = Listing.from_text(text)
    lines = unreached(listing, rules)
    assert unreached_words(listing, lines, rules) == (
        "Never reached: lines 20, 30, 40, 50, 60, 70 and 2 more (88 bytes). RUN 20 typed by hand "
        "would miss them."
    )
    assert unreached_words(listing, lines[:1], rules).endswith(
        "(11 bytes). RUN 20 typed by hand would miss it."
    )


def test_the_words_say_why_no_line_is_removed() -> None:
    """A word that is not known is named, since the review calls the lines behind it unreachable."""
    rules = find_profile("practice").rules
    listing = Listing.from_text("10 END\n20 PRINT 1\n30 STOP\n")
    assert unreached_words(listing, unreached(listing, rules), rules) == (
        "No line is removed as never reached: a word of line 30 might be a jump. This board's "
        "BASIC has no STOP, as far as hostlink knows."
    )
    all_run = Listing.from_text("10 PRINT 1\n")
    assert unreached_words(all_run, unreached(all_run, rules), rules).startswith("Every line")


def jungle(choose: random.Random, profile: str) -> str:
    """A program of jumps that go anywhere, in the forms of one BASIC; it may end with an error, or
    never."""
    numbers = range(10, 10 * choose.randrange(6, 20), 10)
    has_on = profile == "ready"

    def line() -> str:
        to = choose.choice(numbers)
        bound = choose.randrange(-1, 4)
        forms = {
            f"PRINT {to}": 3,
            f"LET A=A+{choose.randrange(1, 3)}": 3,
            f"GOTO {to}": 3,
            f"IF A>{bound} GOTO {to}" if profile == "capital" else f"IF A>{bound} THEN {to}": 3,
            f"GOSUB {to}": 2,
            "RETURN": 2,
            f"FOR I=1 TO {bound}": 1,
            "NEXT I": 1,
            "END": 2,
            f'PRINT "GOTO {to}"': 1,
            f"RUN {to}": has_on,
            f"ON A GOTO {to},{choose.choice(numbers)}": 2 * has_on,
            f"LET A=1:GOTO {to}": 1,
        }
        return choose.choices(list(forms), list(forms.values()))[0]

    return "".join(f"{number} {line()}\n" for number in numbers)


def endings(text: str, walk: Walk) -> tuple[tuple[str, ...], ...]:
    """How a run ends and what it prints, first as it is, then with "last" for the last line.

    A FOR whose NEXT is looked for in vain is an error in the last line, whichever that is, on some
    boards.
    """
    last = text.splitlines()[-1].split()[0]
    told = str(walk.run(STATEMENTS)), walk.output, walk.error
    return told, tuple(each.replace(f"{last}: ", "last: ") for each in told)


@pytest.mark.one_in(2)
@pytest.mark.parametrize("kind", KINDS)
def test_programs_do_the_same_without_them(kind: str) -> None:
    """200 programs from seeds: no line that was found is ever run, and without them a program
    prints and ends the same, on a board of each kind."""
    rules, board, gone = find_profile(kind).rules, find_kind(kind), 0
    for seed in range(200):
        text = jungle(random.Random(seed), kind)
        listing = Listing.from_text(text)
        lines = unreached(listing, rules)
        numbers = {line.number for line in lines}
        before = Walk(text, board)
        expected = endings(text, before)
        assert not numbers & before.counts.keys(), (seed, text)
        left = "".join(row.typed + "\n" for row in listing if row.number not in numbers)
        found_now = endings(left, Walk(left, board))
        assert any(map(eq, found_now, expected)), (seed, text)
        gone += len(lines)
    assert gone > 200


@pytest.mark.one_in(4)
@pytest.mark.parametrize("kind", KINDS)
def test_a_program_with_dead_parts_is_proven_and_as_small_as_without(
    kind: str, make_program: Callable[..., str]
) -> None:
    """Parts that nothing leads to, put into generated programs, cost nothing once they may go."""
    practice, profile = find_profile("practice"), find_profile(kind)
    for seed in range(12):
        program = Listing.from_text(make_program(seed))
        if kind != "practice":
            program = adapt_for(program, practice, profile).listing
        program = shrink(program, profile.rules, without=unreached(program, profile.rules)).listing
        last = max(program.numbered())
        dead = f"{last + 1} END\n{last + 2} PRINT 99\n{last + 3} GOTO {last + 2}\n"
        longer = Listing.from_text(f"{program.text()}{dead}")
        lines = unreached(longer, profile.rules)
        assert {last + 2, last + 3} <= {line.number for line in lines}
        made = shrink(longer, profile.rules, without=lines)
        assert made.after <= shrink(program, profile.rules).after + 8, seed  # an END may stay
        proof = prove_shrunk(longer, made.listing, profile, ())
        assert proof.result == "proven", (seed, proof.says)


def test_what_cannot_be_compared_is_told() -> None:
    """The free memory grows and LIST shows less; the proof is then open, never made up."""
    profile = find_profile("practice")
    for text in ("10 PRINT ROOM()\n20 END\n30 PRINT 1\n", "10 LIST\n20 END\n30 PRINT 1\n"):
        listing = Listing.from_text(text)
        made = shrink(listing, profile.rules, without=unreached(listing, profile.rules))
        assert prove_shrunk(listing, made.listing, profile, None).result == "open"
    listing, other = Listing.from_text("10 PRINT 1\n"), Listing.from_text("10 PRINT 2\n")
    assert prove_shrunk(listing, other, profile, None).result == "differs"
    for line, why in (
        ("READ A", "The practice board ready stopped the program: Out of DATA Error in line 10"),
        ("POKE 1,2", "The practice board cannot run POKE, which a real board of this kind can"),
    ):
        ends = Listing.from_text(f"10 {line}\n20 END\n")
        assert prove_shrunk(ends, ends, find_profile("ready"), None).says == f"Not proven: {why}."
