"""Offers for mistyped lines: every slip of one kind is found again, and a right line never asks.

The shipped programs are damaged in every place; what a slip looks like is common practice, no
source.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator

import pytest

from hostlink.listing import Form, Listing, Rules, canonical
from hostlink.listing.checkcodes import Codes, codes_of, verify_codes
from hostlink.listing.slips import MOST_OFFERS, Correction, offers

RULES = Rules()
TEXT = '10 REM ROPE FERRY\n20 PRINT "TOO"\n30 LET A=1\n40 IF A<5 THEN 30\n50 END\n'
CODES = codes_of(Listing.from_text(TEXT), RULES)

Library = dict[str, tuple[str, tuple[str, ...]]]


def offered(
    text: str, codes: Codes = CODES, rules: Rules = RULES
) -> dict[int, tuple[Correction, ...]]:
    """What is offered for a text that was typed."""
    listing = Listing.from_text(text)
    return offers(listing, codes, verify_codes(listing, codes, rules), rules)


def swapped(row: str, at: int) -> str:
    """Two neighbours in each other's place."""
    return row[:at] + row[at + 1 : at + 2] + row[at] + row[at + 2 :]


def omitted(row: str, at: int) -> str:
    """A character left out."""
    return row[:at] + row[at + 1 :]


def doubled(row: str, at: int) -> str:
    """A character typed twice."""
    return row[:at] + row[at] + row[at:]


def looks_alike(row: str, at: int) -> str:
    """A digit for a letter or the other way round, where there is one."""
    pairs = "O0I1S5B8"
    place = pairs.find(row[at])
    return row[:at] + (row[at] if place < 0 else pairs[place ^ 1]) + row[at + 1 :]


@pytest.mark.one_in(2)
@pytest.mark.parametrize("slip", [swapped, omitted, doubled, looks_alike])
def test_every_slip_of_a_program_is_found_again(
    slip: Callable[[str, int], str], library: Library
) -> None:
    """Each place of a shipped program is mistyped in turn; with the code of the whole, all come
    back as one of three offers, also where the line's own code misses the slip."""
    text = next(text for text, _ in library.values() if 400 < len(text) < 600)
    codes = codes_of(Listing.from_text(text), RULES)
    tried = 0
    for number, row, wrong in mistyped(text, slip):
        found = offered(text.replace(f"{row}\n", f"{wrong}\n"), codes)
        if canonical(Listing.from_text(wrong), RULES) != canonical(Listing.from_text(row), RULES):
            tried += 1
            assert row in [offer.text for offer in found[number]], wrong
            assert len(found[number]) <= MOST_OFFERS
        else:
            assert not found
    assert tried > 40


def mistyped(text: str, slip: Callable[[str, int], str]) -> Iterator[tuple[int, str, str]]:
    """The number of each line, the line, and the line with a slip at each place in turn."""
    for row in text.splitlines():
        number = row.split(" ")[0]
        for at in range(len(number) + 1, len(row)):
            if (wrong := slip(row, at)) != row:
                yield int(number), row, wrong


def test_the_slip_is_told_in_words() -> None:
    """What a learner reads beside the offer."""
    for wrong, slip in (
        ("TO", "O was left out"),
        ("TOOO", "O was typed twice"),
        ("T0O", "0 was typed for O"),
        ("OTO", "T and O were swapped"),
        ("TO O", "a blank was added"),
    ):
        found = offered(TEXT.replace("TOO", wrong))
        assert found == {20: (Correction('20 PRINT "TOO"', slip),)}, wrong


def test_a_right_listing_gets_no_offers() -> None:
    """Nothing is asked where every code agrees, with or without the code of the whole."""
    assert offered(TEXT) == {}
    assert offered(TEXT, Codes(CODES.lines, "")) == {}


def test_two_wrong_lines_are_found_together() -> None:
    """The code of the whole decides between all pairs of texts that fit the lines' codes."""
    found = offered(TEXT.replace("TOO", "TO").replace("A=1", "A=l"))
    assert [offer.text for offer in found[20]] == ['20 PRINT "TOO"']
    assert [offer.text for offer in found[30]] == ["30 LET A=1"]


def test_a_wrong_line_number_is_noticed() -> None:
    """A line that is missing stands under another number: it is offered under its own."""
    found = offered(TEXT.replace("30 LET", "300 LET"))
    assert found[30] == (Correction("30 LET A=1", "it is line 300 here"),)


@pytest.mark.parametrize("number", ["3O", "3o", "3Q"])
def test_a_letter_in_a_line_number_is_noticed(number: str) -> None:
    """Such a row is another line for the board, or none."""
    found = offered(TEXT.replace("30 LET", f"{number} LET"))
    assert found[30] == (Correction("30 LET A=1", f"its number is {number} here"),)
    assert offered(TEXT.replace("30 LET A=1", f"{number} LET A=2")).get(30) is None
    assert offered(TEXT.replace("30", f"{'3' * 5000}O")).get(30) is None
    assert offered("lO LET \u00fc\n", Codes({10: "02"}, "")) == {}


def test_two_lines_that_took_each_other_s_number_are_noticed() -> None:
    """Each is offered with the text of the other, with the code of the whole and without it."""
    typed = TEXT.replace("20 PRINT", "3 PRINT").replace("30 LET", "20 LET").replace("3 P", "30 P")
    for codes in (CODES, Codes(CODES.lines, "")):
        found = offered(typed, codes)
        assert found[20] == (Correction('20 PRINT "TOO"', "it is line 30 here"),)
        assert found[30] == (Correction("30 LET A=1", "it is line 20 here"),)


def test_small_letters_are_noticed() -> None:
    """Lines that have their codes in capitals are offered so and in no other way, all of them; one
    line alone only if the program has its code then."""
    typed = offered(TEXT.lower())
    right = Listing.from_text(TEXT).numbered()
    slip = "it was typed in small letters"
    assert typed == {number: (Correction(line.typed, slip),) for number, line in right.items()}
    assert offered(TEXT.replace("END", "end"))[50][0].slip == slip
    row = TEXT.partition("\n")[0]
    by_itself = offered(f"{row.lower()}\n", Codes({10: CODES.lines[10]}, ""))
    assert slip not in [offer.slip for offer in by_itself.get(10, ())]


def test_two_slips_in_one_line_get_no_false_promise() -> None:
    """Where no single slip explains the line, what is offered still has the line's code."""
    found = offered(TEXT.replace("TOO", "UTA"), Codes(CODES.lines, ""))
    codes = {
        codes_of(Listing.from_text(offer.text), RULES).lines[20] for offer in found.get(20, ())
    }
    assert codes <= {CODES.lines[20]}


def test_an_offer_that_the_code_of_the_whole_contradicts_is_not_made() -> None:
    """Two slips in one line are none of those that one slip explains."""
    typed = TEXT.replace("TOO", "UTA")
    assert offered(typed, Codes(CODES.lines, ""))[20]
    assert offered(typed) == {}


def test_offers_are_what_the_board_would_list() -> None:
    """On a board that ignores blanks, no offer has a blank that its codes leave out."""
    rules = Rules(form=Form(spacing="free"))
    codes = codes_of(Listing.from_text(TEXT), rules)
    found = offered(TEXT.replace("LET A=1", "LETA = 2"), codes, rules)
    assert "30 LETA=1" in [offer.text for offer in found[30]]
    for offer in found[30]:
        assert canonical(Listing.from_text(offer.text), rules) == f"{offer.text}\n"


def test_the_work_is_bounded() -> None:
    """Codes are compared at each key: of many wrong lines the first are looked at, and a long
    program of which only the whole differs is not searched."""
    rows = [f'{10 * at} PRINT "LINE {at}"' for at in range(1, 301)]
    text = "".join(f"{row}\n" for row in rows)
    codes = codes_of(Listing.from_text(text), RULES)
    assert list(offered(text.replace("PRINT", "PRNIT"), codes)) == [10 * at for at in range(1, 21)]
    assert offered(text, Codes(codes.lines, "0000")) == {}


def test_by_the_line_s_code_alone_the_right_text_is_one_of_three() -> None:
    """Nearly always; it is not always the first, so that one offer would be too few."""
    places: list[int | None] = []
    for slip in (swapped, omitted, doubled, looks_alike):
        for number, row, wrong in mistyped(TEXT, slip):
            found = offered(TEXT.replace(f"{row}\n", f"{wrong}\n"), Codes(CODES.lines, ""))
            texts = [offer.text for offer in found.get(number, ())]
            places.append(texts.index(row) if row in texts else None)
    assert set(places) >= {0, 1, 2}
    assert places.count(None) < len(places) / 5  # of five lines, which tell little
