"""Find the question for the free memory from its answers.

With test lines, it is the question whose number falls by the cost of a stored line. Without
storing, it is one of a known kind, or a common one, that is answered with a number, unlike
nonsense; such a finding is only likely.
"""

from __future__ import annotations

import re
from collections.abc import Sequence

from hostlink.board.dialogue.answers import free_bytes
from hostlink.board.survey.bench import Bench
from hostlink.board.survey.findings import NO_MEMORY_QUESTION, Confidence
from hostlink.board.survey.store import Store

# SIZE is in Palo Alto Tiny BASIC (Dr. Dobb's Journal, May 1976); the others are common practice,
# no source. Those of the known kinds are asked first.
QUESTIONS = (
    "PRINT SIZE", "PRINT SIZE()", "PRINT FREE(0)", "PRINT FREE()", "PRINT FRE(0)", "PRINT MEM",
    "MEM", "PRINT FREE", "PRINT HIMEM-TOP",
)  # fmt: skip
_NONSENSE = ("PRINT QZ", "PRINT QZ()", "PRINT QZ(0)", "QZ")
_NUMBER = re.compile(r"-?[0-9]+")
_MOST_FREE = 65_535
_LINE = "REM HOW MUCH DOES THIS TAKE"
_CHEAPEST, _DEAREST = len(_LINE) - 6, len(_LINE) + 12  # bytes that _LINE may cost


def find_question(bench: Bench, questions: Sequence[str], store: Store | None = None) -> None:
    """Find the question for the free memory.

    questions: of the known kinds. store: an empty program memory, for the proof. The questions are
    asked one by one until one is right, because on some boards an unknown one takes memory for a
    variable.
    """
    tried = [*filter(None, (bench.base.commands.free_memory, *questions)), *QUESTIONS]
    nonsense: set[tuple[str, ...] | None] = set()
    numbers = 0
    for question in dict.fromkeys(tried):
        rows = bench.ask(question)
        if not rows or not any(map(_NUMBER.search, rows)):
            continue
        nonsense = nonsense or {bench.ask(line) for line in _NONSENSE}
        if rows in nonsense or bench.ask(question) != rows:  # a row of the board's own may change
            continue
        numbers += 1
        form = _likely(rows) if store is None else _proven(bench, question, store)
        free = free_bytes(rows, form) if form else None
        if free is None:
            continue
        says = f"{question} is answered with {free:,}"
        if store is not None:
            says += ", and a stored line lowers that by its cost"
        sure: Confidence = "likely" if store is None else "measured"
        bench.findings.add("commands.free_memory", question, says, sure)
        bench.findings.add("commands.free_answer", form, says, sure)
        bench.renew()
        return
    says = f"{numbers} questions are answered with a number, none with the free memory"
    bench.findings.missing("commands.free_memory", says if numbers else "no question is understood")
    bench.renew()


def _likely(rows: tuple[str, ...]) -> str:
    """Return the form of the first row with one plausible number of bytes, or ""."""
    for row in rows:
        found = list(_NUMBER.finditer(row))
        form = _form(row, found[0]) if len(found) == 1 else ""
        free = free_bytes(rows, form) if form else None
        if free is not None and 0 < free <= _MOST_FREE:
            return form
    return ""


def _proven(bench: Bench, question: str, store: Store) -> str:
    """Return the form of the row whose number falls by the cost of a stored line, or "".

    The memory is cleared first, because some boards delete their variables when a line is stored,
    and then report more free bytes.
    """
    store.clear()
    before = bench.ask(question) or ()
    store.put(f"10 {_LINE}")
    after = bench.ask(question) or ()
    store.clear()
    if len(before) != len(after):
        return ""
    forms = (_falling(old, new) for old, new in zip(before, after, strict=True))
    return next(filter(None, forms), "")


def _falling(old: str, new: str) -> str:
    """Return the form of a row in which one number fell by the cost of the line, or ""."""
    numbers, later = list(_NUMBER.finditer(old)), _NUMBER.findall(new)
    if len(numbers) != len(later) or _NUMBER.sub("", old) != _NUMBER.sub("", new):
        return ""
    changed = [
        place
        for place, (one, other) in enumerate(zip(numbers, later, strict=True))
        if one[0] != other
    ]
    if len(changed) != 1:
        return ""
    match = numbers[changed[0]]
    fallen = (int(match[0]) - int(later[changed[0]])) % 0x10000
    return _form(old, match) if _CHEAPEST <= fallen <= _DEAREST else ""


def _form(row: str, number: re.Match[str]) -> str:
    """Return a row with the field for the free bytes in place of a number."""
    return f"{row[: number.start()]}{{free}}{row[number.end() :]}".strip()


def find_size(bench: Bench, listed: int | None) -> int | None:
    """Find the size of the program memory, and return the free bytes.

    listed: bytes of the present program by the costs of its kind, None if unknown.
    """
    findings = bench.findings
    free = bench.until_steady(bench.dialogue.free_memory)
    if free is None:
        findings.missing("storage.program_bytes", NO_MEMORY_QUESTION)
    elif listed is None:
        says = f"{free:,} bytes are free; what the program takes is not known without storing"
        findings.missing("storage.program_bytes", says)
    else:
        says = f"{free:,} bytes are free, and the program takes {listed:,}"
        sure: Confidence = "likely" if listed else "measured"
        findings.add("storage.program_bytes", free + listed, says, sure)
    return free


def find_variables(bench: Bench, before: int | None) -> None:
    """Find whether variables use the free memory, after direct lines have used some.

    before: bytes free before. If they do, that number tells nothing about the size of the memory,
    because a program may have left variables in it.
    """
    findings = bench.findings
    free = bench.until_steady(bench.dialogue.free_memory) if before is not None else None
    if free is None or before is None:
        return
    if free != before:
        says = f"{free:,} bytes are free after direct lines used variables, {before:,} before"
        findings.add("storage.variables", True, says)
        says = f"{before:,} bytes were free, but variables use some; test lines show the size"
        findings.missing("storage.program_bytes", says)
    else:
        says = f"{free:,} bytes are free before and after direct lines used variables"
        findings.add("storage.variables", False, says, "likely")
