"""Learn from the listing of an unknown board.

It shows the form of its lines, the board's own rows around them, and where it stops after a full
screen.
"""

from __future__ import annotations

import dataclasses
from typing import Protocol

from hostlink.board.dialogue.heard_talk import HeardTalk, rows_before
from hostlink.board.dialogue.learning import find_list_form
from hostlink.board.dialogue.own_rows import is_count, own_rows_around
from hostlink.board.dialogue.paging import Pages, turn_pages
from hostlink.board.profile.model import Profile
from hostlink.listing.canonical import listed_line

NO_LINES = " 32000"  # LIST from this number: hardly any program has such lines


class Say(Protocol):
    """Types characters, then a key or a line end, and returns the answer."""

    def __call__(self, typed: bytes, *, then: bytes = b"") -> bytes: ...


def with_listing(profile: Profile, heard_talk: HeardTalk, say: Say) -> Profile:
    """Return the profile with what the board's listing shows added.

    A row around the lines is the board's own if it also answers a request for lines that do not
    exist.
    """
    command = profile.commands.list.encode("latin-1")
    rows, pages = _answer(command, heard_talk, say)
    shape = find_list_form(rows)
    if not shape:
        return profile
    form = dataclasses.replace(profile.rules.form, list_form=shape)
    rules = dataclasses.replace(profile.rules, form=form)
    lines = [row for row in rows if listed_line(row, form) is not None]
    own: tuple[str, ...] = ()
    ends = (*rows[:1], *rows[-1:])
    if len(lines) < len(rows) or any(is_count(row, rules.language) for row in ends):
        nothing, _ = _answer(command + NO_LINES.encode(), heard_talk, say)
        said = [row for row in nothing if row not in heard_talk.refusal]
        own = own_rows_around(rows, said, lines, rules.language)
    answer_rows = tuple(dict.fromkeys((*profile.commands.answer_rows, *own)))
    commands = dataclasses.replace(profile.commands, answer_rows=answer_rows)
    talk = profile.talk
    if pages.prompt:
        talk = dataclasses.replace(talk, page_prompt=pages.prompt, page_key=pages.key)
    return dataclasses.replace(profile, talk=talk, rules=rules, commands=commands)


def is_listing(answer: bytes, prompt: bytes) -> bool:
    """Return whether an answer to LIST begins with a program line or means an empty memory."""
    rows = rows_before(answer, prompt)
    return bool(find_list_form(rows[:1])) if rows else answer.endswith(prompt)


def _answer(command: bytes, heard_talk: HeardTalk, say: Say) -> tuple[list[str], Pages]:
    """Return the rows that answer a direct command, without the prompt, and its pages."""
    end = heard_talk.ready or heard_talk.prompt
    heard = say(command, then=heard_talk.line_end)
    pages = turn_pages(heard, lambda key: say(b"", then=key), end, heard_talk.line_end)
    return rows_before(pages.answer, end), pages
