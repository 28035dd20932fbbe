"""Each rung from the bridge to the program: what it says of what was seen, and where it stops."""

from __future__ import annotations

import dataclasses
from typing import Any

import pytest

from hostlink.advice import advice_text
from hostlink.app.ways import KEYS
from hostlink.cli.ways import COMMANDS
from hostlink.errors import ExitStatus, LinkError, LinkReason, NoListingError
from hostlink.jobs.meeting.ladder import RungState
from hostlink.jobs.meeting.rungs import RUNGS, climb
from hostlink.jobs.meeting.seen import Contents, Restart, Seen, SeenBasic, SeenBootloader

LINUX, WINDOWS = "linux", "win32"
AT = Seen(
    port="/dev/ttyUSB0",
    ports=("/dev/ttyUSB0",),
    bridge="CH340 serial converter (1a86:7523)",
    driver="ch341, part of the Linux kernel",
    system=LINUX,
)
SILENT = dataclasses.replace(AT, trouble=LinkError("Silent.", reason=LinkReason.SILENT))
CHIP = b"\x1e\x95\x0f"  # ATmega328P, datasheet 8271H
BLANK = SeenBootloader(115200, CHIP, b"\xff" * 32768)
FILLED = SeenBootloader(115200, CHIP, b"\x0c\x94" * 16384)
UNREAD = SeenBootloader(115200, CHIP)
OTHER_CHIP = SeenBootloader(115200, b"\x1e\x94\x06")  # ATmega168, data sheet 2545, from memory
TALKING = dataclasses.replace(
    AT,
    label="Red",
    basic=SeenBasic("It talks.", "capital", 9600),
    contents=Contents("TIDE@3", False, 12, 412, 999, 587, ("A",)),
)


def test_no_write_is_advised_for_a_chip_that_cannot_be_written() -> None:
    """Nobody is sent to a command that refuses the chip."""
    seen = dataclasses.replace(SILENT, restart=Restart.DONE, bootloader=OTHER_CHIP)
    assert "firmware write" not in advice_text(climb(seen).end, COMMANDS)


def test_what_answers_list_with_no_listing_is_not_said_to_be_a_basic() -> None:
    """Nor that it holds a program; of a known kind it is a BASIC all the same."""
    unread = NoListingError(
        "The board answered so, which is not a listing: what it holds is not known."
    )
    basic = SeenBasic("It talks.", "", 9600)
    seen = dataclasses.replace(TALKING, basic=basic, contents=None, unread=unread)
    climbed = climb(seen)
    states = {step.rung.id: step.finding.state for step in climbed.steps}
    assert (states["basic"], states["contents"]) == (RungState.LEFT_OUT, RungState.LEFT_OUT)
    said = "\n".join(climbed.rows(COMMANDS))
    assert "it is not a BASIC" in said
    assert said.count("what it holds is not known") == 1
    known = climb(dataclasses.replace(seen, basic=TALKING.basic))
    assert "not a BASIC" not in "\n".join(known.rows(COMMANDS))


def failing(reason: LinkReason) -> LinkError:
    return LinkError("It failed so.", reason=reason, advice="Do this.")


# What was seen, the rung that breaks, its words, what is to be done.
STOPS: list[tuple[dict[str, Any], str, str, str]] = [
    ({"port": ""} | {"ports": ()}, "bridge", "sees no USB bridge", "Plug the small board"),
    (
        {"port": "", "ports": (), "hidden": ("A CH340 is plugged in but has no port.",)},
        "port",
        "has no port",
        "sudo dmesg",
    ),
    ({"port": "", "ports": ("A", "B")}, "port", "2 ports have a bridge: A, B", "with --port"),
    ({"exists": False}, "port", "There is no port /dev/ttyUSB0", "hostlink boards"),
    ({"opening": failing(LinkReason.NOT_FOUND)}, "port", "There is no port", "hostlink boards"),
    ({"access": "Join the group dialout."}, "permission", "is refused", "group dialout"),
    ({"opening": failing(LinkReason.NOT_PERMITTED)}, "permission", "is refused", "Do this"),
    (
        {"holder": 'the program "x"'},
        "free",
        'is open in the program "x"',
        "Close the other program",
    ),
    ({"opening": failing(LinkReason.BUSY)}, "free", "It failed so", "Do this"),
    ({"kept_closed": True}, "free", "would probably restart", "with --yes"),
    ({"restart": Restart.DONE}, "answer", "Nothing answers", "crystal"),
    ({"restart": Restart.DONE, "role": "display"}, "answer", "as a display board is", "crystal"),
    ({"restart": Restart.DECLINED}, "answer", "would be lost", "with --yes"),
    ({"restart": Restart.IMPOSSIBLE}, "answer", "no restart line", "restart button"),
    ({"trouble": failing(LinkReason.RUNNING)}, "basic", "No BASIC came", "Do this"),
    ({"trouble": failing(LinkReason.UNREADABLE)}, "basic", "No BASIC came", "with --baud"),
    ({"trouble": failing(LinkReason.FLOODING)}, "answer", "It failed so", "Do this"),
    ({"trouble": failing(LinkReason.LOOPED)}, "answer", "It failed so", "Do this"),
    ({"bootloader": BLANK}, "basic", "no firmware on the chip yet", "--new-board"),
    (
        {"bootloader": FILLED},
        "basic",
        "firmware on the chip shows no prompt",
        "If this is the disp",
    ),
    ({"bootloader": UNREAD}, "basic", "What is on the chip is not known", "If this is the display"),
    ({"bootloader": OTHER_CHIP}, "basic", "hostlink cannot write firmware", "one of these: ATmega"),
    (
        {"bootloader": dataclasses.replace(FILLED, image="class.hex", role="computer")},
        "basic",
        "class.hex is on the chip",
        "crystal",
    ),
    (
        {"bootloader": dataclasses.replace(FILLED, has_basic=True)},
        "basic",
        "A BASIC is on the chip",
        "crystal",
    ),
]


@pytest.mark.parametrize(("changes", "at", "says", "do"), STOPS)
def test_the_climb_stops_at_the_broken_rung_with_one_thing_to_do(
    changes: dict[str, Any], at: str, says: str, do: str
) -> None:
    """The rungs below hold or are left out, none above is judged; both interfaces have words."""
    climbed = climb(dataclasses.replace(SILENT, **changes))
    assert climbed.broken is not None
    assert climbed.broken.rung.id == at
    assert says in advice_text(climbed.broken.finding.says, COMMANDS)
    assert do in advice_text(climbed.end, COMMANDS)
    assert advice_text(climbed.end, KEYS)
    assert "hostlink" not in advice_text(climbed.end, KEYS)
    assert [step.rung for step in climbed.steps] == list(RUNGS[: len(climbed.steps)])
    assert all(step.finding.state is not RungState.BROKEN for step in climbed.steps[:-1])
    is_word = changes.get("kept_closed") or changes.get("restart") is Restart.DECLINED
    wanted = ExitStatus.REFUSED if at == "basic" or is_word else ExitStatus.LINK_FAILED
    assert climbed.status == wanted


def test_without_a_driver_another_system_is_told_by_the_chips_name() -> None:
    """Where no list of plugged-in chips is to be had, the maker's driver is named as a cause."""
    for system in (WINDOWS, "darwin"):
        assert "such as CH340" in advice_text(climb(Seen(system=system)).end)
    assert "CH340" not in advice_text(climb(Seen(system=LINUX)).end)


def test_a_new_chip_ends_in_the_sentence_to_write_its_image() -> None:
    """A bootloader and blank flash: alive, no BASIC yet, the chip by its part number."""
    climbed = climb(dataclasses.replace(SILENT, bootloader=BLANK, restart=Restart.DONE))
    assert advice_text(climbed.end, COMMANDS) == (
        "The chip is alive and has no BASIC yet: write your computer image now with "
        "`hostlink firmware write IMAGE --new-board` (in place of IMAGE, the name of your file, "
        "which ends in .hex)."
    )
    says = [advice_text(step.finding.says) for step in climbed.steps]
    assert "At 115200 baud; the chip is ATmega328P, its flash is blank." in says


def test_a_known_board_ends_in_who_it_is_and_what_it_holds() -> None:
    """Label, kind, speed, program and size in one sentence; the bootloader is left in peace."""
    climbed = climb(TALKING)
    assert climbed.status == ExitStatus.DONE
    assert advice_text(climbed.end, COMMANDS) == (
        "This is Red. It talks at 9600 baud like a board of kind capital and holds TIDE@3, "
        "12 lines, 412 of 999 bytes."
    )
    states = {step.rung.id: step.finding.state for step in climbed.steps}
    assert states["bootloader"] is RungState.LEFT_OUT
    assert states["contents"] is RungState.HOLDS


def test_a_program_that_could_not_be_read_is_said_so() -> None:
    """With no more than what was seen: it talks, what it holds is not known."""
    for label, name in (("Red", "This is Red."), ("", "This board has no label yet.")):
        seen = dataclasses.replace(TALKING, contents=None, label=label)
        assert advice_text(climb(seen).end, COMMANDS).startswith(
            f"{name} It talks at 9600 baud like a board of kind capital and its program could "
            "not be read."
        )


def test_a_blank_chip_has_no_firmware_whatever_came_before() -> None:
    """Rubbish on the line, as after a change of speed, does not hide what its bootloader tells."""
    trouble = LinkError("Rubbish came.", reason=LinkReason.UNREADABLE)
    climbed = climb(dataclasses.replace(AT, trouble=trouble, bootloader=BLANK))
    assert climbed.broken is not None
    assert advice_text(climbed.broken.finding.says) == "There is no firmware on the chip yet."


def test_what_was_not_silent_before_its_bootloader_answered_is_told() -> None:
    """Silence is said only of a silent board."""
    trouble = LinkError("Rubbish came.", reason=LinkReason.UNREADABLE)
    seen = dataclasses.replace(AT, trouble=trouble, bootloader=FILLED, restart=Restart.DONE)
    says = [advice_text(step.finding.says) for step in climb(seen).steps]
    assert "Rubbish came. After a restart its bootloader answered." in says


@pytest.mark.parametrize(
    "seen",
    [
        dataclasses.replace(SILENT, role="display", bootloader=FILLED),
        dataclasses.replace(
            SILENT, bootloader=dataclasses.replace(FILLED, image="view.hex", role="display")
        ),
    ],
)
def test_a_display_is_told_apart_from_a_dead_board(seen: Seen) -> None:
    """By its role or by the firmware on it; a blank chip in its place is no display any more."""
    climbed = climb(seen)
    assert climbed.status == ExitStatus.DONE
    assert advice_text(climbed.end) == (
        "This is the display: its chip is alive, and it never answers by itself."
    )
    blank = climb(dataclasses.replace(seen, bootloader=BLANK))
    assert blank.status == ExitStatus.REFUSED


def test_a_port_that_is_not_there_is_not_said_to_have_no_chip() -> None:
    """Whether it has a bridge cannot be told; the next rung says that there is no such port."""
    climbed = climb(Seen(port="/dev/ttyUSB9", exists=False, system=LINUX), RUNGS)
    words = [advice_text(step.finding.says, COMMANDS) for step in climbed.steps]
    assert words[0] == "Not known: the port is not there."
    assert words[1] == "There is no port /dev/ttyUSB9."
