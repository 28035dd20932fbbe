"""Find what test lines cost from the free memory before and after each of them."""

from __future__ import annotations

from collections.abc import Sequence

from hostlink.board.survey.costs import Measured, explains, fit_storage
from hostlink.board.survey.findings import NO_MEMORY_QUESTION
from hostlink.board.survey.store import Store
from hostlink.listing.parse import Line

# Pairs differ in one thing: the length of a remark or a text, a keyword, a number, a name, blanks.
_LINES = (
    "REM A", "REM ABCDEFGHIJ", 'PRINT "ABC"', 'PRINT "ABCDEFG"', "PRINT A", "PRINT  A", "PRINT A,B",
    "LET A=1", "LET A=12345", "LET A=B", "GOTO 10", "GOTO 1000", "GOSUB 10", "RETURN", "STOP",
    "END", "NEXT A", "FOR A=1 TO 9", "INPUT A", "IF A=1 GOTO 10", "IF A=1 THEN 10",
    "LET A=ABS(B)", "LET A=RND(9)",
)  # fmt: skip
_BLANKS = ("REM AB", "  REM AB", "PRINT A", "   PRINT A")  # after the line number
_CONTROL = ('PRINT "A B C"', "LET B=B+12", "IF B=12 GOTO 10", "REM to prove it", "PRINT B,A")
_ENOUGH = 6  # lines that must have a cost
_LEAST_FREE = 450  # bytes, more than all test lines take together


def find_costs(store: Store) -> None:
    """Find the cost of lines and the size of the memory; needs the free-memory question."""
    bench = store.bench
    findings, rules = bench.findings, bench.profile.rules
    store.clear()
    empty = bench.until_steady(bench.dialogue.free_memory)
    if empty is None or not bench.profile.commands.free_memory:
        findings.missing("storage.program_bytes", NO_MEMORY_QUESTION)
        return
    findings.add("storage.program_bytes", empty, "reported free with no program")
    most = len(_LINES) if empty >= _LEAST_FREE else _ENOUGH + 1
    measured = _costs(store, (*_BLANKS, *_LINES[:most]))
    control = _costs(store, _CONTROL if empty >= _LEAST_FREE else _CONTROL[:2])
    storage = fit_storage(measured, rules) if len(measured) >= _ENOUGH else None
    if storage is None:
        findings.missing("storage.kind", f"no rule explains what {len(measured)} lines cost")
        return
    is_exact = len(control) > 1 and explains(storage, control, rules)
    says = f"what each of {len(measured)} lines took of the free memory"
    sure = "measured" if is_exact else "likely"
    for key in (
        *("kind", "number_bytes", "length_bytes", "end_bytes", "blank_after_number"),
        *("constant_bytes", "name_bytes", "squeezed"),
    ):
        findings.add(f"storage.{key}", getattr(storage, key), says, sure)  # type: ignore[arg-type]
    if storage.tokens:
        words = ", ".join(f"{word} {size}" for word, size in storage.tokens)
        findings.add("storage.tokens", storage.tokens, f"{says}: {words}"[:400], sure)  # type: ignore[arg-type]
    # An untested keyword may cost more, so tokens prove nothing by themselves.
    proves = is_exact and (storage.kind == "text" or bench.is_known)
    told = "cost what these rules say" if is_exact else "do not all cost what these rules say"
    findings.add("storage.exact", proves, f"{len(control)} further lines {told}")
    store.clear()
    _find_variables(store, empty)


def _costs(store: Store, texts: Sequence[str]) -> Measured:
    """Return the stored lines, each with the bytes that it took."""
    bench = store.bench
    found: list[tuple[Line, int]] = []
    store.clear()
    before = bench.until_steady(bench.dialogue.free_memory)
    for place, text in enumerate(texts, 1):
        typed = f"{10 * place} {text}"
        refused = store.put(typed)
        after = bench.until_steady(bench.dialogue.free_memory)
        if before is not None and after is not None and after < before and not refused:
            found.append((Line.from_text(typed), before - after))
        before = after
    return found


def _find_variables(store: Store, empty: int) -> None:
    """Find whether variables take program memory.

    If they do and clearing the program keeps them, the free memory does not show the size.
    """
    bench = store.bench
    bench.ask("LET Q=1")
    bench.ask("LET W=1")
    free = bench.until_steady(bench.dialogue.free_memory)
    takes = free is not None and free < empty
    says = f"{'less is' if takes else 'as much is'} free after two variables were set"
    bench.findings.add("storage.variables", takes, says)
    store.clear()
    if bench.until_steady(bench.dialogue.free_memory) != empty:
        says = "variables stay when the program is cleared, so the free memory shows no size"
        bench.findings.missing("storage.program_bytes", says)
