"""Find whether a board stops its listing at a full screen, what it shows, and the key it needs."""

from __future__ import annotations

import dataclasses
import re

from hostlink.board.dialogue.paging import halt_in, page_prompt, turn_pages
from hostlink.board.survey.bench import Bench
from hostlink.board.survey.store import Store
from hostlink.link.probe import Probe

_STILL_S = 1.5  # time in which a board that has not stopped continues
_LONGEST_S = 120.0
_LINES = 36  # more than a screen of 25 rows
_LINE = "REM"


def find_paging(bench: Bench, line: bytes = b"") -> None:
    """List the present program and see whether the board reaches its prompt by itself.

    line: the end of each of its lines, if known. Not tried on a board that is never still.
    """
    if not bench.is_still:
        return
    end = bench.heard_talk.ready or bench.heard_talk.prompt
    bench.type(bench.profile.commands.list.encode("latin-1"))
    heard = _listen(bench, bench.heard_talk.line_end).heard
    if end and heard.endswith(end):
        return
    rows = len(heard.splitlines())
    line_end = bench.heard_talk.line_end
    pages = turn_pages(heard, lambda key: _listen(bench, key).heard, end, line_end, line)
    if pages.key and not pages.prompt and not line:
        line = _listed_alone(bench, heard)
        pages = dataclasses.replace(
            pages, prompt=page_prompt({halt_in(heard, line)} if line else set())
        )
    if pages.prompt:
        says = f"the listing stops at it after {rows} rows"
        bench.findings.add("talk.page_prompt", pages.prompt, says)
        bench.findings.add("talk.page_key", pages.key, f"byte {pages.key[0]} continues it")
    elif pages.key and heard[-1:] in (b"\r", b"\n"):
        bench.notes.append(
            f"Its listing stops after {rows - 1} rows, without a message, until a key is pressed."
        )
    bench.renew()
    bench.regain()


def _listed_alone(bench: Bench, heard: bytes) -> bytes:
    """Return the line at which a listing stopped, as listed by itself, or b""."""
    row = re.split(rb"[\r\n]", heard)[-1]
    number = re.match(rb" *([0-9]+)", row)
    if number is None:
        return b""
    bench.regain()
    alone = bench.ask(f"{bench.profile.commands.list} {int(number[1])}") or ()
    rows = (each.encode("latin-1") for each in alone)
    return next((each for each in rows if row.startswith(each)), b"")


def _listen(bench: Bench, out: bytes) -> Probe:
    return bench.probe(out, quiet_s=_STILL_S, first_s=_STILL_S, longest_s=_LONGEST_S)


def find_stored_paging(store: Store) -> None:
    """Find paging as find_paging does, with more test lines than a screen has rows."""
    bench = store.bench
    if "talk.page_prompt" in bench.findings:
        return
    store.clear()
    store.put(*(f"{number} {_LINE}" for number in range(1, _LINES + 1)))
    find_paging(bench, _LINE.encode())
    if "talk.page_prompt" not in bench.findings:
        says = f"a listing of {_LINES} lines was shown without a stop"
        bench.findings.missing("talk.page_prompt", says)
    store.clear()
