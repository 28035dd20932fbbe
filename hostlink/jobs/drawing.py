"""Draw what a program did, or write it as CSV: its pins over time, or the numbers it printed."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import astuple, dataclass, fields
from itertools import zip_longest
from pathlib import Path

from hostlink.archive import Run
from hostlink.archive.times import local_text
from hostlink.errors import RefusedError
from hostlink.jobs.files import write_new
from hostlink.jobs.session.session import Session
from hostlink.jobs.trying import printed_by
from hostlink.practice.pin_bank import PinBank, PinChange
from hostlink.practice.walk import Walk
from hostlink.publish.numbers import Columns, Numbers, csv_text
from hostlink.publish.plot_svg import plot_svg
from hostlink.words import natural, plural

_AT_ONCE_MS = 5  # between two tones, for the statements there


@dataclass(frozen=True, slots=True)
class Drawing:
    """What can be drawn. lanes: as for `plot_rows`. csv: the same as CSV (RFC 4180).

    holds: what it holds in words, such as "30 rows of numbers". missing: a sentence on what was not
    kept, "" if all was.
    """

    title: str
    lanes: Sequence[Columns]
    csv: str
    holds: str
    missing: str = ""

    def text(self, *, as_csv: bool) -> str:
        """Return the drawing as CSV or as SVG."""
        return self.csv if as_csv else plot_svg(self.lanes, self.title)

    def write(self, path: Path, *, as_csv: bool, replace: bool) -> str:
        """Write it to a file, as CSV or as SVG; return the sentence that says so.

        Raises what `write_new` raises.
        """
        write_new(path, self.text(as_csv=as_csv).encode(), replace=replace)
        return " ".join(filter(None, (f"{self.holds} written to {path}.", self.missing)))


def drawing_of_run(run: Run) -> Drawing:
    """Draw the numbers that a kept run printed. Raises RefusedError if there are none."""
    title = ", ".join(filter(None, (run.revision, run.spec, local_text(run.at))))
    rows = _before(run.end.error, printed_by(run))
    return _of_rows(title, rows, run.spec, run.printed.cut)


def drawing_of_walk(title: str, walk: Walk) -> Drawing:
    """Draw what a program put out at pins or, if nothing, the numbers that it printed.

    Raises RefusedError if it did neither.
    """
    bank = walk.state.pins
    if bank.changes:
        return _of_pins(title, bank)
    rows = _before(walk.error, walk.output.splitlines())
    return _of_rows(title, rows, "It set no pin, and")


def drawing_of_board(session: Session) -> Drawing | None:
    """Draw what the last program put out at the pins of a practice board.

    None if it set no pin, and for any other board.
    """
    bank = getattr(session.wire.port, "pins", None)
    return _of_pins("", bank) if isinstance(bank, PinBank) and bank.changes else None


def _before(error: str, rows: Sequence[str]) -> Sequence[str]:
    """Return the rows that a program printed, without the error that ended it."""
    return [row for row in rows if error not in row] if error else rows


def _of_pins(title: str, bank: PinBank) -> Drawing:
    rows = [[each.name for each in fields(PinChange)], *map(astuple, bank.changes)]
    pins = sorted({each.pin for each in bank.changes}, key=natural)
    lanes = [_lane(bank, pin, bank.changes[-1].ms if bank.missing else bank.ms) for pin in pins]
    holds = f"{plural(len(bank.changes), 'change')} of pins"
    return Drawing(title, lanes, csv_text(rows), holds, bank.missing)


def _of_rows(title: str, rows: Sequence[str], name: str, cut: int = 0) -> Drawing:
    """Draw the numbers in printed rows. name: what printed them. cut: bytes that are missing."""
    numbers = Numbers(rows)
    columns = numbers.shown
    if columns is None:
        raise RefusedError(
            f"{name} printed no numbers.",
            kept="Nothing was drawn.",
            advice="A number counts if a blank or a sign such as , : = % separates it from words: "
            "21 C, not 21C.",
        )
    missing = f"{plural(cut, 'byte')} that it printed were not kept, and are missing here."
    holds = f"{plural(columns.rows, 'row')} of numbers"
    return Drawing(title, [columns], numbers.as_csv(rows), holds, missing if cut else "")


def _lane(bank: PinBank, pin: str, end_ms: float) -> Columns:
    """Return the columns that draw a pin's output. end_ms: their end, since the program began."""
    changes = [each for each in bank.changes if each.pin == pin]
    kinds = {each.what for each in changes}
    most = bank.pins.pulse_most if "width" in kinds else 1
    times, lows, highs = [0.0], [0.0], [0.0]
    level = 0.0
    for ms, value in (*_levels(changes, most), (end_ms, None)):
        value = level if value is None else value
        times += [ms] * 3
        lows += [level, min(level, value), value]
        highs += [level, max(level, value), value]
        level = value
    units = ", Hz" if "tone" in kinds else ", width" if "width" in kinds else ""
    lane = Columns(("ms", f"pin {pin}{units}"), len(times), switched=kinds == {"on"})
    lane.lows, lane.highs = [times, lows], [times, highs]
    return lane


def _levels(changes: Sequence[PinChange], most: int) -> Iterator[tuple[float, float]]:
    """Yield each change of a pin as time (ms) and level. most: the level of a pin that is on.

    A tone of limited time ends in silence, unless another follows at once.
    """
    for each, following in zip_longest(changes, changes[1:]):
        yield each.ms, each.value * (most if each.what == "on" else 1)
        end = each.ms + each.for_ms
        if each.for_ms and (following is None or following.ms > end + _AT_ONCE_MS):
            yield end, 0.0
