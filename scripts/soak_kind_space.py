"""The space of kinds of practice board: of each part, values that clash with no other.

`draw_kind` gives the same kind for a number every time. Every habit of the model is drawn but:

- a board that its own opening restarts, or that has a bootloader: its program is lost before a
  survey begins, so nothing could be proven of it (tests/jobs has both);
- a board that answers neither what is typed nor an empty line: no host could know that it is there;
- a prompt that comes before what a command says: nothing tells where an answer ends, so its listing
  is refused as it should be (tests/practice has such a board);
- a prompt that ends with a question mark: an empty line answered so is a program that asks;
- what comes after a restart (questions, greeting, a program that starts): a survey restarts none.
"""

from __future__ import annotations

import dataclasses
import random

from hostlink.practice.kind import BoardKind, KindLanguage, KindShelf, KindStorage, Messages
from hostlink.practice.kind_checks import kind_faults
from hostlink.practice.kind_file import find_kind, kind_names
from hostlink.practice.settings import BoardSettings

_LAID_OUT = (
    *("{number} {text}", "{number:>5} {text}", "{number:>5}: {text}", "{number}: {text}"),
    *(" {number} {text}", "{number:>5}{text}"),
)
_TOKEN_WORDS = ("GOTO", "GOSUB", "FOR", "IF", "INPUT", "LET", "NEXT", "PRINT", "REM", "RETURN")
_BAUD = (300, 1200, 2400, 4800, 9600, 19200, 38400, 57600, 115200, 230400)
_PROMPTS = (
    *(
        b"+ ",
        b"> ",
        b">",
        b"]",
        b"ok\r\n",
        b"board: ",
        b"=> ",
        b". ",
        b"* ",
        b"BASIC>",
        b"READY.\r\n",
    ),
    *(b"", b""),
)
_MEMORIES = (
    "{free}{end}", "{free} bytes free.{end}{eeprom} EEProm bytes total.{end}", "FREE: {free}{end}",
    "{eeprom} {free}{end}", "{end}{free} of {eeprom}{end}",
)  # fmt: skip


def draw_kind(number: int) -> BoardKind:
    """Return the kind of that number.

    Messages and words are taken whole from the kinds that are shipped, since they belong together.
    """
    choose = random.Random(f"kind {number}")
    shipped = [find_kind(name) for name in kind_names()]
    while True:
        messages = choose.choice(shipped).messages
        language = _language(choose, choose.choice(shipped).language)
        kind = BoardKind(
            name=f"random-{number}",
            title=f"random kind {number}",
            settings=_settings(choose),
            storage=_storage(choose),
            messages=_messages(choose, messages),
            language=language,
            shelf=_shelf(choose, language),
        )
        if not kind_faults(kind) and _is_heard(kind):
            return kind


def _is_heard(kind: BoardKind) -> bool:
    """Whether anything answers a line, so that a host can know that it was taken."""
    return kind.settings.echo or bool(kind.settings.prompt)


def _settings(choose: random.Random) -> BoardSettings:
    line_end = choose.choice([b"\r", b"\r", b"\n", b"\r\n"])
    return BoardSettings(
        echo=choose.random() < 0.85,
        prompt=choose.choice(_PROMPTS),
        line_end=line_end,
        reply_end=choose.choice([b"\r\n", b"\r\n", b"\n\r", b"\n", b"\r"]),
        also_ends=choose.choice([b"", b"\n"]) if line_end == b"\r" else b"",
        end_echo=choose.choice([b"", b"", b"", b"\r\n", b"\n"]),
        eeprom_bytes=1024,
        bootloader=False,
        seed=choose.getrandbits(16),
        **_speeds(choose),
        **_typing(choose),
        **_screen(choose),
    )


def _speeds(choose: random.Random) -> dict[str, object]:
    """How fast the board is, and what it can hold meanwhile."""
    return {
        "baud": choose.choice(_BAUD),
        "latency_ms": choose.choice([1.0, 16.0]),
        "receive_buffer": choose.choice([0, 1, 2, 3, 16, 63, 127]),
        "transmit_buffer": choose.choice([0, 63]),
        "line_done": choose.choice(["echo", "prompt", "prompt", "after-prompt"]),
        "prompt_late_ms": choose.choice([0.0, 0.0, 30.0]),
        "line_ms": choose.choice([1.0, 5.0, 15.0, 40.0]),
        "direct_ms": choose.choice([1.0, 2.0, 10.0]),
        "char_ms": choose.choice([0.0, 0.0, 0.5, 2.0]),
        "statement_ms": choose.choice([0.1, 0.5, 3.0]),
        "list_line_ms": choose.choice([0.5, 0.5, 5.0, 25.0]),
        "program_bytes": choose.choice([999, 1039, 2000, 4096]),
        "restart_ms": choose.choice([300.0, 1000.0]),
    }


def _typing(choose: random.Random) -> dict[str, object]:
    """What the board does to characters as they are typed, and its keys."""
    return {
        "fold_case": choose.random() < 0.2,
        "longest_line": choose.choice([48, 64, 71, 72, 79, 120, 249]),
        "too_long": choose.choice(["dropped", "dropped", "ends", "gives-up"]),
        "too_long_answer": choose.choice([b"\x07", b"", b"\b"]),
        "ignored": choose.choice([b"", b"\x03"]),
        "controls": choose.choice(["dropped", "echoed", "text"]),
        "erase": choose.choice([b"\x08", b"\x7f", b""]),
        "erase_answer": choose.choice([b"\x08 \x08", b"\x08", b"\x7f", b"\x08 \x08\n\r"]),
        "erase_beyond": choose.choice(["ignored", "ignored", "harms"]),
        "line_cancel": choose.choice([b"\x15", b"\x18", b"\x1b", b""]),
        "interrupt": choose.choice([b"\x03", b"\x03", b"\x1b", b"#", b""]),
        "interrupt_typed": choose.choice(["at-once", "as-answer", "as-text"]),
    }


def _screen(choose: random.Random) -> dict[str, object]:
    """How wide and how high its screen is."""
    pages = choose.random() < 0.15
    return {
        "screen_width": choose.choice([0, 32, 40, 72]),
        "wrap_ms": choose.choice([0.0, 0.0, 3.0]),
        "page_lines": choose.choice([5, 10, 20, 23]) if pages else 0,
        "page_prompt": choose.choice([b"-- more --", b"(blank for more)", b"MORE?"]),
        "page_key": choose.choice([b"", b" "]),
    }


def _storage(choose: random.Random) -> KindStorage:
    tokens = choose.random() < 0.35
    last = choose.choice([999, 9999, 32767, 32767, 63999, 65529, 65535])
    blanks = ["after-number", "after-number", "kept", *(["squeezed"] if tokens else [])]
    return KindStorage(
        form="tokens" if tokens else "text",
        case=choose.choice(["kept", "kept", "statements", "all"]),
        blanks=choose.choice(blanks),  # type: ignore[arg-type]
        number_bytes=choose.choice([2, 2, 3, 5]),
        length_bytes=choose.choice([0, 1, 2]),
        end_bytes=choose.choice([0, 1]),
        keywords=_TOKEN_WORDS if tokens else (),
        keyword_bytes=choose.choice([1, 1, 2]),
        token_bytes=(("PRINT", 2),) if tokens and choose.random() < 0.2 else (),
        constant_bytes=choose.choice([0, 3]) if tokens else 0,
        name_bytes=choose.choice([0, 2, 3]) if tokens else 0,
        first_line=choose.choice([0, 1]),
        last_line=last,
        beyond=choose.choice(["refused", "wrapped"]),
        signed_numbers=last > 32767 and choose.random() < 0.3,
        listed_last=32767 if choose.random() < 0.1 else 65535,
        row=choose.choice(_LAID_OUT),
        row_width=choose.choice([0, 0, 0, 33, 40, 64]),
        typed_within=choose.choice([0, 0, 4]),
        when_full=choose.choice(["refused", "stuck"]),
        checked=choose.random() < 0.15,
    )


def _messages(choose: random.Random, messages: Messages) -> Messages:
    """Those of a kind, at times with a word that comes after every command, or an odd listing."""
    changed = dataclasses.replace(messages, memory=choose.choice(_MEMORIES))
    odd = choose.random()
    if odd < 0.2:
        changed = dataclasses.replace(changed, done="OK{end}", done_after=(), done_blank=True)
    elif odd < 0.3:
        changed = dataclasses.replace(changed, done="OK{end}", done_after=("list", "run", "store"))
    odd = choose.random()
    if odd < 0.15:
        changed = dataclasses.replace(changed, list_begin="PROGRAM{end}", list_end="END{end}")
    elif odd < 0.3:
        changed = dataclasses.replace(changed, list_begin="{end}", list_end="{end}")
    if not changed.list_row.endswith("{end}"):  # then what follows begins with the end of a row
        ends = {
            name: "{end}" + text.removeprefix("{end}")
            for name in ("done", "list_end")
            if (text := getattr(changed, name))
        }
        changed = dataclasses.replace(changed, **ends)
    return changed


def _language(choose: random.Random, language: KindLanguage) -> KindLanguage:
    """That of a kind; its free memory is asked for by a function, a bare word, or not at all."""
    asks = choose.choice(["function", "function", "word", "nothing"])
    words = {**dict(language.words), "memory": ("MEM",) if asks == "word" else ()}
    functions = ["ROOM()", "SIZE", "FRE(0)"]
    return dataclasses.replace(
        language,
        words=tuple(words.items()),
        small_letters=choose.random() < 0.6,
        quotes=choose.choice(['"', '"', "\"'"]),
        free=choose.choice(functions) if asks == "function" else "",
        free_number=choose.choice(["limited", "signed"]),
        number=choose.choice(["blank", "signed", "spaced", "bare", "field"]),
        list_one=choose.random() < 0.5,
    )


def _shelf(choose: random.Random, language: KindLanguage) -> KindShelf:
    words = dict(language.words)
    if not (words["store"] and words["recall"]):
        return KindShelf(slots="none")
    return KindShelf(
        slots=choose.choice(["named", "one"]),
        quoted=choose.random() < 0.5,
        shows=choose.choice(["names", "program", "nothing"]) if words["stored"] else "nothing",
        blank_shows=choose.choice(["", "?"]),
        blank_recall=choose.choice(["refused", "hangs"]),
        runs_at_start=choose.random() < 0.5,
    )
