"""Names and specs."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from hostlink.archive.names import (
    Spec,
    checked_name,
    clean,
    file_name,
    unknown_program,
)
from hostlink.cli.ways import in_commands
from hostlink.errors import ArchiveError
from hostlink.words import fold, natural, unaccented


@pytest.mark.parametrize("name", ["TIDE", "tide clock", "Übung 3", "A", "x" * 40, "3D-MAZE", "a/b"])
def test_printable_names_are_taken_as_they_are(name: str) -> None:
    """A printable name of up to 40 characters stays as it was given."""
    assert checked_name(f" {name} ") == name


@pytest.mark.parametrize(
    ("name", "said"),
    [
        ("", "needs a name"),
        ("   ", "needs a name"),
        ("x" * 41, "41 characters"),
        ("TIDE@3", "revision number"),
        ("A\tB", "cannot be printed"),
        ("A\x1b[2J", "cannot be printed"),
        ("A\ud800", "cannot be printed"),
        ("Rescue", "the word for rescues"),
        ("-run", 'begins with "-"'),
    ],
)
def test_other_names_are_refused_with_the_rule(name: str, said: str) -> None:
    """The error says which rule the name breaks."""
    with pytest.raises(ArchiveError, match=said):
        checked_name(name)


@given(st.text(max_size=50))
def test_a_name_is_kept_or_refused_and_keeping_changes_nothing_more(name: str) -> None:
    """Any text is either refused or gives a name that is taken again unchanged."""
    try:
        kept = checked_name(name)
    except ArchiveError:
        return
    assert checked_name(kept) == kept
    assert 1 <= len(kept) <= 40
    assert Spec.from_text(kept) == Spec(kept, None)
    assert Spec.from_text(f"{kept}@12") == Spec(kept, 12)


def test_names_are_compared_without_case_and_by_composed_letters() -> None:
    """Case and the way an accent is written make no difference."""
    assert fold("TIDE") == fold("tide")
    assert fold("STRASSE") == fold("straße")  # full case folding, Unicode standard 3.13
    assert fold("e\u0301tude") == fold("\u00c9TUDE")


@pytest.mark.parametrize(
    "spec", ["TIDE@", "TIDE@x", "TIDE@-1", "TIDE@1@2", "TIDE@٣", "T@" + "9" * 99]
)
def test_a_revision_that_is_no_number_is_refused(spec: str) -> None:
    """After the @ stand plain digits and nothing else."""
    with pytest.raises(ArchiveError, match="names no revision"):
        Spec.from_text(spec)


@pytest.mark.parametrize(
    ("spec", "advice"),
    [("TIDE@x", "Write NAME, or NAME@3 for revision 3."), ("TIDE@3/xyz", "")],
)
def test_what_to_write_instead_is_told(spec: str, advice: str) -> None:
    """A wrong number brings the right form; a wrong archive its rule."""
    with pytest.raises(ArchiveError) as refused:
        Spec.from_text(spec)
    assert refused.value.advice == advice


def test_numbers_have_up_to_twelve_digits_and_may_name_an_archive() -> None:
    """More than any archive will hold, and fewer than SQLite can count."""
    assert Spec.from_text("T@" + "9" * 12).number == 999_999_999_999
    with pytest.raises(ArchiveError):
        Spec.from_text("T@" + "9" * 13)
    assert Spec.from_text("T@3/0a-9f") == Spec("T", 3, "0a-9f")
    with pytest.raises(ArchiveError, match="first digits of an archive"):
        Spec.from_text("T@3/%")


def test_an_unknown_name_brings_the_nearest_or_how_to_list_them() -> None:
    """Either way the person can go on."""
    assert unknown_program("tied", ["TIDE"]).advice == "The nearest names are: TIDE."
    assert "`hostlink programs`" in in_commands(unknown_program("zzz", ["TIDE"]).advice)
    with pytest.raises(ArchiveError) as refused:
        checked_name(" ")
    assert refused.value.advice == "Give it one."
    with pytest.raises(ArchiveError) as refused:
        checked_name("TIDE@3")
    assert in_commands(refused.value.advice).startswith("Choose another name; ")
    both = unknown_program("tide", ["TIDE1", "TIDE2"]).advice
    assert both in {f"The nearest names are: {one}." for one in ("TIDE1, TIDE2", "TIDE2, TIDE1")}


@pytest.mark.parametrize(
    ("name", "file"),
    [
        ("TIDE", "TIDE"),
        ("a/b\\c", "a_b_c"),
        ('<>:"|?*', "_"),
        ("../x", "_x"),
        (". .", "_"),
        ("con", "_con"),
        ("LPT1.txt", "_LPT1.txt"),
        ("console", "console"),
    ],
)
def test_a_name_is_made_fit_for_a_file_on_any_system(name: str, file: str) -> None:
    """No path, no characters and no device names that some systems reserve (`< > : " / \\ | ? *`,
    CON, PRN, AUX, NUL, COM1 to 9, LPT1 to 9, with any extension; no blank or dot at the end: the
    naming rules of the Win32 file systems, from memory)."""
    assert file_name(name) == file


def test_rescue_specs_are_told_apart() -> None:
    """rescue@12 names a rescue in any case of letters."""
    assert Spec.from_text("Rescue@12").is_rescue
    assert not Spec.from_text("rescued@12").is_rescue


@given(st.text(alphabet=st.characters()))
def test_cleaned_text_can_always_be_stored(text: str) -> None:
    """Text without lone surrogates is unchanged, and what comes out is always UTF-8."""
    cleaned = clean(text)
    cleaned.encode()
    assert len(cleaned) == len(text)
    assert clean(f"{text}\udcff!") == f"{cleaned}?!"


@pytest.mark.parametrize(("name", "plain"), [("Çağla", "Cagla"), ("Groß", "Gross"), ("ẞ", "SS")])
def test_no_letter_is_lost_with_the_marks(name: str, plain: str) -> None:
    """The sharp s has no mark to take off; German writes ss in its place (common practice)."""
    assert unaccented(name) == plain


def test_names_sort_as_people_sort_them() -> None:
    """Numbers count by their value, case and accents do not count, and a name comes before its
    extensions."""
    shuffled = ["tide", "board-10", "10", "Straße", "Board", "board-10A", "7", "BOARDS", "BOARD-2"]
    ordered = ["7", "10", "Board", "BOARD-2", "board-10", "board-10A", "BOARDS", "Straße", "tide"]
    assert sorted(shuffled, key=natural) == ordered
    people = ["Dan", "Çağla", "Zoe", "Öz", "Cem", "Pia"]
    assert sorted(people, key=natural) == ["Çağla", "Cem", "Dan", "Öz", "Pia", "Zoe"]
