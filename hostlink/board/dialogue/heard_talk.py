"""How a board was heard to talk, and what of that makes a kind or a profile."""

from __future__ import annotations

import dataclasses
import re
from dataclasses import dataclass

from hostlink.board.dialogue.common_words import NONSENSE
from hostlink.board.dialogue.reading import rows_of
from hostlink.board.profile.model import Profile, Talk

_CHAR_MS = 20.0  # in which a board takes a character: common practice, no source
_ROW_END = re.compile(rb"[\r\n]+")
_QUESTION = re.compile(rb"(?:.*\?|[A-Z][A-Z0-9]?[$%]?[:=]) *", re.DOTALL)


@dataclass(frozen=True, slots=True)
class HeardTalk:
    """How a board was heard to talk; see Talk and Commands for each value.

    refusal: the rows that answer a word which it does not know.
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
        """How the board begins to refuse; a row that repeats what was typed is cut before that."""
        plain = [row for row in self.refusal if NONSENSE not in row]
        rows = plain or [row.partition(NONSENSE)[0].rstrip("'\" ") for row in self.refusal]
        return tuple(dict.fromkeys(row[:40] for row in rows if row))[:1]


def agrees(kind: Profile, heard_talk: HeardTalk) -> bool:
    """Whether a kind talks as a board was heard to talk."""
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
    """Whether what stands on the last row looks like the question of a program that waits: a
    question mark ends it, or it is the name of a variable with a colon or the like."""
    return _QUESTION.fullmatch(prompt) is not None


def with_heard_talk(careful: Profile, heard_talk: HeardTalk, *, is_named: bool) -> Profile:
    """A profile with what was heard in place of its values, and nothing else assumed.

    is_named: the user named the profile, so that the sizes in it are those of the board.
    """
    talk: Talk = dataclasses.replace(
        careful.talk,
        baud=heard_talk.baud,
        line_end=heard_talk.line_end,
        echo=heard_talk.echo,
        reply_end=heard_talk.reply_end,
        prompt=heard_talk.prompt,
        ready=heard_talk.ready,
        # Without echo nothing tells that a character was taken but the clock.
        char_ms=careful.talk.char_ms or (0.0 if heard_talk.echo else _CHAR_MS),
    )
    commands = dataclasses.replace(
        careful.commands,
        answer_rows=heard_talk.answer_rows,
        error_words=heard_talk.error_words,
    )
    # Where nobody named a kind nothing is known of its memory but what it says itself.
    rules = careful.rules if is_named else careful.rules.with_room(0)
    return dataclasses.replace(careful, talk=talk, commands=commands, rules=rules)


def is_at_prompt(prompt: bytes, done: bytes, refused: bytes) -> bool:
    """Whether what looks like a question is the prompt: a remark is taken behind it, and a word
    that no board knows is refused. A program that waits takes both as answers, or neither."""
    said, answered = rows_before(done, prompt), rows_before(refused, prompt)
    return said != answered and set(said) <= set(answered)


def is_text(heard: bytes, *, strict: bool = True) -> bool:
    """Whether bytes look like a terminal's text: printable ASCII and line ends.

    strict: only those; else one byte in six may be another, as in the messages of some boards.
    """
    text = sum(32 <= byte < 127 or byte in b"\r\n" for byte in heard)
    return bool(heard) and (text == len(heard) if strict else 6 * text >= 5 * len(heard))


def parts_of(answer: bytes) -> tuple[bytes, tuple[str, ...], bytes]:
    """The line end that begins an answer to an empty line, its rows, and the prompt that ends it.

    A prompt may be a row of its own; then its line end belongs to it.
    """
    end = answer[:2] if answer[:2] in (b"\r\n", b"\n\r") else answer[: answer[:1] in b"\r\n"]
    rows = [row for row in _ROW_END.split(answer) if row]
    if not rows:
        return end, (), b""
    place = answer.rindex(rows[-1])
    return end, tuple(row.decode("latin-1") for row in rows[:-1]), answer[place:]


def _last_row(done: bytes, refused: bytes) -> bytes:
    """The row that ends both answers, with its line end: a board is ready then."""
    rows = done.splitlines(keepends=True)
    last = next((row for row in reversed(rows) if row.strip()), b"")
    return last if last and refused.endswith(last) else b""


def with_answers(heard_talk: HeardTalk, done: bytes, refused: bytes) -> HeardTalk:
    """Add what the answers to a remark and to a word that no board knows show: the row that says
    it is ready, the rows that stand around answers, and those by which the board refuses."""
    if not heard_talk.prompt:
        heard_talk = dataclasses.replace(heard_talk, ready=_last_row(done, refused))
    end = heard_talk.ready or heard_talk.prompt
    said = rows_before(done, end)
    answered = rows_before(refused, end)
    if said == answered:  # it does not know remarks either
        return dataclasses.replace(heard_talk, refusal=tuple(answered))
    refusal = [row for row in answered if row not in said]
    return dataclasses.replace(heard_talk, answer_rows=tuple(said), refusal=tuple(refusal))


def rows_before(answer: bytes, end: bytes) -> list[str]:
    """The rows of an answer, but for what ends every one."""
    body = answer.removesuffix(end) if end else answer
    return [row for row in rows_of(body.decode("latin-1")) if row.strip()]
