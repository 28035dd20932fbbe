"""Rehearsing a `together` file: lines that would be refused are found before any is run."""

from __future__ import annotations

import contextlib
import io
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

import click

from hostlink.cli.entry import cli
from hostlink.errors import (
    ArchiveError,
    HostlinkError,
    Interrupted,
    ListingError,
    RefusedError,
    UsageError,
)

if TYPE_CHECKING:
    from hostlink.cli.context import OpenLink

Words = list[str]

_NOT_REHEARSED = {"archive", "practice"}  # a bag is read and written whole; the app is opened
_BRINGS_ANY = {"archive", "give", "keep"}  # programs or files under names that nobody typed
_RUNS = {"run", "load", "console"}  # that may keep a run
_MAKES = {"backup": {"backup", "firmware"}}  # kind of spec: the commands that make one


def rehearse(lines: Sequence[tuple[int, Words]], link: OpenLink, where: str, kept: str) -> None:
    """Do what each line does before it needs the board, and undo it.

    where: the name of the file. kept: what the refusal says was not lost. Raises RefusedError
    for the first line that would be refused, unless what it lacks may come from a line before it.
    """
    from hostlink.jobs.rehearsing import rehearsal

    with rehearsal(link.archive):
        for at, (place, words) in enumerate(lines):
            if words[0] in _NOT_REHEARSED or "-" in words:
                continue
            refusal = _refusal(words, link)
            if refusal is None or _may_come(refusal, words, [each for _, each in lines[:at]]):
                continue
            error = RefusedError(
                f"Line {place} of {where}: {refusal.what}", kept=kept, advice=refusal.advice
            )
            error.status = refusal.status
            raise error from refusal


def _refusal(words: Words, link: OpenLink) -> HostlinkError | None:
    """Return the error that a line fails with before it needs the board, or None."""
    from hostlink.jobs.rehearsing import BoardNeeded

    unseen = io.StringIO()
    try:
        with (
            contextlib.redirect_stdout(unseen),
            contextlib.redirect_stderr(unseen),
            contextlib.suppress(BoardNeeded, click.exceptions.Exit),
            cli.make_context("hostlink", list(words), obj=link) as context,
        ):
            cli.invoke(context)
    except Interrupted:
        raise
    except HostlinkError as error:
        return error
    except click.ClickException as wrong:
        return UsageError(wrong.format_message())
    return None


def _may_come(refusal: HostlinkError, words: Words, before: Sequence[Words]) -> bool:
    """Return whether an earlier line may make the missing file, program, rescue or backup."""
    is_lacking = isinstance(refusal, ListingError | ArchiveError)
    brings = _BRINGS_ANY | (_RUNS if words[0] == "runs" else set())
    if is_lacking and any(each[0] in brings for each in before):
        return True
    made = {_stem(word) for each in before for word in each[1:]}
    named = {each for each in made if each in refusal.what.casefold()}
    for word in words[1:]:
        kind = word.partition("@")[0].casefold()
        if kind == "rescue" or (kind == "backup" and "@" in word):
            if any(each[0] in _MAKES.get(kind, {each[0]}) for each in before):
                return True
        elif _stem(word) in named:
            return True
    return False


def _stem(word: str) -> str:
    """Return the program name in a word, casefolded: pier for PIER@2 and lists/pier.bas."""
    return Path(word.partition("@")[0]).stem.casefold()
