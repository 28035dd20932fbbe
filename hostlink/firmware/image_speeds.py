"""Find the serial speeds that a firmware image sets, without running it.

Two ways are recognised, and only where the constant stands just before its use:

1. A constant is stored in UBRR0 (data address C4, C5): the divisor. ATmega328P data sheet
   DS40002061A, section 20.3.1 (formula) and 36 (addresses). U2X0 is bit 1 of UCSR0A (C0).
2. The four bytes of a usual speed are loaded into four registers in a row: the argument of a
   function that computes the divisor when the firmware starts (avr-gcc's calling convention). Such
   a number may mean something else.

LDI is 1110 KKKK dddd KKKK, STS 1001 001d dddd 0000 with an address after it (AVR instruction set
manual, DS40002198A).
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from hostlink.firmware.chip import BLANK

_UCSR0A, _UBRR0L, _UBRR0H = 0xC0, 0xC4, 0xC5
_U2X0 = 0x02
_NEAR = 8  # words between a constant and its use
_ARGUMENT = 6  # words in which the four registers of an argument are loaded
_USUAL = (
    *(1200, 2400, 4800, 9600, 14400, 19200, 28800, 38400, 57600, 76800, 115200),
    *(230400, 250000, 500000, 1000000),
)
CLOCKS_HZ = (16_000_000, 8_000_000, 20_000_000)  # usual crystals, the likeliest first
# Between the speed that a divisor makes and a usual one: 115200 at 16 MHz is off by 3.5.
_CLOSE_PERCENT = 4.0


@dataclass(frozen=True, slots=True)
class SpeedSetting:
    """A divisor stored in UBRR0, or with `baud` a usual speed passed as an argument.

    double: U2X0 is set, None if that is not known.
    """

    divisor: int | None
    double: bool | None
    baud: int = 0

    def meanings(self) -> tuple[tuple[int, int], ...]:
        """Return its possible meanings as (baud, clock in Hz), likeliest first; clock 0: any."""
        if self.divisor is None:
            return ((self.baud, 0),)
        found = []
        for clock in CLOCKS_HZ:
            for samples in (16, 8) if self.double is None else ((8,) if self.double else (16,)):
                actual = clock / (samples * (self.divisor + 1))
                near = min(_USUAL, key=lambda baud: abs(actual / baud - 1))
                if abs(actual / near - 1) * 100 <= _CLOSE_PERCENT:
                    found.append((near, clock))
        return tuple(dict.fromkeys(found))


def find_speeds(flash: bytes) -> tuple[SpeedSetting, ...]:
    """Return the speeds that are set by constants, each once; empty if none is recognised."""
    words = [int.from_bytes(flash[at : at + 2], "little") for at in range(0, len(flash) - 1, 2)]
    divisors = tuple(dict.fromkeys(_divisors(words)))
    return divisors or tuple(dict.fromkeys(_arguments(words)))


def _divisors(words: list[int]) -> Iterator[SpeedSetting]:
    stores = [(at, _stored(words, at)) for at in range(len(words) - 1) if _is_sts(words[at])]
    doubled = [value for at, value in stores if words[at + 1] == _UCSR0A and value is not None]
    double = any(value & _U2X0 for value in doubled) if doubled else None
    high = 0
    for at, value in stores:
        if words[at + 1] == _UBRR0H and value is not None:
            high = value
        if words[at + 1] == _UBRR0L and value is not None and (high, value) != (BLANK, BLANK):
            yield SpeedSetting(high << 8 | value, double)
            high = 0


def _stored(words: list[int], at: int) -> int | None:
    """Return the constant that the STS at an index stores, None if that is not known."""
    register = words[at] >> 4 & 0x1F
    if register == 1:
        return 0  # avr-gcc keeps 0 there
    for place in range(at - 1, max(-1, at - 1 - _NEAR), -1):
        word = words[place]
        if _is_ldi(word) and _ldi_register(word) == register:
            return _constant(word)
        if place and _is_sts(words[place - 1]):
            continue  # the address of a store
        if _is_ldi(word) or _is_sts(word):
            continue
        if register in (word >> 4 & 0x1F, 16 + (word >> 4 & 0x0F)):
            return None  # it may change the register
    return None


def _arguments(words: list[int]) -> Iterator[SpeedSetting]:
    """Yield usual speeds loaded into four registers that follow one another."""
    for at in range(len(words)):
        if not _is_ldi(words[at]):
            continue
        held = {
            _ldi_register(word): _constant(word)
            for word in words[at : at + _ARGUMENT]
            if _is_ldi(word)
        }
        first = _ldi_register(words[at])
        if all(first + each in held for each in range(4)):
            value = sum(held[first + each] << 8 * each for each in range(4))
            if value in _USUAL:
                yield SpeedSetting(None, None, value)


def _is_ldi(word: int) -> bool:
    return word & 0xF000 == 0xE000


def _ldi_register(word: int) -> int:
    return 16 + (word >> 4 & 0x0F)


def _constant(word: int) -> int:
    return word >> 4 & 0xF0 | word & 0x0F


def _is_sts(word: int) -> bool:
    return word & 0xFE0F == 0x9200
