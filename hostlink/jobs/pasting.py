"""Pasting several lines: mend and review them for a kind of board, and split them for sending."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from hostlink.board.profile.model import Profile
from hostlink.listing import Line, Listing, mend, review

_WORD = re.compile(r"[A-Z]+\.?")
_JUMPS = ("GOTO", "GOSUB")
_SHORT = re.compile(r"([A-Z]+)\.")


@dataclass(frozen=True, slots=True)
class Pasted:
    """A reviewed paste. parts: in order, blocks of numbered lines and single direct lines.

    mended: a sentence for each repair. remarks: a sentence for each finding of the review and each
    doubtful repair. errors: how many of the findings are errors.
    """

    parts: tuple[tuple[Line, ...] | str, ...]
    mended: tuple[str, ...]
    remarks: tuple[str, ...]
    errors: int

    @property
    def count(self) -> int:
        """Return the number of lines."""
        return sum(1 if isinstance(part, str) else len(part) for part in self.parts)

    @property
    def has_program_lines(self) -> bool:
        """Return whether it changes the program, so that it is read back and proven."""
        return any(not isinstance(part, str) for part in self.parts)


def look_at(text: str, profile: Profile) -> Pasted:
    """Mend and review a paste without sending anything. Raises no error for any text."""
    # A terminal sends each line end of a paste as CR; mend leaves uniform line ends alone.
    mended = mend(text, profile.rules)
    listing = Listing.from_text(mended.text)
    parts: list[tuple[Line, ...] | str] = []
    for line in listing:
        if line.number is None:
            parts.append(line.typed.strip())
        elif parts and isinstance(parts[-1], tuple):
            parts[-1] = (*parts[-1], line)
        else:
            parts.append((line,))
    numbered = Listing(tuple(line for line in listing if line.number is not None))
    found = [
        finding
        for finding in review(numbered, profile.rules).findings
        if finding.rule
        not in ("bare-line-number", "missing-jump-target")  # the board may hold the target
    ]
    where = [f"line {each.number}: " if each.number is not None else "" for each in found]
    remarks = [place + each.message for place, each in zip(where, found, strict=True)]
    return Pasted(
        tuple(parts),
        tuple(f"row {each.line}: {each.sentence}" for each in mended.mends),
        (*remarks, *(f"row {each.line}: {each.sentence}" for each in mended.doubts)),
        sum(each.severity == "error" for each in found),
    )


def merge_lines(program: Mapping[int, Line], block: Iterable[Line]) -> dict[int, Line]:
    """Return a program with numbered lines entered; one without text deletes its number."""
    target = dict(program)
    for line in block:
        assert line.number is not None
        target.pop(line.number, None)
        if line.text:
            target[line.number] = line
    return target


def may_overwrite(line: str, profile: Profile) -> bool:
    """Return whether a direct line may clear or replace the program in memory.

    Looks for the profile's words anywhere outside quotes, and for their abbreviations with a full
    stop: an unnecessary capture costs a second, a missing one may cost a program.
    """
    return _may_hold(line, _overwriting_words(profile), profile)


def may_run(line: str, profile: Profile) -> bool:
    """Return whether a direct line may run the program in memory, from any of its lines."""
    return _may_hold(
        line, [word for word in (profile.commands.run.upper(), *_JUMPS) if word], profile
    )


def _may_hold(line: str, words: list[str], profile: Profile) -> bool:
    if Line.from_text(line).number is not None:
        return False
    plain = _unquoted(line, profile).replace(" ", "")
    short = _SHORT.findall(plain)
    return any(word in plain or any(word.startswith(part) for part in short) for word in words)


def may_store(line: str, profile: Profile) -> bool:
    """Return whether a direct line may store the program on the board, replacing a stored one."""
    word = re.split(r"[ {]", profile.commands.store.upper())[0]
    is_direct = Line.from_text(line).number is None
    return bool(word) and is_direct and word in _unquoted(line, profile).replace(" ", "")


def names_overwriting(line: str, profile: Profile) -> bool:
    """Return whether a line contains a command that clears or replaces the program, as a word.

    An answer to a program that waits for input seldom does.
    """
    found = _WORD.findall(_unquoted(line, profile))
    words = _overwriting_words(profile)
    return any(
        word == each or (each.endswith(".") and word.startswith(each[:-1]))
        for each in found
        for word in words
    )


def _unquoted(line: str, profile: Profile) -> str:
    """Return a line in capitals without quoted text, once for each possible set of quotes.

    A profile may not know all the quotes of a board, so text outside quotes in any reading counts.
    """
    marks = dict.fromkeys((profile.rules.language.quotes, '"', "\"'"))
    return "\n".join(_without_quoted(line.upper(), each) for each in marks)


def _without_quoted(line: str, marks: str) -> str:
    quoted = "|".join(f"{mark}[^{mark}]*{mark}?" for mark in map(re.escape, marks))
    return re.sub(quoted, "", line) if quoted else line


def _overwriting_words(profile: Profile) -> list[str]:
    words = (profile.commands.clear, profile.commands.recall)
    return [re.split(r"[ {]", word.upper())[0] for word in words if word]
