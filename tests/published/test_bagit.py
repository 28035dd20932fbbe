"""Exports against RFC 8493, "The BagIt File Packaging Format (V1.0)", October 2018.

The requirements were read in the RFC's own source (the final XML that its authors publish). Each is
checked here by its words, on a bag with hostile names in it, without hostlink's own reading; the
reference library of the RFC's authors (bagit, a tool for tests only) judges the same bag. Then each
requirement is broken in turn, and hostlink refuses the bag.
"""

from __future__ import annotations

import hashlib
import re
import sys
import warnings
from collections.abc import Callable, Iterator
from pathlib import Path

import bagit
import pytest

from hostlink import __version__
from hostlink.archive import Archive, Content, Origin
from hostlink.archive.exchange.bag_format import BagError, BagWriter, verify_bag
from hostlink.archive.exchange.bags import write_bag

HARD = ("plain.bas", "per%cent.bas", "50%25.bas", "a b.bas", "é/ü.bas")
if sys.platform != "win32":  # where no name may hold these
    HARD += ("l\nf.bas", "c\rr.bas", "c\r\nr.bas")


@pytest.fixture
def export(tmp_path: Path) -> Path:
    """An export of an archive."""
    folder = tmp_path / "bag"
    with Archive.open(tmp_path / "a.sqlite3") as archive:
        for name in ("TIDE", "50%", "Ebb & Flow"):
            text = f'10 PRINT "{name}"\n'
            content = Content(text.encode() + b"\x1a", text, text, "practice", "latin-1", 20)
            archive.keep(name, content, Origin("file", "x.bas"))
        with archive.records() as records:
            write_bag(records, folder)
    return folder


@pytest.fixture
def hard(tmp_path: Path) -> Path:
    """A bag with payload names that a manifest has to encode."""
    folder = tmp_path / "hard"
    folder.mkdir()
    writer = BagWriter(folder)
    for name in HARD:
        writer.add(name, name.encode())
    writer.close({"Bag-Software-Agent": "x"})
    return folder


@pytest.fixture(params=["export", "hard"])
def bag(request: pytest.FixtureRequest) -> Path:
    """Either of the two."""
    folder: Path = request.getfixturevalue(request.param)
    return folder


def _files(folder: Path) -> set[str]:
    return {path.relative_to(folder).as_posix() for path in folder.rglob("*") if path.is_file()}


def _manifest(path: Path) -> Iterator[tuple[str, str]]:
    """Checksum and path of each line, by section 2.1.3 alone."""
    raw = path.read_bytes()
    assert raw.endswith(b"\n") and b"\r" not in raw
    for line in raw.decode("utf-8").removesuffix("\n").split("\n"):
        match = re.fullmatch(r"([0-9a-fA-F]+)[ \t]+(.+)", line)
        assert match is not None, line
        decoded = match[2].replace("%0A", "\n").replace("%0D", "\r").replace("%25", "%")
        assert "%" not in re.sub("%(0A|0D|25)", "", match[2])  # only these are encoded
        yield match[1], decoded


def test_2_1_1_the_declaration(bag: Path) -> None:
    """ "MUST consist of exactly two lines in this order"; "The number for this version of BagIt is
    "1.0""; UTF-8 and "MUST NOT contain a Byte Order Mark"."""
    assert (bag / "bagit.txt").read_bytes() == (
        b"BagIt-Version: 1.0\nTag-File-Character-Encoding: UTF-8\n"
    )


def test_2_1_2_the_payload_folder(bag: Path) -> None:
    """ "The base directory MUST contain a subdirectory named "data"."""
    assert (bag / "data").is_dir()
    assert all(path.suffix == ".txt" for path in bag.iterdir() if path.name != "data")


@pytest.mark.parametrize("algorithm", ["sha256", "sha512"])
def test_2_1_3_the_payload_manifests(bag: Path, algorithm: str) -> None:
    """ "Every payload manifest MUST list every payload file name exactly once"; "MUST NOT reference
    files outside the payload directory"; LF, CR and % "(and only those) MUST be
    percent-encoded"."""
    lines = list(_manifest(bag / f"manifest-{algorithm}.txt"))
    paths = [path for _, path in lines]
    assert len(paths) == len(set(paths))
    assert set(paths) == {name for name in _files(bag) if name.startswith("data/")}
    for checksum, path in lines:
        assert hashlib.new(algorithm, (bag / path).read_bytes()).hexdigest() == checksum.lower()


@pytest.mark.parametrize("algorithm", ["sha256", "sha512"])
def test_2_2_1_the_tag_manifests(bag: Path, algorithm: str) -> None:
    """ "Each tag manifest MUST list every payload manifest. Each tag manifest MUST NOT list any tag
    manifests but SHOULD list the remaining tag files"; "MUST NOT list any payload files"."""
    held = _manifest(bag / f"tagmanifest-{algorithm}.txt")
    lines = {path: checksum for checksum, path in held}
    tags = {name for name in _files(bag) if not name.startswith("data/")}
    assert set(lines) == {name for name in tags if not name.startswith("tagmanifest-")}
    for path, checksum in lines.items():
        assert hashlib.new(algorithm, (bag / path).read_bytes()).hexdigest() == checksum


def test_2_2_2_the_metadata(export: Path) -> None:
    """ "a label, a colon ":", a single linear whitespace character (space or tab), and a value";
    Payload-Oxum "MUST be in the form "OctetCount.StreamCount"" and "MUST NOT be repeated"."""
    lines = (export / "bag-info.txt").read_text(encoding="utf-8").splitlines()
    elements = [re.fullmatch(r"([^:\s][^:]*[^:\s]): (\S.*)", line) for line in lines]
    assert all(elements)
    held = {match[1]: match[2] for match in elements if match}
    assert len(held) == len(lines)
    assert held["Bag-Software-Agent"] == f"hostlink {__version__}"  # a label of our own, allowed
    assert re.fullmatch(r"\d{4}-\d\d-\d\d", held["Bagging-Date"])
    payload = [path for path in (export / "data").rglob("*") if path.is_file()]
    octets = sum(path.stat().st_size for path in payload)
    assert held["Payload-Oxum"] == f"{octets}.{len(payload)}"
    assert all(len(line) <= 79 for line in lines)  # recommended


def test_2_3_and_2_4_tag_files_and_algorithms(bag: Path) -> None:
    """ "each line MUST be terminated by an LF, a CR, or a CRLF"; "the tag files MUST NOT begin with
    a BOM"; names normalized "by lowercasing" and "removing all non-alphanumeric characters"; tools
    "SHOULD enable SHA-512 by default"."""
    for path in bag.glob("*.txt"):
        raw = path.read_bytes()
        raw.decode("utf-8")
        assert raw.endswith(b"\n") and not raw.startswith(b"\xef\xbb\xbf")
    assert {path.name for path in bag.glob("manifest-*")} == {
        "manifest-sha256.txt", "manifest-sha512.txt",
    }  # fmt: skip


def test_3_the_reference_library_says_that_it_is_valid(export: Path) -> None:
    """Complete, and every checksum verified, by the code of the RFC's authors."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", DeprecationWarning)  # its own, on Python 3.13
        held = bagit.Bag(str(export))
        held.validate()
    assert held.version_info == (1, 0) and set(held.algorithms) >= {"sha256", "sha512"}


def test_3_ours_says_the_same(bag: Path) -> None:
    """Also of names that have to be encoded."""
    verify_bag(bag)


# --- broken in turn ------------------------------------------------------------------------------


def _edit(path: Path, change: Callable[[str], str]) -> None:
    with path.open(encoding="utf-8", newline="") as file:
        text = file.read()
    path.write_text(change(text), encoding="utf-8", newline="")


def _no_tags(bag: Path) -> None:
    """Tag manifests are optional; without them a change to a tag file breaks only what it says."""
    for path in bag.glob("tagmanifest-*"):
        path.unlink()


def _change(name: str, change: Callable[[str], str]) -> Callable[[Path], None]:
    def broken(bag: Path) -> None:
        _no_tags(bag)
        _edit(bag / name, change)

    return broken


def _append(name: str, line: str) -> Callable[[Path], None]:
    return _change(name, lambda text: text + line)


def _outside(bag: Path) -> None:
    (bag.parent / "outside.txt").write_text("x")
    digest = hashlib.sha256(b"x").hexdigest()
    _append("manifest-sha256.txt", f"{digest}  data/../../outside.txt\n")(bag)


def _tag_manifest_without(bag: Path) -> None:
    _edit(
        bag / "tagmanifest-sha256.txt",
        lambda text: "".join(row for row in text.splitlines(True) if "manifest-sha512" not in row),
    )


def _tag_manifest_with_payload(bag: Path) -> None:
    digest = hashlib.sha256((bag / "data/README.txt").read_bytes()).hexdigest()
    _edit(bag / "tagmanifest-sha256.txt", lambda text: f"{text}{digest}  data/README.txt\n")


def _tag_manifest_of_a_tag_manifest(bag: Path) -> None:
    digest = hashlib.sha256((bag / "tagmanifest-sha512.txt").read_bytes()).hexdigest()
    _edit(bag / "tagmanifest-sha256.txt", lambda text: f"{text}{digest}  tagmanifest-sha512.txt\n")


def _no_payload(bag: Path) -> None:
    (bag / "data").rename(bag.parent / "gone")


def _no_manifest(bag: Path) -> None:
    _no_tags(bag)
    for path in bag.glob("manifest-*"):
        path.unlink()


BROKEN: list[tuple[str, Callable[[Path], None]]] = [
    ("2.1.1 three lines", _append("bagit.txt", "BagIt-Version: 1.0\n")),
    ("2.1.1 one line", _change("bagit.txt", lambda text: text.splitlines(True)[0])),
    ("2.1.1 the other order", _change("bagit.txt", lambda text: "".join(
        reversed(text.splitlines(True))))),
    ("2.1.1 a byte order mark", _change("bagit.txt", lambda text: "\ufeff" + text)),
    ("2.1.1 a newer version", _change("bagit.txt", lambda text: text.replace("1.0", "1.1"))),
    ("2.1.2 no data", _no_payload),
    ("2.1.3 no manifest", _no_manifest),
    ("2.1.3 a line less", _change("manifest-sha512.txt", lambda text: text.split("\n", 1)[1])),
    ("2.1.3 a line twice", _change("manifest-sha256.txt", lambda text: text.splitlines(True)[0]
                                   + text)),
    ("2.1.3 another file", _append("manifest-sha256.txt", f"{'0' * 64}  data/none.bas\n")),
    ("2.1.3 a tag file", _append("manifest-sha256.txt", f"{'0' * 64}  bagit.txt\n")),
    ("2.1.3 outside", _outside),
    ("2.1.3 no path", _append("manifest-sha256.txt", f"{'0' * 64}\n")),
    ("2.1.3 no checksum", _append("manifest-sha256.txt", "xyz  data/README.txt\n")),
    ("2.2.1 a manifest less", _tag_manifest_without),
    ("2.2.1 a payload file", _tag_manifest_with_payload),
    ("2.2.1 a tag manifest", _tag_manifest_of_a_tag_manifest),
    ("2.2.2 no label", _append("bag-info.txt", "no label here\n")),
    ("2.2.2 the size twice", _append("bag-info.txt", "Payload-Oxum: 1.1\n")),
    ("2.2.2 another size", _change("bag-info.txt", lambda text: re.sub(
        "Oxum: .*", "Oxum: 1.1", text))),
    ("2.2.2 no size", _change("bag-info.txt", lambda text: re.sub("Oxum: .*", "Oxum: x", text))),
    ("2.3 a byte order mark", _change("manifest-sha256.txt", lambda text: "\ufeff" + text)),
    ("3 another checksum", _change("manifest-sha256.txt", lambda text: (
        "0" if text[0] != "0" else "1") + text[1:])),
    ("3 a tag file changed", lambda bag: _edit(bag / "bag-info.txt", lambda text: text + "A: b\n")),
]  # fmt: skip


@pytest.mark.parametrize(("what", "spoil"), BROKEN, ids=[what for what, _ in BROKEN])
def test_a_bag_that_breaks_a_requirement_is_refused(
    what: str, spoil: Callable[[Path], None], export: Path
) -> None:
    """By the section that it breaks; the bag was valid before."""
    verify_bag(export)
    spoil(export)
    with pytest.raises(BagError) as refused:
        verify_bag(export)
    assert str(refused.value), what


@pytest.mark.parametrize("ending", ["\r", "\r\n"])
def test_2_3_any_line_end_is_read(export: Path, ending: str) -> None:
    """ "terminated by an LF, a CR, or a CRLF"."""
    _no_tags(export)
    for path in export.glob("*.txt"):
        _edit(path, lambda text: text.replace("\n", ending))
    verify_bag(export)


def test_2_1_3_other_forms_of_a_line_are_read(export: Path) -> None:
    """ "MAY use uppercase"; "One or more linear whitespace characters (spaces or tabs)"."""
    _no_tags(export)
    for path in export.glob("manifest-*.txt"):
        _edit(
            path, lambda text: re.sub("(?m)^([0-9a-f]+)  ", lambda m: m[1].upper() + " \t ", text)
        )
    verify_bag(export)


def test_3_an_older_bag_may_list_a_file_in_one_manifest_only(export: Path) -> None:
    """ "older versions of BagIt allowed payload files to be listed in just one of the
    manifests"."""
    _no_tags(export)
    _edit(export / "bagit.txt", lambda text: text.replace("1.0", "0.97"))
    _edit(export / "manifest-sha512.txt", lambda text: text.split("\n", 1)[1])
    verify_bag(export)
