"""Find how a board reads numbers, quotes, small letters and abbreviated statements."""

from __future__ import annotations

from hostlink.board.survey.bench import Bench
from hostlink.board.survey.findings import NO_PRINT

# Largest whole numbers of boards: 16, 24 and 32 bits with a sign.
_LIMITS = (32_767, 8_388_607, 2_147_483_647)
_SIXTY_FOUR_BITS = 2**63


def find_forms(bench: Bench) -> None:
    """Find how a board that knows PRINT reads numbers, quotes and abbreviated statements."""
    if not _prints(bench, "PRINT 4", "4"):
        bench.findings.missing("language.quotes", NO_PRINT)
        return
    _find_numbers(bench)
    _find_quotes(bench)
    _find_forms(bench)


def _prints(bench: Bench, line: str, *values: str) -> bool:
    """Return whether a direct line prints exactly these rows."""
    rows = bench.ask(line)
    return rows is not None and tuple(row.strip() for row in rows) == values


def _find_numbers(bench: Bench) -> None:
    findings = bench.findings
    rows = bench.ask("PRINT 7/2") or ()
    if [row.strip() for row in rows] == ["3.5"]:
        findings.add("language.fractions", True, "7/2 is 3.5")
        says = "numbers have fractions; these are the limits of a profile"
        findings.add("language.smallest_number", -_SIXTY_FOUR_BITS, says, "likely")
        findings.add("language.largest_number", _SIXTY_FOUR_BITS - 1, says, "likely")
        return
    if [row.strip() for row in rows] != ["3"]:
        findings.missing("language.fractions", "7/2 is not answered with a number")
        return
    findings.add("language.fractions", False, "7/2 is 3")
    for limit in _LIMITS:
        if not _prints(bench, f"PRINT {limit}", str(limit)):
            findings.missing("language.largest_number", f"{limit} is not printed as it is")
            return
        if not _prints(bench, f"PRINT {limit + 1}", str(limit + 1)):
            says = f"{limit} is printed as it is, {limit + 1} is not"
            findings.add("language.largest_number", limit, says)
            findings.add("language.smallest_number", -limit - 1, says, "likely")
            return
    findings.missing("language.largest_number", f"it is above {_LIMITS[-1]}")


def _find_quotes(bench: Bench) -> None:
    """Find the characters that open quoted text."""
    quotes = "".join(mark for mark in "\"'" if _prints(bench, f"PRINT {mark}Qz4 4{mark}", "Qz4 4"))
    if quotes:
        says = f"text in {' and in '.join(quotes)} is printed as it is"
        bench.findings.add("language.quotes", quotes, says)
    else:
        bench.findings.missing("language.quotes", "no quoted text is printed as it is")


def _find_forms(bench: Bench) -> None:
    """Find the statement separator, optional words, abbreviations, and case of keywords."""
    findings = bench.findings
    parts = _prints(bench, "PRINT 3:PRINT 4", "3", "4")
    says = f"two statements with : between them are{'' if parts else ' not'} both run"
    findings.add("language.separator", ":" if parts else "", says)
    small = _prints(bench, "print 4", "4")
    says = f"a direct line in small letters is{'' if small else ' not'} understood"
    findings.add("language.capitals_only", not small, says)
    shortened = _prints(bench, "P. 4", "4")
    says = f"P. is{'' if shortened else ' not'} taken for PRINT"
    findings.add("language.abbreviation_mark", "." if shortened else "", says)
    optional = {"END"}.intersection(bench.base.rules.language.optional if bench.is_known else ())
    plain, let, wrong = (bench.ask(line) for line in ("A=A", "LET A=A", "QZ A=A"))
    if plain is not None and plain == let and plain != wrong:
        optional.add("LET")
    if _prints(bench, "IF 1=1 PRINT 4", "4"):
        optional.add("THEN")
    words = tuple(word for word in ("LET", "THEN", "END") if word in optional)
    findings.add("language.optional", words, "a direct line does the same with and without them")
