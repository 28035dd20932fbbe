"""A load in the language of the board: shipped programs arrive adapted, others when allowed.

The board is a practice board of a kind measured on a real interpreter, which has no THEN.
"""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from hostlink.archive import Archive, Revision
from hostlink.board.dialogue.events import Warned
from hostlink.board.profile.file import find_profile
from hostlink.errors import RefusedError
from hostlink.jobs.adapting import adapt_for
from hostlink.jobs.events import Event
from hostlink.jobs.language_of import LanguageError, Offer, guessed_kind, known_profiles
from hostlink.jobs.listing_source import Material, find_material, from_bytes, read_shipped
from hostlink.jobs.loading import Loaded, LoadOptions, load
from hostlink.jobs.session.link_choice import LinkChoice
from hostlink.jobs.session.opening import open_session
from hostlink.listing import Listing
from hostlink.listing.adapting.forms import forms_in

THEN = b'10 LET A=1\n20 IF A=1 THEN 40\n30 PRINT A;"X"\n40 END\n'
WITHOUT = b"10 A=1\n20 IF A=1 GOTO 40\n30 PRINT A\n40 END\n"


def loaded(
    archive: Archive,
    material: Material,
    options: LoadOptions = LoadOptions(),  # noqa: B008 - frozen
    kind: str = "capital",
) -> tuple[Loaded, list[str]]:
    """Load into a board of a kind; what was told in warnings."""
    told: list[Event] = []
    choice = LinkChoice(f"practice://{kind}?kind={kind}&time=virtual", find_profile(kind))
    with open_session(choice, told.append, archive=archive) as session:
        done = load(session, archive, material, options)
    return done, [each.text for each in told if isinstance(each, Warned)]


def test_a_shipped_program_arrives_adapted(archive: Archive) -> None:
    """It is said in one sentence; the archive has both, the adapted one made from the original."""
    done, told = loaded(archive, read_shipped("TIDE"))
    assert [each for each in told if "adapted" in each] == [
        "the shipped TIDE was adapted for capital: 6 lines changed."
    ]
    assert "THEN" not in done.text
    made = archive.revision(done.spec)
    assert isinstance(made, Revision)
    assert (made.spec, made.origin.note) == ("TIDE@2", "adapted from practice for capital")
    first = archive.revision("TIDE@1")
    assert archive.content(first).text == read_shipped("TIDE").text
    assert [each.spec for each in archive.history("TIDE")] == ["TIDE@1", "TIDE@2"]


def test_a_second_load_keeps_nothing_new(archive: Archive) -> None:
    """The adapted revision is found again."""
    loaded(archive, read_shipped("TIDE"))
    done, _ = loaded(archive, read_shipped("TIDE"))
    assert done.spec == "TIDE@2"
    assert len(archive.history("TIDE")) == 2


@pytest.mark.parametrize(("size", "fits"), [(1030, True), (1031, False)])
def test_a_program_leaves_room_for_the_line_that_is_typed(
    archive: Archive, size: int, fits: bool
) -> None:
    """On this kind 1,030 bytes leave room for a command; with 5 less free even NEW is refused."""
    # A line takes 4 bytes beside its text; the practice board counts by itself.
    texts = ["X" * 96] * 10 + ["X" * (size - 1000 - 4 - 4)]
    rows = "".join(f"{at}0 REM {text}\n" for at, text in enumerate(texts, 1))
    rows = rows.replace("REM " + "X" * 96, "REM " + "X" * 92)
    material = from_bytes(rows.encode(), "long.bas", name="LONG")
    if fits:
        done, _ = loaded(archive, material)
        assert (done.size, done.limit, done.free) == (size, 1030, 1039 - size)
    else:
        with pytest.raises(RefusedError, match="1 byte over: 1,031 of 1,030"):
            loaded(archive, material)


def test_what_a_shipped_program_lacks_is_named(archive: Archive) -> None:
    """It is refused before the port is used, and goes as it is if that is wanted."""
    with pytest.raises(LanguageError, match=r"ROOM.*line 20") as caught:
        loaded(archive, read_shipped("ROOM"))
    assert caught.value.kept == "Nothing was sent to the board."
    done, _ = loaded(archive, read_shipped("ROOM"), LoadOptions(despite_review=True))
    assert "ROOM()" in done.text


def test_another_listing_is_adapted_only_if_allowed(archive: Archive) -> None:
    """Refused with what it was written for; adapted on a yes; as it is despite the review."""
    material = from_bytes(THEN, "lamp.bas", name="LAMP")
    with pytest.raises(
        LanguageError, match=r"seems to have been written for the BASIC of practice.*THEN.*line 20"
    ):
        loaded(archive, material)
    assert archive.programs() == []
    asked: list[Offer] = []
    done, _ = loaded(archive, material, LoadOptions(adapt=lambda o: not asked.append(o)))  # type: ignore[func-returns-value]
    assert (len(asked), done.spec) == (1, "LAMP@2")
    assert "20 IF A=1 GOTO 40" in done.text
    as_it_is, _ = loaded(archive, material, LoadOptions(despite_review=True))
    assert as_it_is.text == THEN.decode()


def test_a_result_that_prints_something_else_is_not_loaded(
    archive: Archive, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The load runs both as the command adapt does; it goes as it is if that is wanted."""
    material = from_bytes(THEN, "lamp.bas", name="LAMP")
    made = adapt_for(material.listing, find_profile("practice"), find_profile("capital"))
    text = made.listing.text().replace('"X"', '"Y"')
    wrong = replace(made, listing=Listing.from_text(text.replace("A=1\n", "A=2\n", 1)))
    monkeypatch.setattr("hostlink.jobs.language_of.adapt_for", lambda *_: wrong)
    with pytest.raises(LanguageError, match="it prints something different") as caught:
        loaded(archive, material, LoadOptions(adapt=lambda _: True))
    assert caught.value.kept == "Nothing was sent to the board."
    assert archive.programs() == []
    as_it_is, _ = loaded(archive, material, LoadOptions(adapt=lambda _: True, despite_review=True))
    assert as_it_is.text == THEN.decode()


def test_an_adapted_load_that_was_not_compared_says_so(archive: Archive) -> None:
    """A program that asks cannot be run without answers; the revision is marked, loads warn."""
    material = from_bytes(b"5 INPUT A\n" + THEN, "lamp.bas", name="LAMP")
    done, told = loaded(archive, material, LoadOptions(adapt=lambda _: True))
    doubt = (
        "it was not compared with its original: the program asks for input, and no answers are "
        "known"
    )
    assert f"LAMP@2 is not proven: {doubt}." in told
    assert archive.revision(done.spec).origin.unproven == doubt
    _, again = loaded(archive, find_material("LAMP@2", archive))
    assert f"LAMP@2 is not proven: {doubt}." in again


@pytest.mark.parametrize("slip", ["PRONT", "PRIMT", "pronnt"])
def test_a_slip_is_named_with_the_word_that_is_near(archive: Archive, slip: str) -> None:
    """PRONT holds the ON of another BASIC, PRIMT reads as a long name: neither is a translation."""
    text = f"10 LET A=1\n20 PRINT A\n30 {slip} A\n40 END\n".encode()
    said = rf"line 30: {slip} is not a word of this BASIC; PRINT is similar\. Nothing"
    with pytest.raises(LanguageError, match=said) as caught:
        loaded(archive, from_bytes(text, "lamp.bas", name="LAMP"), kind="practice")
    assert (caught.value.offer, caught.value.kept) == (None, "Nothing was sent to the board.")
    assert archive.programs() == []
    strange = text.replace(b"40 END", b"40 ON A GOTO 10")
    with pytest.raises(LanguageError, match="The BASIC of practice has other forms"):
        loaded(archive, from_bytes(strange, "lamp.bas", name="LAMP"), kind="practice")


def test_what_the_board_takes_is_loaded_without_a_word(archive: Archive) -> None:
    """Nothing foreign in it: no question, whatever it was written for."""
    done, told = loaded(archive, from_bytes(WITHOUT, "lamp.bas", name="LAMP"))
    assert done.text == WITHOUT.decode()
    assert not [each for each in told if "BASIC" in each or "adapted" in each]


def test_a_kept_program_of_another_kind_is_not_sent_as_it_is(archive: Archive) -> None:
    """A program adapted for one kind has random numbers from 0: the other kind would not."""
    loaded(archive, read_shipped("DICE"))
    with pytest.raises(RefusedError, match="was written for the BASIC of capital"):
        loaded(archive, find_material("DICE", archive), kind="practice")
    done, _ = loaded(
        archive, find_material("DICE", archive), LoadOptions(adapt=lambda _: True), "practice"
    )
    assert "40 GOSUB 200+RND(6)-1+1+RND(6)-1+1\n" in done.text


def test_the_origin_of_a_listing_is_guessed_from_its_forms() -> None:
    """The kinds that take all its forms, of those that can be run the one with fewest words."""
    capital = find_profile("capital")
    found = guessed_kind(from_bytes(THEN, "lamp.bas", name="LAMP"), capital)
    assert found.names[:2] == ("practice", "token")
    assert "capital" not in found.names
    where = {form.what: form.lines for form in found.forms}
    assert where["THEN with a line number"] == (20,)
    assert where["; between the items of PRINT"] == (30,)
    strange = from_bytes(b"10 IF A THEN 20\n20 PRINT A$\n30 B = 3 # 4\n", "odd.bas", name="ODD")
    assert guessed_kind(strange, capital).names == ()


@pytest.mark.parametrize(
    ("line", "names"),
    [
        (b"40000 PRINT 1", {"token", "ready"}),
        (b'10 print "A"', {"capital", "palo-alto", "practice", "ecma-55", "token"}),
        (b"10 LET N=1\n20 GOTO 10*N", {"capital", "palo-alto", "practice", "token"}),
        (b"10 LET N=1\n20 GOTO 50", set(known_profiles())),  # wrong for all of them
    ],
)
def test_a_kind_for_which_the_review_finds_errors_is_not_guessed(
    line: bytes, names: set[str]
) -> None:
    """Not a line number above the last, small letters, nor a computed jump that it lacks."""
    material = from_bytes(line + b"\n", "odd.bas", name="ODD")
    assert set(guessed_kind(material, find_profile("capital")).names) == names


SOME = "practice token ready"
ALL = "practice capital palo-alto token ready"


@pytest.mark.parametrize(
    ("line", "form", "kinds"),
    [
        ("10 A=1:B=2", "statements with : between them", "practice capital token ready"),
        ("10 A=1;B=2", "; between statements", "palo-alto"),
        ("10 IF A=1 PRINT 2", "IF without THEN", "practice capital palo-alto token"),
        ("10 IF A=1 THEN 10", "THEN with a line number", "practice token ready ecma-55"),
        ("10 IF A=1 THEN PRINT 2", "THEN with a statement", "practice token ready"),
        ("10 IF A THEN 10", "IF without a comparison", "capital palo-alto token ready"),
        ("10 A=(B=1)", "a comparison used as a number", "capital palo-alto token ready"),
        ("10 A=4", "an assignment without LET", ALL),
        ("10 FOR I=1 TO 2:NEXT I", "statements after FOR in one line", f"{SOME} palo-alto"),
        ('10 INPUT "Q",A', "a question in INPUT", "token"),
        ("10 INPUT A,B", "several variables in INPUT", "practice palo-alto token ready ecma-55"),
        ("10 A=B^2", "^ for powers", "token ready ecma-55"),
        ("10 A$=B$", "variables for text", "token ready ecma-55"),
        ("10 AB=1", "names of more than one letter", "token ready ecma-55"),
        ("10 A(1)=2", "variables with an index", "token ready ecma-55 palo-alto"),
        ("10 PRINT 1.5", "numbers with a fraction", "ready ecma-55"),
        ("10 P. 5", "words abbreviated with a full stop", "palo-alto"),
        ("10 PRINT 'A'", "an apostrophe that opens text", "capital palo-alto"),
        ("10 IF A#B PRINT 1", "# for unequal", "palo-alto"),
        ("10 IF A><B PRINT 1", ">< for unequal", "practice"),
        ("10 PRINT A;B", "; between the items of PRINT", "practice token ready ecma-55"),
        ("10 PRINT A;", "; at the end of PRINT", "practice capital token ready ecma-55"),
        ("10 GOTO 10*A", "a jump to a computed line", "practice capital palo-alto token"),
        ("10 IF A=1 THEN 10+A", "a jump to a computed line", "practice capital palo-alto token"),
        ("10 PRINT 40000", "numbers above 32,767", "ready ecma-55"),
    ],
)
def test_each_form_is_found_and_its_kinds_are_known(line: str, form: str, kinds: str) -> None:
    """By the profiles; what each board takes is in the table of kinds and in its standard."""
    languages = {name: each.rules.language for name, each in known_profiles().items()}
    found = {each.what: each for each in forms_in(Listing.from_text(line), languages.values())}
    assert {name for name, each in languages.items() if found[form].taken(each)} == {*kinds.split()}


def test_a_listing_that_the_board_takes_is_guessed_to_be_for_it() -> None:
    """Nothing is changed then, and nothing is disputed; a kind that cannot be run comes last."""
    table = from_bytes(b'10 PRINT "NAME","AGE"\n20 PRINT 7/2\n', "table.bas", name="TABLE")
    for name in ("practice", "token", "ready", "capital"):
        found = guessed_kind(table, find_profile(name))
        assert found.names[0] == name
        assert set(found.names[-2:]) == {"palo-alto", "ecma-55"}
        assert found.disputed == ()


@pytest.mark.parametrize(
    ("line", "form"),
    [
        (b"10 IF RND(2)=0 THEN PRINT 1", "the word RND"),
        (b"10 IF A/2=1 THEN PRINT 1", "/ for division"),
        (b"10 IF A=1 THEN PRINT ABS(2),2", ""),
        (b"10 IF A=1 THEN 10", ""),
    ],
)
def test_forms_that_the_likely_kinds_disagree_on_are_disputed(
    archive: Archive, line: bytes, form: str
) -> None:
    """Practice, token and ready take the line, capital does not; the question of a load says so."""
    material = from_bytes(line + b"\n", "coin.bas", name="COIN")
    found = guessed_kind(material, find_profile("capital"))
    assert [each.what for each in found.disputed] == ([form] if form else [])
    with pytest.raises(LanguageError) as caught:
        loaded(archive, material)
    assert (f"treat these differently: {form} (line 10)." in caught.value.what) == bool(form)


def test_a_profile_of_the_user_with_a_shipped_name_hinders_no_load(
    archive: Archive, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """It is refused where it is asked for by name; a load for another profile does not need it."""
    monkeypatch.setenv("HOSTLINK_PROFILES", str(tmp_path))
    (tmp_path / "palo-alto.toml").write_text("[board]\n", encoding="utf-8")
    done, _ = loaded(archive, from_bytes(WITHOUT, "loop.bas", name="LOOP"))
    assert done.spec == "LOOP@1"
