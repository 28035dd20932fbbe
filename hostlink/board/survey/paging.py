"""Whether a board stops its listing after a screenful, what it shows then, and the key it wants."""

from __future__ import annotations

from hostlink.board.survey.bench import Bench
from hostlink.board.survey.store import Store
from hostlink.link.probe import Probe

_KEYS = (b" ", b"\r")  # common practice, no source
_STILL_S = 1.5  # in which a board that has not stopped goes on listing
_LONGEST_S = 120.0
_MOST_PAGES = 400
_LINES = 36  # more than a screen of 25 rows


def find_paging(bench: Bench) -> None:
    """List the program that is there, and see whether the board comes to its prompt by itself."""
    end = bench.manner.ready or bench.manner.prompt
    if not end:
        return  # nothing would tell the end of a page from that of the listing
    bench.type(bench.profile.commands.list.encode("latin-1"))
    heard = _listen(bench, bench.manner.line_end).heard
    if heard.endswith(end):
        return
    shown = heard.splitlines()[-1].decode("latin-1") if heard.strip() else ""
    is_text = heard[-1:] not in (b"\r", b"\n", b"")
    for key in _KEYS:
        more = _listen(bench, key).heard
        if not more.strip():
            continue
        if is_text and shown.strip() and _goes_on(bench, key, more, end):
            says = f"the listing stops with it after {len(heard.splitlines())} rows"
            bench.findings.add("talk.page_prompt", shown, says)
            bench.findings.add("talk.page_key", key, f"byte {key[0]} makes it go on")
        elif not is_text:
            rows = len(heard.splitlines()) - 1
            bench.notes.append(
                f"Its listing stops after {rows} rows, without a word, until a key comes."
            )
        break
    bench.renew()
    bench.regain()


def _goes_on(bench: Bench, key: bytes, heard: bytes, end: bytes) -> bool:
    """Whether the key brings page after page, up to the end of the listing."""
    for _ in range(_MOST_PAGES):
        if heard.endswith(end):
            return True
        heard = _listen(bench, key).heard
        if not heard:
            return False
    return False


def _listen(bench: Bench, out: bytes) -> Probe:
    return bench.probe(out, quiet_s=_STILL_S, first_s=_STILL_S, longest_s=_LONGEST_S)


def find_stored_paging(store: Store) -> None:
    """As find_paging, with test lines of which there are more than a screen has rows."""
    bench = store.bench
    if "talk.page_prompt" in bench.findings:
        return
    store.clear()
    store.put(*(f"{number} REM" for number in range(1, _LINES + 1)))
    find_paging(bench)
    if "talk.page_prompt" not in bench.findings:
        says = f"a listing of {_LINES} lines was shown without a stop"
        bench.findings.missing("talk.page_prompt", says)
    store.clear()
