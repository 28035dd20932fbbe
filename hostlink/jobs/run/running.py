"""Running the program in a board's memory: showing its output, answering its questions.

Two cores do the work on the wire, hostlink.link.running and hostlink.link.stopping. A run that does
not end at the prompt is stopped, and the error says what was seen of that.
"""

from __future__ import annotations

import contextlib
import dataclasses
from dataclasses import dataclass, field

from hostlink.board.dialogue.events import Warned
from hostlink.board.dialogue.evidence import DamageSign
from hostlink.board.dialogue.reported_errors import ReportedError, find_reported_error
from hostlink.errors import ArchiveError, HostlinkError, LinkError, ProgramError
from hostlink.jobs.events import Emit
from hostlink.jobs.run.answers import AnswerBytes, Given
from hostlink.jobs.run.keeping import RunRecord
from hostlink.jobs.run.memory_of_run import Before, changed_by_run, keep_before_run
from hostlink.jobs.run.run_errors import MOST_OUTPUT, failure, restarted_error, stop, with_run_state
from hostlink.jobs.session.session import Session
from hostlink.link.running import Answers, End, Running
from hostlink.listing import Listing, to_bytes
from hostlink.sentences import STILL_IN_MEMORY, ends_in_error, line_is
from hostlink.words import safe


@dataclass(frozen=True, slots=True)
class Ran:
    """A run that ended at the prompt. output: the printed rows, separated by LF.

    fault: the BASIC error that ended the program, if any. line: the text of the line named in the
    fault, "" if unknown. spec: of the run in the archive, "" if it was not kept.
    """

    output: str
    fault: ReportedError | None = None
    line: str = ""
    spec: str = field(default="", compare=False)

    def check(self) -> None:
        """Raise ProgramError if a BASIC error ended the program."""
        if self.fault is None:
            return
        number = self.fault.number
        if self.fault.refused:
            raise ProgramError(f'The board refused to run a program: "{safe(self.fault.message)}"')
        raise ProgramError(
            ends_in_error("The program", number, self.fault.message),
            kept=f"{line_is(number, self.line)} {STILL_IN_MEMORY}".lstrip(),
        )


def run(
    session: Session,
    answers: Answers[str] | None = None,
    *,
    longest_s: float = 60.0,
    emit: Emit | None = None,
) -> Ran:
    """Start the program and wait until it ends; keep it first if it may clear the memory.

    The archive gets a record of the run, however it ends.

    answers: the input given when the program asks; none if None. longest_s: seconds after which it
    is interrupted. emit: receives each printed row, the unfinished row and each typed answer as
    they come; the session's own if None.
    Raises RefusedError if the program asks and no answer is left, Interrupted, and LinkError if it
    does not end in time or the wire fails. The program is stopped then if that is possible.
    """
    emit = emit or session.emit
    session.attach()  # how the board talks is not known before this
    before = keep_before_run(session, answered=True)
    command = session.dialogue.command_text("run")
    with RunRecord(session, before.lines, command, emit) as record:
        ran = _recorded(session, before, record, answers or Given(), longest_s)
    return dataclasses.replace(ran, spec=record.spec)


def _recorded(
    session: Session, before: Before, record: RunRecord, answers: Answers[str], longest_s: float
) -> Ran:
    pacing, command = session.dialogue.pacing, record.command
    charset = session.profile.rules.form.charset
    output = record.output
    core = Running(
        to_bytes(command, charset),
        pacing,
        AnswerBytes(answers, charset, record.emit, record.typed.append),
        longest_s=longest_s,
        most_bytes=MOST_OUTPUT,
        heard=output.take,
        typing=output.typing,
    )
    try:
        _play(session, core, before)
    finally:
        with contextlib.suppress(OSError):
            output.close(at_prompt=core.end is End.PROMPT)
    if core.end is not End.PROMPT:
        record.began = core.end is not End.UNTYPED
        raise failure(core, command, longest_s, charset, stop(session, before))
    ran = _conclude(session, before, output.rows)
    record.ended(ran.fault)
    return ran


def _conclude(session: Session, before: Before, rows: list[str]) -> Ran:
    """Warn if the program in memory has changed, and return the result of a run that ended.

    Raises LinkError if the prompt is that of a board which restarted meanwhile.
    """
    restarted, changed = session.restarts.seen > before.restarts, None
    if before.spec or restarted:
        with contextlib.suppress(LinkError):  # the run has ended; its result is returned anyway
            changed = changed_by_run(session, before)
    if restarted:
        raise restarted_error(changed)
    if changed:
        session.emit(Warned(changed))
    fault = find_reported_error(rows, session.profile)
    return Ran("\n".join(rows), fault, _line_text(session, fault))


def _play(session: Session, core: Running, before: Before) -> None:
    """Run the core; an error stops the program and is raised with the state of the board."""
    try:
        _drive(session, core)
    except (HostlinkError, OSError) as error:
        told = with_run_state(error, stop(session, before))
        if told is error:
            raise
        raise told from error


def _drive(session: Session, core: Running) -> None:
    """Run the core, and note what it shows about the wire."""
    dialogue = session.dialogue
    try:
        session.wire.run(core)
    finally:
        dialogue.evidence.note(DamageSign.RETYPED, core.repairs)
        if core.repairs and not (dialogue.pacing.line_cancel or dialogue.pacing.erase):
            dialogue.evidence.disturbed()


def _line_text(session: Session, fault: ReportedError | None) -> str:
    """Return the text of the line named in a fault: from the host copy, else from the fault."""
    if fault is None or fault.number is None:
        return ""
    text = ""
    with contextlib.suppress(ArchiveError):  # the run has ended; its result is returned anyway
        archive = session.archive
        copy = archive.host_copy(session.board_in(archive).uuid) if archive is not None else None
        text = copy.content.text if copy is not None else ""
    lines = Listing.from_text(text).numbered()
    return lines[fault.number].text if fault.number in lines else fault.text
