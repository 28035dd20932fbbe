"""Laws that hold for every text, found out by hypothesis with a fixed sequence."""

from __future__ import annotations

import re
from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from hostlink.errors import ListingError
from hostlink.listing import (
    Form,
    Language,
    Line,
    Listing,
    Rules,
    Storage,
    canonical,
    canonical_line,
    compare,
    decode_listing,
    listed_line,
    measure,
    mend,
    review,
    unified,
)
from hostlink.listing.tokens import scan

STEADY = settings(derandomize=True, deadline=None, max_examples=250)

LANGUAGES = st.sampled_from(
    [
        Language(),
        Language(
            statements=("PRINT", "PR", "IF", "FOR", "TO", "LET", "ON"),
            functions=("RND", "ABS"),
            remarks=("REM", "'"),
            separator=":",
            abbreviation_mark=".",
            computed_jumps=True,
        ),
        Language(statements=("PRINT", "FOR", "TO"), long_names=True, quotes="\"'"),
    ]
)
RULES = st.builds(
    Rules,
    form=st.builds(
        Form,
        case=st.sampled_from(["kept", "upper"]),
        spacing=st.sampled_from(["kept", "after-number", "free"]),
        list_form=st.sampled_from(["{number} {text}", "{number}: {text}"]),
        longest_line=st.sampled_from([0, 72]),
        charset=st.sampled_from(["latin-1", "cp437"]),
        characters=st.sampled_from([((32, 126),), ((9, 9), (32, 255))]),
    ),
    storage=st.builds(
        Storage,
        kind=st.sampled_from(["text", "tokens"]),
        blank_after_number=st.sampled_from(["dropped", "kept", "all"]),
    ),
    language=LANGUAGES,
)
PIECES = st.sampled_from(
    [
        *("10 ", "20", "30  ", "010", " ", "  ", "\t", "\n", "\r\n", "\r", "\f", "\0", "\x1a"),
        *('"', "“", "”", "’", "'", "–", "\u00ad", "\u00a0", "\u200b", "\ufeff", "×", "≤", "１"),
        *("PRINT ", "REM ", "R EM", "rem", "GOTO ", "go to", "THEN ", "A", "b", "=", "1", ",", ":"),
        *("> ", ">", "- ", "1. ", "2. ", "* ", "|", "```", "[code]", "[/code]", "<br>", "</p>"),
        *("&lt;", "&quot;", "&amp;", "&amp;lt;", "&#38;", "&nbsp;", "P.", "Hello there", "RUN"),
        *("A" * 35 + " ", "x y z " * 6, "\u2028", "é"),
    ]
)
TEXTS = st.one_of(st.text(), st.lists(PIECES, max_size=40).map("".join))
LISTINGS = TEXTS.map(Listing.from_text)


@STEADY
@given(TEXTS)
def test_parsing_loses_nothing_but_blank_rows(text):
    """A listing's text parses to the same listing, and holds each row that is not blank."""
    listing = Listing.from_text(text)
    again = Listing.from_text(listing.text())
    assert [line.typed for line in again] == [line.typed for line in listing]
    rows = text.replace("\r\n", "\n").replace("\r", "\n").split("\n")
    assert [line.typed for line in listing] == [row for row in rows if row.strip(" \t")]
    assert all(line.typed.endswith(line.body) for line in listing)


@STEADY
@given(TEXTS, LANGUAGES)
def test_the_spans_of_a_line_add_up_to_it(text, language):
    """Scanning leaves no character out and invents none."""
    spans = scan(text, language)
    assert "".join(span.text for span in spans) == text
    places = [span.start for span in spans]
    assert places == [sum(len(s.text) for s in spans[:n]) for n in range(len(spans))]


@STEADY
@given(LISTINGS, RULES)
def test_the_canonical_form_is_its_own(listing, rules):
    """Taking away what the board may rewrite a second time takes nothing more away."""
    once = canonical(listing, rules)
    assert canonical(Listing.from_text(once), rules) == once


def guarded(text: str, language: Language) -> list[str]:
    """Quoted texts and remarks of a line in order."""
    return [s.text for s in scan(text, language) if s.kind in ("quoted", "remark")]


@STEADY
@given(TEXTS, RULES)
def test_the_canonical_form_never_alters_quoted_text_or_remarks(text, rules):
    """Every quoted text and remark is found unaltered and in order in the canonical form.

    Closing up may make a remark of what was none before (R EM); what was one stays.
    """
    line = Line.from_text(text.replace("\r", "").replace("\n", ""))
    remaining = canonical_line(line, rules)
    closed = rules.form.spacing == "free"
    if closed and len(guarded(line.text, rules.language)) != len(
        guarded(Line.from_text(remaining).text, rules.language)
    ):
        return  # only where R EM was closed up, see the next test
    for piece in guarded(line.text, rules.language):
        assert piece in remaining
        remaining = remaining[remaining.index(piece) + len(piece) :]


@STEADY
@given(st.text(alphabet="ab ER.M:10", max_size=20), st.text(max_size=20), RULES)
def test_a_remark_survives_whatever_stands_before_it(before, remark, rules):
    """After a remark word at the start of a statement the text is the same to the character."""
    remark = remark.replace("\r", "").replace("\n", "")
    line = Line.from_text(f"10 :{before}:REM {remark}")
    assert canonical_line(line, rules).endswith(f" {remark}")


@STEADY
@given(LISTINGS, RULES)
def test_the_ledger_adds_up(listing, rules):
    """The total is the sum of the costs and of what an empty program takes."""
    ledger = measure(listing, rules)
    assert ledger.total == sum(row.cost for row in ledger.rows) + rules.storage.empty_bytes
    assert len(ledger.rows) == len(listing)
    assert all(row.cost >= 0 for row in ledger.rows)
    stored = {row.line.number for row in ledger.rows if row.standing == "stored"}
    assert stored == set(listing.numbered())
    if ledger.limit and ledger.free is not None:
        assert ledger.limit - ledger.total == ledger.free - ledger.over


@STEADY
@given(LISTINGS, st.one_of(st.none(), RULES))
def test_a_listing_compared_with_itself_differs_in_nothing(listing, rules):
    """Whatever it holds, a listing equals itself."""
    outcome = compare(listing, listing, rules)
    assert outcome.equal
    assert unified(listing, listing, "a", "b") == ""


@STEADY
@given(LISTINGS, LISTINGS, st.one_of(st.none(), RULES))
def test_comparing_the_other_way_round_is_the_mirror(a, b, rules):
    """What was added is removed, and the changed characters change sides."""
    there, back = compare(a, b, rules), compare(b, a, rules)
    assert (there.added, there.removed) == (back.removed, back.added)
    assert there.same_count == back.same_count
    assert [
        replace(c, old=c.new, new=c.old, stretches=tuple(s.mirrored() for s in c.stretches))
        for c in there.changed
    ] == list(back.changed)


@STEADY
@given(LISTINGS, LISTINGS)
def test_the_changed_characters_turn_the_old_line_into_the_new(a, b):
    """Outside the stretches the lines are equal: with the new pieces put in it is the new line."""
    for change in compare(a, b).changed:
        text = change.old.typed
        for s in reversed(change.stretches):
            text = (
                text[: s.old_start] + change.new.typed[s.new_start : s.new_end] + text[s.old_end :]
            )
        assert text == change.new.typed


@settings(STEADY, max_examples=800)
@given(TEXTS, st.one_of(st.none(), RULES))
def test_mending_twice_is_mending_once(text, rules):
    """A mended text holds nothing more to mend."""
    mended = mend(text, rules)
    again = mend(mended.text, rules)
    assert again.text == mended.text
    assert again.mends == ()


def lf_if_all_alike(text):
    """The text with LF for its line ends where these are all the same."""
    ends = set(re.findall("\r\n|\n|\r", text))
    return text.replace(ends.pop(), "\n") if len(ends) == 1 else text


@STEADY
@given(TEXTS, st.one_of(st.none(), RULES))
def test_no_change_without_a_repair_reported(text, rules):
    """The text is left as it was but for line ends, or the report names at least one repair."""
    mended = mend(text, rules)
    assert (mended.text == lf_if_all_alike(text)) or mended.mends
    assert all(1 <= m.line <= len(text) + 1 and m.sentence for m in mended.mends)


@STEADY
@given(TEXTS, st.one_of(st.none(), RULES))
def test_leaving_every_repair_out_gives_the_source_back(text, rules):
    """Repairs that come up only without others are left out too; then all is as it was."""
    without = set(mend(text, rules).mends)
    for _ in range(60):
        mended = mend(text, rules, without=without)
        if not mended.mends:
            break
        without |= set(mended.mends)
    assert mended.mends == ()
    assert mended.text == lf_if_all_alike(text)


@STEADY
@given(TEXTS, RULES)
def test_no_text_raises(text, rules):
    """Any text can be reviewed and read as a row of a listing."""
    outcome = review(Listing.from_text(text), rules)
    assert all(f.message.endswith(".") and f.advice.endswith(".") for f in outcome.findings)
    listed_line(text, rules.form)


@STEADY
@given(st.binary(max_size=200), st.sampled_from(["utf-8", "latin-1", "nonsense"]))
def test_any_bytes_are_decoded_or_refused(raw, charset):
    """Bytes give a text or a ListingError, never another error."""
    try:
        assert decode_listing(raw, name="x", charset=charset).strip()
    except ListingError as refused:
        assert str(refused)


@pytest.mark.parametrize("rules", [Rules(), Rules(form=Form(spacing="free", case="upper"))])
def test_listing_a_program_and_reading_it_back_is_the_same_program(rules):
    """A board's LIST in any form reads back as what was typed."""
    form = replace(rules.form, list_form="{number}: {text}")
    typed = Listing.from_text('10 PRINT "A: B"\n20 GOTO 10\n')
    rows = [f"   {line.number}: {line.text}" for line in typed]
    read = Listing(tuple(line for row in rows if (line := listed_line(row, form))))
    assert canonical(typed, rules) == canonical(read, rules)
