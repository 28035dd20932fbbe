"""Learn from one listing how a board changes lines when it stores and lists them.

The lines sent are compared with the rows listed under every kind of change that a profile can
describe, the strictest first. Lines that none of them explains are reported one by one.
"""

from __future__ import annotations

import dataclasses
import itertools
import re
from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Self

from hostlink.advice import Advice, join_advice
from hostlink.board.dialogue.reading import NUMBER_WIDTH, unwrapped
from hostlink.errors import ReadBackError
from hostlink.listing.canonical import PLAIN_FORM, canonical_line, listed_line
from hostlink.listing.parse import Line
from hostlink.listing.rules import Form, Rules
from hostlink.sentences import LISTING_UNCHANGED, WHAT_LEARNING_DOES
from hostlink.words import lines_named, safe

_CASES = ("kept", "upper", "upper-everywhere")
_SPACINGS = ("kept", "after-number", "free", "free-before-remarks")
_ROW = re.compile(r" *([0-9]+)([^A-Za-z0-9\"'? ]* {0,2})(?=\S)(.*)", re.DOTALL)
_LONGEST_GAP = 4
_MANY = 3  # lines that changed in the same way: more than chance
_CHANGE = "Change these lines for this board."


@dataclass(frozen=True, slots=True)
class UnexplainedLine:
    """A line that the board holds differently, without an explanation. listed: None if missing."""

    number: int
    sent: str
    listed: str | None

    @property
    def is_cut(self) -> bool:
        """Return whether the board lists only the beginning of the line."""
        return self.listed is not None and self.sent.upper().startswith(self.listed.upper())


@dataclass(frozen=True, slots=True)
class Learned:
    """How a board changes lines.

    form: the profile's form with what was learned. changed: numbers of the changed lines.
    unexplained: the lines that the changes do not explain. before: the profile's form.
    """

    form: Form
    changed: tuple[int, ...]
    unexplained: tuple[UnexplainedLine, ...]
    before: Form

    @property
    def is_news(self) -> bool:
        """Return whether anything was learned."""
        return self.form != self.before

    @property
    def is_plain(self) -> bool:
        """Return whether one round is enough evidence: many changed lines, or a new list form."""
        now, then = self.form, self.before
        names = ("list_form", "wrap_indent", "signed_numbers", "keeps_blank")
        listed = any(getattr(now, name) != getattr(then, name) for name in names)
        return listed or len(self.changed) >= _MANY

    @property
    def explains_all(self) -> bool:
        """Return whether the changes explain every difference."""
        return self.is_news and not self.unexplained

    @property
    def explains_what_is_taken(self) -> bool:
        """Return whether the changes explain all lines but those that the board refuses."""
        return self.is_news and all(each.sent and each.listed is None for each in self.unexplained)

    @property
    def sentence(self) -> str:
        """Return a sentence on what the board does to lines."""
        now, then = self.form, self.before
        does = []
        if now.list_form != then.list_form:
            does.append(f"lists a line as {now.list_form}")
        if now.keeps_blank and not then.keeps_blank:
            does.append("keeps the blank after a line number and lists another before it")
        if now.wrap_indent != then.wrap_indent:
            does.append(f"breaks listed lines after {now.screen_width} characters")
        if now.signed_numbers != then.signed_numbers:
            does.append("lists numbers above 32767 as negative ones")
        if now.case != then.case:
            where = "outside quotes, in remarks too," if now.case == _CASES[2] else "outside quotes"
            does.append(f"turns small letters {where} into capitals")
        if now.spacing != then.spacing:
            does.append(blanks_changed(in_front_of_remarks=now.spacing == _SPACINGS[3]))
        lines = ""
        if self.changed:
            lines = f" ({lines_named(self.changed)})"
        return f"The board {' and '.join(does)}{lines}."


def blanks_changed(*, in_front_of_remarks: bool = False) -> str:
    """Return the clause for a board that changes blanks in what it stores."""
    more = ", and before a remark's text" if in_front_of_remarks else ""
    return f"changes blanks outside quotes and remarks{more}"


def learn(target: Mapping[int, Line], rows: Sequence[str], rules: Rules) -> Learned:
    """Find how a board changes lines. target: the lines sent. rows: the listing as it came."""
    forms = list(dict.fromkeys(_forms(rows, rules.form)))
    found = [_compare(target, rows, rules, form) for form in forms]
    # The strictest of those that explain the most: `forms` are in that order.
    return min(found, key=lambda learned: len(learned.unexplained))


def _forms(rows: Sequence[str], form: Form) -> Iterator[Form]:
    """Yield every form that a board may have: the assumed one, then the others, strictest first."""
    listed = list(_listed_forms(rows, form))
    yield from listed
    for spacing, case, each in itertools.product(_SPACINGS, _CASES, listed):
        if _CASES.index(case) >= _CASES.index(form.case) and _SPACINGS.index(
            spacing
        ) >= _SPACINGS.index(form.spacing):
            yield dataclasses.replace(each, case=case, spacing=spacing)  # type: ignore[arg-type]


def _listed_forms(rows: Sequence[str], form: Form) -> Iterator[Form]:
    """Yield the form, and the forms of listing that the rows suggest."""
    shapes = dict.fromkeys((form.list_form, find_list_form(rows) or form.list_form))
    width, indent = find_wrapping(rows)
    screens = dict.fromkeys(
        ((form.screen_width, form.wrap_indent), *[(width, indent)] * bool(width))
    )
    signed = (form.signed_numbers, *[True] * any(re.match(r" *-[0-9]", row) for row in rows))
    apart = any(match and match[2].endswith("  ") for match in map(_ROW.fullmatch, rows))
    kept = (form.keeps_blank, *[True] * apart)
    for shape, (columns, at), below, blank in itertools.product(shapes, screens, signed, kept):
        yield dataclasses.replace(
            form,
            list_form=shape,
            screen_width=columns,
            wrap_indent=at,
            signed_numbers=below,
            keeps_blank=blank,
        )


def find_list_form(rows: Sequence[str]) -> str:
    """Return the form of a listed line, by what follows the number in most rows, or "".

    If two blanks follow it, the second belongs to the text of the line.
    """
    gaps = Counter(
        match[2].replace("  ", " ")
        for row in rows
        if (match := _ROW.fullmatch(row)) and len(match[2]) <= _LONGEST_GAP
    )
    if not gaps:
        return ""
    gap, count = gaps.most_common(1)[0]
    if count * 2 < sum(gaps.values()):
        return ""
    return PLAIN_FORM if gap in ("", " ") else "{number}" + gap + "{text}"


def find_wrapping(rows: Sequence[str]) -> tuple[int, int]:
    """Return the width at which a board breaks listed lines and the indent of the rest, or 0, 0.

    A row indented more than any number can be is always the rest of a line. Another indented row is
    one only after a full row and without a number, because some boards align their numbers.
    """
    width = max(map(len, rows), default=0)
    indents = [
        (before, row, len(row) - len(row.lstrip(" "))) for before, row in itertools.pairwise(rows)
    ]
    rests = [
        indent
        for before, row, indent in indents
        if indent > NUMBER_WIDTH
        or (indent and len(before) == width and _ROW.fullmatch(row) is None)
    ]
    return (width, min(rests)) if rests else (0, 0)


def _compare(target: Mapping[int, Line], rows: Sequence[str], rules: Rules, form: Form) -> Learned:
    """Compare the lines sent with the rows listed, as one form explains them."""
    now = dataclasses.replace(rules, form=form)
    held: dict[int, Line] = {}
    for row in unwrapped(list(rows), form):
        line = listed_line(row, form)
        if line is not None and line.number is not None and line.text:
            held.setdefault(line.number, line)
    changed: list[int] = []
    left: list[UnexplainedLine] = []
    for number, sent in target.items():
        got = held.get(number)
        if got is None or canonical_line(got, now) != canonical_line(sent, now):
            left.append(UnexplainedLine(number, sent.typed, got.typed if got is not None else None))
        elif got.typed != sent.typed:
            changed.append(number)
    left += [UnexplainedLine(n, "", line.typed) for n, line in held.items() if n not in target]
    return Learned(form, tuple(changed), tuple(left), rules.form)


class BoardRewritesError(ReadBackError):
    """The board holds lines that differ from those sent in the same way each time.

    learned: how it changes lines, as far as known. answers: what it answered to lines.
    """

    def __init__(self, learned: Learned, answers: Mapping[int, str]) -> None:
        told = [learned.sentence] if learned.is_news else []
        told += [unexplained_words(learned.unexplained, answers)] if learned.unexplained else []
        super().__init__(
            f"The board changed the program that it was sent. {' '.join(told)}",
            kept=LISTING_UNCHANGED,
            advice=join_advice(_advice(learned), _room_advice(learned.unexplained, answers)),
        )
        self.learned = learned

    def now_learned(self) -> Self:
        """Return the error for a board whose other changes the profile now describes."""
        what = f"{self.what} How it changes the other lines is in its profile now."
        return self.but(what=what, advice=_CHANGE)


def _advice(learned: Learned) -> Advice:
    """Return the advice for a board that changes lines."""
    if learned.explains_all:
        return lambda by: (
            f"If this board always does that, have hostlink learn it {by.learn}: "
            f"{WHAT_LEARNING_DOES}."
        )
    if learned.explains_what_is_taken and learned.unexplained:
        return lambda by: f"{_CHANGE} Have hostlink learn how it changes the others {by.learn}."
    return _CHANGE


def _room_advice(left: Sequence[UnexplainedLine], answers: Mapping[int, str]) -> Advice:
    """Return advice for lines that the board refused in words that may mean a full memory."""
    refused = [each.number for each in left if each.listed is None and answers.get(each.number)]
    if not refused:
        return ""
    return lambda by: (
        f"If its answer means that its memory is full, make the listing smaller {by.shrink}."
    )


def unexplained_words(left: Sequence[UnexplainedLine], answers: Mapping[int, str]) -> str:
    """Return sentences on the unexplained lines. answers: what the board answered to lines."""
    missing = [each.number for each in left if each.listed is None]
    cut = [each for each in left if each.is_cut and each.sent]
    stray = [each.number for each in left if not each.sent]
    other = [each for each in left if each.listed is not None and each.sent and each not in cut]
    told = []
    if missing:
        told.append(f"It does not take {lines_named(missing)}{_said(missing, answers)}.")
    if cut:
        at = len(cut[0].listed or "")
        told.append(f"It keeps {at} characters of line {cut[0].number}" + _others(cut) + ".")
    if other:
        first = other[0]
        told.append(
            f'It holds line {first.number} as "{safe((first.listed or "")[:60])}"'
            + _others(other)
            + "."
        )
    if stray:
        told.append(f"Besides what was sent it holds {lines_named(stray)}.")
    return " ".join(told)


def _others(left: Sequence[UnexplainedLine]) -> str:
    rest = [each.number for each in left[1:]]
    return f" (also {lines_named(rest)})" if rest else ""


def _said(numbers: Sequence[int], answers: Mapping[int, str]) -> str:
    answered = next((answers[number] for number in numbers if answers.get(number)), "")
    return f'; it answers "{safe(answered[:60])}"' if answered else ""
