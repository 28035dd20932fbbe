"""Reading a sent program back: how many readings a verdict takes, on scripted readings."""

from __future__ import annotations

from collections.abc import Callable

import pytest

from hostlink.board.dialogue.evidence import DamageSign, Evidence
from hostlink.board.dialogue.next_step import MOST_READINGS
from hostlink.board.dialogue.read_back import ReadBack
from hostlink.board.dialogue.reading import Reading
from hostlink.link.wire import Health
from hostlink.listing.parse import Line
from hostlink.listing.rules import Form, Language, Rules, Storage

RULES = Rules(Form(), Storage(), Language())
SENT = {10: "10 PRINT 1", 20: "20 GOTO 10"}


def reading(*rows: str, said: tuple[str, ...] = ()) -> Reading:
    """An answer to LIST with these lines in it. said: rows before the first."""
    lines = {line.number: line for line in map(Line.from_text, rows) if line.number is not None}
    order = (*said, *lines)
    return Reading(lines, said=said, order=order, rows=(*said, *rows))


WHOLE = reading(*SENT.values())
SHORT = reading(SENT[10])


class Script:
    """Answers with the readings it was given, the last of them for ever, and calls `then`."""

    def __init__(self, *readings: Reading, then: Callable[[int], object] = str) -> None:
        self.readings = readings
        self.then = then
        self.counts: list[int] = []

    def __call__(self, count: int) -> Reading:
        self.counts.append(count)
        self.then(count)
        return self.readings[min(count, len(self.readings)) - 1]


def reading_back(script: Script, evidence: Evidence, *, echo: bool = True) -> ReadBack:
    return ReadBack(SENT, RULES, evidence, script, echo=echo)


@pytest.mark.parametrize(("echo", "readings"), [(True, 1), (False, 2)])
def test_without_echo_one_right_reading_is_not_enough(echo: bool, readings: int) -> None:
    """Nothing has watched the sending then."""
    script = Script(WHOLE)
    assert reading_back(script, Evidence(Health()), echo=echo).run().proven
    assert script.counts == [*range(1, readings + 1)]


def test_a_missing_line_is_called_wrong_after_a_second_look() -> None:
    """The first look is noted against the wire, so that one reading no longer decides."""
    script, evidence = Script(SHORT), Evidence(Health())
    assert reading_back(script, evidence).run().wrong == (20,)
    assert script.counts == [1, 2]
    assert evidence.notes[DamageSign.NOT_AS_SENT] == 1


def test_a_reading_from_before_a_disturbance_does_not_count() -> None:
    """What was typed to read may have become a line: what was read before says nothing of it."""
    evidence = Evidence(Health())

    def disturb(count: int) -> None:
        if count == 2:
            evidence.disturbed()

    part = reading_back(Script(SHORT, WHOLE, then=disturb), evidence)
    assert part.run().proven
    assert part.readings == [WHOLE, WHOLE]


def test_words_in_place_of_a_listing_settle_no_line() -> None:
    """Two equal answers without a line end the reading: nothing better will come."""
    script = Script(reading(said=("WHAT?",)))
    assert reading_back(script, Evidence(Health())).run().unsettled == (10, 20)
    assert script.counts == [1, 2]


def test_a_board_that_never_answers_the_same_is_given_up() -> None:
    """The reading ends after a fixed number of readings, without a verdict on the lines."""
    script = Script(*(reading(said=(f"NOISE {count}",)) for count in range(MOST_READINGS + 1)))
    assert reading_back(script, Evidence(Health())).run().unsettled == (10, 20)
    assert len(script.counts) == MOST_READINGS


@pytest.mark.parametrize("times", [1, 40])
def test_words_in_place_of_a_listing_do_not_prove_an_empty_memory(times: int) -> None:
    """Neither an error that comes each time, nor rubbish that never comes twice."""
    answers = [reading(said=(f"?SYNTAX{'' if times == 1 else each}",)) for each in range(times)]
    part = ReadBack({}, RULES, Evidence(Health()), Script(*answers), echo=True)
    found = part.run()
    assert found.unread
    assert not found.proven


def test_a_bare_answer_proves_an_empty_memory() -> None:
    """Nothing is listed, and nothing else is said."""
    assert ReadBack({}, RULES, Evidence(Health()), Script(reading()), echo=True).run().proven
