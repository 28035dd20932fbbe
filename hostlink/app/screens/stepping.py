"""Step through a program on the practice board, and see what it holds at each line."""

from __future__ import annotations

import time
from collections.abc import Callable, Iterator, Sequence
from typing import TYPE_CHECKING, ClassVar

from rich.style import Style
from textual.binding import Binding, BindingType
from textual.widget import Widget
from textual.widgets import Static

from hostlink.app.actions.screen_keys import screen_key
from hostlink.app.actions.table import with_keys
from hostlink.app.screens.dialogues import AskText
from hostlink.app.widgets.page import Page, with_detail
from hostlink.app.widgets.rows import Entry, ListColumn, Rows
from hostlink.jobs.stepping import change_level, pin_words, pins_read, pins_used, state_rows
from hostlink.sentences import cannot_run
from hostlink.words import plural, safe

if TYPE_CHECKING:
    from hostlink.practice.walk import Walk

_TICK_S = 1 / 15
_AT_ONCE = 3000  # statements that are run before the screen is drawn again
_MOST = 1_000_000  # statements; a step back runs them all again
_OUTPUT_ROWS = 6
_TAIL = 600  # bytes of output in which these rows are looked for


class StepRows(Rows):
    """The lines of a program, tinted by how often each was begun."""

    COMPONENT_CLASSES: ClassVar[set[str]] = {"steps--some", "steps--much", "steps--most"}

    counts: Sequence[int] = ()

    def row_style(self, place: int, base: Style) -> Style:
        """Return the style for how often a line was begun, compared with the most frequent one."""
        most, count = max(self.counts, default=0), self.counts[place]
        if not count:
            return base
        name = "most" if count == most else "much" if count * 3 > most else "some"
        return self.get_component_rich_style(f"steps--{name}")


class StepScreen(Page[int | None]):
    """Step through one run of a program; return the line number at which it stands.

    clock: returns the time in seconds, by which a program that runs on keeps the board's pace.
    """

    AUTO_FOCUS = "#steps"
    BINDINGS: ClassVar[list[BindingType]] = [
        screen_key("stepping.line", "One line", "Run the line at the arrow"),
        screen_key("stepping.here", "Up to the line chosen", "As fast as it can"),
        screen_key("stepping.on", "Go on, or stop", "At the pace of the board"),
        screen_key("stepping.back", "One line back", "As it was before"),
        screen_key("stepping.again", "Again from the start", "Without the answers given"),
        screen_key("stepping.pin", "Choose the next pin"),
        screen_key("stepping.switch", "Switch the chosen pin", action="slide(0)"),
        screen_key("stepping.less", "Slide the chosen pin down", action="slide(-1)"),
        screen_key("stepping.more", "Slide the chosen pin up", action="slide(1)"),
        Binding("escape", "leave", "Back", tooltip="To the desk"),
    ]

    def __init__(
        self, begin: Callable[[], Walk], clock: Callable[[], float] = time.monotonic
    ) -> None:
        """Create the screen. begin: starts the program; its errors are passed on."""
        super().__init__()
        self._begin, self._clock = begin, clock
        self.walk = begin()
        self.running = False
        self._arrived: Callable[[], bool] | None = None  # None: it goes on at the board's pace
        self._lead = 0.0  # seconds of the board at second 0 of the clock
        self._pin = 0
        self._asking = False

    def body(self) -> Iterator[Widget]:
        """Lay out the lines beside what the program holds, and its output and pins below."""
        columns = [ListColumn("", 2), ListColumn("runs", 7, right=True), ListColumn("line", -1)]
        yield from with_detail(StepRows(columns, id="steps"), id="step-holds")
        yield Static("", id="step-output", markup=False)
        yield Static("", id="step-pins", markup=False)

    def foot(self) -> str:
        """Return what the keys do."""
        return with_keys(
            "<stepping.line> runs a line, <stepping.here> up to the chosen line, <stepping.on> "
            "goes on or stops, <stepping.back> goes one line back, <stepping.again> begins again. "
            "<stepping.pin> chooses a pin, <stepping.switch> switches it, <stepping.less> and "
            "<stepping.more> slide it. Escape goes back."
        )

    def on_mount(self) -> None:
        self._timer = self.set_interval(_TICK_S, self.tick, pause=True)
        self.draw(follow=True)

    # --- running -----------------------------------------------------------------------------

    def _go(self, running: bool) -> None:
        """Let the program run by itself unless it has ended, or stop it."""
        self.running = running and self.walk.ended not in ("end", "error")
        if self.running:
            self._lead = self.walk.seconds - self._clock()
            self._timer.resume()
        else:
            self._timer.pause()

    def action_line(self) -> None:
        """Run the line at the arrow, with every pass of a loop within it."""
        began = self.walk.began
        self._run_until(lambda: self.walk.began != began)

    def action_here(self) -> None:
        """Run to the line chosen in the list."""
        chosen = int(self.query_one(StepRows).key or 0)
        self._run_until(lambda: self.walk.line == chosen)

    def _run_until(self, arrived: Callable[[], bool]) -> None:
        """Run as fast as possible until `arrived`, and take keys meanwhile."""
        self._arrived = arrived
        self._go(True)
        self.tick()

    def action_on(self) -> None:
        """Go on at the pace of the board, or stop."""
        self._arrived = None
        self._go(not self.running)
        self.draw(follow=not self.running)

    def action_back(self) -> None:
        """Go back to the beginning of this line, or of the one before it."""
        self._go(False)
        self.walk = self.walk.back()
        self.draw(follow=True)

    def action_again(self) -> None:
        """Begin the program again."""
        self._go(False)
        self.walk = self._begin()
        self.draw(follow=True)

    def tick(self) -> None:
        """Run as far as the clock or `_arrived` allows; called many times a second."""
        if not self.running or self._asking:
            return
        walk, arrived = self.walk, self._arrived
        now = self._clock() + self._lead
        if arrived is not None:
            self._run(lambda: not arrived())
        elif walk.seconds < now:
            self._run(lambda: walk.seconds < now)
        is_there = arrived is not None and arrived()
        if is_there or walk.ended in ("end", "error") or walk.statements >= _MOST:
            self._go(False)
        self.draw(follow=not self.running)

    def _run(self, go_on: Callable[[], bool]) -> None:
        """Run at least one statement, and further ones while `go_on` allows it."""
        walk, left = self.walk, _AT_ONCE
        while walk.statements < _MOST and walk.step() and left and go_on():
            left -= 1
        if walk.ended == "input":
            self._ask()

    def _ask(self) -> None:
        """Ask the user what the program asks; without an answer it stays at that line."""
        self._asking = True

        def answered(line: str | None) -> None:
            self._asking = False
            if line is not None:
                self.walk.answer(line)
            self._go(line is not None)
            self.draw(follow=not self.running)

        question = (self.walk.question or "").strip()
        self.app.push_screen(AskText(safe(f"The program asks: {question}")), answered)

    # --- pins --------------------------------------------------------------------------------

    @property
    def chosen_pin(self) -> str:
        """Return the name of the pin whose level the keys change, "" if the program reads none."""
        pins = pins_read(self.walk)
        return pins[self._pin % len(pins)] if pins else ""

    def action_pin(self) -> None:
        """Choose the next pin that the program reads."""
        self._pin += 1
        self._show_pin()

    def action_slide(self, by: int) -> None:
        """Change the level at the chosen pin (see `change_level`)."""
        if self.chosen_pin:
            change_level(self.walk, self.chosen_pin, by)
        self._show_pin()

    def _show_pin(self) -> None:
        """Show the pins; if there is none to choose, say so."""
        if not self.chosen_pin:
            self.app.notify("The program has read no pin so far.", markup=False)
        self.draw()

    # --- showing -----------------------------------------------------------------------------

    def draw(self, *, follow: bool = False) -> None:
        """Show the lines, what the program holds, its output and its pins.

        follow: put the cursor of the list on the line at which the program stands.
        """
        walk = self.walk
        rows = self.query_one(StepRows)
        lines = walk.board.lines
        coming = walk.line if walk.statements == walk.began else None
        rows.counts = [walk.counts[number] - (number == coming) for number in lines]
        rows.show(
            [
                Entry(
                    str(number),
                    (
                        "->" if number == walk.stood_at else "",
                        f"{count:,}" if count else "",
                        f"{number} {text.decode('latin-1')}",
                    ),
                )
                for (number, text), count in zip(lines.items(), rows.counts, strict=True)
            ]
        )
        numbers = list(lines)
        if follow and walk.stood_at in numbers:
            rows.cursor = numbers.index(walk.stood_at)
        self.set_head(self._told())
        self.say("#step-holds", "\n".join(state_rows(walk)))
        output = walk.printed_since(max(0, walk.printed - _TAIL)).splitlines()[-_OUTPUT_ROWS:]
        self.say("#step-output", "\n".join(output) or "It has printed nothing yet.")
        self.say("#step-pins", self._pins())

    def _told(self) -> str:
        walk = self.walk
        counted = f"{plural(walk.statements, 'statement')}, {walk.seconds:.1f} s on the board"
        if walk.missing:
            return f"Step by step: {cannot_run(walk.missing)}"
        if walk.ended == "error":
            return f"Step by step: {safe(walk.error)}"
        state = f"it {'runs' if self.running else 'stands'} at line {walk.line}"
        if walk.ended == "end":
            state = "it has ended"
        elif walk.statements >= _MOST:
            state = "it was stopped; begin again"
        return f"Step by step: {state}; {counted}"

    def _pins(self) -> str:
        shown = {name: pin_words(self.walk, name) for name in pins_used(self.walk)}
        chosen = self.chosen_pin
        marked = (f"[{said}]" if name == chosen else f" {said} " for name, said in shown.items())
        return f"Pins {''.join(marked)}" if shown else ""

    def action_leave(self) -> None:
        """Close the screen, and return the line at which the program stood or failed."""
        self.dismiss(self.walk.stood_at)
