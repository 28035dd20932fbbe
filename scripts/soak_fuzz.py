"""Damaged and invented inputs for everything that reads what others wrote, each by its seed.

A sound example is changed at a few places (bytes flipped, left out, repeated, put in from a list of
awkward ones), and given to the reader. It must give a result, or an error of hostlink's own; board
output must also come to an end in virtual time.
"""

from __future__ import annotations

import hashlib
import json
import random
import shutil
import tempfile
import traceback
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass, field
from pathlib import Path

from soak_damage import damaged_archives
from soak_jobs import in_memory
from soak_readers import READERS as FILE_READERS
from soak_readers import Reader

from hostlink.archive import Archive, Content, Origin
from hostlink.archive.exchange.bag_reading import open_bag
from hostlink.archive.exchange.bags import write_bag
from hostlink.board.dialogue.dialogue import Dialogue
from hostlink.board.profile.file import find_profile, shipped_profiles
from hostlink.board.profile.text import read_profile
from hostlink.errors import HostlinkError
from hostlink.firmware.chip import ATMEGA328P
from hostlink.firmware.hex_file import read_hex
from hostlink.firmware.review import review_image
from hostlink.link.clock import VirtualClock
from hostlink.link.wire import Wire
from hostlink.listing import Listing, canonical, compare, decode_listing, measure, mend, review
from hostlink.listing.checkcodes import codes_of, parse_codes
from hostlink.listing.renumber import renumber
from hostlink.listing.shrinking.shrink import shrink
from hostlink.publish.sheet_file import page_kind, read_sheet
from hostlink.shipped import library_folder

MOST_SECONDS = 1800.0  # of virtual time, for what a board sends
_SLOW_ONE_IN = 25  # of the listings, for what takes long
_AWKWARD = (
    b"\0", b"\x1b[2J", b"\x1b]0;x\x07", b"\xff", b"\xc3", b"\xe2\x80\xae", b"\r", b"\n", b"\r\n",
    b"\t", b'"', b":", b"99999999999999999999", b"-1", b"0", b"[red]", b"{", b"}", b"\\", b"\x08",
    b"\x15", b"\x11", b"\x13", b"A" * 5000, b" " * 3000, b"\xf0\x9f\x98\x80", b"\xed\xa0\x80", b"=",
    b"../", b"null", b"1e999", b"[[", b"#", b":00000001FF", b"<", b"&",
)  # fmt: skip


@dataclass
class Fuzzed:
    """What one reader came to."""

    inputs: int = 0
    refused: int = 0
    troubles: list[str] = field(default_factory=list)


def mutated(choose: random.Random, data: bytes) -> bytes:
    """The data with one to five changes."""
    changed = bytearray(data)
    for _ in range(choose.randint(1, 5)):
        at = choose.randrange(len(changed) + 1)
        length = choose.choice([1, 1, 2, 5, 20, 100])
        kind = choose.randrange(6)
        if kind == 0 and at < len(changed):
            changed[at] ^= 1 << choose.randrange(8)
        elif kind == 1:
            del changed[at : at + length]
        elif kind == 2:
            changed[at:at] = changed[at : at + length]
        elif kind == 3:
            changed[at:at] = choose.choice(_AWKWARD)
        elif kind == 4:
            changed[at : at + length] = choose.randbytes(length)
        else:
            other = choose.randrange(len(changed) + 1)
            changed[at:at] = changed[other : other + length]
    return bytes(changed)


# --- the readers ---------------------------------------------------------------------------------


def _listings() -> list[bytes]:
    folder = library_folder()
    return [path.read_bytes() for path in sorted(folder.rglob("*")) if path.suffix != ".toml"
            and path.is_file()]  # fmt: skip


def _read_listing(choose: random.Random, data: bytes) -> None:
    rules = find_profile("practice").rules
    text = decode_listing(data, name="fuzzed.bas", charset=choose.choice(["utf-8", "latin-1"]))
    if page_kind(text):
        text = read_sheet(text, name="fuzzed.html").text
    listing = Listing.from_text(text)
    review(listing, rules)
    measure(listing, rules)
    canonical(listing, rules)
    mended = mend(text, rules)
    compare(listing, Listing.from_text(mended.text))
    others: list[Callable[[], object]] = [
        lambda: parse_codes(text, name="fuzzed.txt"),
        lambda: codes_of(listing, rules),
    ]
    if choose.randrange(_SLOW_ONE_IN) == 0 and len(data) < 2000:
        others += [lambda: renumber(listing, rules), lambda: shrink(listing, rules)]
    for other in others:
        with suppress(HostlinkError):  # each may refuse what the others take
            other()


def _profiles() -> list[bytes]:
    return [each.read_bytes() for each in shipped_profiles().values()]


def _read_profile(choose: random.Random, data: bytes) -> None:
    text = data.decode(choose.choice(["latin-1", "utf-8"]), "replace")
    read_profile(text, "fuzzed.toml")


def _hex_files() -> list[bytes]:
    choose = random.Random(1988)
    files = []
    for size in (0, 1, 16, 300, 2000):
        held, rows = choose.randbytes(size), []
        for at in range(0, size, 16):
            part = held[at : at + 16]
            record = bytes([len(part), at >> 8, at & 255, 0]) + part
            rows.append(f":{record.hex().upper()}{-sum(record) & 255:02X}")
        files.append("\n".join([*rows, ":00000001FF", ""]).encode())
    return [*files, b":020000021000EC\n" + files[2], b":020000040001F9\n" + files[2]]


def _read_hex(_: random.Random, data: bytes) -> None:
    read = read_hex(data, "fuzzed.hex", ATMEGA328P.flash_bytes)
    review_image(read, ATMEGA328P, 2048)


# --- what a board sends --------------------------------------------------------------------------


class _Babbler:
    """A port at which each burst of the host is answered by some piece of a text.

    Two in three echo faithfully and speak only when a line ends: else few of the host's lines
    would ever be typed right, and nothing that follows them would be tried.
    """

    timeout = 0.05

    def __init__(self, choose: random.Random, clock: VirtualClock, text: bytes) -> None:
        self._choose, self._clock, self._text = choose, clock, text
        self._held = bytearray()
        self._echoes, self._strays = choose.choice([(0.8, 0.1), (1.0, 0.0), (1.0, 0.0)])
        self.dtr = True
        self.baudrate = 57600

    @property
    def in_waiting(self) -> int:
        return len(self._held)

    def read(self, size: int = 1) -> bytes:
        self._clock.sleep(0.001 if self._held else self.timeout)
        data = bytes(self._held[:size])
        del self._held[:size]
        return data

    def write(self, data: bytes) -> int:
        if self._choose.random() < self._echoes:
            self._held += data  # the echo
        end = self._choose.choice([b"\r\n+ ", b"\r\n+ ", b"+ ", b"\r\n", b""])
        size = self._choose.choice([0, 0, 3, 30, 300])
        at = self._choose.randrange(max(1, len(self._text)))
        if b"\r" in data or self._choose.random() < self._strays:
            self._held += self._text[at : at + size] + end
        return len(data)

    def reset_input_buffer(self) -> None:
        self._held.clear()

    def close(self) -> None:
        self._held.clear()


def _transcripts() -> list[bytes]:
    held = [text.replace(b"\r\n", b"\n").replace(b"\n", b"\r\n") for text in _listings()[:12]]
    banner = b"\r\npractice board, 999 bytes for a program\r\n+ "
    return [*held, banner, b"! no such line\r\n+ ", b" 412\r\n+ ", b"ONE 41\r\nTWO 7\r\n+ "]


def _hear_board(choose: random.Random, data: bytes) -> None:
    clock = VirtualClock()
    shown: list[object] = []

    def cancelled() -> bool:
        if clock.now() > MOST_SECONDS:
            raise TimeoutError("what the board sends does not come to an end")
        return False

    wire = Wire(_Babbler(choose, clock, data), clock, banner=b"practice board", cancelled=cancelled)
    dialogue = Dialogue(wire, find_profile("practice"), shown.append)
    try:
        dialogue.attach(may_interrupt=choose.random() < 0.5)
        dialogue.free_memory()
        dialogue.capture()
        dialogue.ask("SHELF")
    finally:
        for event in shown:
            for said in vars(event).values() if hasattr(event, "__dict__") else ():
                assert not isinstance(said, str) or said.isprintable(), said


# --- bags ----------------------------------------------------------------------------------------


@contextmanager
def _bag_reader() -> Iterator[tuple[list[bytes], Reader]]:
    """A reader that changes one file of a sound bag, and most times makes the manifest right."""
    with tempfile.TemporaryDirectory(prefix="hostlink-soak-", dir=in_memory()) as name:
        sound, folder = Path(name) / "sound", Path(name) / "bag"
        with Archive.open(Path(name) / "source.sqlite3") as source:
            board = source.board_seen(serial="red-1")
            for program in ("TIDE", "LAMP"):
                text = f'10 PRINT "{program}"\n'
                content = Content(text.encode(), text, text, "practice", "utf-8", 20)
                source.keep(program, content, Origin("file", "x.bas"))
            raw = Content(b"\xff\x0010 REM\r", "\xff\x0010 REM\n", "10 REM\n", "tiny", "latin-1")
            source.rescue(raw, Origin("rescue", board_uuid=board.uuid))
            source.tag("TIDE", "harbour")
            source.note("TIDE", "slow")
            image = source.keep_image(b"\x0c\x94" * 40, part="ATmega328P", name="one")
            source.begin_write(board.uuid, image, previous=None, role="computer", part="ATmega328P")
            with source.records() as records:
                write_bag(records, sound)
        files = sorted(path.relative_to(sound) for path in sound.rglob("*") if path.is_file())
        json_files = [path for path in files if path.suffix in (".json", ".jsonl")]
        sound_json = (sound / "data" / "archive.json").read_bytes()
        with Archive.open(Path(name) / "target.sqlite3") as target:

            def read(choose: random.Random, data: bytes) -> None:
                shutil.rmtree(folder, ignore_errors=True)
                shutil.copytree(sound, folder)
                if choose.random() < 0.6:
                    path = folder / choose.choice(json_files)
                    path.write_bytes(_other_json(choose, path.read_bytes(), data))
                else:
                    path = folder / choose.choice(files)
                    path.write_bytes(mutated(choose, path.read_bytes()))
                if choose.random() < 0.9:
                    _make_manifest_right(folder)
                with open_bag(folder) as records:
                    target.merge(records)

            yield [sound_json], read


def _other_json(choose: random.Random, sound: bytes, data: bytes) -> bytes:
    """Changed bytes, or a sound file of JSON lines with a changed value in one of them."""
    lines = sound.splitlines()
    if not lines or choose.random() < 0.3:
        return data
    at = choose.randrange(len(lines))
    lines[at] = json.dumps(_changed(choose, json.loads(lines[at]))).encode()
    return b"\n".join(lines) + b"\n"


def _changed(choose: random.Random, value: object) -> object:
    """One value somewhere in a JSON document exchanged."""
    if isinstance(value, dict) and value and choose.random() < 0.95:
        key = choose.choice(sorted(value))
        if choose.random() < 0.05:
            return {name: held for name, held in value.items() if name != key}
        return {**value, key: _changed(choose, value[key])}
    if isinstance(value, list) and value and choose.random() < 0.95:
        at = choose.randrange(len(value))
        if choose.random() < 0.1:
            return [*value[:at], *value[at + 1 :]] + ([value[at]] * choose.randrange(3))
        return [*value[:at], _changed(choose, value[at]), *value[at + 1 :]]
    return choose.choice(
        [None, True, 0, -1, 1 << 70, 1.5, "", "x", "\ud800", "../x", [], {}, "2031-09-03", value]
    )


def _make_manifest_right(folder: Path) -> None:
    rows = [
        f"{hashlib.sha256(path.read_bytes()).hexdigest()}  {path.relative_to(folder).as_posix()}\n"
        for path in sorted((folder / "data").rglob("*"))
        if path.is_file()
    ]
    (folder / "manifest-sha256.txt").write_text("".join(rows), encoding="utf-8")
    for name in ("manifest-sha512", "tagmanifest-sha256", "tagmanifest-sha512"):
        (folder / f"{name}.txt").unlink(missing_ok=True)
    total = sum(path.stat().st_size for path in (folder / "data").rglob("*") if path.is_file())
    info = folder / "bag-info.txt"
    if info.exists():
        rows = [
            f"Payload-Oxum: {total}.{len(rows)}\n" if row.startswith("Payload-Oxum") else row
            for row in info.read_text(encoding="utf-8", errors="replace").splitlines(keepends=True)
        ]
        info.write_text("".join(rows), encoding="utf-8")


# --- all of them ---------------------------------------------------------------------------------

READERS: dict[str, tuple[Callable[[], list[bytes]], Reader]] = {
    "listing": (_listings, _read_listing),
    "profile": (_profiles, _read_profile),
    "HEX": (_hex_files, _read_hex),
    "board output": (_transcripts, _hear_board),
    **FILE_READERS,
}
KINDS = (*READERS, "bag", "archive")
COSTLY = {"archive": 10, "image words": 10}
"""Kinds of which only one in so many is tried, since each takes long."""


def fuzz(kind: str, first: int, count: int) -> Fuzzed:
    """Give a reader so many inputs, by their seeds."""
    if kind == "bag":
        with _bag_reader() as (examples, reader):
            return _fuzz(kind, examples, reader, first, count)
    if kind == "archive":
        with damaged_archives() as reader:
            return _fuzz(kind, [b""], reader, first, count)
    make, reader = READERS[kind]
    return _fuzz(kind, make(), reader, first, count)


def _fuzz(kind: str, examples: list[bytes], reader: Reader, first: int, count: int) -> Fuzzed:
    found = Fuzzed()
    for seed in range(first, first + count):
        choose = random.Random(f"{kind} {seed}")
        data = mutated(choose, choose.choice(examples))
        found.inputs += 1
        try:
            reader(choose, data)
        except HostlinkError as error:
            found.refused += 1
            if not str(error).replace("\n", "").isprintable():
                found.troubles.append(f"{kind} {seed}: not fit to be shown: {error!r}")
        except Exception:  # noqa: BLE001 - what is looked for
            last = traceback.format_exc().splitlines()
            found.troubles.append(f"{kind} {seed}: {last[-1]} ({last[-3].strip()})")
    return found
