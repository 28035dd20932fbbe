"""A real microcontroller program as a board: firmware.c on a simulated ATmega328P behind a port.

The compiler is Debian's gcc-avr with avr-libc, the simulator the library of libsimavr-dev. What is
built goes to pytest's temporary folder. Where one of them is missing the tests are skipped with
the reason, or fail where HOSTLINK_CI is 1.
"""

from __future__ import annotations

import contextlib
import dataclasses
import os
import select
import shutil
import subprocess
import sys
import time
from collections.abc import Callable, Iterator, Sequence
from pathlib import Path
from typing import NoReturn

import pytest

from hostlink.board.dialogue import Dialogue
from hostlink.board.profile import Profile
from hostlink.board.profile_file import load_profile
from hostlink.link.clock import RealClock
from hostlink.link.serial_port import SerialPort
from hostlink.link.wire import Wire

HERE = Path(__file__).parent
PACKAGES = "gcc-avr, avr-libc, libsimavr-dev and libelf-dev"
BOOTLOADER_VARIABLE = "HOSTLINK_BOOTLOADER_HEX"
# ATmega328P, 7810C table 26-7: where a boot section of 2048, 1024, 512 or 256 words begins.
BOOT_SECTIONS = (0x7000, 0x7800, 0x7C00, 0x7E00)
FIRST_AT = 0x7800
# What firmware.c sends after a restart.
GREETING = b"\r\nevening class board, 999 bytes for a program\r\n+ "
MANNERS = ("class", "capital", "token")  # by their numbers in manners.h
ANSWER_S = 20.0  # generous: the computer may be busy with other tests

FOR_CHIP = ("avr-gcc", "-mmcu=atmega328p")
CAREFUL = ("-Os", "-std=gnu11", "-Wall", "-Wextra", "-Werror", "-DF_CPU=16000000UL")
LIBRARIES = ("-lsimavr", "-lelf", "-lutil", "-lm")


@dataclasses.dataclass(frozen=True, slots=True)
class Counts:
    """What the runner counted since it began. heard: bytes that reached the chip's receiver.

    overrun: lost in the receiver. dropped: the program had no room for them. sent: bytes that the
    chip has sent. ubrr, double: its speed setting. cpu_ms: processor time of the simulation.
    """

    heard: int
    overrun: int
    dropped: int
    sent: int
    ubrr: int
    double: int
    cpu_ms: int

    @property
    def lost(self) -> int:
        return self.overrun + self.dropped


class AvrPort(SerialPort):
    """The board's port. A pseudo-terminal has no DTR: when it is raised here, the chip restarts."""

    def __init__(self, board: AvrBoard, baud: int) -> None:
        super().__init__(board.port, baud)
        self._board = board
        self._raised = True

    @property
    def dtr(self) -> bool:
        return self._raised

    @dtr.setter
    def dtr(self, value: bool) -> None:
        if value and not self._raised:
            self._board.restart()
        self._raised = value

    def hear(self, enough: Callable[[bytes], bool], within_s: float = ANSWER_S) -> bytes:
        """Read until `enough` is satisfied with all that came; fails the test if it never is."""
        heard = b""
        deadline = time.monotonic() + within_s
        while not enough(heard):
            if time.monotonic() > deadline:
                pytest.fail(f"not what should come within {within_s} s: {heard[-400:]!r}")
            heard += self.read(max(1, self.in_waiting))
        return heard

    def hear_greeting(self) -> bytes:
        """Read until the board has shown its banner and first prompt."""
        return self.hear(lambda heard: heard.endswith(GREETING))

    def say(self, data: bytes, ends: bytes = b"\n+ ") -> bytes:
        """Write bytes as they are, unpaced; what comes back until it ends so."""
        self.write(data)
        return self.hear(lambda heard: heard.endswith(ends))


class AvrBoard:
    """One simulated board. port: the name to open. profile: what hostlink knows of it."""

    def __init__(self, command: Sequence[str], profile: Profile, folder: Path) -> None:
        self.profile = profile
        self._folder = folder
        self._process = subprocess.Popen(
            list(command), stdin=subprocess.PIPE, stdout=subprocess.PIPE, bufsize=0
        )
        self.port = self._answer().removeprefix("port ")

    def _answer(self) -> str:
        """The runner's next line; fails the test where none comes."""
        assert self._process.stdout is not None
        line = b""
        deadline = time.monotonic() + ANSWER_S
        while not line.endswith(b"\n"):
            ready = select.select([self._process.stdout], [], [], deadline - time.monotonic())[0]
            byte = self._process.stdout.read(1) if ready else b""
            if not byte:
                pytest.fail(f"the runner ended or hangs after {line!r}")
            line += byte
        return line.decode().strip()

    def _ask(self, command: str) -> str:
        assert self._process.stdin is not None
        self._process.stdin.write(f"{command}\n".encode())
        return self._answer()

    def restart(self) -> None:
        """Pull the chip's reset line."""
        assert self._ask("restart") == "done"

    def counts(self) -> Counts:
        words = self._ask("count").split()
        return Counts(**{name: int(value) for name, value in zip(*[iter(words)] * 2, strict=True)})

    def await_prompt(self, before: int = 0, greeting: bytes = GREETING) -> None:
        """Wait until the board has sent its banner and first prompt, and so is quiet.

        before: bytes that something else sends first. greeting: of its manner.
        """
        deadline = time.monotonic() + ANSWER_S
        while self.counts().sent < before + len(greeting):
            assert time.monotonic() < deadline, "the board does not come to its prompt"

    def flash(self) -> bytes:
        """All 32 KiB of the chip's flash as they are now."""
        file = self._folder / "flash.bin"
        assert self._ask(f"flash {file}") == "done"
        return file.read_bytes()

    @contextlib.contextmanager
    def opened(self, baud: int = 0) -> Iterator[AvrPort]:
        """Its port, at the profile's speed or another, closed when the block ends."""
        port = AvrPort(self, baud or self.profile.talk.baud)
        try:
            yield port
        finally:
            port.close()

    @contextlib.contextmanager
    def attached(self) -> Iterator[Dialogue]:
        """A dialogue at the board's prompt, ended with the block."""
        with self.opened() as port:
            banner = self.profile.talk.banner.encode()
            dialogue = Dialogue(Wire(port, RealClock(), banner=banner), self.profile)
            dialogue.attach()
            yield dialogue

    def end(self) -> None:
        assert self._process.stdin is not None
        self._process.stdin.close()
        try:
            self._process.wait(ANSWER_S)
        except subprocess.TimeoutExpired:
            self._process.kill()
            self._process.wait()
        assert self._process.stdout is not None
        self._process.stdout.close()


class Workshop:
    """Builds the runner and firmwares, each once, in a folder of its own."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self._built: dict[str, Path] = {}

    def runner(self) -> Path:
        target = self.folder / "runner"
        source = str(HERE / "runner.c")
        command = ["cc", "-O2", "-Wall", "-Wextra", "-o", str(target), source, *LIBRARIES]
        return self._build(target, [command])

    def firmware(self, **defines: int) -> Path:
        """firmware.c as a raw flash image."""
        return self._chip_program("firmware", [], defines)

    def first(self, baud: int) -> Path:
        """first.c as a raw image for the boot section."""
        at = ["-nostartfiles", f"-Wl,--section-start=.text={FIRST_AT:#x}"]
        return self._chip_program("first", at, {"BAUD": baud})

    def _chip_program(self, name: str, options: list[str], defines: dict[str, int]) -> Path:
        settings = [f"-D{word}={value}" for word, value in defines.items()]
        linked = self.folder / f"{name}{''.join(settings)}.elf"
        source = str(HERE / f"{name}.c")
        compile_it = [*FOR_CHIP, *CAREFUL, *settings, *options, "-o", str(linked), source]
        image = linked.with_suffix(".bin")
        raw = ["avr-objcopy", "-O", "binary", str(linked), str(image)]
        return self._build(image, [compile_it, raw])

    def _build(self, target: Path, commands: list[list[str]]) -> Path:
        if target.name not in self._built:
            for command in commands:
                done = subprocess.run(command, capture_output=True, text=True, check=False)
                if done.returncode:
                    pytest.fail(f"{' '.join(command)}\n{done.stderr}")
            self._built[target.name] = target
        return self._built[target.name]


def missing() -> str:
    """Which tool is not there, "" if all are."""
    if sys.platform != "linux":
        return "the runner is for Linux"
    for program in ("cc", "avr-gcc", "avr-objcopy"):
        if shutil.which(program) is None:
            return f"the program {program} is not installed"
    for compiler, header in (
        (FOR_CHIP, "avr/io.h"),
        (("cc",), "simavr/sim_avr.h"),
        (("cc",), "libelf.h"),
    ):
        look = [*compiler, "-E", "-x", "c", "-"]
        found = subprocess.run(
            look, input=f"#include <{header}>", text=True, capture_output=True, check=False
        )
        if found.returncode:
            return f"the header {header} is not installed"
    return ""


@pytest.fixture(scope="session")
def workshop(
    tmp_path_factory: pytest.TempPathFactory, lacking: Callable[[str], NoReturn]
) -> Workshop:
    """Compiler and simulator, where they are installed."""
    reason = missing()
    if reason:
        lacking(f"{reason}; the Debian packages are {PACKAGES}")
    return Workshop(tmp_path_factory.mktemp("avr"))


MakeBoard = Callable[..., AvrBoard]


@pytest.fixture
def start_board(workshop: Workshop, tmp_path: Path) -> Iterator[MakeBoard]:
    """Start a chip from (address, image) pairs; it is ended with the test."""
    with contextlib.ExitStack() as ends:

        def make(images: Sequence[tuple[int, Path]], profile: Profile, start: int = 0) -> AvrBoard:
            command = [str(workshop.runner()), "--start", str(start)]
            for address, image in images:
                command += ["--image", str(address), str(image)]
            board = AvrBoard(command, profile, tmp_path)
            ends.callback(board.end)
            return board

        yield make


@pytest.fixture
def avr_board(workshop: Workshop, start_board: MakeBoard) -> MakeBoard:
    """Start a board: baud, line_ms (busy time per stored line) and receive_buffer (bytes) by name.

    It is at its prompt when this returns. With a receive_buffer of 0 the program polls: then only
    the chip's own receiver holds bytes. manner: one of MANNERS; greeting: what it says then after
    a restart.
    """

    def make(
        *,
        baud: int = 57600,
        line_ms: int = 15,
        receive_buffer: int = 64,
        manner: str = "class",
        greeting: bytes = GREETING,
    ) -> AvrBoard:
        defines = {"BAUD": baud, "LINE_MS": line_ms, "RX_RING": receive_buffer}
        image = workshop.firmware(**defines, MANNER=MANNERS.index(manner))
        board = start_board([(0, image)], profile_for(baud, line_ms, receive_buffer))
        board.await_prompt(greeting=greeting)
        return board

    return make


@pytest.fixture
def bootloader_board(workshop: Workshop, start_board: MakeBoard) -> MakeBoard:
    """Start a chip whose boot section holds a bootloader from an Intel HEX file, flash else empty.

    It begins there after each restart, as a chip with that fuse does. Raising `dtr` on its port
    restarts it.
    """
    from intelhex import IntelHex

    def make(hex_file: Path, *, baud: int = 57600) -> AvrBoard:
        data = IntelHex(str(hex_file))
        start = data.minaddr()
        if start not in BOOT_SECTIONS:
            sections = ", ".join(f"{address:#x}" for address in BOOT_SECTIONS)
            pytest.fail(f"{hex_file} begins at {start:#x}; a boot section begins at {sections}")
        image = workshop.folder / "bootloader.bin"
        image.write_bytes(data.tobinstr())
        return start_board([(start, image)], profile_for(baud), start)

    return make


@pytest.fixture
def bootloader_hex() -> Path:
    """The real bootloader that HOSTLINK_BOOTLOADER_HEX names; skips where it names none."""
    named = os.environ.get(BOOTLOADER_VARIABLE, "")
    if not named:
        pytest.skip(f"{BOOTLOADER_VARIABLE} names no bootloader, and none is shipped")
    return Path(named)


def pytest_collection_modifyitems(config: pytest.Config, items: list[pytest.Item]) -> None:
    """In CI, where nothing may be skipped, leave out what needs a bootloader: none is shipped."""
    if os.environ.get("HOSTLINK_CI") != "1" or os.environ.get(BOOTLOADER_VARIABLE):
        return
    left_out = [item for item in items if "bootloader_hex" in getattr(item, "fixturenames", ())]
    if left_out:
        config.hook.pytest_deselected(items=left_out)
        items[:] = [item for item in items if item not in left_out]


def profile_for(baud: int, line_ms: int = 15, receive_buffer: int = 64) -> Profile:
    """The profile of avr.toml with the values that a board was compiled with."""
    profile = load_profile(HERE / "avr.toml")
    talk = dataclasses.replace(
        profile.talk, baud=baud, line_ms=line_ms, receive_buffer=receive_buffer
    )
    return dataclasses.replace(profile, talk=talk)
