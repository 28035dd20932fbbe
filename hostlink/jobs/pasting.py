"""A paste of several lines: mended, looked at for one kind of board, and cut into what to send."""

from __future__ import annotations

import re
from dataclasses import dataclass

from hostlink.board.profile.model import Profile
from hostlink.listing import Line, Listing, mend, review

_WORD = re.compile(r"[A-Z]+\.?")
_JUMPS = ("GOTO", "GOSUB")
_SHORT = re.compile(r"([A-Z]+)\.")


@dataclass(frozen=True, slots=True)
class Pasted:
    """What a paste came to. parts: in order, blocks of numbered lines and single direct lines.

    mended: a sentence for each repair. remarks: what the review found and what is in doubt, in
    sentences; errors: how many of them the board would stumble over.
    """

    parts: tuple[tuple[Line, ...] | str, ...]
    mended: tuple[str, ...]
    remarks: tuple[str, ...]
    errors: int

    @property
    def count(self) -> int:
        """Lines in all."""
        return sum(1 if isinstance(part, str) else len(part) for part in self.parts)


def look_at(text: str, profile: Profile) -> Pasted:
    """Mend and review a paste; nothing is sent. Never raises on any text."""
    # A terminal sends CR for every line end of a paste, so that is nothing to mend.
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
        if finding.rule not in ("bare-line-number", "missing-jump-target")  # the board has the rest
    ]
    where = [f"line {each.number}: " if each.number is not None else "" for each in found]
    remarks = [place + each.message for place, each in zip(where, found, strict=True)]
    return Pasted(
        tuple(parts),
        tuple(f"row {each.line}: {each.sentence}" for each in mended.mends),
        (*remarks, *(f"row {each.line}: {each.sentence}" for each in mended.doubts)),
        sum(each.severity == "error" for each in found),
    )


def may_overwrite(line: str, profile: Profile) -> bool:
    """Whether a direct line may clear or replace the program in memory.

    Looks for the profile's words anywhere outside quotes, shortened with a full stop too: one
    capture too many costs a second, one too few costs a program.
    """
    return _may_hold(line, _overwriting_words(profile), profile)


def may_run(line: str, profile: Profile) -> bool:
    """Whether a direct line may run the program in memory, from its beginning or from a line on."""
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
    """Whether a direct line may store the program on the board, over another one."""
    word = re.split(r"[ {]", profile.commands.store.upper())[0]
    is_direct = Line.from_text(line).number is None
    return bool(word) and is_direct and word in _unquoted(line, profile).replace(" ", "")


def names_overwriting(line: str, profile: Profile) -> bool:
    """Whether a line holds a command that clears or replaces the program as a word of its own.

    What a program that waits for input may be answered with seldom does.
    """
    found = _WORD.findall(_unquoted(line, profile))
    words = _overwriting_words(profile)
    return any(
        word == each or (each.endswith(".") and word.startswith(each[:-1]))
        for each in found
        for word in words
    )


def _unquoted(line: str, profile: Profile) -> str:
    """A line in capitals without its quoted texts, read in each way that a board may read it.

    What stands outside quotes in any of these is left in: a profile may not know all the marks.
    """
    marks = dict.fromkeys((profile.rules.language.quotes, '"', "\"'"))
    return "\n".join(_without_quoted(line.upper(), each) for each in marks)


def _without_quoted(line: str, marks: str) -> str:
    quoted = "|".join(f"{mark}[^{mark}]*{mark}?" for mark in map(re.escape, marks))
    return re.sub(quoted, "", line) if quoted else line


def _overwriting_words(profile: Profile) -> list[str]:
    words = (profile.commands.clear, profile.commands.recall)
    return [re.split(r"[ {]", word.upper())[0] for word in words if word]
