"""Shrunk and renumbered programs print what they printed before: run on the practice board.

The board's BASIC is code of its own that shares nothing with the listing functions (an import
contract holds that), so it is a witness from outside them.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import replace

import pytest

from hostlink.board.profile.file import find_profile
from hostlink.errors import RefusedError
from hostlink.listing import Listing, Rules, measure
from hostlink.listing.renumber import renumber
from hostlink.listing.reviewing.jumps import jumps
from hostlink.listing.shrinking.shrink import LEVELS, shrink

# Many seeds go the same way: other tests pass these lines, so tracing here only costs time.
pytestmark = pytest.mark.no_cover

GENERATED = 500

Library = dict[str, tuple[str, tuple[str, ...]]]


@pytest.fixture(scope="module")
def rules() -> Rules:
    """The practice board's own."""
    return find_profile("practice").rules


def shrunk_forms(text: str, rules: Rules) -> Iterator[tuple[str, int, str]]:
    """Level, bytes saved and text of a program shrunk at every level; sizes held to the ledger."""
    listing = Listing.from_text(text)
    before = measure(listing, rules).total
    last = before
    for level in LEVELS:
        made = shrink(listing, rules, level)
        assert made.before == before
        assert made.after == measure(made.listing, rules).total
        assert made.after == before - sum(step.saved for step in made.steps)
        assert all(step.saved >= 0 for step in made.steps)
        assert made.after <= last, level
        last = made.after
        yield level, before - made.after, made.listing.text()


def test_library_programs_shrunk_at_every_level_print_the_same(
    library: Library, rules: Rules, outcome: Callable[..., str]
) -> None:
    """Every shipped program, same inputs; free memory is made the same by a smaller board."""
    for name, (text, inputs) in library.items():
        wanted = outcome(text, inputs)
        for level, saved, made in shrunk_forms(text, rules):
            assert outcome(made, inputs, size=999 - saved) == wanted, (name, level)


@pytest.mark.slow
@pytest.mark.parametrize("part", range(5))
def test_generated_programs_shrunk_print_the_same(
    part: int, make_program: Callable[..., str], rules: Rules, outcome: Callable[..., str]
) -> None:
    """500 programs from fixed seeds at the strongest level, every tenth one at all of them."""
    saved_by_all = 0
    for seed in range(part * GENERATED // 5, (part + 1) * GENERATED // 5):
        text = make_program(seed)
        wanted = outcome(text)
        if seed % 10 == 0:
            for level, _, made in shrunk_forms(text, rules):
                assert outcome(made) == wanted, (seed, level, made)
        made = shrink(Listing.from_text(text), rules)
        assert made.after <= made.before
        assert outcome(made.listing.text()) == wanted, (seed, made.listing.text())
        saved_by_all += made.before - made.after
    assert saved_by_all > 0


def test_shrinking_twice_changes_nothing_more(
    make_program: Callable[..., str], library: Library, rules: Rules
) -> None:
    """What was shrunk at a level is as small as that level makes it."""
    texts = [text for text, _ in library.values()] + [make_program(seed) for seed in range(50)]
    for text in texts:
        for level in LEVELS:
            once = shrink(Listing.from_text(text), rules, level)
            again = shrink(once.listing, rules, level)
            assert again.after == once.after, (level, once.listing.text())


def test_made_to_fit_a_program_fits_with_the_least_change(
    library: Library, rules: Rules, outcome: Callable[..., str]
) -> None:
    """Halfway between its size and its smallest, each program fits, and prints the same."""
    for name, (text, inputs) in library.items():
        listing = Listing.from_text(text)
        full = shrink(listing, rules)
        limit = (full.before + full.after) // 2
        tight = replace(rules, storage=replace(rules.storage, program_bytes=limit))
        made = shrink(listing, tight, to_fit=True)
        assert made.fits, name
        assert full.after <= made.after <= limit, name
        assert len(made.steps) <= len(full.steps)
        saved = made.before - made.after
        assert outcome(made.listing.text(), inputs, size=999 - saved) == outcome(text, inputs), name


@pytest.mark.one_in(4)
@pytest.mark.parametrize(("start", "step"), [(30000, 7), (10, 10), (1, 1), (1000, 5)])
def test_generated_programs_renumbered_print_the_same(
    make_program: Callable[..., str],
    rules: Rules,
    outcome: Callable[..., str],
    start: int,
    step: int,
) -> None:
    """500 programs in all over four numberings; the longer numbers may need a little memory."""
    rules = replace(rules, form=replace(rules.form, longest_line=0))
    offset = 1000 + start
    for seed in range(offset, offset + GENERATED // 4):
        text = make_program(seed, most_bytes=900)
        made = renumber(Listing.from_text(text), rules, start=start, step=step)
        numbers = [line.number for line in made.listing]
        assert numbers == [start + step * place for place in range(len(numbers))]
        assert outcome(made.listing.text(), size=1500) == outcome(text), seed


def test_library_programs_renumbered_print_the_same_or_are_refused(
    library: Library, rules: Rules, outcome: Callable[..., str]
) -> None:
    """Refused are just those whose index says that they compute a jump."""
    refused = set()
    for name, (text, inputs) in library.items():
        listing = Listing.from_text(text)
        try:
            made = renumber(listing, rules, start=100, step=1)
        except RefusedError:
            refused.add(name)
            continue
        grown = measure(made.listing, rules).total - measure(listing, rules).total
        assert outcome(made.listing.text(), inputs, size=999 + grown) == outcome(text, inputs), name
    computed = {
        name
        for name, (text, _) in library.items()
        if any(
            j.target is None
            for line in Listing.from_text(text)
            for j in jumps(line.text, rules.language)
        )
    }
    assert refused == computed
    assert 0 < len(refused) < len(library)
