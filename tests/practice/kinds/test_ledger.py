"""The byte ledger of a profile against what each kind of board says itself."""

from __future__ import annotations

from collections.abc import Callable

import pytest
from basic_runs import drive
from soak_kinds import profile_of

from hostlink.listing import Listing, measure
from hostlink.practice.basic import Basic
from hostlink.practice.kind_file import find_kind, kind_names

PROGRAMS = 300


@pytest.fixture(scope="module")
def programs(make_program: Callable[..., str]) -> list[str]:
    """Listings on which all kinds agree."""
    return [make_program(seed, most_bytes=900) for seed in range(PROGRAMS)]


@pytest.mark.one_in(13)
@pytest.mark.parametrize("kind", kind_names())
def test_the_ledger_is_what_the_board_reports(kind: str, programs: list[str]) -> None:
    """For 300 generated programs: the rows that it lists cost what its memory is less by."""
    board = Basic(find_kind(kind))
    rules = profile_of(board.kind).rules
    new = dict(board.kind.language.words)["new"][0].encode()
    form = "{}{}" if board.kind.storage.blanks == "kept" else "{} {}"
    for program in programs:
        drive(board.enter(new))
        for row in program.splitlines():
            drive(board.enter(row.encode("latin-1")))
        rows = [form.format(number, text.decode()) for number, text in board.lines.items()]
        assert rows
        ledger = measure(Listing.from_text("\n".join(rows)), rules)
        assert ledger.total == board.kind.settings.program_bytes - board.free(), rows
