"""Write BagIt folders (RFC 8493) file by file, and verify them with bounded work.

A folder to verify may come from anybody. Nothing outside the folder is followed, no line is read
beyond the longest path, and reading ends at the first fault.
"""

from __future__ import annotations

import hashlib
import os
import re
import stat
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from pathlib import Path
from typing import IO

from hostlink.sentences import FAR_TOO_LONG

WRITTEN = ("sha256", "sha512")
"""Algorithms of the manifests that are written: RFC 8493, section 2.4, asks for SHA-512."""
READ = ("md5", "sha1", "sha256", "sha512")
STRONG = ("sha256", "sha512")
MOST_FILES = 4_000_000
LONGEST_LINE = 16_384  # characters; no usual system has paths of more than 4,096 bytes
LARGEST_TAG_FILE = 1 << 20  # bag-info.txt and others; manifests are read line by line
_PIECE = 1 << 20

# Section 2.1.1: exactly two lines. UTF-8 is recommended; other encodings are refused.
_DECLARATION = re.compile(
    rb"BagIt-Version:[ \t]*(\d{1,3})\.(\d{1,3})[ \t]*(?:\r\n|\r|\n)"
    rb"Tag-File-Character-Encoding:[ \t]*UTF-8[ \t]*(?:\r\n|\r|\n)?",
    re.IGNORECASE,
)
_MANIFEST = re.compile(r"(tag)?manifest-([a-z0-9]+)\.txt")
_LINE = re.compile(r"([0-9A-Fa-f]+)[ \t]+\*?(.+)")
_CODE = re.compile(r"%(0[AaDd]|25)")
_OXUM = re.compile(r"([0-9]{1,18})\.([0-9]{1,18})")


class BagError(Exception):
    """A folder is not a valid bag; the message gives the reason."""


# --- writing -------------------------------------------------------------------------------------


class BagWriter:
    """Fills an empty folder with a bag: payload files by `add` and `open`, then `close`."""

    def __init__(self, folder: Path) -> None:
        self._folder = folder
        self._octets = self._files = 0
        (folder / "data").mkdir()
        self._manifests = {
            name: (folder / f"manifest-{name}.txt").open("w", encoding="utf-8", newline="\n")
            for name in WRITTEN
        }

    def add(self, path: str, data: bytes) -> None:
        """Add a payload file. path: below data/, with slashes. Raises FileExistsError."""
        with self.open(path) as put:
            put(data)

    @contextmanager
    def open(self, path: str) -> Iterator[_Put]:
        """Open a payload file for writing in pieces; yields the function that writes one."""
        target = self._folder / "data" / path
        target.parent.mkdir(parents=True, exist_ok=True)
        with target.open("xb") as file:
            put = _Put(file)
            yield put
        self._octets += put.octets
        self._files += 1
        for name, digest in put.digests.items():
            self._manifests[name].write(f"{digest.hexdigest()}  {_encoded(f'data/{path}')}\n")

    def close(self, info: Mapping[str, str]) -> None:
        """Write all tag files. info: elements of bag-info.txt (section 2.2.2)."""
        for file in self._manifests.values():
            file.close()
        declaration = "BagIt-Version: 1.0\nTag-File-Character-Encoding: UTF-8\n"
        _write_text(self._folder / "bagit.txt", declaration)
        elements = {**info, "Payload-Oxum": f"{self._octets}.{self._files}"}
        rows = "".join(f"{label}: {value}\n" for label, value in elements.items())
        _write_text(self._folder / "bag-info.txt", rows)
        names = ["bag-info.txt", "bagit.txt", *(f"manifest-{name}.txt" for name in WRITTEN)]
        for algorithm in WRITTEN:
            lines = [f"{_digest(self._folder / name, algorithm)}  {name}\n" for name in names]
            _write_text(self._folder / f"tagmanifest-{algorithm}.txt", "".join(lines))

    def abandon(self) -> None:
        """Close the files of an unfinished bag."""
        for file in self._manifests.values():
            file.close()


class _Put:
    """Writes pieces to a file and computes its checksums."""

    def __init__(self, file: IO[bytes]) -> None:
        self._file = file
        self.octets = 0
        self.digests = {name: hashlib.new(name) for name in WRITTEN}

    def __call__(self, piece: bytes) -> None:
        self._file.write(piece)
        self.octets += len(piece)
        for digest in self.digests.values():
            digest.update(piece)


def _write_text(path: Path, text: str) -> None:
    path.write_text(text, encoding="utf-8", newline="\n")


def _encoded(path: str) -> str:
    """Return a path as in a manifest (section 2.1.3), only these characters percent-encoded."""
    return path.replace("%", "%25").replace("\n", "%0A").replace("\r", "%0D")


# --- verifying -----------------------------------------------------------------------------------


def verify_bag(folder: Path) -> None:
    """Verify that a folder is a complete bag with right checksums (section 3).

    Raises BagError with the reason, or OSError if it cannot be read.
    """
    payload, tags = _look_over(folder)
    version = _version(folder)
    manifests = [match for name in sorted(tags) if (match := _MANIFEST.fullmatch(name))]
    of_payload = [match[2] for match in manifests if not match[1]]
    for algorithm in (match[2] for match in manifests):
        if algorithm not in READ:
            raise BagError(f"its manifest uses an unknown algorithm, {algorithm}")
    if not set(of_payload) & set(STRONG):
        raise BagError("it has no SHA-256 or SHA-512 manifest")
    _check_info(folder, tags, payload)
    listed = set[str]()
    for algorithm in of_payload:
        here = _verify_manifest(folder, f"manifest-{algorithm}.txt", algorithm, version, payload)
        listed |= here
        if version >= (1, 0) and len(here) != len(payload):
            raise BagError(f"manifest-{algorithm}.txt does not list {min(payload.keys() - here)}")
    if len(listed) != len(payload):
        raise BagError(f"no manifest lists {min(payload.keys() - listed)}")
    for algorithm in (match[2] for match in manifests if match[1]):
        name = f"tagmanifest-{algorithm}.txt"
        others = {tag: size for tag, size in tags.items() if not tag.startswith("tagmanifest-")}
        here = _verify_manifest(folder, name, algorithm, version, others)
        for each in of_payload:
            if f"manifest-{each}.txt" not in here:
                raise BagError(f"{name} does not list manifest-{each}.txt")


def _look_over(folder: Path) -> tuple[dict[str, int], dict[str, int]]:
    """Return the payload files and tag files with their sizes, before any is read."""
    if not (folder / "bagit.txt").is_file():
        raise BagError("it is not a BagIt folder")
    if os.path.lexists(folder / "fetch.txt"):
        raise BagError("it names files to fetch from elsewhere")
    if not (folder / "data").is_dir():
        raise BagError("it has no payload folder data")
    payload, tags = dict[str, int](), dict[str, int]()
    waiting = [""]
    while waiting:
        place = waiting.pop()
        with os.scandir(folder / place if place else folder) as entries:
            for entry in entries:
                path = f"{place}/{entry.name}" if place else entry.name
                state = entry.stat(follow_symlinks=False)
                if stat.S_ISDIR(state.st_mode):
                    waiting.append(path)
                elif stat.S_ISREG(state.st_mode):
                    (payload if path.startswith("data/") else tags)[path] = state.st_size
                else:
                    raise BagError(f"{path} is a link or a special file")
                if len(payload) + len(tags) + len(waiting) > MOST_FILES:
                    raise BagError("it holds far too many files")
    return payload, tags


def _version(folder: Path) -> tuple[int, int]:
    with (folder / "bagit.txt").open("rb") as file:
        match = _DECLARATION.fullmatch(file.read(1000))
    if match is None:
        raise BagError("its bagit.txt does not hold the two lines of a bag in UTF-8")
    version = int(match[1]), int(match[2])
    if version > (1, 0):
        raise BagError(f"it is of a newer version of BagIt, {version[0]}.{version[1]}")
    return version


def _lines(path: Path) -> Iterator[str]:
    """Yield the lines of a tag file, ended by LF, CR or CR LF (section 2.3)."""
    try:
        with path.open(encoding="utf-8", newline=None) as file:
            while line := file.readline(LONGEST_LINE + 1):
                if len(line) > LONGEST_LINE:
                    raise BagError(f"{path.name} {FAR_TOO_LONG}")
                if line.startswith("\ufeff"):
                    raise BagError(f"{path.name} begins with a byte order mark")
                yield line.removesuffix("\n")
    except UnicodeDecodeError as error:
        raise BagError(f"{path.name} is not UTF-8") from error


def _verify_manifest(
    folder: Path, name: str, algorithm: str, version: tuple[int, int], files: Mapping[str, int]
) -> set[str]:
    """Return the files in a manifest, after checking that each exists with that checksum."""
    listed = set[str]()
    for line in _lines(folder / name):
        match = _LINE.fullmatch(line)
        if match is None:
            raise BagError(f"{name}: a row is not a checksum with a path")
        path = _decoded(match[2]) if version >= (1, 0) else match[2]
        path = path.removeprefix("./")
        if path not in files:
            raise BagError(
                f"{name} lists {path[:200]}, which is missing or may not be listed there"
            )
        if path in listed:
            raise BagError(f"{name} lists {path[:200]} twice")
        if _digest(folder / path, algorithm) != match[1].lower():
            raise BagError(f"{path[:200]} does not have the checksum in {name}")
        listed.add(path)
    return listed


def _decoded(path: str) -> str:
    """Return a path from a manifest (section 2.1.3)."""
    return _CODE.sub(lambda code: chr(int(code[1], 16)), path)


def _digest(path: Path, algorithm: str) -> str:
    digest = hashlib.new(algorithm)
    with path.open("rb") as file:
        while piece := file.read(_PIECE):
            digest.update(piece)
    return digest.hexdigest()


def _check_info(folder: Path, tags: Mapping[str, int], payload: Mapping[str, int]) -> None:
    """Check the form of bag-info.txt and its statements on the payload."""
    if "bag-info.txt" not in tags:
        return
    if tags["bag-info.txt"] > LARGEST_TAG_FILE:
        raise BagError("its bag-info.txt is far too large")
    oxums = []
    for line in _lines(folder / "bag-info.txt"):
        label, colon, value = line.partition(":")
        if line.startswith((" ", "\t")):
            continue  # continues the value before
        if line.strip() and not (colon and label.strip()):
            raise BagError(f"its bag-info.txt has a line without a label: {line[:200]}")
        if label.strip().lower() == "payload-oxum":
            oxums.append(value.strip())
    if len(oxums) > 1:
        raise BagError("its bag-info.txt states the size of the payload twice")
    if oxums:
        match = _OXUM.fullmatch(oxums[0])
        held = sum(payload.values()), len(payload)
        if match is None or (int(match[1]), int(match[2])) != held:
            raise BagError("its payload does not have the size that its bag-info.txt states")
