"""Run the program in a board's memory: show what it prints, answer what it asks, tell how it ended.

The work is done by two cores, hostlink.link.running and hostlink.link.stopping. A run that does not
end at the prompt is stopped, and the message says what was seen of that.
"""

from __future__ import annotations

import contextlib
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Protocol

from hostlink.board.dialogue.events import Warned
from hostlink.board.dialogue.evidence import Doubt
from hostlink.board.dialogue.faults import Fault, find_fault
from hostlink.errors import (
    ArchiveError,
    HostlinkError,
    Interrupted,
    LinkError,
    LinkReason,
    ListingError,
    ProgramError,
    RefusedError,
)
from hostlink.jobs.board_rows import BoardRows
from hostlink.jobs.events import Emit, InputTyped, RowOpen, RowPrinted
from hostlink.jobs.memory_of_run import Before, changed_by_run, keep_before_run
from hostlink.jobs.session.session import Session
from hostlink.link.pacing import Pacing
from hostlink.link.running import End, Running
from hostlink.link.stopping import Stopping
from hostlink.listing import Listing, to_bytes, to_text
from hostlink.words import safe

MOST_OUTPUT = 1 << 20  # bytes
_IN_MEMORY = "The program is still in the board's memory."


class Answers(Protocol):
    """Lines for a program that asks."""

    @property
    def live(self) -> bool:
        """Whether a person types them: the program's time stands still while one is waited for."""

    def take(self) -> str | None:
        """The next line, None where it has not come yet. Raises EOFError when none will come."""


class Given:
    """Answers that are all known before."""

    live = False

    def __init__(self, lines: Iterable[str] = ()) -> None:
        self._lines = list(lines)

    @property
    def left(self) -> int:
        """Return how many answers were not asked for."""
        return len(self._lines)

    def take(self) -> str | None:
        """Return the next answer. Raises EOFError where there is none left."""
        if not self._lines:
            raise EOFError
        return self._lines.pop(0)


@dataclass(frozen=True, slots=True)
class Ran:
    """A run that ended at the prompt. output: the rows that were printed, LF between them.

    fault: the error of BASIC that ended it, if one did. line: the text of the line that the fault
    names, "" where it is not known.
    """

    output: str
    fault: Fault | None = None
    line: str = ""

    def check(self) -> None:
        """Raise ProgramError where an error ended the program."""
        if self.fault is None:
            return
        number = self.fault.number
        if number is None:
            raise ProgramError(f'The board refused to run a program: "{safe(self.fault.message)}"')
        at = f"Line {number} is: {number} {safe(self.line)}. " if self.line else ""
        raise ProgramError(
            f"The program stopped with an error in line {number}: {safe(self.fault.message)}",
            kept=f"{at}{_IN_MEMORY}",
        )


def run(
    session: Session,
    answers: Answers | None = None,
    *,
    longest_s: float = 60.0,
    emit: Emit | None = None,
) -> Ran:
    """Start the program and wait until it is done. One that may clear memory is kept before.

    answers: what it is given when it asks; nothing where None. longest_s: seconds after which it is
    interrupted. emit: told of each row that is printed, of the row that has not ended, and of each
    answer that was typed, as they come; the session's where None.
    Raises RefusedError where the program asks and there are no more answers, Interrupted, and
    LinkError where it does not end in time or the wire fails; the program was stopped then.
    """
    emit = emit or session.emit
    session.attach()  # how it talks is not known before
    before = keep_before_run(session, answered=True)
    pacing = session.dialogue.pacing
    command = session.dialogue.can("run", "run a program by command")
    charset = session.profile.rules.form.charset
    output = _Output(charset, emit, pacing, session.profile.commands.answer_rows)
    core = Running(
        to_bytes(command, charset),
        pacing,
        _AnswerBytes(answers or Given(), charset, emit),
        longest_s=longest_s,
        most_bytes=MOST_OUTPUT,
        heard=output.take,
        typing=output.typing,
    )
    try:
        _drive(session, core)
    except (HostlinkError, OSError) as error:
        told = _with_state(error, stop(session, before))
        if told is error:
            raise
        raise told from error
    finally:
        with contextlib.suppress(OSError):
            output.close(at_prompt=core.end is End.PROMPT)
    if core.end is not End.PROMPT:
        raise _failure(core, command, longest_s, charset, stop(session, before))
    if before.spec or session.restarts.seen > before.restarts:
        with contextlib.suppress(LinkError):  # the run is over; it is told in any case
            if changed := changed_by_run(session, before):
                session.emit(Warned(changed))
    fault = find_fault(output.rows, session.profile)
    return Ran("\n".join(output.rows), fault, _line_text(session, fault))


class _Output:
    """What a program prints, told row by row as it comes. `rows`: all that have ended.

    answer_rows: what the board itself says behind the last row, such as OK; no output there.
    """

    def __init__(
        self, charset: str, emit: Emit, pacing: Pacing, answer_rows: tuple[str, ...]
    ) -> None:
        self.rows: list[str] = []
        self._answer_rows = answer_rows
        self._aside: list[str] = []  # rows that may be the board's own
        self._charset = charset
        self._emit = emit
        self._cut = BoardRows(charset, self._ended, render=str, prompt=pacing.direct_end, longest=0)
        self._cut.begin(swallow_end=pacing.echo)

    def close(self, *, at_prompt: bool) -> None:
        """Take the last row. at_prompt: the board has said what it says behind a program's rows,
        each of its own rows once; what stands before that the program printed."""
        self._cut.close()
        own = set(self._answer_rows) if at_prompt else set()
        printed: list[str] = []
        for row in reversed(self._aside):
            if row.strip() in own:
                own.discard(row.strip())
            else:
                printed.insert(0, row)
        self._aside.clear()
        self._print(printed)

    def take(self, data: bytes) -> None:
        self._cut.take(data)
        partial = self._cut.partial
        if partial and any(row.startswith(partial.strip()) for row in self._answer_rows):
            partial = ""  # shown once it is clear that it is no row of the board's own
        self._emit(RowOpen(partial))

    def typing(self, answer: bytes) -> None:
        self._emit(InputTyped(to_text(answer, self._charset)))

    def _ended(self, row: str) -> None:
        if row.strip() in self._answer_rows:
            self._aside.append(row)
            return
        self._print([*self._aside, row])
        self._aside.clear()

    def _print(self, rows: list[str]) -> None:
        for row in rows:
            self.rows.append(row)
            self._emit(RowPrinted(row))


def _with_state(error: HostlinkError | OSError, state: str) -> Exception:
    """The error that ended a run, with the state in which the board was left."""
    if isinstance(error, Interrupted):
        return error.but(what=f"Stopped while the program ran. {state}")
    if isinstance(error, HostlinkError):
        # Of a wire that failed nothing is known; an answer that could not be typed did no harm.
        return error.but(kept=error.kept if isinstance(error, LinkError) else state)
    if not isinstance(error, BrokenPipeError):  # nobody reads it: no reason for a word
        what = f"What the program printed could not be written: {error.strerror}."
        return HostlinkError(what, kept=state)
    return error


def stop(session: Session, before: Before) -> str:
    """Stop the program that runs on the board; what was seen of it, in a sentence.

    Where no prompt came back it is never called interrupted. Ctrl+C does not end this.
    """
    with session.unstoppable():
        return _stopped(session, before)


def _stopped(session: Session, before: Before) -> str:
    core = Stopping(session.dialogue.pacing)
    try:
        session.wire.run(core)
    except LinkError as error:
        return f"It could not be interrupted: {error.what}"
    if core.stopped:
        changed: str | None = None
        with contextlib.suppress(LinkError):
            changed = changed_by_run(session, before)
        if changed == "":
            return "It was interrupted, and is still in the board's memory."
        return f"It was interrupted. {changed or ''}".rstrip()
    if not core.sent:
        return "Boards of this kind have no key that interrupts a program; it was left as it is."
    if not session.dialogue.pacing.direct_end:
        return (
            "The interrupt was sent; this board shows no prompt, so it is not known whether the "
            "program stopped."
        )
    row = safe(to_text(core.row[-40:], session.profile.rules.form.charset))
    said = f'it last sent "{row}"' if row else "it sent nothing more"
    return f"The interrupt was sent, but the board did not come back to its prompt; {said}."


class _AnswerBytes:
    """Answers as the bytes that are typed.

    A line that cannot be typed ends the run; where a person types they are told, and asked again.
    """

    def __init__(self, answers: Answers, charset: str, emit: Emit) -> None:
        self.live = answers.live
        self._answers = answers
        self._charset = charset
        self._emit = emit

    def take(self) -> bytes | None:
        line = self._answers.take()
        if line is None:
            return None
        try:
            data = to_bytes(line, self._charset)
            if not line.isprintable():
                # It would not be typed but obeyed.
                raise ListingError(f'"{safe(line[:40])}" holds a control character.')
        except ListingError as error:
            if self.live:
                self._emit(Warned(f"Not typed: {error.what} Type the answer again."))
                return None
            raise RefusedError(f"The program was not answered: {error.what}") from error
        return data


def _drive(session: Session, core: Running) -> None:
    """Run the core, and note what it learnt of the wire."""
    dialogue = session.dialogue
    try:
        session.wire.run(core)
    finally:
        dialogue.evidence.note(Doubt.RETYPED, core.repairs)
        if core.repairs and not (dialogue.pacing.line_cancel or dialogue.pacing.erase):
            dialogue.evidence.disturbed()


def _failure(
    core: Running, command: str, longest_s: float, charset: str, state: str
) -> HostlinkError:
    """The error for a run that did not end at the prompt. state: how the board was left."""
    asked = safe(to_text(core.row.strip(), charset))
    if core.end is End.UNTYPED:
        return LinkError(
            f'"{command}" could not be typed right; the wire damages bytes.',
            reason=LinkReason.DAMAGED,
            kept=_IN_MEMORY,
            advice="Check the cable and the speed.",
        )
    if core.end is End.UNANSWERED:
        return RefusedError(
            f'The program asks "{asked}", and there is no more input.',
            kept=state,
            advice=lambda by: (
                "Give an answer for each question: at the keyboard, through a pipe, or "
                f"from a file {by.answer_from_file}."
            ),
        )
    if core.end is End.DAMAGED:
        return LinkError(
            "An answer could not be typed right; the wire damages bytes.",
            reason=LinkReason.DAMAGED,
            kept=state,
            advice="Check the cable and the speed.",
        )
    if core.end is End.FLOODING:
        what = f"The program printed more than {MOST_OUTPUT:,} bytes."
    else:
        doing = "may wait for input" if core.is_quiet else "was still printing"
        what = f"The program did not end within {longest_s:g} s; it {doing}."
    return LinkError(
        what,
        reason=LinkReason.RUNNING,
        kept=state,
        advice=lambda by: (
            f"Give its input from a file {by.answer_from_file}, or more time {by.allow_time}."
        ),
    )


def _line_text(session: Session, fault: Fault | None) -> str:
    """The text of the line that a fault names: by the host copy, else as the board showed it."""
    if fault is None or fault.number is None:
        return ""
    text = ""
    with contextlib.suppress(ArchiveError):  # the run is over; it is told in any case
        archive = session.archive
        copy = archive.host_copy(session.board_in(archive).uuid) if archive is not None else None
        text = copy.content.text if copy is not None else ""
    lines = Listing.from_text(text).numbered()
    return lines[fault.number].text if fault.number in lines else fault.text
