"""The steps of a survey in order: questions first, then stored lines with consent."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from hostlink.board.profile.model import Profile
from hostlink.board.survey.bench import Bench
from hostlink.board.survey.bounds import find_bounds, find_longest, find_stored_keys
from hostlink.board.survey.filling import fill_memory
from hostlink.board.survey.findings import NEEDS_CONSENT
from hostlink.board.survey.form import find_form
from hostlink.board.survey.keys import find_keys_by_printing
from hostlink.board.survey.language import Words, candidates_of
from hostlink.board.survey.listed import find_listed
from hostlink.board.survey.memory import find_question, find_size, find_variables
from hostlink.board.survey.numbers import find_forms
from hostlink.board.survey.paging import find_paging, find_stored_paging
from hostlink.board.survey.pricing import find_costs
from hostlink.board.survey.slots import Keep, Load, Revive, SlotWords, find_slots
from hostlink.board.survey.stopping import find_interrupt
from hostlink.board.survey.store import Store
from hostlink.board.survey.talk import find_idle_rows, find_keeping_up, note_heard_talk
from hostlink.board.survey.timing import Timing
from hostlink.board.survey.trial import find_by_trial
from hostlink.listing.measure import measure
from hostlink.listing.parse import Line, Listing

_NEEDS_STORING = (
    *("talk.line_ms", "talk.line_done", "talk.receive_buffer", "talk.interrupt"),
    *("listing.spacing", "listing.first_line", "listing.last_line", "storage.kind"),
)


@dataclass(frozen=True, slots=True)
class Consent:
    """What a survey may do beyond asking.

    storing: store test lines in a cleared memory. longest: type lines of up to this length, 0 for
    none. slots: store a test program in EEPROM. filling: fill the memory.
    """

    storing: bool = False
    longest: int = 0
    slots: bool = False
    filling: bool = False


class SurveySteps:
    """A survey of one board in steps. kinds: the known kinds, for their words."""

    def __init__(self, bench: Bench, kinds: Sequence[Profile]) -> None:
        self.bench = bench
        self._kinds = kinds
        words = {
            word.upper()
            for kind in kinds
            for word in (*kind.rules.language.statements, *kind.rules.language.functions)
        }
        self._words = Words(bench, candidates_of(frozenset(words)))
        self._store: Store | None = None

    def listen(self) -> None:
        """Record how the board was heard to talk, and what the present listing shows."""
        note_heard_talk(self.bench)
        self.bench.phase("Listening to the board at its prompt")
        find_idle_rows(self.bench)
        self.bench.renew()
        self.bench.phase("Reading the listing")
        find_paging(self.bench)
        find_listed(self.bench)
        self.bench.renew()

    def ask(self, lines: dict[int, Line] | None) -> None:
        """Find what direct lines show. lines: the present program, None if unknown."""
        bench = self.bench
        bench.phase("Asking for the free memory")
        find_question(bench, self._questions)
        free = find_size(bench, self._listed_bytes(lines))
        bench.phase("Trying a line at wire speed, and keys")
        find_keeping_up(bench)
        find_keys_by_printing(bench)
        bench.renew()
        bench.phase("Asking which words it knows")
        self._words.find()
        find_forms(bench)
        find_variables(bench, free)
        for name in _NEEDS_STORING:
            bench.findings.missing(name, NEEDS_CONSENT)
        bench.renew()

    def _listed_bytes(self, lines: dict[int, Line] | None) -> int | None:
        """Return the bytes of the program, or None if its lines or their costs are unknown."""
        bench = self.bench
        if lines is None or (lines and not bench.is_known):
            return None
        if bench.is_known:
            exact = bench.base.rules.storage.exact
            bench.findings.add("storage.exact", exact, "as on others of its kind", "likely")
        return measure(Listing(tuple(lines.values())), bench.profile.rules).total

    @property
    def _questions(self) -> list[str]:
        return [kind.commands.free_memory for kind in self._kinds if kind.commands.free_memory]

    def store(self, consent: Consent, load: Load, keep: Keep, revive: Revive) -> None:
        """Find what test lines show, in a memory without anything of the user's.

        load: puts lines into memory, proven. keep: keeps a program that was stored in EEPROM.
        revive: restarts a board that hangs. Raises StoresNothing if the board accepts no numbered
        lines.
        """
        bench = self.bench
        bench.findings.forget(*_NEEDS_STORING)
        store = self._store = Store(bench)
        bench.phase("Storing test lines")
        store.find_storing()
        find_stored_paging(store)
        find_form(store)
        find_stored_keys(store)
        bench.renew()
        bench.phase("Trying line numbers")
        find_bounds(store)
        self._words.find_in_memory()
        bench.renew()
        bench.phase("Asking what lines cost")
        find_question(bench, self._questions, store)
        find_costs(store)
        bench.renew()
        if consent.longest:
            bench.phase("Trying long lines")
            find_longest(store, consent.longest)
        bench.phase("Timing stored lines")
        Timing(store).find()
        bench.phase("Sending a test program")
        find_by_trial(store)
        bench.renew()
        bench.phase("Looking for the key that stops a program")
        find_interrupt(store)
        bench.renew()
        if consent.slots:
            bench.phase("Storing a test program in EEPROM")
            find_slots(store, self._slot_words, load, keep, revive)
            bench.renew()

    @property
    def _slot_words(self) -> list[SlotWords]:
        commands = [kind.commands for kind in self._kinds]
        return [
            SlotWords(c.store, c.recall, c.stored, c.list_stored)
            for c in commands
            if c.store and c.recall
        ]

    def fill(self) -> bool:
        """Fill the memory; return whether the board still accepts lines."""
        assert self._store is not None
        self.bench.phase("Filling the memory")
        alive = fill_memory(self._store)
        if alive:
            self.bench.renew()
        return alive
