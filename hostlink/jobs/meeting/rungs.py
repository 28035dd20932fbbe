"""The rungs from a USB bridge up to a program in memory: what each asks, and what it says.

Rules:
1. A rung is a pure function of what was seen. It says what was seen, and one thing to do if it is
   broken.
2. The climb ends at the first broken rung, since nothing is known of those above it.
3. A rung that need not hold for this board, or was not tried, is left out with the reason.
"""

from __future__ import annotations

from collections.abc import Sequence

from hostlink.advice import Advice, Ways, join_advice
from hostlink.errors import ExitStatus, LinkReason
from hostlink.firmware.chip import CHIPS
from hostlink.jobs.boards import no_port_words
from hostlink.jobs.meeting.ladder import Climb, LadderStep, Rung, RungFinding, RungState
from hostlink.jobs.meeting.seen import Restart, Seen
from hostlink.sentences import (
    CLOSE_OTHER,
    CONTENTS_UNKNOWN,
    IS_SILENT,
    LIKE_KIND,
    MAY_HAVE_NO_BOOTLOADER,
    NOT_RESTARTED,
    PLUG_IN,
    PRESS_RESTART,
    lift_wire,
    name_speed,
)
from hostlink.words import capital

ONLY_JUST_AFTER = "A bootloader, which takes new firmware, answers only just after a restart"
_SPEEDS = "115200 and 57600 baud"
_NO_ANSWER = (LinkReason.FLOODING, LinkReason.LOOPED)  # bytes come, and answer nothing


def climb(seen: Seen, rungs: Sequence[Rung] | None = None) -> Climb:
    """Judge rungs in their order, all of them by default, up to the first broken one."""
    steps: list[LadderStep] = []
    for rung in RUNGS if rungs is None else rungs:
        steps.append(LadderStep(rung, rung.judge(seen)))
        if steps[-1].finding.state is RungState.BROKEN:
            break
    last = steps[-1]
    broken = last.finding.state is RungState.BROKEN
    return Climb(tuple(steps), _end(seen, last.finding.do) if broken else _top(seen))


def _holds(says: Advice) -> RungFinding:
    return RungFinding(RungState.HOLDS, says)


def _left_out(says: Advice) -> RungFinding:
    return RungFinding(RungState.LEFT_OUT, says)


def _broken(says: Advice, do: Advice) -> RungFinding:
    return RungFinding(RungState.BROKEN, says, do, ExitStatus.LINK_FAILED)


def _missing(says: Advice, do: Advice) -> RungFinding:
    """Return the finding that a rung fails on a good link: consent or a BASIC is missing."""
    return RungFinding(RungState.BROKEN, says, do, ExitStatus.REFUSED)


# --- this computer -------------------------------------------------------------------------------


def _bridge(seen: Seen) -> RungFinding:
    if seen.port.startswith("practice:"):
        return _left_out("A practice board is made of software and needs no bridge.")
    if "://" in seen.port:
        return _left_out("A network port: the bridge is at its far end.")
    if seen.port and seen.bridge:
        return _holds(f"{seen.bridge}.")
    if seen.port:
        return _left_out(
            "The port has no USB chip." if seen.exists else "Not known: the port is not there."
        )
    if seen.ports or seen.hidden:
        return _holds(" ".join(seen.hidden) or f"At {' and '.join(seen.ports)}.")
    look = f"{PLUG_IN}. If it is plugged in, try another cable "
    look += "(some carry only power) and another socket of this computer."
    if not seen.system.startswith("linux"):
        look += (
            " If that does not help, its bridge may lack a driver: read the name on the chip "
            "beside the USB socket, such as CH340, and install the driver of the chip's maker."
        )
    return _broken("This computer sees no USB bridge.", look)


def _port(seen: Seen) -> RungFinding:
    vanished = seen.opening is not None and seen.opening.reason is LinkReason.NOT_FOUND
    if seen.port and seen.exists and not vanished:
        driver = f", driver: {seen.driver}" if seen.driver else ""
        return _holds(f"{seen.port}{driver}.")
    if seen.port:
        return _broken(
            f"There is no port {seen.port}.",
            lambda by: f"Plug the board in, and look at the ports {by.ports}.",
        )
    if seen.ports:
        return _broken(
            f"{len(seen.ports)} ports have a bridge: {', '.join(seen.ports)}.",
            lambda by: f"Say which one is meant {by.name_port}, or plug in one board only.",
        )
    return _broken(
        f"The bridge has {no_port_words()}",
        "Unplug it, plug it in again, and look at the end of `sudo dmesg`."
        if seen.system.startswith("linux")
        else "Install the driver of the chip's maker, then unplug the bridge and connect it again.",
    )


def _permission(seen: Seen) -> RungFinding:
    refused = seen.opening is not None and seen.opening.reason is LinkReason.NOT_PERMITTED
    if seen.access or refused:
        return _broken(
            f"Access to {seen.port} is refused.",
            seen.access or (seen.opening.advice if seen.opening else ""),
        )
    return _holds("You may open it.")


def _free(seen: Seen) -> RungFinding:
    if seen.holder:
        return _broken(f"{seen.port} is open in {seen.holder}.", CLOSE_OTHER)
    if seen.kept_closed:
        return _missing(
            "Opening the port would probably restart the board, so it was left closed.",
            lambda by: f"If nothing in its memory is needed, open it {by.allow_restart}.",
        )
    if seen.opening is not None:
        return _broken(seen.opening.what, seen.opening.advice)
    return _holds("No other program has it open.")


# --- the board -----------------------------------------------------------------------------------


def _answers(seen: Seen) -> RungFinding:
    if seen.basic is not None:
        return _holds(f"It answers at {seen.basic.baud} baud.")
    trouble = seen.trouble
    was_silent = trouble is None or trouble.reason is LinkReason.SILENT
    if seen.bootloader is not None:
        first = "Silent at first." if was_silent or trouble is None else trouble.what
        return _holds(f"{first} After a restart its bootloader answered.")
    if trouble is not None and trouble.reason in _NO_ANSWER:
        return _broken(trouble.what, trouble.advice)
    if trouble is not None and not was_silent:
        return _holds(trouble.what)
    if seen.restart is Restart.DECLINED:
        return _missing(
            f"It {IS_SILENT}. {ONLY_JUST_AFTER}, and {NOT_RESTARTED}: a program in its memory "
            "would be lost.",
            lambda by: f"If nothing in its memory is needed, let it restart {by.allow_restart}.",
        )
    if seen.restart is Restart.IMPOSSIBLE:
        return _broken(
            f"It is silent, and {seen.restart.value} for its bootloader.",
            f"{PRESS_RESTART}, and check the network and its supply.",
        )
    if seen.role == "display":
        return _broken(
            "It is silent, as a display board is, but no bootloader answered after a restart.",
            _wiring,
        )
    return _broken(
        f"Nothing answers: no BASIC at the usual speeds, no bootloader at {_SPEEDS}.", _wiring
    )


def _wiring(_: Ways) -> str:
    return (
        "Check in this order: the supply (5 V at the chip), ground joined to the bridge, the "
        "bridge's TX at the chip's RX and its RX at the chip's TX, the restart line, the crystal. "
        f"Where two boards are joined, disconnect the supply and {lift_wire()}."
    )


def _bootloader(seen: Seen) -> RungFinding:
    boot = seen.bootloader
    if boot is not None:
        held = "its flash is blank" if boot.is_blank else "its flash holds firmware"
        if boot.flash is None:
            held = "its flash was not read"
        elif boot.cut_off:
            held = f"its flash holds a part of {boot.cut_off}"
        elif boot.image:
            held = f"its flash holds {boot.image}"
        elif boot.has_basic:
            held = "its flash holds a BASIC"
        return _holds(f"At {boot.baud} baud; the chip is {boot.part_number}, {held}.")
    if seen.basic is not None and seen.restart is not Restart.DONE:
        return _left_out("Not asked: that takes a restart, and its BASIC answers already.")
    if seen.basic is not None:
        return _left_out("None answered; only new firmware needs one.")
    if seen.restart is Restart.NOT_TRIED:
        return _left_out("Not asked, so that a program that may be running is not lost.")
    if seen.restart is not Restart.DONE:
        return _left_out(f"Not asked: {NOT_RESTARTED}.")
    return _left_out(f"None answered at {_SPEEDS}; {MAY_HAVE_NO_BOOTLOADER}.")


def _basic(seen: Seen) -> RungFinding:
    if seen.basic is not None and seen.may_be_no_basic:
        return _left_out(f"{seen.basic.manner} It may not be a BASIC.")
    if seen.basic is not None:
        return _holds(seen.basic.manner)
    if seen.is_display:
        return _left_out("A display board makes the picture; it is silent and has no BASIC.")
    boot = seen.bootloader
    if boot is not None and not boot.can_be_written:
        return _missing(
            f"The chip is {boot.part_number}, to which hostlink cannot write firmware; "
            f"{CONTENTS_UNKNOWN}, and no prompt came.",
            "If this is the display board, all is well: it never answers. If it is the computer, "
            f"check that its chip is one of these: {', '.join(chip.part for chip in CHIPS)}.",
        )
    if boot is not None and (name := boot.cut_off):
        return _missing(
            f"The write of {name} was cut off.",
            lambda by: f"Repeat it {by.write_again(name)}, in the folder that has this file.",
        )
    if boot is not None and boot.is_blank:
        return _missing("There is no firmware on the chip yet.", _write_now)
    if seen.trouble is not None and seen.trouble.reason is not LinkReason.SILENT:
        garbled = seen.trouble.reason is LinkReason.UNREADABLE
        return _missing(
            "No BASIC came to its prompt.", _readable if garbled else seen.trouble.advice
        )
    if boot is not None and (boot.image or boot.has_basic):
        return _missing(
            f"{boot.image or 'A BASIC'} is on the chip, and no prompt came.",
            lambda by: (
                "Check its crystal and the wire from its TX pin, then write it again, or another "
                f"image {by.write_first_image}."
            ),
        )
    what = "What is on the chip is not known; it"
    if boot is None or boot.flash is not None:
        what = "The firmware on the chip"
    return _missing(f"{what} shows no prompt at a usual speed.", _write_or_role)


def _readable(by: Ways) -> str:
    return (
        f"If a program on it prints now and then, stop it {by.stop_running}. If not, check that "
        "ground is joined and that TX and RX are not joined to each other, then the crystal. "
        f"{name_speed(by)}"
    )


def _write_now(by: Ways) -> str:
    return f"Write your computer image now {by.write_first_image}."


def _write_or_role(by: Ways) -> str:
    return (
        "If this is the display board, all is well: it never answers. If it is the computer, "
        f"write your computer image {by.write_first_image}."
    )


def _contents(seen: Seen) -> RungFinding:
    if seen.basic is None:
        return _left_out("A display board holds no program.")
    name = f"Its label is {seen.label}." if seen.label else "It has no label."
    if seen.contents is None:
        why = seen.unread.what if seen.unread is not None else "It was not read."
        unknown = "" if CONTENTS_UNKNOWN in why else f"{capital(CONTENTS_UNKNOWN)}: "
        return _left_out(f"{unknown}{why} {name}")
    stored = seen.contents.stored
    shelf = "" if stored is None else f" Stored: {', '.join(stored) or 'nothing'}."
    return _holds(f"Memory: {seen.contents.words}.{shelf} {name}")


# --- the whole -----------------------------------------------------------------------------------


def _end(seen: Seen, do: Advice) -> Advice:
    """Return the last sentence of a climb that ended at a broken rung."""
    boot = seen.bootloader
    if boot is None:
        return do
    if boot.is_blank and not boot.cut_off:
        return lambda by: (
            "The chip is alive and has no BASIC yet: write your computer image now "
            f"{by.write_first_image}."
        )
    return join_advice("The chip is alive.", do)


def _top(seen: Seen) -> Advice:
    """Return the last sentences of a climb that came to the top."""
    if seen.basic is None:
        what = f"{seen.label}, the display" if seen.label else "the display"
        alive = ": its chip is alive, and it never answers by itself" if seen.bootloader else ""
        return f"This is {what}{alive}."
    name = f"This is {seen.label}." if seen.label else "This board has no label yet."
    talks = f"It talks at {seen.basic.baud} baud"
    if seen.basic.kind:
        talks += f" {LIKE_KIND} {seen.basic.kind}"
    holds = " and its program could not be read"
    if seen.contents is not None:
        holds = f" and holds {seen.contents.words}"
    sentence = f"{name} {talks}{holds}."
    if seen.may_be_no_basic:
        return lambda by: (
            f"{name} {talks} and shows no listing: its memory may be empty, or it is not a BASIC. "
            f"See what it answers {by.look_in_console}; if it is a BASIC with nothing to lose in "
            f"its memory, measure it {by.survey_discarding}."
        )
    if seen.label:
        return sentence
    return lambda by: f"{sentence} Give it a label {by.label_board}."


RUNGS = (
    Rung("bridge", "Is a USB bridge there?", _bridge),
    Rung("port", "Does it have a port?", _port),
    Rung("permission", "May you open it?", _permission),
    Rung("free", "Can it be opened?", _free),
    Rung("answer", "Does something answer?", _answers),
    Rung("bootloader", "Does a bootloader answer?", _bootloader),
    Rung("basic", "Does a BASIC answer?", _basic),
    Rung("contents", "What does it hold?", _contents),
)
"""All rungs, from the computer's side up."""

COMPUTER_RUNGS = RUNGS[:4]
"""The rungs that are judged before a port is opened."""
