"""Opening a port without losing the board's program, on each operating system.

A board restarts when the bridge's DTR line goes from off to on. The behaviour of each system (from
the sources of pyserial and the systems; only Linux has been tested):

- Linux raises DTR in open() itself; no program can prevent the first pulse after the board was
  plugged in. It drops DTR at the last close only if HUPCL is set. hostlink clears HUPCL after each
  opening and the device keeps that setting, so the next opening finds DTR on and causes no pulse.
  A note records this under the device node's identity, which changes at the next plugging in.
- macOS resets HUPCL at every first opening, so each opening pulses DTR; hostlink clears it all the
  same, which keeps DTR on for overlapping openings.
- Windows sets DTR as requested before the opening: with DTR off the board does not restart.
- `rfc2217://` raises DTR at the far end, where it may be on already; `socket://` has no DTR.

So hostlink avoids a restart where it can, warns before a likely one, detects it afterwards, and
keeps the port open for the whole of its work.
"""

from __future__ import annotations

import contextlib
import os
import sys
import tempfile
from collections.abc import Sequence
from dataclasses import dataclass
from difflib import SequenceMatcher
from pathlib import Path
from typing import Any

from hostlink.errors import LinkError, LinkReason
from hostlink.link.core import Step
from hostlink.link.pacing import Pacing, ends_with_prompt
from hostlink.link.states import WAKING, CoreState, StatedCore
from hostlink.link.wire import LONG_BANNER
from hostlink.sentences import CLOSE_OTHER, MEMORY_IS_LOST, NO_RESTART_LINE

RESTART_PULSE_S = 0.1  # how long DTR is held off: common practice, no source
_WAKING_MARGIN = 1.5  # times the profile's restart_ms; a bootloader's own time varies
_WAKING_SLACK_S = 0.3
_BANNER_ALIKE = 0.8  # the least SequenceMatcher.ratio() of a damaged banner
_SILENCE_AFTER_START_S = 0.7  # after a board's greeting: common practice, no source


@dataclass(frozen=True, slots=True)
class Foresight:
    """The expected effect of opening a port. restarts: it will probably restart the board.

    pulses: whether DTR probably goes from off to on, so that the result shows whether this board
    restarts on opening. why: the reason, as a clause for the user.
    """

    restarts: bool
    pulses: bool
    why: str

    def warning(self, name: str) -> str:
        """Return the sentence that opening port `name` will probably restart the board."""
        return (
            f"Opening {name} will probably restart the board ({self.why}): {MEMORY_IS_LOST} then, "
            "unless it is stored in EEPROM."
        )


def foresee(
    name: str, *, profile_says: bool, remembered: bool | None, system: str = sys.platform
) -> Foresight:
    """Predict whether opening port `name` will restart its board.

    profile_says: the profile's restarts_on_open. remembered: what this board did at an earlier
    opening, None if unknown.
    """
    expected = profile_says if remembered is None else remembered
    if remembered is not None:
        why = f"this board {'did' if remembered else 'did not'} at an earlier opening"
    else:
        why = "boards of its kind do" if profile_says else "boards of its kind do not"
    if name.startswith("practice:"):
        return Foresight(expected, True, why)
    if name.startswith("socket://"):
        return Foresight(False, False, NO_RESTART_LINE)
    if "://" in name:
        return Foresight(expected, True, why)
    if system == "win32":
        return Foresight(False, False, "this system opens it with the restart line off")
    if system.startswith("linux") and was_left_quiet(name):
        return Foresight(False, False, "the restart line has stayed on since hostlink last used it")
    return Foresight(expected, True, why)


# --- opening, per system -------------------------------------------------------------------------


def open_gently(
    factory: Any, name: str, options: dict[str, Any], system: str = sys.platform
) -> Any:
    """Open a pyserial port, avoiding a restart of the board where the system permits.

    factory: called as `factory(name, do_not_open=True, **options)`. Raises LinkError if another
    program uses the port, and whatever opening the factory's port raises.
    """
    is_device = "://" not in name
    if is_device and system.startswith("linux"):
        refuse_held(name)
    port = factory(name, do_not_open=True, **options)
    if is_device and system == "win32":
        port.dtr = False  # takes effect before the opening; elsewhere it would lower DTR after it
    port.open()
    if is_device and system != "win32":
        _keep_line_up(port, name, system)
    return port


def _keep_line_up(port: Any, name: str, system: str) -> None:
    """Clear HUPCL, request exclusive use and the shortest bridge latency; ignore failures."""
    if sys.platform == "win32" or not isinstance(getattr(port, "fd", None), int):
        return
    import fcntl
    import termios

    foreign = (OSError, termios.error)
    with contextlib.suppress(*foreign):
        attributes = termios.tcgetattr(port.fd)
        if attributes[2] & termios.HUPCL:
            attributes[2] &= ~termios.HUPCL
            termios.tcsetattr(port.fd, termios.TCSANOW, attributes)
        if not termios.tcgetattr(port.fd)[2] & termios.HUPCL:
            note_left_quiet(name)
    with contextlib.suppress(*foreign):
        fcntl.ioctl(port.fd, termios.TIOCEXCL)
    if system.startswith("linux"):
        with contextlib.suppress(*foreign, AttributeError, NotImplementedError, ValueError):
            port.set_low_latency_mode(True)


# --- ports that were left with DTR on ------------------------------------------------------------


def _note_of(name: str) -> tuple[Path, str] | None:
    """Return the file of a device's note and its valid content; None if there is no device."""
    if sys.platform == "win32":
        return None
    try:
        place = Path(name).resolve(strict=True)
        status = place.stat()
        boot = Path("/proc/sys/kernel/random/boot_id").read_text(encoding="ascii").strip()
    except (OSError, ValueError):
        return None
    base = os.environ.get("XDG_RUNTIME_DIR") or tempfile.gettempdir()
    folder = Path(base) / f"hostlink-{os.getuid() if hasattr(os, 'getuid') else 0}"
    file = folder / str(place).strip("/").replace("/", "-")
    # The device node changes when the bridge is plugged in again, the boot identifier at a reboot.
    return file, f"{boot} {status.st_ino} {status.st_rdev}"


def note_left_quiet(name: str) -> None:
    """Record that DTR stays on when a device is closed; ignore failures."""
    note = _note_of(name)
    if note is None:
        return
    with contextlib.suppress(OSError):
        note[0].parent.mkdir(mode=0o700, exist_ok=True)
        note[0].write_text(note[1], encoding="ascii")


def was_left_quiet(name: str) -> bool:
    """Return whether hostlink used this device since it was plugged in, and left DTR on."""
    note = _note_of(name)
    if note is None:
        return False
    try:
        return note[0].read_text(encoding="ascii") == note[1]
    except (OSError, ValueError):
        return False


# --- other programs on the port ------------------------------------------------------------------


def refuse_held(name: str) -> None:
    """Raise LinkError if another program has the device open (detected on Linux only).

    Without exclusive use two programs would share the port, and both would lose bytes.
    """
    holder = holder_of(name)
    if holder:
        raise LinkError(
            f"The port {name} is in use by {holder}.",
            reason=LinkReason.BUSY,
            kept="Nothing was sent.",
            advice=CLOSE_OTHER,
        )


def holder_of(name: str) -> str:
    """Describe another process that has a device open; return "" if none is found.

    Without administrator rights only the user's own processes can be examined.
    """
    if not Path(name).is_char_device():
        return ""
    device = os.path.realpath(name)
    own = str(os.getpid())
    for process in Path("/proc").glob("[0-9]*"):
        if process.name == own:
            continue
        with contextlib.suppress(OSError):
            for handle in (process / "fd").iterdir():
                # Only the link is read: following it could block on an unresponsive disk.
                if os.readlink(handle) == device:  # noqa: PTH115 - no Path is needed
                    called = (process / "comm").read_text(errors="replace").strip()
                    return f'the program "{called}" (process {process.name})'
    return ""


# --- after the opening ---------------------------------------------------------------------------


class Waking(StatedCore):
    """Listen to a board that may be starting, without sending, since a bootloader might react.

    Only a question that the board is known to ask at its start is answered, with an empty line.
    Ends at a prompt at the start of a line followed by quiet, or when the time is over. Results:
    `heard`, and `woke`: whether the banner came or, if none is known, an unrequested prompt.
    restart_s: the profile's restart time, seconds. known: whether the prompt is known; if not, any
    text followed by silence ends the wait. questions: without trailing blanks. Its states and their
    moves are WAKING in hostlink.link.states.
    """

    def __init__(
        self,
        pacing: Pacing,
        *,
        banner: bytes,
        restart_s: float,
        known: bool = True,
        questions: Sequence[bytes] = (),
    ) -> None:
        super().__init__(WAKING)
        self.heard = bytearray()
        self.woke = False
        self._pacing = pacing
        self._banner = banner
        self._known = known
        self._questions = list(questions)
        self._answered_to = 0  # bytes received before the last answer was sent
        self._longest_s = restart_s * _WAKING_MARGIN + _WAKING_SLACK_S
        self._end: float | None = None
        self._last = 0.0

    def step(self, now: float, received: bytes) -> Step:
        """Take received bytes; return the answer to a start-up question and the next wake time."""
        if self._end is None:
            self._end = now + self._longest_s
            self._last = now
        if received:
            self.heard += received
            self._last = now
        heard = bytes(self.heard)
        prompted = ends_with_prompt(heard, self._pacing) if self._known else bool(heard)
        quiet_s = self._pacing.quiet_s if self._known else _SILENCE_AFTER_START_S
        quiet_at = self._last + quiet_s
        asks = heard[self._answered_to :].rstrip(b" ").endswith(tuple(self._questions))
        if asks and now < quiet_at:
            return Step(b"", quiet_at)
        if asks:
            self._course.move(CoreState.ANSWERING)
            self._answered_to = len(heard)
            self._end = self._last = now
            self._end += self._longest_s
            return Step(self._pacing.line_end, self._end)
        if (prompted and now >= quiet_at) or now >= self._end:
            self.woke = _holds_banner(heard, self._banner) if self._banner else prompted
            self._course.move(CoreState.DONE)
            return Step()
        return Step(b"", min(quiet_at, self._end) if prompted else self._end)


def _holds_banner(heard: bytes, banner: bytes) -> bool:
    """Return whether unrequested bytes hold the banner, even if badly damaged.

    No program is listed or echoed before anything is sent, so less certainty is needed than on a
    wire in use (see Wire).
    """
    if banner in heard or len(banner) < LONG_BANNER:
        return banner in heard
    text, known = heard.decode("latin-1"), banner.decode("latin-1")
    alike = SequenceMatcher(b=known, autojunk=False)
    for at in range(max(1, len(text) - len(known) + 1)):
        alike.set_seq1(text[at : at + len(known)])
        if alike.quick_ratio() >= _BANNER_ALIKE and alike.ratio() >= _BANNER_ALIKE:
            return True
    return False
