"""Surveying a board: measure how it talks, stores and understands; propose a profile."""

from __future__ import annotations

import dataclasses
from collections.abc import Mapping
from contextlib import suppress
from dataclasses import dataclass, field

from hostlink.archive import Archive, Board
from hostlink.archive.events import OpenEvent
from hostlink.board.dialogue.capturing import Capture
from hostlink.board.dialogue.events import Phase, Warned
from hostlink.board.dialogue.own_rows import is_own
from hostlink.board.port.uart import speed_warning
from hostlink.board.profile.model import HEARD, Profile
from hostlink.board.recognised import Recognised
from hostlink.board.survey.bench import Bench, recognise_steadily
from hostlink.board.survey.findings import SurveyFinding
from hostlink.board.survey.steps import Consent, SurveySteps
from hostlink.board.survey.store import StoresNothing
from hostlink.board.survey.survey_words import survey_paragraph
from hostlink.errors import (
    HostlinkError,
    Interrupted,
    LinkError,
    LinkReason,
    NotKnownError,
    ReadBackError,
)
from hostlink.jobs.cautions import WEAR_WARNING
from hostlink.jobs.session.job import recorded_job
from hostlink.jobs.session.recognising import careful_profile, kinds_of, recognisable_kinds
from hostlink.jobs.session.rescuing import HeldProgram, keep_held, rescue_or_discard
from hostlink.jobs.session.restarting import pulse
from hostlink.jobs.session.session import Session
from hostlink.jobs.stored_programs import memory_after, put_into_memory
from hostlink.jobs.survey_results import finding_rows
from hostlink.link.pacing import BITS_PER_BYTE
from hostlink.listing.canonical import reread
from hostlink.listing.parse import Line
from hostlink.listing.rules import Form
from hostlink.sentences import NOT_KEPT, UNTOUCHED
from hostlink.words import plural

_PARTS, _PARTS_STORING = 3, 10  # times that one program needs, as a limit for a survey


@dataclass(frozen=True, slots=True)
class SurveyOptions:
    """How to survey a board.

    name: of the profile to propose. consent: what may be done beyond asking. discard_board: memory
    may be used even if it is not known what it holds. speeds: the speeds to try, empty for the
    usual ones. clock_hz: the board's clock, 0 if not known.
    """

    name: str = "surveyed"
    consent: Consent = field(default_factory=Consent)
    discard_board: bool = False
    speeds: tuple[int, ...] = ()
    clock_hz: int = 0


@dataclass(frozen=True, slots=True)
class Surveyed:
    """The result of a survey: the proposed profile and its evidence.

    lines: how many lines the board holds now; None if that is not known. held: the same in a
    sentence. told: the result in plain words. kind: the known kind that the board is, "" for none.
    words: candidates sorted into known, unknown and unsure. notes: what no profile can hold.
    """

    profile: Profile
    findings: tuple[SurveyFinding, ...]
    lines: int | None
    held: str
    told: str = ""
    kind: str = ""
    words: Mapping[str, tuple[str, ...]] = field(default_factory=dict)
    notes: tuple[str, ...] = ()


def survey(session: Session, archive: Archive, options: SurveyOptions) -> Surveyed:
    """Measure the connected board. Its program is left alone, or put back and proven.

    The findings are kept with the board, and the session uses its earlier profile afterwards.
    Raises LinkError if no usual speed gives a readable answer; an error after the program was
    cleared says what memory holds and where the program is kept.
    """
    try:
        found = _recognised(session, options)
        with session.talking_as(found):
            board = session.board_in(archive)
            parts = _PARTS_STORING if options.consent.storing else _PARTS
            with recorded_job(session, archive, "survey", board, parts=parts) as record:
                surveyed = _Survey(session, archive, board, options, found, record).do()
                record.detail["found"] = finding_rows(surveyed.findings)
                record.detail["told"] = surveyed.told
                return surveyed
    except Interrupted as error:
        kept = error.kept or UNTOUCHED
        raise error.but(what="The survey was stopped.", kept=kept) from error


def _recognised(session: Session, options: SurveyOptions) -> Recognised:
    """Find out how the board talks, after listening to one that may be starting."""
    choice = session.choice
    if session.foresight.restarts and not session.is_attached:
        session.dialogue.listen_starting()
    return recognise_steadily(
        session.wire,
        kinds_of(choice.profile, is_guess=choice.is_guess),
        careful_profile() if choice.is_guess or choice.profile.name == HEARD else choice.profile,
        session.emit,
        may_stop=choice.stop_running,
        speeds=options.speeds,
    )


# Seconds of waiting and bytes on the wire of a survey, measured on three kinds of practice board at
# 300, 2,400 and 57,600 baud: each took this within a fifth.
_ASKING = (20.0, 3500)
_STORING = (64.0, 11000)


class _Survey:
    """One survey of a board that has been recognised."""

    def __init__(
        self,
        session: Session,
        archive: Archive,
        board: Board,
        options: SurveyOptions,
        found: Recognised,
        record: OpenEvent,
    ) -> None:
        self._session = session
        self._archive = archive
        self._board = board
        self._options = options
        self._record = record
        self._kind = found.profile.name if found.known else ""
        self._bench = Bench(
            session.wire,
            found,
            session.talk_by,
            session.emit,
            name=options.name,
            may_stop=session.choice.stop_running,
        )
        known = tuple(recognisable_kinds())
        self._steps = SurveySteps(self._bench, known)
        self._is_emptied = False  # memory was overwritten by test lines and is left empty

    def do(self) -> Surveyed:
        """Take all measurements to which the user agreed; return their result."""
        session, bench = self._session, self._bench
        began = session.wire.now()
        consent = self._options.consent
        more = consent.longest or consent.slots or consent.filling
        besides = ", plus the extra measurements" if more else ""
        session.emit(Phase(f"Measuring, about {self._expected_s():,.0f} s{besides}"))
        self._steps.listen()
        if session.restarts.seen:
            bench.findings.add(
                "talk.restarts_on_open", True, "its banner came after the opening", "likely"
            )
        lines = self._held()
        self._steps.ask(lines)
        if self._options.consent.storing:
            left_s = max(0.0, self._expected_s() - (session.wire.now() - began))
            session.emit(Phase("Keeping the program and measuring with test lines", 0.0, left_s))
            self._store()
        _warn_of_speed(session, bench.heard_talk.baud, self._options.clock_hz)
        profile = bench.profile
        findings = tuple(bench.findings)
        return Surveyed(
            profile,
            findings,
            *self._holds(lines),
            survey_paragraph(profile, findings, bench.notes, self._kind),
            self._kind,
            bench.words,
            tuple(bench.notes),
        )

    def _expected_s(self) -> float:
        """Return the seconds that a survey takes, without what needs further consent."""
        waiting_s, sent = _STORING if self._options.consent.storing else _ASKING
        return waiting_s + sent * BITS_PER_BYTE / self._bench.heard_talk.baud

    def _held(self) -> dict[int, Line] | None:
        """Return the program on the board; None, with a warning, if it cannot be read."""
        try:
            return self._session.dialogue.capture().lines
        except (NotKnownError, ReadBackError) as error:
            self._session.emit(Warned(error.what))
            return None

    def _holds(self, before: dict[int, Line] | None) -> tuple[int | None, str]:
        """Return how many lines the board holds now, and that in a sentence.

        before: its program before the survey, None if that could not be read.
        """
        if before is not None:
            lines = plural(len(before), "line")
            return len(before), f"The board holds {lines}, as before the survey."
        if self._is_emptied:
            return 0, f"The board's memory is empty now; what it held was {NOT_KEPT}."
        return None, "The board's memory is as it was before the survey; it could not be read."

    # --- with consent ------------------------------------------------------------------------

    def _store(self) -> None:
        """Measure with stored lines, and put the program back.

        An error says where the program is kept. If it cannot be kept first, nothing is stored.
        """
        if not self._bench.is_still:
            why = "what it prints by itself would spoil the measurements"
            self._bench.findings.unstored(why)
            self._bench.notes.append(f"Nothing was stored: {why}.")
            return
        try:
            kept = self._rescued()
        except (NotKnownError, ReadBackError) as error:
            text = f"No test line was stored. {error.what} {error.kept}".strip()
            self._session.emit(Warned(text, advice=error.advice))
            self._bench.findings.unstored("no test line was stored, see below")
            self._bench.notes.append(f"Nothing was stored: {error.what}")
            return
        self._record.detail["lines"] = len(kept.lines)
        form = self._bench.profile.rules.form
        try:
            self._measure()
            self._bench.renew()
            kept = self._read_again(kept, form)
            put_into_memory(self._session, kept.lines)
            self._is_emptied = not kept.lines
        except HostlinkError as error:
            with suppress(HostlinkError):
                kept = self._read_again(kept, form)
            raise memory_after(self._session, error, kept.lines, kept.spec) from error

    def _read_again(self, kept: HeldProgram, form: Form) -> HeldProgram:
        """Read captured rows again by what is now known of how the board lists lines.

        form: what was known at the capture. A different reading is kept too.
        """
        profile = self._bench.profile
        lines = {
            number: line
            for number, line in reread(kept.lines, form, profile.rules.form).items()
            if not is_own(line.typed, profile.commands.answer_rows)
        }
        if {n: line.typed for n, line in lines.items()} == {
            n: line.typed for n, line in kept.lines.items()
        }:
            return kept
        if not kept.spec:  # the user did not want it to be kept
            return dataclasses.replace(kept, lines=lines)
        return keep_held(self._session, self._archive, self._board, Capture(lines, kept.captures))

    def _rescued(self) -> HeldProgram:
        discard = self._options.discard_board
        return rescue_or_discard(
            self._session, self._archive, self._board, self._record, discard=discard
        )

    def _measure(self) -> None:
        consent = self._options.consent
        if consent.slots:
            self._session.emit(Warned(WEAR_WARNING))
        try:
            self._steps.store(consent, self._load, self._keep, self._restart)
        except StoresNothing as error:
            self._bench.notes.append(error.what)
            return
        if consent.filling and not self._steps.fill():
            self._restart()

    def _load(self, lines: dict[int, Line]) -> None:
        put_into_memory(self._session, lines, "")

    def _keep(self, lines: dict[int, Line]) -> None:
        """Keep the program in an unnamed place in EEPROM before it is overwritten."""
        keep_held(self._session, self._archive, self._board, Capture(lines, 2))

    def _restart(self) -> None:
        """Restart a board that no longer accepts input, because its memory is full or it hangs."""
        session = self._session
        port = session.choice.port
        if not port.startswith("socket://") and pulse(session):
            session.restarts.tell_all()
            session.dialogue.attach()
            self._bench.renew()
            return
        raise LinkError(
            "The board takes nothing more, and this port cannot restart it.",
            reason=LinkReason.FULL,
            advice="Restart it by its own button and put its program back.",
        )


def _warn_of_speed(session: Session, baud: int, clock_hz: int) -> None:
    """Warn if the board's clock cannot produce its speed closely enough."""
    if clock_hz:
        for double_speed in (False, True):
            if warning := speed_warning(baud, clock_hz, double_speed):
                session.emit(Warned(warning))
