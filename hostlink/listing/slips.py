"""Guess what a line should have been, from the check codes and the usual slips of typists.

A line code is linear in each character: in a given place at most one character gives the wanted
code. So all texts one slip away that have the code are found without trying them one by one. The
code of the whole program then leaves few of them, mostly one.

Neighbouring keys, and signs that share a key, are those of the usual American layout (common
practice, no source).
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import cache
from itertools import accumulate, pairwise, permutations, product
from operator import add, mul

from hostlink.listing.canonical import canonical_line, canonical_lines
from hostlink.listing.checkcodes import CodeCheck, Codes, as_digits, codes_of, line_code, whole_code
from hostlink.listing.parse import Line, Listing, line_number
from hostlink.listing.rules import Rules

MOST_OFFERS = 3
"""How many texts are offered for one line."""

_MOST_COMBINED = 20_000
"""How many combinations of texts are tried against the code of the whole program."""

_MOST_WRONG = 20
"""Wrong lines that are examined: with more of them, listing and codes do not belong together."""

_LONGEST = 4_000
"""Most bytes of a program whose lines are all examined; the work grows with their square."""

_MODULUS = 97
_INVERSE = [0, *(pow(weight, -1, _MODULUS) for weight in range(1, _MODULUS))]
_STRANGE = 3
_SWAPPED, _LOOKS_ALIKE, _TWICE, _NEAR, _OMITTED, _TOO_MANY, _OTHER = -3, -3, -2, -1, 0, 3, 6
"""How unlikely a kind of slip is, as a natural logarithm; found by trials over shipped programs."""

_LOOK_ALIKE = (
    *("O0QD", "IlL1|!", "S5", "B8", "Z2", "G6", "UV"),
    *(".,", ":;", "'\"`", "-_", "({[", ")}]"),
)
_KEYS = ("`1234567890-=", "qwertyuiop[]\\", "asdfghjkl;'", "zxcvbnm,./")
_SHIFTED = ("~!@#$%^&*()_+", "QWERTYUIOP{}|", 'ASDFGHJKL:"', "ZXCVBNM<>?")


@dataclass(frozen=True, slots=True)
class Correction:
    """A text that a line may have been meant to have.

    text: as the board would list it, with number. slip: what went wrong, for the user: `O was left
    out`.
    """

    text: str
    slip: str


def _typed_for() -> dict[str, dict[str, int]]:
    """Return for each character those that are likely to be typed in its place, with the cost."""
    found: dict[str, dict[str, int]] = {}
    groups = [(group, _LOOKS_ALIKE) for group in _LOOK_ALIKE]
    for plain, shifted in zip(_KEYS, _SHIFTED, strict=True):
        rows = (plain, shifted, plain.upper())
        groups += [(a + b, _NEAR) for a, b in zip(plain, shifted, strict=True)]
        groups += [(a + b, _NEAR) for row in rows for a, b in pairwise(row)]
    for group, cost in groups:
        for one, other in permutations(group, 2):
            found.setdefault(one, {}).setdefault(other, cost)
    return found


_TYPED_FOR = _typed_for()


def offers(
    listing: Listing, codes: Codes, check: CodeCheck, rules: Rules
) -> dict[int, tuple[Correction, ...]]:
    """Return by line number the texts that one slip explains, at most three, the likeliest first.

    check: how the listing compares with the codes. Only wrong lines get offers; but if every line
    has its code and only the whole program does not, any line does, because one omission in 97
    keeps a line's code. If the code of the whole is known, only texts with which the program has it
    are offered, unless lines are missing or a wrong line has no offer. The work is bounded, because
    it is done while codes are typed.
    """
    if check.right:
        return {}
    held = canonical_lines(listing.numbered(), rules)
    unusual = _unusual_in(held.values())

    def guesses(wanted: Iterable[tuple[int, str]]) -> dict[int, list[Correction]]:
        return {number: _guesses(held[number], code, rules, unusual) for number, code in wanted}

    if check.lines_right:
        is_short = sum(map(len, held.values())) <= _LONGEST
        found = guesses(codes.lines.items() if is_short else ())
        found = _fitting([(number,) for number in found], found, held, codes.whole)
    elif small := _in_capitals(listing, codes, check, rules):
        return small
    else:
        found = guesses((one.number, one.wanted) for one in check.wrong[:_MOST_WRONG])
        found |= _numbered_wrong(listing, held, codes, check, rules)
        complete = len(found) == len(check.wrong) and all(found.values()) and not check.missing
        known = codes.whole and complete
        if known and math.prod(map(len, found.values())) <= _MOST_COMBINED:
            found = _fitting([tuple(found)], found, held, codes.whole)
    return {number: tuple(some[:MOST_OFFERS]) for number, some in found.items() if some}


def _in_capitals(
    listing: Listing, codes: Codes, check: CodeCheck, rules: Rules
) -> dict[int, tuple[Correction, ...]]:
    """Return the wrong lines in capitals if each then has its code, else {}.

    A single line may have it by chance, so the program must then have its code too.
    """
    capitals = Listing.from_text(listing.text().upper())
    texts = canonical_lines(capitals.numbered(), rules)
    if any(line_code(texts[one.number]) != one.wanted for one in check.wrong):
        return {}
    if len(check.wrong) == 1 and codes_of(capitals, rules).whole != codes.whole:
        return {}
    slip = "it was typed in small letters"
    return {one.number: (Correction(texts[one.number], slip),) for one in check.wrong}


def _numbered_wrong(
    listing: Listing, held: Mapping[int, str], codes: Codes, check: CodeCheck, rules: Rules
) -> dict[int, list[Correction]]:
    """Return, by line number, the texts of other lines that have its code under that number.

    These are surplus lines for missing ones, wrong lines that took each other's number, and lines
    whose number was typed with a letter for a digit, as in 1O PRINT.
    """

    def under(number: int, other: int) -> str:
        return f"{number}{held[other].removeprefix(str(other))}"

    def fits(number: int, text: str) -> bool:
        return text.isascii() and text.isprintable() and line_code(text) == codes.lines[number]

    wrong = [one.number for one in check.wrong[:_MOST_WRONG]]
    pairs = [*product(check.missing[:_MOST_WRONG], check.extra)]
    pairs += [pair for pair in permutations(wrong, 2) if fits(pair[1], under(*pair[::-1]))]
    texts = [(number, under(number, other), f"it is line {other} here") for number, other in pairs]
    for typed in (line.typed.strip() for line in listing):
        begun, _, rest = typed.partition(" ")
        digits = as_digits(begun)
        if begun != digits and digits.isascii() and digits.isdigit():
            line = Line.from_text(f"{line_number(digits)} {rest.lstrip()}")
            if line.number in check.missing:
                texts.append(
                    (line.number, canonical_line(line, rules), f"its number is {begun} here")
                )
    found: dict[int, list[Correction]] = {}
    for number, text, slip in texts:
        if fits(number, text):
            found.setdefault(number, []).append(Correction(text, slip))
    return found


def _fitting(
    groups: Sequence[tuple[int, ...]],
    found: Mapping[int, Sequence[Correction]],
    held: Mapping[int, str],
    whole: str,
) -> dict[int, list[Correction]]:
    """Return the offers that make the program's code right. groups: lines changed together."""
    fitting: dict[int, list[Correction]] = {}
    for numbers in groups:
        for chosen in product(*(found[number] for number in numbers)):
            texts = {**held, **dict(zip(numbers, (one.text for one in chosen), strict=True))}
            if whole_code("".join(f"{row}\n" for row in texts.values())) == whole:
                for number, offer in zip(numbers, chosen, strict=True):
                    known = fitting.setdefault(number, [])
                    if offer not in known:
                        known.append(offer)
    return fitting


def _unusual_in(rows: Iterable[str]) -> Callable[[str], float]:
    """Return a function that tells how unusual a text is compared with the rows of a listing.

    It sums the surprise of each character after the one before: minus the logarithm of how often
    that pair occurs. A character that occurs nowhere else in the listing costs more: lower-case
    letters, for example, are rarely used in one line only.
    """
    pairs, single = Counter[str](), Counter[str]()
    for row in rows:
        pairs.update(map(add, row, row[1:]))
        single.update(row)

    @cache
    def surprise(pair: str) -> float:
        cost = math.log((single[pair[0]] + 10) / (pairs[pair] + 0.1))
        return cost + (0 if single[pair[1]] else _STRANGE)

    return lambda text: sum(map(surprise, map(add, text, text[1:])))


def _guesses(
    row: str, wanted: str, rules: Rules, unusual: Callable[[str], float]
) -> list[Correction]:
    """Return the texts with the wanted code that one slip turns into this row, likeliest first."""
    number = Line.from_text(row).number
    best: dict[str, tuple[float, str]] = {}
    for text, cost, slip in _one_slip_away(row, wanted):
        if text not in best or cost < best[text][0]:
            best[text] = cost, slip
    costs: dict[Correction, float] = {}
    for text, (cost, slip) in best.items():
        line = Line.from_text(text)
        if line.number == number and canonical_line(line, rules) == text:
            costs[Correction(text, slip)] = cost + unusual(text)
    return sorted(costs, key=lambda offer: costs[offer])


def _one_slip_away(row: str, wanted: str) -> Iterator[tuple[str, float, str]]:
    """Yield texts that have the wanted code, the cost of the slip, and the slip in words.

    A code is the sum of each character's value times its weight, a power of 100, modulo 97 (see
    checkcodes): what the sum lacks gives the character in each place.
    """
    if not 2 <= int(wanted) <= 98:
        return  # no text has such a code
    values = [ord(character) - 31 for character in row]
    weights = [pow(100, power, _MODULUS) for power in range(len(row), -1, -1)]
    sums = list(accumulate(map(mul, values, weights[1:]), initial=0))
    lacks = (98 - int(wanted)) * _INVERSE[100 % _MODULUS] - sums[-1]
    for at, one in enumerate(row):
        start, end, weight = row[:at], row[at + 1 :], weights[at + 1]
        if end and end[0] != one:
            swapping = (values[at + 1] - values[at]) * (weight - weights[at + 2])
            if (lacks - swapping) % _MODULUS == 0:
                slip = f"{_sign(end[0])} and {_sign(one)} were swapped"
                yield start + end[0] + one + end[1:], _SWAPPED, slip
        shorter = lacks + values[at] * weight  # without it, the weights before it are a hundredth
        if (shorter + sums[at] * (1 - _INVERSE[100 % _MODULUS])) % _MODULUS == 0:
            is_twice = one in (start[-1:], end[:1])
            slip = f"{_sign(one)} was {'typed twice' if is_twice else 'added'}"
            yield start + end, _TWICE if is_twice else _TOO_MANY, slip
        if (right := _character(shorter, weight)) not in ("", one):
            cost = _TYPED_FOR.get(one, {}).get(right, _OTHER)
            yield start + right + end, cost, f"{_sign(one)} was typed for {_sign(right)}"
    for at, weight in enumerate(weights):  # before a place or at the end; those before weigh more
        if right := _character(lacks - 99 * sums[at], weight):
            yield row[:at] + right + row[at:], _OMITTED, f"{_sign(right)} was left out"


def _character(lacks: int, weight: int) -> str:
    """Return the character that adds what a sum lacks, "" if none does."""
    value = lacks * _INVERSE[weight] % _MODULUS
    return chr(value + 31) if 1 <= value <= 95 else ""


def _sign(character: str) -> str:
    return "a blank" if character == " " else character
