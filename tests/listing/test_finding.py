"""The note of a program and the review rules it silences."""

from __future__ import annotations

from hypothesis import given
from hypothesis import strategies as st

from hostlink.listing.finding import RULES, silenced_in, with_silence, without_silence

NOTES = st.lists(
    st.text(st.characters(codec="utf-8", exclude_characters="\r\n"), max_size=20)
    | st.lists(st.sampled_from([*RULES, "since", "it", "is", "meant"]), max_size=3).map(
        lambda words: " ".join(["silence:", *words])
    ),
    max_size=4,
).map("\n".join)


@given(NOTES, st.sampled_from(list(RULES)))
def test_a_rule_is_silenced_and_heard_again_and_no_other_with_it(note: str, rule: str) -> None:
    """Whatever the note says already: one rule more, or one rule less."""
    before = silenced_in(note)
    quiet = with_silence(note, rule)
    assert silenced_in(quiet) == before | {rule}
    assert silenced_in(without_silence(quiet, rule)) == before - {rule}


def test_what_a_note_says_to_people_stays() -> None:
    """Only the row that silences is added and taken out; words in it that are no rules stay."""
    note = "The lamp of the first evening."
    quiet = with_silence(note, "computed-jump")
    assert quiet == f"{note}\nsilence: computed-jump"
    assert with_silence(quiet, "computed-jump") == quiet
    assert without_silence(quiet, "computed-jump") == note
    assert without_silence("silence: computed-jump by design\nA", "computed-jump") == (
        "silence: by design\nA"
    )
    assert with_silence("", "computed-jump") == "silence: computed-jump"


def test_a_sheet_says_nothing_of_what_is_silenced() -> None:
    """Without a rule every such row goes, and nothing else."""
    assert without_silence("A\nsilence: computed-jump\n\nB") == "A\n\nB"
