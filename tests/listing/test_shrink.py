"""Shrinking step by step: what each level may do, and above all what it must leave.

That shrunk programs run the same is shown in test_shrink_proof.py.
"""

from __future__ import annotations

from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from hostlink.board.profile.file import find_profile
from hostlink.errors import UsageError
from hostlink.listing import Form, Language, Listing, Rules, Storage, measure
from hostlink.listing.shrinking.shrink import LEVELS, Shrunk, shrink

PRACTICE = find_profile("practice").rules
PALO_ALTO = find_profile("palo-alto").rules
ECMA = find_profile("ecma-55").rules


def rows(text: str, level: str, rules: Rules = PRACTICE) -> list[str]:
    """The rows of a listing shrunk to a level."""
    return shrink(Listing.from_text(text), rules, level).listing.text().splitlines()


def one(text: str, level: str, rules: Rules = PRACTICE) -> str:
    """The text of the first of two lines, shrunk."""
    number, _, shrunk = rows(f"10 {text}\n20 PRINT\n", level, rules)[0].partition(" ")
    assert number == "10"
    return shrunk


@pytest.mark.parametrize(
    ("before", "after"),
    [
        ('PRINT  "A  B" ; C', 'PRINT"A  B";C'),
        ("FOR I = 1 TO 9 STEP 2", "FORI=1TO9STEP2"),
        ("IF A = 1 THEN GOTO 20", "IFA=1THENGOTO20"),
        ("IF A < B THEN 20", "IFA<BTHEN20"),
        ("LET A = - 1", "LETA=-1"),
        ("PRINT A : PRINT B ", "PRINTA:PRINTB"),
        ("PRINT RND ( 6 )", "PRINTRND(6)"),
        ("REM  TWO  BLANKS ", "REM  TWO  BLANKS "),
        ("A=1: REM  KEPT ", "A=1:REM  KEPT "),
        # Without its blank each of these would be read otherwise.
        ("IF A < > B THEN 20", "IFA< >BTHEN20"),
        ("IF A = < B THEN 20", "IFA= <BTHEN20"),
        ("FOR I=S TO P", "FORI=STOP"),
        ("PRINT 1 2", "PRINT1 2"),
        ("PRINT A 1", "PRINTA 1"),
        ("IF A=1 END", "IFA=1 END"),
        ('PRINT "OPEN   END', 'PRINT "OPEN   END'),
        ("STOW MY TIDE", "STOWMY TIDE"),
    ],
)
def test_spaces_go_where_the_line_is_read_the_same(before: str, after: str) -> None:
    """Not in quotes, remarks, relation signs, between names or numbers, nor where a word arises."""
    assert one(before, "spaces") == after


def test_a_blank_stays_where_a_word_would_arise_without_it() -> None:
    """S TO P is no STOP on a board that has one; elsewhere nothing stands in the way."""
    stop = replace(PRACTICE, language=replace(PRACTICE.language, statements=("FOR", "TO", "STOP")))
    assert one("FOR I = S TO P", "spaces", stop) in ("FORI=S TOP", "FORI=STO P")


def test_words_that_must_stand_apart_keep_one_blank() -> None:
    """ECMA-55, section 5.4: a keyword has a blank before and, but at the end, after it."""
    assert one("FOR  I  =  1  TO  9", "everything", ECMA) == "FOR I=1 TO 9"
    assert one("PRINT   SIN ( X ) ; A", "everything", ECMA) == "PRINT SIN(X);A"
    assert one("LET A=1", "everything", ECMA) == "LET A=1"
    assert rows("10 PRINT\n20 END\n", "everything", ECMA)[-1].endswith("END")


def test_long_names_keep_the_blank_that_parts_them() -> None:
    """Where names may be words, letters and digits never run together."""
    rules = Rules(language=Language(statements=("PRINT", "IF", "LET"), long_names=True))
    assert one("IF  TOTAL = 1  THEN  20", "spaces", rules) == "IF TOTAL=1 THEN 20"


@pytest.mark.parametrize(
    ("kind", "typed", "after"),
    [
        ("dropped", "10    PRINT", "10    PRINT"),
        ("kept", "10    PRINT", "10 PRINT"),
        ("all", "10    PRINT", "10PRINT"),
    ],
)
def test_blanks_after_the_number_go_only_where_they_are_stored(
    kind: str, typed: str, after: str
) -> None:
    """What costs nothing is left for people."""
    rules = replace(PRACTICE, storage=Storage(blank_after_number=kind))  # type: ignore[arg-type]
    assert rows(typed + "\n20 PRINT\n", "spaces", rules)[0] == after


def test_remarks_go_unless_a_jump_goes_to_them() -> None:
    """A remark that is jumped to keeps its line and its word; one behind a statement goes."""
    text = (
        "10 REM TITLE\n20 GOSUB 40:REM CALL\n30 END\n40 REM SUB\n50 RETURN\n60 IF A=1 THEN REM X\n"
    )
    assert rows(text, "remarks") == [
        "20 GOSUB40",
        "30 END",
        "40 REM",
        "50 RETURN",
        "60 IFA=1THENREM",
    ]


def test_jumps_move_past_bare_remarks() -> None:
    """At the level of lines the remark that was jumped to goes too; one at the very end stays."""
    text = "10 GOSUB 40\n20 IF A=1 THEN 90\n30 END\n40 REM SUB\n50 PRINT A\n60 RETURN\n90 REM\n"
    assert rows(text, "lines") == [
        "10 GOSUB50",
        "20 IFA=1THEN90",
        "30 END",
        "50 PRINTA:RETURN",
        "90 REM",
    ]


def test_letters_that_look_like_a_remark_are_left() -> None:
    """A stored program's name may hold REM; only a remark in a statement's place is one."""
    assert one("FETCH REMIX", "remarks") == "FETCHREMIX"


def test_a_program_of_remarks_alone_stays() -> None:
    """Shrinking never empties a program."""
    made = shrink(Listing.from_text("10 REM A\n20 REM B\n"), PRACTICE)
    assert [line.typed for line in made.listing] == ["10 REM A", "20 REM B"][: len(made.listing)]
    assert made.listing.numbered()
    assert any("remarks" in note for note in made.notes)


@pytest.mark.parametrize(
    ("before", "after"),
    [
        ("LET A=1", "A=1"),
        ("IF A=1 THEN LET B=2", "IFA=1 B=2"),
        ("IF A=1 THEN PRINT B", "IFA=1PRINTB"),
        ("IF A=B THEN C=1", "IFA=B C=1"),
        ("IF A=T THEN O=1", "IFA=T O=1"),
        ("IF A=1 THEN GOTO 20", "IFA=1THEN20"),
        ("IF A=1 THEN 20", "IFA=1THEN20"),
        ("IF A=1 THEN GOTO 20:PRINT", "IFA=1THEN20:PRINT"),
        ("IF A=1 THEN IF B=2 THEN 20", "IFA=1IFB=2THEN20"),
        ('PRINT "LET A=1"', 'PRINT"LET A=1"'),
        ("IF A=1 THEN REM", "IFA=1REM"),
    ],
)
def test_words_that_the_basic_can_omit_are_removed(before: str, after: str) -> None:
    """LET, THEN in front of a statement, GOTO behind THEN."""
    assert one(before, "words") == after


def test_words_that_a_board_needs_stay() -> None:
    """Without a word about it in the profile nothing is taken to be optional."""
    careful = Rules(language=replace(PRACTICE.language, optional=()))
    assert one("LET A=1", "words", careful) == "LETA=1"
    assert one("IF A=1 THEN PRINT", "words", careful) == "IFA=1THENPRINT"
    assert rows("10 PRINT\n20 END\n", "words", careful)[-1] == "20 END"


def test_a_last_end_goes_unless_a_jump_goes_to_it() -> None:
    """A board that ends where the lines end needs no END there; one in the middle stays."""
    assert rows("10 PRINT\n20 END\n", "words") == ["10 PRINT"]
    assert rows("10 PRINT:END\n", "words") == ["10 PRINT"]
    assert rows("10 GOTO 30\n20 END\n30 END\n", "words") == ["10 GOTO30", "20 END", "30 END"]


def test_keywords_are_shortened_where_the_board_has_short_forms() -> None:
    """Palo Alto Tiny BASIC takes the first word of its table that fits what stands before the ."""
    assert one("PRINT A", "abbreviations", PALO_ALTO) == "P.A"
    assert one("GOSUB 20", "abbreviations", PALO_ALTO) == "GOS.20"
    assert one("GOTO 20", "abbreviations", PALO_ALTO) == "G.20"
    assert one("FOR I=1 TO 9", "abbreviations", PALO_ALTO) == "F.I=1TO9"  # TO. is no shorter
    assert one("RETURN", "abbreviations", PALO_ALTO) == "R."
    with_data = replace(PALO_ALTO.language, statements=(*PALO_ALTO.language.statements, "DATA"))
    assert (
        one("DATA PRINT", "abbreviations", replace(PALO_ALTO, language=with_data)) == "DATA PRINT"
    )
    assert one("PRINT A", "abbreviations", PRACTICE) == "PRINTA"


def test_lines_are_joined_only_where_they_go_on_after_one_another() -> None:
    """Not where a jump goes, not behind IF; FOR, NEXT, a bare or open PRINT stand alone."""
    text = "10 A=1\n20 B=2\n30 PRINT A\n40 IF A=1 THEN 30\n50 C=3\n"
    text += "60 FOR I=1 TO 3\n70 PRINT I\n80 NEXT I\n"
    assert rows(text, "lines") == [
        "10 A=1:B=2",
        "30 PRINTA:IFA=1THEN30",
        "50 C=3",
        "60 FORI=1TO3",
        "70 PRINTI",
        "80 NEXTI",
    ]
    assert rows("10 PRINT\n20 PRINT B\n", "lines") == ["10 PRINT", "20 PRINTB"]
    assert rows("10 PRINT A;\n20 PRINT B\n", "lines") == ["10 PRINTA;", "20 PRINTB"]
    assert rows('10 PRINT "A\n20 PRINT B\n', "lines") == ['10 PRINT "A', "20 PRINTB"]
    assert rows("10 STOW A\n20 PRINT B\n", "lines")[1] == "20 PRINTB"


def test_joined_lines_stay_within_what_the_board_takes() -> None:
    """The longest line of the profile is never passed; 72 where none is known."""
    text = "".join(f"{n} PRINT {n}\n" for n in range(100, 160))
    for longest, limit in ((40, 40), (0, 72)):
        rules = replace(PRACTICE, form=replace(PRACTICE.form, longest_line=longest))
        made = rows(text, "lines", rules)
        assert limit - 12 < max(map(len, made)) <= limit


def test_numbers_become_the_shortest_and_jumps_follow() -> None:
    """Line numbers themselves cost the same; in jumps each digit is a byte."""
    text = "1000 IF A>9 THEN 3000\n2000 GOTO 1000\n3000 GOSUB 2000\n"
    assert rows(text, "everything") == ["1 IFA>9THEN3", "2 GOTO1", "3 GOSUB2"]


def test_a_computed_jump_keeps_every_line_under_its_number() -> None:
    """Any line may be its target; what is inside lines may still shrink, and a note says why."""
    text = "10 REM T\n20 GOSUB 100*A\n30 LET B = 1\n40 LET C = 2\n100 REM S\n110 RETURN\n"
    made = shrink(Listing.from_text(text), PRACTICE)
    assert [line.typed for line in made.listing] == [
        "10 REM",
        "20 GOSUB100*A",
        "30 B=1",
        "40 C=2",
        "100 REM",
        "110 RETURN",
    ]
    assert "line 20" in made.notes[-1]


def test_each_level_holds_those_before_it_and_tells_its_saving() -> None:
    """The steps come in the order of the levels, and their savings add up to the ledger."""
    text = "10 REM T\n20 LET A = 1\n30 PRINT A\n40 GOTO 20\n"
    listing = Listing.from_text(text)
    for count, level in enumerate(LEVELS, 1):
        made = shrink(listing, PRACTICE, level)
        assert [step.level for step in made.steps] == list(LEVELS)[:count]
        saved = sum(step.saved for step in made.steps)
        assert made.before - saved == made.after == measure(made.listing, PRACTICE).total


def fitted(text: str, limit: int) -> Shrunk:
    """A listing made to fit a limit."""
    rules = replace(PRACTICE, storage=replace(PRACTICE.storage, program_bytes=limit))
    return shrink(Listing.from_text(text), rules, to_fit=True)


def test_made_to_fit_it_stops_at_the_first_line_that_is_enough() -> None:
    """Lines after it stay as typed; a program that fits already is not touched."""
    text = "10 PRINT A\n20 PRINT B\n30 PRINT C\n"
    total = measure(Listing.from_text(text), PRACTICE).total
    assert fitted(text, total).listing.text() == text
    assert fitted(text, total - 1).listing.text() == "10 PRINTA\n20 PRINT B\n30 PRINT C\n"
    assert fitted(text, total - 2).listing.text() == "10 PRINTA\n20 PRINTB\n30 PRINT C\n"
    assert not fitted(text, 5).fits


def test_wrong_use_is_named() -> None:
    """No such level; to fit where no limit is known."""
    listing = Listing.from_text("10 PRINT\n")
    with pytest.raises(UsageError, match="no level"):
        shrink(listing, PRACTICE, "most")
    with pytest.raises(UsageError, match="not known"):
        shrink(listing, ECMA, to_fit=True)


def test_what_will_not_be_the_same_is_noted() -> None:
    """LIST shows the listing; a function of the free memory sees what was saved."""
    made = shrink(Listing.from_text("10 PRINT ROOM()\n20 LIST\n"), PRACTICE, size_words=["ROOM"])
    assert [note.split(" in ")[0] for note in made.notes] == ["ROOM", "LIST"]


def test_data_is_left_as_it_is() -> None:
    """Blanks and letters in DATA are data."""
    rules = Rules(
        language=Language(
            statements=("PRINT", "DATA", "READ", "LET"), separator=":", optional=("LET",)
        )
    )
    for text in ("DATA  A  B , REMARK", "DATA LET  A = 1"):
        assert one(text, "everything", rules).lstrip() == text
        assert text in "".join(rows(f"10 {text}\n20 PRINT\n", "everything", rules))


WORDS = "PRINT LET IF THEN GOTO REM END FOR TO NEXT RND A B T O 1 10 20 = < > ( ) ; , : P. @ '"
PIECES = st.sampled_from([*WORDS.split(), " ", "  ", '"'])


@given(st.lists(st.lists(PIECES, max_size=12).map("".join), min_size=1, max_size=6), st.data())
def test_no_listing_grows_or_breaks_the_shrinking(texts: list[str], data: st.DataObject) -> None:
    """Any heap of words under any of three profiles: never more bytes, every level ends."""
    rules = data.draw(st.sampled_from([PRACTICE, PALO_ALTO, ECMA]))
    rules = replace(rules, form=replace(rules.form, longest_line=0))
    listing = Listing.from_text("".join(f"{10 * n} {text}\n" for n, text in enumerate(texts, 1)))
    for level in LEVELS:
        made = shrink(listing, rules, level)
        assert made.after <= made.before
        assert made.after == measure(made.listing, rules).total
        assert made.listing.numbered() or not listing.numbered()


@given(st.text(max_size=120))
def test_any_text_can_be_shrunk(text: str) -> None:
    """Rubbish in, no error out."""
    made = shrink(Listing.from_text(text), Rules(form=Form(longest_line=0)))
    assert made.after <= made.before
