"""The BASIC firmware of a practice board.

A typed line goes in, and operations (hostlink.practice.ops) come out. The firmware knows nothing of
the wire; prompt, echo and line editing belong to the machine.
"""

from __future__ import annotations

import dataclasses
import re
from collections.abc import Mapping
from string import ascii_uppercase
from typing import Any

from hostlink.errors import RefusedError
from hostlink.practice.arithmetic import Value, arithmetic
from hostlink.practice.complaint import Complaint, Reason
from hostlink.practice.kind import BoardKind
from hostlink.practice.ops import Chore, Firmware, Send, Work
from hostlink.practice.pin_bank import PinBank
from hostlink.practice.reported_memory import ListingAnswers
from hostlink.practice.state import State, Talk
from hostlink.practice.statements import compiler, read_line
from hostlink.sentences import START_FRESH
from hostlink.words import capital

_NUMBERED = re.compile(rb"[ \t]*0*([0-9]+)(.*)", re.DOTALL)
_STATEMENT = Work(Chore.STATEMENT)


class Basic:
    """The BASIC of one board.

    kind: what it stores, says and understands, by default that of the practice board.
    program_bytes, eeprom_bytes, seed: replace those of the kind. teller: what it reports on its
    memory, by default the truth.

    last_error: the last error that it sent, b"" if there was none. failed_line: the number of the
    program line that it was in, or None. missing: the word that it was about, if a real board has
    that word, else "".
    """

    def __init__(
        self,
        kind: BoardKind | None = None,
        *,
        program_bytes: int | None = None,
        eeprom_bytes: int | None = None,
        seed: int | None = None,
        teller: ListingAnswers | None = None,
    ) -> None:
        given = {"program_bytes": program_bytes, "eeprom_bytes": eeprom_bytes, "seed": seed}
        changed: dict[str, Any] = {key: value for key, value in given.items() if value is not None}
        kind = kind or BoardKind()
        settings = dataclasses.replace(kind.settings, **changed)
        self.kind = dataclasses.replace(kind, settings=settings)
        self.teller = teller or ListingAnswers()
        self.pins = PinBank(kind.language.pins)
        self._state = self._new_state()
        self._stuck = False
        self.answered = not kind.messages.questions
        self.last_error = b""
        self.failed_line: int | None = None
        self.missing = ""

    def _new_state(self) -> State:
        return State(self.kind, compiler(self.kind.language), self.teller, self.pins)

    @property
    def state(self) -> State:
        """Return the RAM of the board: variables, open loops, the next statement."""
        return self._state

    @property
    def lines(self) -> dict[int, bytes]:
        """Return the program in memory: line number to text, in order."""
        return self._state.memory.lines

    @property
    def eeprom(self) -> dict[str, dict[int, bytes]]:
        """Return the stored programs: name to program."""
        return self._state.eeprom.slots

    def free(self) -> int:
        """Return the bytes free for a program."""
        return self._state.memory.free

    def line_room(self) -> int:
        """Return the number of characters that a typed line may have now."""
        within = self.kind.storage.typed_within
        longest = self.kind.settings.longest_line
        return min(longest, self.free() - within) if within else longest

    def banner(self) -> bytes:
        """Return what the board shows after power-on."""
        return self._state.wording.say(
            self.kind.messages.greeting,
            free=self._state.memory.size,
            eeprom=self._state.eeprom.size,
            eeprom_left=self._state.eeprom.left,
        )

    def power_on(self) -> None:
        """Clear the program and all variables; the EEPROM stays."""
        self._state.power_on()
        self._stuck = False
        self.answered = not self.kind.messages.questions

    def lose_program(self) -> None:
        """Clear the program only, as too many erasures do on some boards."""
        self._state.memory.replace({})

    def auto_start(self) -> Firmware | None:
        """Return the run of a stored program that starts at power-on, or None."""
        name = self._state.eeprom.starts
        if not name:
            return None
        self._state.memory.replace(self.eeprom[name])
        run = dict(self.kind.language.words)["run"][0]
        return self._execute(run.encode("latin-1"))

    def enter(self, typed: bytes) -> Firmware:
        """Handle one typed line without its line end.

        A number with text is stored, a number alone deletes, anything else runs at once.
        """
        messages, wording = self.kind.messages, self._state.wording
        numbered = _NUMBERED.fullmatch(typed)
        if self._stuck:
            yield Send(wording.error(Complaint(Reason.PUZZLED, rest=""), ""))
        elif numbered:
            yield Work(Chore.STORE)
            yield from self._store(numbered[1], numbered[2], typed)
        elif typed.strip():
            if (yield Work(Chore.DIRECT)):
                yield from _sent(wording.stopped(""))
            else:
                yield from self._execute(typed)
        elif messages.done_blank:
            yield from _sent(wording.done(""))

    def to_state(self) -> dict[str, Any]:
        """Return the state of the board as JSON data, without that of a running program."""
        state = self._state
        return {
            "lines": _written(self.lines),
            "eeprom": {name: _written(lines) for name, lines in self.eeprom.items()},
            "writes": dict(state.eeprom.writes),
            "variables": dict(state.variables),
            "bounds": state.bounds,
            "chance": state.chance,
            "answered": self.answered,
        }

    def from_state(self, kept: Mapping[str, Any]) -> None:
        """Restore a state from `to_state`.

        Raises RefusedError, and changes nothing, if it is damaged or does not fit this board.
        """
        state = self._new_state()
        try:
            state.memory.replace(self._read_back(kept["lines"]))
            for name, lines in kept["eeprom"].items():
                state.eeprom.hold(name, self._read_back(lines))
            for name, count in kept.get("writes", {}).items():
                state.eeprom.writes[str(name)] = int(count)
            for name, value in _named(kept["variables"]).items():
                state.variables[name] = self._value(value, state.variables[name])
            for name, bounds in kept.get("bounds", {}).items():
                state.bounds[str(name)] = tuple(map(int, bounds))
            state.chance = int(kept["chance"]) & 0xFFFFFFFF
        except (
            ArithmeticError,
            AttributeError,
            Complaint,
            LookupError,
            TypeError,
            ValueError,
        ) as error:
            raise RefusedError(
                "What was kept of the practice board cannot be read back.",
                kept="It was not changed.",
                advice=f"{capital(START_FRESH)}.",
            ) from error
        self._state = state
        self.answered = bool(kept.get("answered", True))

    def _value(self, kept: Value, own: Value) -> Value:
        """Return a kept value of a variable. own: the variable's value at first."""
        if isinstance(own, str):
            return str(kept)
        number = float(kept) if self.kind.language.fractions else int(kept)
        return arithmetic(self.kind.language).fit(number)

    def _read_back(self, kept: Mapping[str, str]) -> dict[int, bytes]:
        lines = {int(number): text.encode("latin-1") for number, text in kept.items()}
        first, last = self.kind.storage.first_line, self.kind.storage.last_line
        if not all(first <= number <= last and text for number, text in lines.items()):
            raise ValueError("a line that no board would hold")
        return lines

    def _store(self, digits: bytes, text: bytes, typed: bytes) -> Firmware:
        state, rules = self._state, self.kind.storage
        number = state.rules.number(digits)
        try:
            if not rules.first_line <= number <= rules.last_line:
                raise Complaint(Reason.LINE_NUMBER, first=rules.first_line, last=rules.last_line)
            kept = state.rules.kept(text) if text.strip(b" ") else b""
            wrong = read_line(kept, self.kind.language)[1] if rules.checked else None
            if wrong is not None:
                raise wrong
            if not state.teller.forgets():
                state.memory.put(number, kept)
        except Complaint as complaint:
            full = complaint.reason is Reason.FULL
            self._stuck = full and rules.when_full == "stuck"
            yield Send(self._error(complaint, state.wording.direct(typed)))

    def _execute(self, line: bytes) -> Firmware:
        """Run a direct line."""
        state = self._state
        state.column = 0
        state.start_direct(line)
        try:
            stopped = yield from self._steps()
        except Complaint as complaint:
            where = state.where(line, complaint.at)
            self.failed_line, self.missing = state.number, complaint.lacks
            yield Send(self._fresh() + self._error(complaint, where))
            return
        finally:
            self.pins.end()
        if stopped:
            said = state.wording.stopped(state.where(line))
        else:
            said = state.wording.done(state.command)
        yield from _sent(self._fresh() + said)

    def _steps(self) -> Talk:
        state = self._state
        while True:
            at = state.at
            if at >= len(state.steps):
                if not state.advance():
                    return False
                continue
            if (yield _STATEMENT):
                return True
            state.at = at + 1
            out = state.steps[at](state)
            if out is None:
                continue
            if isinstance(out, bytes):
                if out:
                    yield Send(out)
            elif (yield from out):
                return True

    def _fresh(self) -> bytes:
        """Return the bytes that move the output to the start of a row, if the board does that."""
        left_open, self._state.column = self._state.column, 0
        return self._state.end if left_open and self.kind.messages.open_row else b""

    def _error(self, complaint: Complaint, where: str) -> bytes:
        self.last_error = self._state.wording.error(complaint, where, self.teller.flourish)
        return self.last_error


def _named(kept: Mapping[str, Value] | list[Value]) -> Mapping[str, Value]:
    """Return kept variables by their names; older states have a list that begins with A to Z."""
    if not isinstance(kept, list):
        return kept
    if len(kept) < len(ascii_uppercase):
        raise ValueError(f"{len(kept)} variables")
    return dict(zip(ascii_uppercase, kept, strict=False))


def _sent(data: bytes) -> Firmware:
    """Send bytes, if there are any."""
    if data:
        yield Send(data)


def _written(lines: Mapping[int, bytes]) -> dict[str, str]:
    return {str(number): text.decode("latin-1") for number, text in lines.items()}
