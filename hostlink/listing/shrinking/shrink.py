"""Shrink a program to fewer bytes, by levels from harmless to everything.

A shrunk program prints the same for the same input, as long as it runs without an error. But error
messages name other lines, LIST shows the shrunk listing, and a function that returns the free
memory returns a larger value.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass, field

from hostlink.errors import HostlinkError, UsageError
from hostlink.listing.measure import line_cost, measure
from hostlink.listing.mending.spacing import closed_up
from hostlink.listing.parse import Line, Listing
from hostlink.listing.reading import Reader
from hostlink.listing.renumber import renumber
from hostlink.listing.reviewing.references import references, rewritten
from hostlink.listing.rules import Rules
from hostlink.listing.shrinking.abbreviations import abbreviated
from hostlink.listing.shrinking.merging import merged, without_bare_remarks
from hostlink.listing.shrinking.redundant import without_end, without_remark, without_words
from hostlink.sentences import LISTING_UNCHANGED

LEVELS: dict[str, str] = {
    "spaces": "blanks that do not matter",
    "remarks": "remarks that no jump goes to; of the others only the word stays",
    "words": "LET, THEN, GOTO after THEN and a last END, where the board does without",
    "abbreviations": "keywords in their short form, where the board has one",
    "lines": "jumps past bare remarks, lines joined where the board takes several statements",
    "everything": "line numbers 1, 2, 3, which are shorter in jumps",
}
"""What each level does in addition to the levels before it."""
UNREACHED = "unreached"
DOES = {UNREACHED: "lines that are never reached", **LEVELS}
"""What each step of a `Shrunk` does."""


@dataclass(frozen=True, slots=True)
class ShrinkStep:
    """The effect of one level. saved: bytes. lines: number of lines changed or removed."""

    level: str
    saved: int
    lines: int


@dataclass(frozen=True, slots=True)
class Shrunk:
    """A shrunk listing. before, after, limit: bytes; limit is 0 if unknown.

    steps: one for each level, including those that saved nothing; before them that of the unreached
    lines, if there are any. notes: sentences for the user on what was kept and why, and on what the
    program will do differently.
    """

    listing: Listing
    before: int
    after: int
    limit: int
    steps: tuple[ShrinkStep, ...]
    notes: tuple[str, ...]

    @property
    def fits(self) -> bool:
        """Return whether the program fits; true if the limit is unknown."""
        return not self.limit or self.after <= self.limit


@dataclass(slots=True)
class _Bench:
    """The program while it is being shrunk: its lines, their size, and the jump targets."""

    rules: Rules
    lines: dict[int, Line]
    loose: tuple[Line, ...]
    to_fit: bool
    targets: frozenset[int] = frozenset()
    total: int = 0
    worked_out: tuple[Line, ...] = ()
    steps: list[ShrinkStep] = field(default_factory=list)
    notes: list[str] = field(default_factory=list)

    def look(self) -> None:
        """Update the jump targets and the size after a change of lines."""
        found = [
            (line, reference)
            for line in (*self.lines.values(), *self.loose)
            for reference in references(line.text, self.rules.language)
        ]
        self.targets = frozenset(r.target for _, r in found if r.target is not None)
        worked_out = {line.at: line for line, r in found if r.target is None and r.use != "from"}
        self.worked_out = tuple(worked_out.values())
        self.total = self.cost(self.lines.values())

    def cost(self, lines: Iterable[Line]) -> int:
        """Return the size of a program with these lines, in bytes."""
        return self.rules.storage.empty_bytes + sum(line_cost(line, self.rules) for line in lines)

    def listing(self) -> Listing:
        """Return the lines as a listing, those without a number last."""
        return Listing.of((*self.lines.values(), *self.loose))

    @property
    def done(self) -> bool:
        """Return whether shrinking may stop because the program fits."""
        limit = self.rules.storage.room
        return self.to_fit and self.total <= limit


def _check(level: str, rules: Rules, *, to_fit: bool) -> None:
    """Raise UsageError for an unknown level, or if there is no known size to fit."""
    if level not in LEVELS:
        raise UsageError(f'There is no level "{level}".', advice=f"Levels: {', '.join(LEVELS)}.")
    if to_fit and not rules.storage.program_bytes:
        raise UsageError(
            "The size of the board's program memory is not known, so nothing can be made to fit.",
            kept=LISTING_UNCHANGED,
            advice="Name a profile that has program_bytes.",
        )


def shrink(
    listing: Listing,
    rules: Rules,
    level: str = "everything",
    *,
    to_fit: bool = False,
    size_words: Iterable[str] = (),
    without: Iterable[Line] = (),
) -> Shrunk:
    """Shrink a listing by all levels up to the given one; never make it larger.

    to_fit: stop as soon as the program fits, and leave the remaining lines unchanged. size_words:
    functions whose value depends on the program's size, for the notes. without: lines to remove.
    The result is the sorted program that the board would hold, followed by the lines without a
    number. Raises UsageError for an unknown level, or with `to_fit` if no limit is known.
    """
    _check(level, rules, to_fit=to_fit)
    loose = tuple(line for line in listing if line.number is None)
    bench = _Bench(rules, listing.numbered(), loose, to_fit)
    bench.look()
    before = bench.total
    _note_size(bench, size_words)
    _unreached(bench, frozenset(line.number for line in without))
    for name in LEVELS:
        if not bench.done:
            _STEPS[name](bench)
        if name == level:
            break
    if bench.worked_out and list(LEVELS).index(level) > 0 and not bench.done:
        bench.notes.append(_worked_out(bench.worked_out))
    made = bench.listing()
    unchanged = bench.total == before
    return Shrunk(
        listing if unchanged else made,
        before,
        before if unchanged else measure(made, rules).total,
        rules.storage.room,
        tuple(bench.steps),
        tuple(bench.notes),
    )


def _each(bench: _Bench, level: str, change: Callable[[Line], Line | None]) -> None:
    """Apply a change to each line if it saves bytes; stop when the program fits.

    change: returns the new line, or None to remove it.
    """
    began, lines = bench.total, 0
    kept: dict[int, Line] = {}
    for number, line in bench.lines.items():
        new = line if bench.done else change(line)
        saved = 0
        if new is not line:
            saved = line_cost(line, bench.rules) - (line_cost(new, bench.rules) if new else 0)
        if saved <= 0:
            kept[number] = line
            continue
        if new is not None:
            kept[number] = new
        bench.total -= saved
        lines += 1
    bench.lines = kept
    bench.steps.append(ShrinkStep(level, began - bench.total, lines))


def _changed(line: Line, text: str | None) -> Line | None:
    if text is None:
        return None
    return line if text == line.text else rewritten(line, line.number, text)


def _unreached(bench: _Bench, numbers: frozenset[int | None]) -> None:
    if not numbers or bench.done:
        return
    began = bench.total
    bench.lines = {number: line for number, line in bench.lines.items() if number not in numbers}
    bench.look()
    bench.steps.append(ShrinkStep(UNREACHED, began - bench.total, len(numbers)))


def _spaces(bench: _Bench) -> None:
    reader = Reader(bench.rules.language)
    stored = bench.rules.storage.blank_after_number

    def change(line: Line) -> Line:
        text = closed_up(line.text, reader)
        new = line if text == line.text else rewritten(line, line.number, text)
        blanks = len(new.body) - len(new.text)
        if stored == "dropped" or blanks <= (stored == "kept"):
            return new
        between = " " if stored == "kept" or new.text[:1].isdigit() else ""
        front = new.typed[: len(new.typed) - len(new.body)]
        return Line(front + between + new.text, new.number, between + new.text, new.at)

    _each(bench, "spaces", change)


def _remarks(bench: _Bench) -> None:
    reader = Reader(bench.rules.language)

    def change(line: Line) -> Line | None:
        may_go = not bench.worked_out and line.number not in bench.targets
        return _changed(line, without_remark(line.text, reader, may_go=may_go))

    held, total = bench.lines, bench.total
    _each(bench, "remarks", change)
    if held and not bench.lines:
        bench.lines, bench.total = held, total
        bench.steps[-1] = ShrinkStep("remarks", 0, 0)
        bench.notes.append("The program consists of remarks only; they stay.")


def _words(bench: _Bench) -> None:
    reader = Reader(bench.rules.language)
    last = max(bench.lines, default=0)

    def change(line: Line) -> Line | None:
        text = without_words(line.text, reader)
        if line.number != last:
            return _changed(line, text)
        may_go = not bench.worked_out and line.number not in bench.targets and len(bench.lines) > 1
        return _changed(line, without_end(text, reader, may_go=may_go))

    _each(bench, "words", change)


def _abbreviations(bench: _Bench) -> None:
    reader = Reader(bench.rules.language)
    _each(
        bench,
        "abbreviations",
        lambda line: _changed(line, abbreviated(line.text, reader, bench.rules)),
    )


def _lines(bench: _Bench) -> None:
    if bench.worked_out:
        bench.steps.append(ShrinkStep("lines", 0, 0))
        return
    began, held = bench.total, len(bench.lines)
    lines, loose = without_bare_remarks(bench.lines, bench.loose, bench.rules)
    _take(bench, lines, loose)
    if not bench.done:
        _take(bench, merged(bench.lines, bench.targets, bench.rules), bench.loose)
    bench.steps.append(ShrinkStep("lines", began - bench.total, held - len(bench.lines)))


def _numbers(bench: _Bench) -> None:
    """Renumber from 1 in steps of 1, and join lines, until nothing more is saved."""
    began, lines = bench.total, 0
    start = max(1, bench.rules.form.first_line)
    while bench.lines and not bench.worked_out and not bench.done:
        try:
            new = renumber(
                Listing((*bench.lines.values(), *bench.loose)), bench.rules, start=start, step=1
            )
        except HostlinkError as error:
            bench.notes.append(f"The line numbers stay. {error.what}")
            break
        loose = tuple(line for line in new.listing if line.number is None)
        taken = _take(bench, new.listing.numbered(), loose)
        lines += sum(a != b for a, b in new.numbers.items()) if taken else 0
        if not _take(bench, merged(bench.lines, bench.targets, bench.rules), bench.loose):
            break
    bench.steps.append(ShrinkStep("everything", began - bench.total, lines))


def _take(bench: _Bench, lines: dict[int, Line], loose: tuple[Line, ...]) -> bool:
    """Use changed lines if they are smaller than the present ones; return whether they are."""
    if bench.cost(lines.values()) >= bench.total:
        return False
    bench.lines, bench.loose = lines, loose
    bench.look()
    return True


def _note_size(bench: _Bench, size_words: Iterable[str]) -> None:
    """Note which statements will behave differently after shrinking."""
    reader = Reader(bench.rules.language)
    wanted = {word.upper(): "gives the free memory, which is larger now" for word in size_words}
    wanted["LIST"] = "shows the listing itself, which has changed"
    for word, why in wanted.items():
        using = [
            number
            for number, line in bench.lines.items()
            if word in line.text.upper()
            and any(span.word == word for span in reader.spans(line.text))
        ]
        if using:
            bench.notes.append(f"{word} in line {using[0]} {why}.")


def _worked_out(lines: tuple[Line, ...]) -> str:
    line = lines[0]
    where = f"line {line.number}" if line.number is not None else "a direct command"
    return (
        f"A jump in {where} has a computed target, which may be any line: "
        "every line stays, under its own number."
    )


_STEPS: dict[str, Callable[[_Bench], None]] = {
    "spaces": _spaces,
    "remarks": _remarks,
    "words": _words,
    "abbreviations": _abbreviations,
    "lines": _lines,
    "everything": _numbers,
}
