"""Comparing a listing with its check codes, to find lines that were typed wrong."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import asdict, replace
from pathlib import Path
from typing import TYPE_CHECKING

from hostlink.cli.context import CommonOptions
from hostlink.cli.named_listing import material_for, read_stdin
from hostlink.cli.output import as_json, data, say
from hostlink.errors import ExitStatus, UsageError
from hostlink.jobs.files import read_bytes
from hostlink.listing import Listing, decode_listing
from hostlink.words import plural

if TYPE_CHECKING:
    from hostlink.listing.checkcodes import CodeCheck, Codes
    from hostlink.listing.slips import Correction


def check(common: CommonOptions, what: str, sheet: Path | None, codes_from: str | None) -> int:
    """Compare a listing with the codes of a sheet or file; return status 1 if they differ."""
    from hostlink.listing.checkcodes import verify_codes
    from hostlink.listing.slips import offers

    if what == "-" == codes_from:
        raise UsageError("Standard input cannot be both the listing and the codes.")
    printed: dict[int, str] = {}
    if sheet is not None:
        codes, printed, label = _sheet(common, sheet)
    else:
        codes, label = _typed(codes_from or "")
    material = material_for(common, what)
    verdict = verify_codes(material.listing, codes, common.the_profile().rules)
    offered = (
        {} if printed else offers(material.listing, codes, verdict, common.the_profile().rules)
    )
    no_code = verdict.extra if sheet is None and not verdict.is_surplus else ()
    if no_code:  # whoever types codes may type only some of them
        verdict = replace(verdict, extra=())
    if common.json:
        told = {"listing": material.label, "codes": label, **_verdict_dict(verdict)}
        perhaps = {number: [asdict(one) for one in some] for number, some in offered.items()}
        as_json({**told, "without_code": list(no_code), "perhaps": perhaps})
    else:
        _show(verdict, printed, offered, bool(no_code))
    say(
        f"{material.label} against {label}: {plural(verdict.right_count, 'line')} right, "
        f"{len(verdict.wrong):,} wrong, {len(verdict.missing):,} missing, "
        + (f"{len(no_code):,} without a code." if no_code else f"{len(verdict.extra):,} too many."),
        quiet=common.quiet,
    )
    return ExitStatus.DONE if verdict.right else ExitStatus.REFUSED


def _sheet(common: CommonOptions, path: Path) -> tuple[Codes, dict[int, str], str]:
    """Return the check codes of a sheet, its lines by line number, and the name of its file."""
    from hostlink.jobs.publishing import read_sheet_file

    read = read_sheet_file(path)
    if other := read.other_profile(common.the_profile().name):
        say(other, quiet=common.quiet)
    lines = {number: line.typed for number, line in Listing.from_text(read.text).numbered().items()}
    return read.codes, lines, str(path)


def _typed(codes_from: str) -> tuple[Codes, str]:
    from hostlink.listing.checkcodes import parse_codes

    label = "standard input" if codes_from == "-" else codes_from
    raw = read_stdin() if codes_from == "-" else read_bytes(Path(codes_from))
    return parse_codes(decode_listing(raw, name=label), name=label), label


def _show(
    verdict: CodeCheck,
    printed: dict[int, str],
    offered: Mapping[int, tuple[Correction, ...]],
    is_partial: bool,
) -> None:
    """Print each wrong line, with the sheet's line, or else what it may have been.

    is_partial: whether some lines have no code.
    """
    from hostlink.listing.checkcodes import mistyped_words

    rows: dict[int, str] = {number: f"too many  {number}" for number in verdict.extra}
    for wrong in verdict.wrong:
        reason = f"has the code {wrong.found}, not {wrong.wanted}"
        rows[wrong.number] = f"wrong     {wrong.text}   {reason}"
    for number in verdict.missing:
        rows[number] = f"missing   {printed.get(number, number)}"
    for number in sorted(rows.keys() | offered.keys()):
        if number in rows:
            data(rows[number])
        if number in printed and number not in verdict.missing:
            data(f"on sheet  {printed[number]}")
        for offer in offered.get(number, ()):
            data(f"perhaps   {offer.text}   ({offer.slip})")
    if words := mistyped_words(verdict):
        data(words)
    if verdict.lines_right and not verdict.right:
        together = f"all lines together have {verdict.whole_found}, not {verdict.whole_wanted}"
        if is_partial:
            data(f"No line has a wrong code, but {together}: type the other codes too.")
        else:
            data(f"Each line has its code, but {together}: compare them with the sheet once more.")


def _verdict_dict(verdict: CodeCheck) -> dict[str, object]:
    return {
        "right": verdict.right,
        "wrong": [asdict(one) for one in verdict.wrong],
        "mistyped": [asdict(one) for one in verdict.mistyped],
        "missing": list(verdict.missing),
        "extra": list(verdict.extra),
        "whole_wanted": verdict.whole_wanted or None,
        "whole_found": verdict.whole_found,
    }
