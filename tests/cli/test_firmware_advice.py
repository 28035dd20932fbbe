"""What a failed write or putback advises works when it is followed, in the state it was given in.

Each command that a message names is run as it stands there (with --yes), on a copy of the board and
the archive as the failure left them; then the programs are on the board as they were.
"""

from __future__ import annotations

import json
import random
import re
import shlex
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from intelhex import IntelHex

from hostlink.practice.eeprom import Eeprom

VECTORS = b"\x0c\x94\x40\x00" * 26
WRITE = ("firmware", "write", "good.hex", "--role", "computer", "--yes")
WRITE_MUTE = ("firmware", "write", "mute.hex", "--role", "computer", "--yes")
GO_BACK = ("firmware", "write", "--previous", "--yes")


@pytest.fixture(autouse=True)
def images(place: Path) -> None:
    """Two image files; the first instruction of mute.hex is a jump to itself."""
    for name, vectors in (("good", VECTORS), ("mute", b"\xff\xcf" + VECTORS[2:])):
        made = IntelHex()
        made.puts(0, vectors + random.Random(name).randbytes(2000))
        made.write_hex_file(str(place / f"{name}.hex"))


@pytest.fixture
def programs(place: Path) -> Callable[..., Any]:
    """What the practice board has in memory and stored, read from its own state file."""

    def held(name: str = "class") -> Any:
        state = (place / "practice" / f"{name}.json").read_text(encoding="utf-8")
        basic = json.loads(state)["basic"]
        return basic["lines"], basic["eeprom"]

    return held


@pytest.fixture
def unplug_at(monkeypatch: pytest.MonkeyPatch) -> Callable[..., None]:
    """Has the next job's board unplugged, its memory lost, at the nth event that is of the kind or
    holds the text `at`."""
    from hostlink.cli.firmware_teller import PageTeller
    from hostlink.practice import address
    from hostlink.practice.machine import Machine

    machines: list[Machine] = []
    left: list[str] = []
    real_open, real_emit = address.open_board, PageTeller.emit

    def opened(*words: Any) -> Any:
        machine, keep = real_open(*words)
        machines.append(machine)
        return machine, keep

    def emit(self: PageTeller, event: Any) -> None:
        if left and (left[0] in getattr(event, "text", "") or left[0] == type(event).__name__):
            del left[0]
            if not left:
                machines[-1].unplugged = True
                machines[-1].basic.power_on()
        real_emit(self, event)

    monkeypatch.setattr(address, "open_board", opened)
    monkeypatch.setattr(PageTeller, "emit", emit)

    def at(text: str, nth: int = 1) -> None:
        left[:] = [text] * nth

    return at


@pytest.fixture
def follow(hostlink: Callable, copies: Callable) -> Callable[..., list[str]]:
    """Runs every command that a message names, each in the state that the message was given in.

    Repeats `words` too where it says so. done: asked after each. Gives the commands.
    """

    def run(told: Any, words: tuple[str, ...], done: Callable[[], bool]) -> list[str]:
        said = " ".join(told.err[told.err.index("hostlink: ") :].split())
        # One with another profile is for firmware that talks in another way, which this does not.
        advised = [one for one in re.findall(r"`hostlink ([^`]+)`", said) if "NAME" not in one]
        if re.search(r"[Rr]epeat the command|o the same again|repeat what you did|repeated", said):
            advised.append(shlex.join(words))
        again = copies()
        for line in advised:
            next(again)
            typed = line.replace("IMAGE", "good.hex --role computer")
            if "firmware" in typed and "--yes" not in typed:
                typed += " --yes"
            ended = hostlink(*shlex.split(typed))
            assert ended.status == 0, (typed, ended.err)
            assert done(), typed
        next(again, None)
        return advised

    return run


@pytest.mark.one_in(5)
@pytest.mark.parametrize(
    ("before", "words", "at", "nth", "advised"),
    [
        ((), WRITE_MUTE, "", 0, ["firmware write --previous"]),
        ((), WRITE, "PagesRead", 9, ["putback backup@1", "again"]),
        ((), WRITE, "PageProven", 9, ["firmware write good.hex", "firmware write --previous"]),
        ((), WRITE, "Waiting for the firmware", 1, ["again"]),
        ((), WRITE, "Sending", 2, ["putback backup@1", "again"]),
        ((WRITE_MUTE,), GO_BACK, "PagesRead", 9, ["again"]),
        ((WRITE_MUTE,), GO_BACK, "PageProven", 9, ["again"]),
        ((WRITE_MUTE,), GO_BACK, "Waiting for the firmware", 1, ["again"]),
        ((WRITE_MUTE,), GO_BACK, "Sending", 1, ["putback backup@1", "again"]),
        (
            (WRITE_MUTE,),
            WRITE,
            "PageProven",
            9,
            ["firmware write good.hex", "firmware write --previous"],
        ),
    ],
)
def test_the_programs_come_back_by_whatever_is_advised(
    hostlink: Callable,
    programs: Callable,
    unplug_at: Callable,
    follow: Callable,
    before: tuple[tuple[str, ...], ...],
    words: tuple[str, ...],
    at: str,
    nth: int,
    advised: list[str],
) -> None:
    """Mute, or unplugged at any stage of a write or of going back: never status 0, the backup
    named, and each way that is named leads to memory and slots as they were."""
    hostlink("load", "room")
    hostlink("store", "ROOM")
    hostlink("load", "tide")
    held = programs()
    for earlier in before:
        assert hostlink(*earlier).status == 1
    if at:
        unplug_at(at, nth)
    told = hostlink(*words)
    assert told.status in (1, 3)
    said = told.err[told.err.index("hostlink: ") :]
    assert "kept as backup@1" in said

    def whole() -> bool:
        return bool(programs() == held)

    due = [shlex.join(words) if one == "again" else one for one in advised]
    assert follow(told, words, whole) == due


def test_a_board_without_an_image_to_go_back_to_gets_another(
    hostlink: Callable, place: Path, follow: Callable
) -> None:
    """Its flash was blank: the advice is to write another image, and that works."""
    hostlink("load", "tide")
    path = place / "practice" / "class.json"
    state = json.loads(path.read_text(encoding="utf-8"))
    from base64 import b64encode
    from zlib import compress

    state["flash"] = b64encode(compress(b"\xff" * 32_768)).decode("ascii")
    path.write_text(json.dumps(state), encoding="utf-8")
    told = hostlink(*WRITE_MUTE, "--this-board", "computer", "--discard-board")
    assert told.status == 1
    assert follow(told, WRITE_MUTE, lambda: True) == ["firmware write IMAGE"]


def test_what_has_no_room_after_the_write_is_put_back_in_part_or_by_going_back(
    hostlink: Callable, programs: Callable, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Firmware with less memory: status 1, the part that fits is back, and going back, which is
    advised, brings all of it."""
    from hostlink.practice.basic import Basic

    hostlink("load", "room")
    hostlink("store", "ROOM")
    hostlink("load", "tide")
    held = programs()
    small = 300

    def power_on(self: Any) -> None:
        self._state.memory.size = small
        real(self)

    real = Basic.power_on
    monkeypatch.setattr(Basic, "power_on", power_on)
    told = hostlink(*WRITE)
    assert told.status == 1
    assert "every page read back, but its programs were not put back" in told.err
    assert "memory: it is 309 bytes over the 300 here" in told.err
    assert "All the rest is on the board again: ROOM." in told.err
    assert programs() == ({}, held[1])
    small = 999
    said = told.err[told.err.index("hostlink: ") :]
    (advised,) = re.findall(r"`hostlink (firmware write --previous[^`]*)`", said)
    assert hostlink(*advised.split(), "--yes").status == 0
    assert programs() == held


@pytest.mark.parametrize("told_beforehand", [True, False])
def test_a_board_with_less_eeprom_is_as_before_and_takes_what_is_advised(
    hostlink: Callable,
    programs: Callable,
    follow: Callable,
    monkeypatch: pytest.MonkeyPatch,
    told_beforehand: bool,
) -> None:
    """Where its size is known nothing is sent, where it is not the board refuses on the way: in
    both cases all is as it was, and what is advised is taken."""
    small = "practice://small?time=virtual"
    hostlink("load", "room")
    hostlink("store", "ROOM")
    hostlink("load", "tide")
    hostlink("store", "TIDE")
    hostlink("backup")
    tide = programs()[0]
    if told_beforehand:
        small += "&eeprom_bytes=700"
    else:
        real = Eeprom.__init__
        monkeypatch.setattr(Eeprom, "__init__", lambda self, _, *rest: real(self, 700, *rest))
    monkeypatch.setenv("HOSTLINK_PORT", small)
    hostlink("load", "hail")
    hostlink("store", "ROOM")
    held = programs("small")
    told = hostlink("putback", "backup@1")
    assert told.status == 1
    assert programs("small") == held
    if told_beforehand:
        assert "TIDE: it takes 609 bytes of EEPROM, and at most 508 are left for it" in told.err
        assert "Clearing" not in told.err
        names = re.findall(r"--item ([^\s`]+)", told.err[told.err.index("Put back the rest") :])
        assert names == ["memory", "ROOM"]
        assert hostlink("putback", "backup@1", "--item", "memory", "--item", "ROOM").status == 0
        return
    assert "shelf full" in told.err
    assert "ROOM holds what it held before. Memory holds what it held before." in told.err
    done = follow(told, (), lambda: bool(programs("small") == (tide, held[1])))
    assert done == ["putback backup@1 --item memory"]


def test_a_failed_write_gives_json_too(hostlink: Callable) -> None:
    """Status 1, and on standard output how the write itself ended."""
    hostlink("load", "tide")
    told = hostlink(*WRITE_MUTE, "--json", "--quiet")
    assert told.status == 1
    assert told.json["proven"] is True
    assert (told.json["at_prompt"], told.json["programs_put_back"]) == (False, False)
    assert told.json["backup"] == "backup@1"
