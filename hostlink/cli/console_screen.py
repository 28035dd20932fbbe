"""The console on a terminal: line editing, history, and the board's output above the line.

The owner thread listens to the board and types what is entered here; this thread only reads keys.
The row that the board has not ended (its prompt, a question) is shown before the typed line.
"""

from __future__ import annotations

import threading
from collections.abc import Callable
from concurrent.futures import Future
from typing import TYPE_CHECKING, Any

from prompt_toolkit import PromptSession
from prompt_toolkit.history import FileHistory, History, InMemoryHistory
from prompt_toolkit.key_binding import KeyBindings, KeyPressEvent
from prompt_toolkit.keys import Keys
from prompt_toolkit.patch_stdout import patch_stdout

from hostlink.cli.console_words import (
    AT_PROMPT,
    CAPTURE,
    INTERRUPT,
    LEAVE,
    doing_words,
    handle_line,
    report_errors,
)
from hostlink.cli.context import CommonOptions
from hostlink.cli.output import data, say
from hostlink.cli.progress import Teller
from hostlink.cli.stopping import Ended
from hostlink.cli.ways import IN_CONSOLE
from hostlink.errors import ExitStatus, HostlinkError, Interrupted
from hostlink.jobs.console import Console
from hostlink.jobs.pasting import Pasted, look_at
from hostlink.link.owner import Owner
from hostlink.sentences import BOARD_AWAY, proven
from hostlink.words import plural

if TYPE_CHECKING:
    from hostlink.archive import Archive
    from hostlink.jobs.session.link_choice import LinkChoice

_LISTEN_S, _PAUSE_S = 0.25, 0.02
_MOST_SHOWN = 12  # remarks on one paste


def talk(common: CommonOptions, archive: Archive, choice: LinkChoice) -> int:
    """Run the console until the user leaves it; return the exit status."""
    teller, stop = Teller(quiet=common.quiet, by=IN_CONSOLE), threading.Event()

    drawing: list[Callable[[], object]] = []  # filled below: the screen needs the owner

    def idle(board: Console, ends: Callable[[], bool]) -> None:
        listen(board, ends, lambda: [draw() for draw in drawing])

    def connect() -> Console:
        return Console(choice, archive, teller.emit, data, cancelled=stop.is_set, stays=True)

    with (
        patch_stdout(),
        Owner(choice.port, connect, idle=idle, idle_s=_PAUSE_S, cancelled=stop) as owner,
    ):
        board = owner.submit(lambda opened: opened).result()  # an error of the opening comes here
        screen = ConsoleTerminal(owner, board, _history(archive))
        drawing.append(screen.draw_again)
        say(
            f"Talking to {choice.port}. {LEAVE} ends it, {INTERRUPT} or Ctrl+C stops a program, "
            f"{CAPTURE} reads the program.",
            quiet=common.quiet,
        )
        try:
            while screen.turn():
                pass
        except Ended:
            raise Interrupted("The console was ended.", kept=screen.state()) from None
        owner.cancel()
    if owner.trouble is not None:
        raise owner.trouble
    return ExitStatus.DONE


def listen(board: Console, ends: Callable[[], bool], changed: Callable[[], object]) -> None:
    """Listen to the board until there is work; called by the owner while it is idle.

    changed: called if what the board does has changed, or if listening failed.
    """
    before: object = (board.is_here, board.partial, board.activity.now)
    try:
        board.listen(_LISTEN_S, ends)
        if (board.is_here, board.partial, board.activity.now) != before:
            changed()
    except HostlinkError:
        changed()
        raise


def _history(archive: Archive) -> History:
    """Return the history, in a file beside the archive or, if that fails, in memory."""
    path = archive.path.with_name("console-history.txt")
    try:
        path.touch(mode=0o600)
    except OSError:
        return InMemoryHistory()
    return FileHistory(str(path))


class ConsoleTerminal:
    """The terminal of the console: one typed line at a time."""

    def __init__(self, owner: Owner[Console], board: Console, history: History) -> None:
        self._owner = owner
        self._board = board  # only looked at from this thread
        self._typed = ""  # the text on the line when several lines were pasted
        self._lines: PromptSession[str] = PromptSession(
            history=history, key_bindings=self._keys(), bottom_toolbar=self._foot
        )
        self._questions: PromptSession[str] = PromptSession()

    def turn(self) -> bool:
        """Read and process one line or one paste; return False when the console is to end."""
        try:
            typed, self._typed = self._typed, ""
            text = self._lines.prompt(self._board_row, default=typed)
        except Ended:
            raise
        except KeyboardInterrupt:
            report_errors(lambda: self._wait(self._owner.submit(Console.interrupt)))
            return True
        except EOFError:
            return False
        if "\n" in text:
            report_errors(lambda: self._paste(text))
            return True
        if text.rstrip().lower() == LEAVE:
            return False
        report_errors(lambda: self._wait(self._owner.submit(lambda board: _enter(board, text))))
        return self._owner.trouble is None

    def state(self) -> str:
        """Return one sentence about what the board is doing."""
        try:
            at_prompt = self._wait(self._owner.submit(lambda board: board.settle(2.0, 0.6)))
        except HostlinkError as error:
            return error.words(IN_CONSOLE)
        return AT_PROMPT if at_prompt else "Its program was left running."

    def draw_again(self) -> None:
        """Draw the typed line and the words below it again; may be called in any thread."""
        self._lines.app.invalidate()

    def _board_row(self) -> str:
        """Return the row that the board has not ended yet."""
        return self._board.partial

    def _foot(self) -> str:
        if self._owner.trouble is not None:
            doing = "The link has failed."
        elif not self._board.is_here:
            doing = f"{BOARD_AWAY}."
        else:
            doing = doing_words(self._board.activity.now)
        return f"{doing}  {LEAVE} ends  {CAPTURE} reads the program"

    def _wait(self, answer: Future[Any]) -> Any:
        """Return a job's result once it has ended; on Ctrl+C stop the job at a safe point."""
        while True:
            try:
                return answer.result()
            except KeyboardInterrupt as stop:
                self._owner.cancel()
                try:
                    answer.exception(10.0)
                finally:
                    self._owner.go_on()
                if isinstance(stop, Ended):
                    raise

    def _keys(self) -> KeyBindings:
        """Bind pasting: several pasted lines are reviewed as one listing, never typed one by one.

        The text that was on the line is not one of them; it is there again afterwards.
        """
        keys = KeyBindings()

        @keys.add(Keys.BracketedPaste)
        def paste(event: KeyPressEvent) -> None:
            text = event.data.replace("\r\n", "\n").replace("\r", "\n")
            buffer = event.current_buffer
            if "\n" not in text.strip("\n"):
                buffer.insert_text(text.strip("\n"))
                return
            self._typed = buffer.text
            buffer.reset()
            event.app.exit(result=text)

        return keys

    def _paste(self, text: str) -> None:
        pasted = look_at(text, self._board.choice.profile)
        _show(pasted)
        if not pasted.parts:
            say("The paste has no lines.")
            return
        question = f"Send {plural(pasted.count, 'line')} to the board and prove them? (yes or no) "
        try:
            sent = self._questions.prompt(question).strip().lower() in ("y", "yes")
        except (KeyboardInterrupt, EOFError):
            sent = False
        if not sent:
            say("Nothing was sent.")
            return
        self._wait(self._owner.submit(lambda board: board.send(pasted)))
        say(f"{proven('The paste')}.")


def _enter(board: Console, text: str) -> None:
    handle_line(board, text, answer=_type)


def _type(board: Console, line: str) -> None:
    board.enter(line)
    board.settle(0.3, 0.3)


def _show(pasted: Pasted) -> None:
    """Show what was mended in a paste and what the review found."""
    for sentence in (*pasted.mended, *pasted.remarks)[:_MOST_SHOWN]:
        say(sentence)
    more = len(pasted.mended) + len(pasted.remarks) - _MOST_SHOWN
    if more > 0:
        say(f"And {more:,} more.")
