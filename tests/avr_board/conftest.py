"""A real microcontroller program as a board: firmware.c on a simulated ATmega328P behind a port.

The compiler is Debian's gcc-avr with avr-libc, the simulator the library of libsimavr-dev. What is
built goes to pytest's temporary folder. Where one of them is missing the tests are skipped with
the reason, or fail where HOSTLINK_CI is 1.

The chip has the only clock: its time passes while somebody waits for it, so nothing here depends on
how busy the computer is. Bytes go through a real pseudo-terminal and pyserial anyway.
"""

from __future__ import annotations

import contextlib
import dataclasses
import math
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

from hostlink.board.dialogue.dialogue import Dialogue
from hostlink.board.profile.file import load_profile
from hostlink.board.profile.model import Profile
from hostlink.link.serial_port import SerialPort
from hostlink.link.wire import Wire

HERE = Path(__file__).parent
PACKAGES = "gcc-avr, avr-libc, libsimavr-dev and libelf-dev"
BOOTLOADER_VARIABLE = "HOSTLINK_BOOTLOADER_HEX"
# With a bootloader that nobody here wrote the same tests run over that too.
BOOTLOADERS = ["own", *(["elsewhere"] if os.environ.get(BOOTLOADER_VARIABLE) else [])]
# ATmega328P, 7810C table 26-7: where a boot section of 2048, 1024, 512 or 256 words begins.
BOOT_SECTIONS = (0x7000, 0x7800, 0x7C00, 0x7E00)
FIRST_AT = 0x7800
# What firmware.c sends after a restart.
GREETING = b"\r\nevening class board, 999 bytes for a program\r\n+ "
MANNERS = ("class", "capital", "token")  # by their numbers in manners.h
ANSWER_S = 180.0  # a bound, not a wait: the computer may be busy with other tests
CLOCK_HZ = 16e6

FOR_CHIP = ("avr-gcc", "-mmcu=atmega328p")
CAREFUL = ("-Os", "-std=gnu11", "-Wall", "-Wextra", "-Werror", "-DF_CPU=16000000UL")
LIBRARIES = ("-lsimavr", "-lelf", "-lutil", "-lm")


@dataclasses.dataclass(frozen=True, slots=True)
class Counts:
    """What the runner counted since it began. heard: bytes that reached the chip's receiver.

    overrun: lost in the receiver. dropped: the program had no room for them. sent: bytes that the
    chip has sent. ubrr, double: its speed setting. pc: address of its next instruction. cpu_ms:
    processor time of the simulation.
    """

    heard: int
    overrun: int
    dropped: int
    sent: int
    ubrr: int
    double: int
    pc: int
    cpu_ms: int

    @property
    def lost(self) -> int:
        return self.overrun + self.dropped


class ChipClock:
    """The chip's time in seconds, which passes only while somebody sleeps or waits."""

    def __init__(self, board: AvrBoard) -> None:
        self._board = board

    def now(self) -> float:
        return self._board.cycles / CLOCK_HZ

    def sleep(self, seconds: float) -> None:
        if seconds > 0:
            self._board.pass_time(seconds)


class AvrPort(SerialPort):
    """The board's port. A pseudo-terminal has no DTR: when it is raised here, the chip restarts."""

    def __init__(self, board: AvrBoard, baud: int) -> None:
        super().__init__(board.port, baud)
        self._board = board
        self._raised = True
        self._fetched = board.given  # what came while nobody listened is gone

    @property
    def dtr(self) -> bool:
        return self._raised

    @dtr.setter
    def dtr(self, value: bool) -> None:
        if value and not self._raised:
            self._board.restart()
        self._raised = value

    @property
    def in_waiting(self) -> int:
        """Bytes that the runner has put into the terminal; the system may still carry them."""
        return self._board.given - self._fetched

    def wait_until(self, moment: float) -> None:
        """Let the chip's time pass until `moment`, or until a byte is there."""
        while not self.in_waiting and (rest := moment - self._board.clock.now()) > 1 / CLOCK_HZ:
            self._board.pass_time(min(rest, 0.5), stop_at_output=True)

    def read(self, size: int = 1) -> bytes:
        self.wait_until(self._board.clock.now() + (self.timeout or 0.0))
        wanted = min(size, self.in_waiting)
        got = b""
        patience = time.monotonic() + ANSWER_S
        while len(got) < wanted:
            assert time.monotonic() < patience, "the pseudo-terminal does not carry what is in it"
            got += super().read(wanted - len(got))
        self._fetched += wanted
        return got

    def write(self, data: bytes) -> int | None:
        self._board.written += len(data)
        return super().write(data)

    def reset_input_buffer(self) -> None:
        self.read(self.in_waiting)

    def close(self) -> None:
        if not self._closed:
            self._board.pass_time(0)  # takes what was written while the terminal is still open
        super().close()

    def hear(self, enough: Callable[[bytes], bool], within_s: float = ANSWER_S) -> bytes:
        """Read until `enough` is satisfied with all that came; fails the test if it never is.

        within_s: of the chip's time.
        """
        heard = b""
        deadline = self._board.clock.now() + within_s
        while not enough(heard):
            if self._board.clock.now() > deadline:
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
    """One simulated board. port: the name to open. profile: what hostlink knows of it.

    clock: the chip's. written, given: bytes that hosts have written to it, and got from it, so far.
    """

    def __init__(self, command: Sequence[str], profile: Profile, folder: Path) -> None:
        self.profile = profile
        self.clock = ChipClock(self)
        self.cycles = self.written = self.given = 0
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
            left = max(0.0, deadline - time.monotonic())
            ready = select.select([self._process.stdout], [], [], left)[0]
            part = os.read(self._process.stdout.fileno(), 4096) if ready else b""
            if not part:
                pytest.fail(f"the runner ended or hangs after {line!r}")
            line += part
        return line.decode().strip()

    def _ask(self, command: str) -> str:
        assert self._process.stdin is not None
        self._process.stdin.write(f"{command}\n".encode())
        return self._answer()

    def pass_time(self, seconds: float, *, stop_at_output: bool = False) -> None:
        """Let the chip's time pass; stop_at_output: no longer than until a host gets a byte."""
        word, cycles = "run" if stop_at_output else "pass", math.ceil(seconds * CLOCK_HZ)
        _, at, _, given = self._ask(f"{word} {cycles} {self.written}").split()
        self.cycles, self.given = int(at), int(given)

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
        deadline = self.clock.now() + ANSWER_S
        while self.counts().sent < before + len(greeting):
            assert self.clock.now() < deadline, "the board does not come to its prompt"
            self.pass_time(0.05)

    def flash(self) -> bytes:
        """All 32 KiB of the chip's flash as they are now."""
        file = self._folder / "flash.bin"
        assert self._ask(f"flash {file}") == "done"
        return file.read_bytes()

    def open(self, baud: int = 0) -> AvrPort:
        """Its port, at the profile's speed or another."""
        return AvrPort(self, baud or self.profile.talk.baud)

    @contextlib.contextmanager
    def opened(self, baud: int = 0) -> Iterator[AvrPort]:
        """Its port, closed when the block ends."""
        port = self.open(baud)
        try:
            yield port
        finally:
            port.close()

    @contextlib.contextmanager
    def attached(self) -> Iterator[Dialogue]:
        """A dialogue at the board's prompt, ended with the block."""
        with self.opened() as port:
            banner = self.profile.talk.banner.encode()
            dialogue = Dialogue(Wire(port, self.clock, banner=banner), self.profile)
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
        return self.chip_program("firmware", [], defines)

    def first(self, baud: int) -> Path:
        """first.c as a raw image for the boot section."""
        at = ["-nostartfiles", f"-Wl,--section-start=.text={FIRST_AT:#x}"]
        return self.chip_program("first", at, {"BAUD": baud})

    def from_elsewhere(self, hex_file: Path) -> tuple[Path, int]:
        """An Intel HEX file of a bootloader as a raw image, and where it begins."""
        from intelhex import IntelHex

        held = IntelHex(str(hex_file))
        start = int(held.minaddr())
        if start not in BOOT_SECTIONS:
            sections = ", ".join(f"{address:#x}" for address in BOOT_SECTIONS)
            pytest.fail(f"{hex_file} begins at {start:#x}; a boot section begins at {sections}")
        image = self.folder / "elsewhere.bin"
        image.write_bytes(held.tobinstr())
        return image, start

    def chip_program(self, name: str, options: list[str], defines: dict[str, int]) -> Path:
        """A program in C for the chip as a raw image."""
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
def bootloader_board(start_board: MakeBoard, bootloader: tuple[Path, int]) -> AvrBoard:
    """A chip whose boot section holds a bootloader, its flash else empty.

    It begins there after each restart, as a chip with that fuse does. Raising `dtr` on its port
    restarts it.
    """
    image, start = bootloader
    return start_board([(start, image)], profile_for(57600), start)


@pytest.fixture(params=BOOTLOADERS)
def bootloader(request: pytest.FixtureRequest, workshop: Workshop) -> tuple[Path, int]:
    """A bootloader as a raw image, and where it begins: boot.c, and the one that is named."""
    if request.param == "own":
        at = ["-nostartfiles", f"-Wl,--section-start=.text={FIRST_AT:#x}"]
        return workshop.chip_program("boot", at, {"BAUD": 115200}), FIRST_AT
    return workshop.from_elsewhere(Path(os.environ[BOOTLOADER_VARIABLE]))


def pytest_report_header() -> str:
    """Say which bootloaders the firmware tests run over."""
    named = os.environ.get(BOOTLOADER_VARIABLE)
    elsewhere = f"and {named}" if named else f"only; {BOOTLOADER_VARIABLE} names no other"
    return f"bootloaders on the simulated chip: the tests' own {elsewhere}"


def profile_for(baud: int, line_ms: int = 15, receive_buffer: int = 64) -> Profile:
    """The profile of avr.toml with the values that a board was compiled with."""
    profile = load_profile(HERE / "avr.toml")
    talk = dataclasses.replace(
        profile.talk, baud=baud, line_ms=line_ms, receive_buffer=receive_buffer
    )
    return dataclasses.replace(profile, talk=talk)
