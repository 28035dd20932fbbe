"""Readers of files that people write or earlier starts left, for soak_fuzz: examples, and a call.

Each raises an error of hostlink's own or gives a result; those of what hostlink itself left behind
pass over what they cannot use.
"""

from __future__ import annotations

import json
import random
import tempfile
import zipfile
from collections.abc import Callable
from contextlib import suppress
from dataclasses import asdict
from functools import partial
from io import BytesIO
from pathlib import Path
from types import SimpleNamespace
from typing import cast

from soak_jobs import in_memory

from hostlink.app.drafts import Draft, Drafts, written_at
from hostlink.app.settings import change_settings, read_settings
from hostlink.archive.runs import Run, RunText
from hostlink.board.profile.file import find_profile
from hostlink.errors import RefusedError
from hostlink.firmware.chip import ATMEGA328P
from hostlink.firmware.knowledge import compare_images, read_image
from hostlink.jobs.class_register.register import read_register
from hostlink.jobs.collecting import gather
from hostlink.jobs.pin_file import read_pin_file
from hostlink.jobs.run.answers import read_answers
from hostlink.jobs.trying import COMMAND, setting_of
from hostlink.listing import Listing, decode_listing
from hostlink.practice.address import open_board, parse_address
from hostlink.practice.kind_file import kind_names
from hostlink.publish.details import ProgramDetails
from hostlink.publish.numbers import Numbers
from hostlink.publish.plot import plot_rows
from hostlink.publish.plot_svg import plot_svg
from hostlink.publish.program import publish
from hostlink.publish.sheet import sheet
from hostlink.publish.sheet_file import read_sheet

Reader = Callable[[random.Random, bytes], None]
_DEEP = b"[" * 3000
_TEXT = '10 PRINT "TIDE"\n20 INPUT N\n30 GOTO 10\n'
_WORDS = b"PRINT GOTO GOSUB RETURN INPUT LET LIST NEW RUN FOR NEXT IF THEN END REM PEEK".split()


def _of_file(read: Callable[[Path], object], name: str = "fuzzed.txt") -> Reader:
    """A reader that takes a file. name: of the file, alone in its folder."""

    def reader(_: random.Random, data: bytes) -> None:
        with tempfile.TemporaryDirectory(prefix="hostlink-soak-", dir=in_memory()) as folder:
            path = Path(folder) / name
            path.write_bytes(data)
            read(path)

    return reader


def _registers() -> list[bytes]:
    people = "".join(
        f'[[learner]]\nname = "{name}"\nboard = "Red {at}"\nhand_out = "EBB"\nprogram = "P-{at}"\n'
        for at, name in enumerate(("Ada Brook", "Élodie Marsh", "Dan Reed"))
    )
    return [f'title = "Tuesday"\nhand_out = "TIDE"\n\n{people}'.encode(), b"title = " + _DEEP]


def _settings() -> list[bytes]:
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "settings.toml"
        path.write_text('theme = "light"\n\n[keys]\nquit = "f9"\nload = "ctrl+l"\n')
        change_settings(path, port="practice://red")
        return [path.read_bytes(), b"theme = " + _DEEP]


def _read_settings(path: Path) -> None:
    held = read_settings(path)
    assert (held.fault + repr(held.usable_keys)).isprintable(), held.fault
    with suppress(RefusedError):
        change_settings(path, port="practice://red")
        assert read_settings(path).keys == held.keys


def _drafts() -> list[bytes]:
    draft = Draft(_TEXT, "TIDE", "TIDE@3", 1, 4, "2031-09-03T19:00:00+02:00")
    return [json.dumps(asdict(draft)).encode(), _DEEP]


def _read_drafts(path: Path) -> None:
    for left in Drafts(path.parent).left():
        written_at(left.draft)
        left.draft.text.encode("utf-8", "surrogatepass")


def _board_states() -> list[bytes]:
    """Boards of each kind with a program, as their files hold them."""
    states = []
    with tempfile.TemporaryDirectory() as folder:
        for kind in kind_names():
            machine, keep = open_board(
                parse_address(f"practice://{kind}?kind={kind}"), Path(folder), 9600
            )
            machine.basic.from_state({**machine.basic.to_state(), "lines": {"10": "PRINT 1"}})
            keep(machine)
            states.append((Path(folder) / f"{kind}.json").read_bytes())
    return [*states, b'{"format": 1, "basic": ' + _DEEP]


def _read_board_state(path: Path) -> None:
    machine, keep = open_board(parse_address("practice://fuzzed?time=virtual"), path.parent, 9600)
    keep(machine)


def _addresses() -> list[bytes]:
    given = "kind=capital&line_ms=15&receive_buffer=2&to_host=0.001&prompt=ok%0D%0A&time=virtual"
    return [f"practice://red?{given}&fold_case=yes&seed=4&fresh".encode(), b"practice://"]


def _read_address(_: random.Random, data: bytes) -> None:
    parse_address(data.decode("utf-8", "replace")).settings  # noqa: B018 - made where asked


def _images() -> list[bytes]:
    """Flash with a table of BASIC words, its ends marked in each of three ways, between noise."""
    noise = random.Random(328)
    tables = (
        b"".join(word[:-1] + bytes([word[-1] | 0x80]) for word in _WORDS),
        b"".join(bytes([word[0] | 0x80]) + word[1:] for word in _WORDS) + b"\x80",
        b"\0".join(_WORDS) + b"\0\0",
        b"".join(bytes([len(word)]) + word for word in _WORDS) + b"\0",
    )
    return [
        noise.randbytes(300) + each + b"READY\0ERROR AT \0" + noise.randbytes(500)
        for each in tables
    ]


def _read_image(choose: random.Random, data: bytes) -> None:
    known, before = read_image(data[: ATMEGA328P.flash_bytes]), read_image(choose.choice(_images()))
    compare_images(known, before)
    assert all(each.isprintable() for each in known.words), known.words
    assert all(baud > 0 for baud in known.bauds)


def _printed() -> list[bytes]:
    rows = "\n".join(f"T {at} {at * at - 7.5} {1e3 / (at + 1)}" for at in range(40))
    return [rows.encode(), b"X,Y\n1,2\n2,-3\n4,1e30\n", b"LEVEL 0\nLEVEL 1\nLEVEL 0\n"]


def _read_printed(choose: random.Random, data: bytes) -> None:
    rows = data.decode("latin-1").splitlines()
    numbers = Numbers(rows)
    numbers.as_csv(rows)
    if (lane := numbers.shown) is not None:
        plot_rows([lane], choose.randint(20, 120), choose.randint(5, 40))
        plot_svg([lane], "fuzzed")


def _sheets() -> list[bytes]:
    details = ProgramDetails("TIDE")
    return [sheet(publish(Listing.from_text(_TEXT), find_profile("practice"), details)).encode()]


def _read_sheet(_: random.Random, data: bytes) -> None:
    read_sheet(decode_listing(data, name="fuzzed.html"), name="fuzzed.html")


def _zips() -> list[bytes]:
    held = BytesIO()
    with zipfile.ZipFile(held, "w", zipfile.ZIP_DEFLATED) as made:
        for name in ("tide.bas", "home/ebb.txt", "about.html"):
            made.writestr(name, _TEXT * 3)
    return [held.getvalue()]


def _expected() -> list[bytes]:
    more = {"statements": 500, "seconds": 1.5, "pins": [{"ms": 5, "pin": "2", "value": 1}]}
    return [json.dumps(more).encode(), b'{"pins": ' + _DEEP]


def _read_expected(_: random.Random, data: bytes) -> None:
    told = {"command": f"{COMMAND} {data.decode('utf-8', 'replace')}", "profile": "practice"}
    setting = setting_of(cast(Run, SimpleNamespace(**told, typed=RunText(("5", "x")))))
    if setting is not None:
        walk = setting.begin(_TEXT, find_profile(setting.profile))
        left = iter([False])
        setting.finish(walk, lambda: next(left, True))


def _read_zip(path: Path) -> None:
    for each in gather([path], find_profile("practice")).materials:
        Listing.from_text(each.text)


READERS: dict[str, tuple[Callable[[], list[bytes]], Reader]] = {
    "register": (_registers, _of_file(read_register)),
    "settings": (_settings, _of_file(_read_settings)),
    "draft": (_drafts, _of_file(_read_drafts, "fuzzed.json")),
    "board state": (_board_states, _of_file(_read_board_state, "fuzzed.json")),
    "address": (_addresses, _read_address),
    "image words": (_images, _read_image),
    "numbers": (_printed, _read_printed),
    "sheet": (_sheets, _read_sheet),
    "zip": (_zips, _of_file(_read_zip, "fuzzed.zip")),
    "expected run": (_expected, _read_expected),
    "pin script": (
        lambda: [b"ms,pin,value\n0,2,1\n1500,2,0\n20,ADC0,512\n", b"5,3,1\n"],
        _of_file(partial(read_pin_file, pins=find_profile("practice").rules.language.pins)),
    ),
    "input file": (lambda: [b"5\nYES\r\n\xc3\xa9\n", _TEXT.encode()], _of_file(read_answers)),
}
