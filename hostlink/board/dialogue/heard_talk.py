"""Describe how a board was heard to talk, to compare it with known kinds or make a profile."""

from __future__ import annotations

import dataclasses
import re
from collections.abc import Sequence
from dataclasses import dataclass

from hostlink.board.dialogue.common_words import NONSENSE
from hostlink.board.dialogue.reading import rows_of, without_controls
from hostlink.board.profile.model import Profile, Talk

_CHAR_MS = 20.0  # time for a board to take a character: common practice, no source
_ROW_END = re.compile(rb"[\r\n]+")
_QUESTION = re.compile(rb"(?:.*\?|[A-Z][A-Z0-9]?[$%]?[:=]) *", re.DOTALL)


@dataclass(frozen=True, slots=True)
class HeardTalk:
    """How a board was heard to talk; see Talk and Commands for each value.

    refusal: the rows that answer an unknown word.
    """

    baud: int
    line_end: bytes
    echo: bool
    reply_end: bytes
    prompt: bytes
    ready: bytes = b""
    answer_rows: tuple[str, ...] = ()
    refusal: tuple[str, ...] = ()

    @property
    def error_words(self) -> tuple[str, ...]:
        """Return the first words of a refusal, as one item or none, without what was typed."""
        plain = [row for row in self.refusal if NONSENSE not in row]
        rows = plain or [row.partition(NONSENSE)[0].rstrip("'\" ") for row in self.refusal]
        return tuple(dict.fromkeys(row[:40] for row in rows if row))[:1]


def agrees(kind: Profile, heard_talk: HeardTalk) -> bool:
    """Return whether the profile of a kind agrees with how a board was heard to talk."""
    talk, commands = kind.talk, kind.commands
    same = (talk.line_end, talk.echo, talk.prompt, talk.ready) == (
        heard_talk.line_end,
        heard_talk.echo,
        heard_talk.prompt,
        heard_talk.ready,
    )
    ends = talk.reply_end == heard_talk.reply_end or not heard_talk.echo
    refuses = not commands.error_words or any(
        row.startswith(commands.error_words) for row in heard_talk.refusal
    )
    return same and ends and refuses and set(heard_talk.answer_rows) <= set(commands.answer_rows)


def asks(prompt: bytes) -> bool:
    """Return whether an unfinished row looks like the question of a program that waits for input.

    It ends in a question mark, or is the name of a variable with a colon or an equals sign.
    """
    return _QUESTION.fullmatch(prompt) is not None


def asks_at_start(kinds: Sequence[Profile], question: bytes) -> bool:
    """Return whether a question is a known start question, which an empty line answers.

    A running program that asks the same is told apart later: it asks again after that line.
    """
    asked = {each.strip() for kind in kinds for each in kind.talk.start_questions}
    return question.strip().decode("latin-1") in asked


def with_heard_talk(careful: Profile, heard_talk: HeardTalk, *, is_named: bool) -> Profile:
    """Return the profile `careful` with the values that were heard in place of its own.

    is_named: the user named `careful`, so its sizes are the board's; else they are unknown.
    """
    talk: Talk = dataclasses.replace(
        careful.talk,
        baud=heard_talk.baud,
        line_end=heard_talk.line_end,
        echo=heard_talk.echo,
        reply_end=heard_talk.reply_end,
        prompt=heard_talk.prompt,
        ready=heard_talk.ready,
        # Without echo only time shows that a character was taken.
        char_ms=careful.talk.char_ms or (0.0 if heard_talk.echo else _CHAR_MS),
    )
    commands = dataclasses.replace(
        careful.commands, answer_rows=heard_talk.answer_rows, error_words=heard_talk.error_words
    )
    # For an unnamed kind only the board itself can tell the size of its memory.
    rules = careful.rules if is_named else careful.rules.with_room(0)
    return dataclasses.replace(careful, talk=talk, commands=commands, rules=rules)


def is_at_prompt(prompt: bytes, done: bytes, refused: bytes) -> bool:
    """Return whether a row that looks like a question is the prompt.

    At a prompt a remark is accepted and an unknown word is refused. A program that waits for input
    accepts both, or neither.
    """
    said, answered = rows_before(done, prompt), rows_before(refused, prompt)
    return said != answered and set(said) <= set(answered)


def looks_like_text(heard: bytes, *, strict: bool = True) -> bool:
    """Return whether bytes look like a terminal's text: printable ASCII, line ends and colours.

    strict: only those; else one byte in six may be another, as in the messages of some boards.
    """
    heard = without_controls(heard.decode("latin-1")).encode("latin-1")
    text = sum(32 <= byte < 127 or byte in b"\r\n" for byte in heard)
    return bool(heard) and (text == len(heard) if strict else 6 * text >= 5 * len(heard))


def is_rows(heard: bytes) -> bool:
    """Return whether bytes are whole rows of text, as a program prints them."""
    return looks_like_text(heard) and heard.endswith((b"\r", b"\n")) and bool(heard.strip())


def parts_of(answer: bytes) -> tuple[bytes, tuple[str, ...], bytes]:
    """Return the parts of an answer to an empty line: its first line end, its rows, and the prompt.

    If the prompt is a row of its own, its line end belongs to it.
    """
    end = answer[:2] if answer[:2] in (b"\r\n", b"\n\r") else answer[: answer[:1] in b"\r\n"]
    rows = [row for row in _ROW_END.split(answer) if row]
    if not rows:
        return end, (), b""
    place = answer.rindex(rows[-1])
    before = [without_controls(row.decode("latin-1")) for row in rows[:-1]]
    return end, tuple(filter(None, before)), answer[place:]


def _last_row(done: bytes, refused: bytes) -> bytes:
    """Return the row that ends both answers, with its line end; b"" if they end differently."""
    rows = done.splitlines(keepends=True)
    last = next((row for row in reversed(rows) if row.strip()), b"")
    return last if last and refused.endswith(last) else b""


def with_answers(heard_talk: HeardTalk, done: bytes, refused: bytes) -> HeardTalk:
    """Add what the answers to a remark (done) and to an unknown word (refused) show.

    They show the row that the board sends when it is ready, the rows around an answer, and those
    that refuse.
    """
    if not heard_talk.prompt:
        heard_talk = dataclasses.replace(heard_talk, ready=_last_row(done, refused))
    end = heard_talk.ready or heard_talk.prompt
    said = rows_before(done, end)
    answered = rows_before(refused, end)
    if said == answered:  # the board does not know remarks either
        return dataclasses.replace(heard_talk, refusal=tuple(answered))
    refusal = [row for row in answered if row not in said]
    return dataclasses.replace(heard_talk, answer_rows=tuple(said), refusal=tuple(refusal))


def rows_before(answer: bytes, end: bytes) -> list[str]:
    """Return the rows of an answer without the text `end` that ends every answer."""
    body = answer.removesuffix(end) if end else answer
    return [row for row in rows_of(body.decode("latin-1")) if row.strip()]
