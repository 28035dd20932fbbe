"""The Tiny BASIC firmware of the practice board.

One typed line goes in; what the board does with it comes out as operations (hostlink.practice.ops).
The firmware never sees the wire: prompt, echo and line editing are the machine's.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from typing import Any

from hostlink.errors import RefusedError
from hostlink.practice.complaint import ERROR_WORDS, STOPPED, Complaint
from hostlink.practice.eeprom import START, Eeprom, slot_name
from hostlink.practice.expression import FUNCTIONS, LETTERS, checked
from hostlink.practice.ops import Chore, Firmware, Send, Work
from hostlink.practice.program_memory import FIRST_LINE, LAST_LINE, ProgramMemory, folded
from hostlink.practice.state import State, Talk
from hostlink.practice.statements import END, STATEMENTS, read_line
from hostlink.practice.telling import Teller

__all__ = ["ERROR_WORDS", "FUNCTIONS", "STATEMENTS", "STOPPED", "Basic"]

_NUMBERED = re.compile(rb"[ \t]*0*([0-9]+) *(.*)", re.DOTALL)
_STATEMENT = Work(Chore.STATEMENT)


class Basic:
    """One board's BASIC.

    program_bytes, eeprom_bytes: bytes for the program and for stored programs. seed: where the
    random numbers start. fold_case: turn letters outside quotes and remarks into capitals
    when a line is stored. teller: what it says of its memory, the truth unless told otherwise.
    """

    def __init__(
        self,
        *,
        program_bytes: int = 999,
        eeprom_bytes: int = 1024,
        seed: int = 1,
        fold_case: bool = False,
        teller: Teller | None = None,
    ) -> None:
        self._fold_case = fold_case
        self.teller = teller or Teller()
        self._state = self._with(ProgramMemory(program_bytes), Eeprom(eeprom_bytes), seed)

    def _with(self, memory: ProgramMemory, eeprom: Eeprom, seed: int) -> State:
        return State(memory, eeprom, seed, read_line, self.teller)

    @property
    def lines(self) -> dict[int, bytes]:
        """The program in memory: line number to text, in order."""
        return self._state.memory.lines

    @property
    def eeprom(self) -> dict[str, dict[int, bytes]]:
        """The stored programs: name to program."""
        return self._state.eeprom.slots

    def free(self) -> int:
        """Bytes free for a program."""
        return self._state.memory.free

    def banner(self) -> bytes:
        """What the board says after power-on."""
        return b"practice board, %d bytes for a program" % self._state.memory.size + END

    def power_on(self) -> None:
        """Forget the program and all variables; the EEPROM stays."""
        self._state.power_on()

    def auto_start(self) -> Firmware | None:
        """After power-on: what runs by itself, if a program of the name START is stored."""
        if START not in self.eeprom:
            return None
        return self._execute(b"FETCH START", then=b"RUN")

    def enter(self, typed: bytes) -> Firmware:
        """Handle one typed line, given without its line end.

        A number and text are stored, a number alone deletes; anything else runs at once.
        """
        numbered = _NUMBERED.fullmatch(typed)
        if numbered:
            yield Work(Chore.STORE)
            yield from self._store(numbered[1], numbered[2])
        elif typed.strip():
            if (yield Work(Chore.DIRECT)):
                yield Send(STOPPED.encode() + END)
            else:
                yield from self._execute(typed)

    def to_state(self) -> dict[str, Any]:
        """Everything the board holds, made of what JSON can hold. A running program is not."""
        state = self._state
        return {
            "lines": _written(self.lines),
            "eeprom": {name: _written(lines) for name, lines in self.eeprom.items()},
            "variables": list(state.variables),
            "chance": state.chance,
        }

    def from_state(self, kept: Mapping[str, Any]) -> None:
        """Hold what `to_state` gave. Raises RefusedError, and changes nothing, if that is damaged
        or does not fit this board."""
        try:
            memory = ProgramMemory(self._state.memory.size)
            memory.replace(_read_back(kept["lines"]))
            eeprom = Eeprom(self._state.eeprom.size)
            for name, lines in kept["eeprom"].items():
                eeprom.put(slot_name(name), _read_back(lines))
            variables = [checked(int(value)) for value in kept["variables"]]
            if len(variables) != len(LETTERS):
                raise ValueError(f"{len(variables)} variables")
            chance = int(kept["chance"]) & 0xFFFFFFFF
        except (AttributeError, Complaint, KeyError, TypeError, ValueError) as error:
            raise RefusedError(
                "What was kept of the practice board cannot be read back.",
                kept="It was not changed.",
                advice="Start the practice board fresh.",
            ) from error
        self._state = self._with(memory, eeprom, self._state.seed)
        self._state.variables = variables
        self._state.chance = chance

    def _store(self, digits: bytes, text: bytes) -> Firmware:
        number = int(digits) if len(digits) <= 5 else LAST_LINE + 1
        try:
            if not FIRST_LINE <= number <= LAST_LINE:
                raise Complaint(f"line numbers are {FIRST_LINE} to {LAST_LINE}")
            self._state.memory.put(number, folded(text) if self._fold_case else text)
        except Complaint as complaint:
            yield Send(self._error(complaint, ""))

    def _execute(self, line: bytes, then: bytes = b"") -> Firmware:
        """Run a direct line, and another after it unless the first one fails."""
        state = self._state
        state.column = 0
        state.start_direct(line)
        try:
            stopped = yield from self._steps()
            if then and not stopped:
                state.start_direct(then)
                stopped = yield from self._steps()
        except Complaint as complaint:
            yield Send(self._fresh() + self._error(complaint, state.where()))
            return
        if stopped:
            yield Send(self._fresh() + STOPPED.encode() + state.where().encode() + END)
        elif state.column:
            yield Send(self._fresh())

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
                yield Send(out)
            elif (yield from out):
                return True

    def _fresh(self) -> bytes:
        """What brings the output to the start of a line."""
        fresh = END if self._state.column else b""
        self._state.column = 0
        return fresh

    def _error(self, complaint: Complaint, where: str) -> bytes:
        said = f"{ERROR_WORDS[0]}{complaint}{where}{self.teller.flourish}"
        return said.encode("latin-1") + END


def _written(lines: Mapping[int, bytes]) -> dict[str, str]:
    return {str(number): text.decode("latin-1") for number, text in lines.items()}


def _read_back(kept: Mapping[str, str]) -> dict[int, bytes]:
    lines = {int(number): text.encode("latin-1") for number, text in kept.items()}
    if not all(FIRST_LINE <= number <= LAST_LINE and text for number, text in lines.items()):
        raise ValueError("a line that no board would hold")
    return lines
