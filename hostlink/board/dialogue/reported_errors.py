"""Find an error message of BASIC in what a program printed, and the line that it names.

A board reports an error as a row of its own, the last one before its prompt, and names the line in
one of a few forms. A form is a template: {message} stands for the board's words, {number} for the
line number, {line} for the whole line as listed. A line feed in it separates two rows.
"""

from __future__ import annotations

import functools
import re
from collections.abc import Sequence
from dataclasses import dataclass

from hostlink.board.dialogue.own_rows import is_own
from hostlink.board.dialogue.reading import without_controls
from hostlink.board.profile.model import Profile

COMMON_FORMS = (
    "{message} in line {number}",
    "{message} in {number}",
    "{number}: {message}",
    "{message} {line}",
    "{message}\n{line}",
)
"""The forms that are tried, in this order, if a profile names none."""

_FIELD = re.compile(r"\{(message|number|line)\}")
# For a board of which only one error word is known: a message that has the word "error", or names
# the line at which it happened.
_ANY_ERROR = re.compile(
    r"(?P<message>.*?\berror\b.*?|\S.*?(?=\s+(?:in|at) line\s))\s+(?:in|at)(?: line)?"
    r"\s+(?P<number>\d{1,5})"
    r"(?:[:,.]\s*(?P<more>.*))?\s*",
    re.IGNORECASE,
)
# Some boards list the numbers above 32767 as negative ones.
_NUMBER = r"(?P<number>-?\d{1,5})"
_LINE = _NUMBER + r" *(?P<text>.*)"


@dataclass(frozen=True, slots=True)
class ReportedError:
    """An error that ended a program.

    message: the board's words. number: of the line, None if the board named none. text: the line as
    the board showed it, or "". refused: the board did not run a program at all.
    """

    message: str
    number: int | None = None
    text: str = ""
    refused: bool = False


def find_reported_error(rows: Sequence[str], profile: Profile) -> ReportedError | None:
    """Find the error that ended a program, or return None.

    rows: everything printed from RUN up to the prompt. Only the last row can be an error; a row
    that another one follows was printed by the program. A message that names no line counts if it
    is the only row, because then the board refused the command; or if it is exactly a known one and
    the board did not say that it is done, as it does after a program that ended well.
    """
    words = profile.commands.error_words
    forms = profile.commands.error_forms or COMMON_FORMS
    idle = ("", *profile.commands.answer_rows)
    said = [without_controls(row) for row in rows]
    while said and is_own(said[-1], idle):
        said.pop()
    if not said or not words:
        return None
    for form in forms:
        found = _pattern(form, words).fullmatch("\n".join(said[-1 - form.count("\n") :]))
        if found:
            held = found.groupdict()
            number = int(held["number"])
            if number < 0 and profile.rules.form.signed_numbers:
                number += 0x10000
            return ReportedError(_bare(held["message"], words), number, held.get("text") or "")
    if len(words) == 1 and not profile.commands.error_forms:
        found = _ANY_ERROR.fullmatch(said[-1])
        if found:
            told = ": ".join(part for part in (found["message"], found["more"]) if part)
            return ReportedError(told.strip(), int(found["number"]))
    if [row for row in said if row.strip()] == said[-1:] and said[-1].startswith(words):
        return ReportedError(_bare(said[-1], words), refused=True)
    ended_well = any(map(str.strip, rows[len(said) :]))
    if profile.commands.answer_rows and not ended_well and said[-1].strip() in words:
        return ReportedError(_bare(said[-1], words))
    return None


@functools.lru_cache(maxsize=64)
def _pattern(form: str, words: tuple[str, ...]) -> re.Pattern[str]:
    """Return a form as a regular expression whose message begins with one of the words.

    If only blanks separate message and line, the message is exactly one of the words; else any
    number inside a message would begin a line.
    """
    begins = "|".join(re.escape(word.strip()) for word in words)
    whole = re.search(r"\{message\}\s+\{line\}", form) is not None
    kinds = {
        "message": f"(?P<message>(?:{begins}){'' if whole else '.*?'})",
        "number": _NUMBER,
        "line": _LINE,
    }
    parts = _FIELD.split(form)
    return re.compile(
        "".join(kinds[part] if at % 2 else re.escape(part) for at, part in enumerate(parts))
        + r"\s*"
    )


def _bare(message: str, words: Sequence[str]) -> str:
    """Return the message without a leading sign that only marks it as an error."""
    signs = [word for word in words if not any(map(str.isalnum, word)) and message.startswith(word)]
    return message.removeprefix(max(signs, key=len)).strip() if signs else message.strip()
