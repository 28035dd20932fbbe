"""An archive as a BagIt folder (RFC 8493), so that it outlives this program.

The payload holds every listing as a plain text file, where a person looks for it
(`programs/TIDE/TIDE-3.bas`, `rescues/rescue-2.bas`, `backups/1/memory.bas`), firmware as raw bytes,
and `archive.json` with everything else. The manifest has the SHA-256 of every file.
"""

from __future__ import annotations

import base64
import json
import logging
import os
import re
import secrets
import shutil
from pathlib import Path
from typing import Any

import bagit

from hostlink.archive.carried import BY_NAME, TABLES, Cargo, Record, listing_key
from hostlink.archive.merging import check_record
from hostlink.archive.names import clean, file_name
from hostlink.archive.opening import flush_folder
from hostlink.archive.records import Content
from hostlink.archive.trouble import printable
from hostlink.errors import ArchiveError

FORMAT = 1
MOST_FILES = 2_000_000
LARGEST_FILE = 1 << 30  # archive.json of a very large archive
LARGEST_LISTING = 1 << 20
_PLAIN = re.compile(r"[^A-Za-z0-9._-]+")
_README = """This folder is an archive of BASIC programs, written by hostlink as a BagIt bag
(RFC 8493).

programs/NAME/   each revision of each program as a plain text file, NAME-NUMBER.bas
rescues/         what boards held just before it was overwritten
backups/         what boards held when they were backed up
firmware/        firmware images, raw bytes from address 0
archive.json     everything else: names, notes, tags, dates, boards, events, and for each listing
                 which file it is, its character set, and its SHA-256

A file ending in .raw holds the exact bytes of the .bas beside it where these differ from it.
"""

# RFC 8493 (2.1.1): exactly two lines, and UTF-8 is recommended. The library would take more lines,
# fall over some, and decode with any codec that is named; some take hours.
_DECLARATION = re.compile(
    rb"BagIt-Version:[ \t]*\d+\.\d+[ \t]*\r?\nTag-File-Character-Encoding:[ \t]*UTF-8[ \t]*(\r?\n)?"
)
logging.getLogger("bagit").setLevel(logging.CRITICAL)


def write_bag(cargo: Cargo, target: Path) -> None:
    """Write cargo to a new bag. The folder appears under its name only when it is complete.

    Raises ArchiveError: then there is no such folder.
    """
    target = Path(target).absolute()
    if target.exists():
        raise ArchiveError(
            f"{target} is there already.", kept="It was not touched.", advice="Name a new folder."
        )
    part = target.with_name(f".{target.name}.{secrets.token_hex(4)}.part")
    try:
        part.mkdir(parents=True)
        _write_payload(cargo, part)
        bag = bagit.make_bag(str(part), {"Source-Organization": "hostlink"}, checksums=["sha256"])
        bag.validate()
        part.rename(target)
        flush_folder(target.parent)
    except (OSError, bagit.BagError) as error:
        raise ArchiveError(
            f"The bag {target} was not made: {error}.", kept="The archive is as it was."
        ) from error
    finally:
        shutil.rmtree(part, ignore_errors=True)


def _write_payload(cargo: Cargo, folder: Path) -> None:
    places = _places(cargo)
    listings = []
    for key, content in cargo.listings.items():
        path = folder / places[key]
        path.parent.mkdir(parents=True, exist_ok=True)
        text = content.text.encode()
        path.write_bytes(text)
        if content.raw != text:
            path.with_suffix(".raw").write_bytes(content.raw)
        listings.append(
            {
                "key": key, "file": places[key], "has_raw": content.raw != text,
                "charset": content.charset, "profile": content.profile,
                "sha256": content.sha256,
                "canonical": None if content.canonical == content.text else content.canonical,
            }
        )  # fmt: skip
    records = {
        table.name: [_written(record, folder) for record in cargo.records[table.name]]
        for table in TABLES
    }
    document = {"format": FORMAT, "listings": listings, "records": records}
    written = json.dumps(document, indent=1, ensure_ascii=False, sort_keys=True)
    (folder / "archive.json").write_text(written + "\n", encoding="utf-8", newline="\n")
    (folder / "README.txt").write_text(_README, encoding="utf-8", newline="\n")


def _written(record: Record, folder: Path) -> Record:
    """A record fit for JSON; a firmware image's bytes go to a file of their own."""
    plain: Record = {}
    for key, value in record.items():
        if key == "data" and isinstance(value, bytes):
            name = f"firmware/{record['uuid']}.bin"
            (folder / "firmware").mkdir(exist_ok=True)
            (folder / name).write_bytes(value)
            plain[key] = {"file": name}
        elif isinstance(value, bytes):
            plain[key] = {"base64": base64.b64encode(value).decode()}
        else:
            plain[key] = value
    return plain


def _places(cargo: Cargo) -> dict[str, str]:
    """A file for each listing, named after the first thing that holds it."""
    names = {record["uuid"]: record["name"] for record in cargo.records["programs"]}
    numbers = {record["uuid"]: record["number"] for record in cargo.records["backups"]}
    wanted: list[tuple[str, str]] = []
    for record in cargo.records["revisions"]:
        name = file_name(_PLAIN.sub("_", names[record["program"]]))
        wanted.append((record["listing"], f"programs/{name}/{name}-{record['number']}"))
    for record in cargo.records["rescues"]:
        wanted.append((record["listing"], f"rescues/rescue-{record['number']}"))
    for record in cargo.records["backup_items"]:
        what = file_name(_PLAIN.sub("_", f"{record['kind']} {record['slot']}".strip()))
        wanted.append((record["listing"], f"backups/{numbers[record['backup']]}/{what}"))
    places: dict[str, str] = {}
    taken: set[str] = set()
    for key, stem in wanted:
        if key in places:
            continue
        place, turn = f"{stem}.bas", 1
        while place.lower() in taken:  # some file systems do not tell case apart
            turn += 1
            place = f"{stem}~{turn}.bas"
        taken.add(place.lower())
        places[key] = place
    return places


def read_bag(folder: Path) -> Cargo:
    """Read a bag back, if every file is there, unchanged and what it should be.

    Nothing is followed out of the folder: links, paths and files to fetch refuse the bag.
    Raises ArchiveError with the reason.
    """
    folder = Path(folder)
    _look_over(folder)
    try:
        bag = bagit.Bag(str(folder))
        bag.validate()
    except (bagit.BagError, OSError, UnicodeError, ValueError, KeyError) as error:
        raise _refused(str(error) or type(error).__name__) from error
    if "sha256" not in bag.algorithms:
        raise _refused("it has no SHA-256 manifest")
    payload = set(bag.payload_files())
    document = _document(folder)
    cargo = Cargo({}, {})
    for entry in document["listings"]:
        key, content = _listing(folder, payload, entry)
        cargo.listings[key] = content
    for table in TABLES:
        cargo.records[table.name] = [
            check_record(table.name, _bytes_back(table.name, record, folder, payload))
            for record in document["records"].get(table.name, [])
        ]
    return cargo


def _look_over(folder: Path) -> None:
    """Refuse links, special files, and far too much, before anything is read."""
    if not (folder / "bagit.txt").is_file():
        raise _refused("it is not a BagIt folder")
    if (folder / "fetch.txt").exists():
        raise _refused("it names files to fetch from elsewhere")
    files = 0
    for place, folders, names in os.walk(folder, followlinks=False):
        for name in (*folders, *names):
            path = Path(place) / name
            if path.is_symlink() or not (path.is_file() or path.is_dir()):
                raise _refused(f"{path.relative_to(folder)} is a link or a special file")
        files += len(names)
        if files > MOST_FILES:
            raise _refused("it holds far too many files")
        for name in names:
            if (Path(place) / name).stat().st_size > LARGEST_FILE:
                raise _refused(f"{name} is far too large")
    with (folder / "bagit.txt").open("rb") as file:
        if not _DECLARATION.fullmatch(file.read(1000)):
            raise _refused("its bagit.txt is not the two lines of a bag in UTF-8")


def _document(folder: Path) -> dict[str, Any]:
    try:
        document = json.loads((folder / "data" / "archive.json").read_text(encoding="utf-8"))
    except (OSError, ValueError, RecursionError) as error:
        raise _refused("its archive.json cannot be read") from error
    sound = (
        isinstance(document, dict)
        and isinstance(document.get("listings"), list)
        and isinstance(document.get("records"), dict)
        and set(document["records"]) <= set(BY_NAME)
        and all(isinstance(each, list) for each in document["records"].values())
    )
    if not sound:
        raise _refused("its archive.json is not of the form it should be")
    if document.get("format") != FORMAT:
        raise _refused("it was written by a newer hostlink", "Install the newer one.")
    return dict(document)


def _listing(folder: Path, payload: set[str], entry: object) -> tuple[str, Content]:
    wanted = {"key": str, "file": str, "has_raw": bool, "charset": str, "profile": str,
              "sha256": str}  # fmt: skip
    if not isinstance(entry, dict) or not all(
        isinstance(entry.get(key), kind) and clean(str(entry[key])) == str(entry[key])
        for key, kind in wanted.items()
    ):
        raise _refused("an entry for a listing is not of the form it should be")
    canonical = entry.get("canonical")
    if not isinstance(canonical, str | None):
        raise _refused("an entry for a listing is not of the form it should be")
    data = _payload(folder, payload, entry["file"], LARGEST_LISTING)
    raw = data
    if entry["has_raw"]:
        raw_name = str(Path(entry["file"]).with_suffix(".raw").as_posix())
        raw = _payload(folder, payload, raw_name, LARGEST_LISTING)
    try:
        text = data.decode()
    except UnicodeDecodeError as error:
        raise _refused(f"{entry['file']} is not UTF-8") from error
    content = Content(
        raw, text, text if canonical is None else canonical, entry["profile"], entry["charset"]
    )
    if content.sha256 != entry["sha256"] or listing_key(content) != entry["key"]:
        raise _refused(f"{entry['file']} is not the listing that archive.json says")
    return entry["key"], content


def _payload(folder: Path, payload: set[str], name: str, most: int) -> bytes:
    """The bytes of a file of the payload, and of no other file."""
    if f"data/{name}" not in payload:
        raise _refused("archive.json names a file that the manifest does not have")
    path = folder / "data" / name
    if path.stat().st_size > most:
        raise _refused(f"{name[:80]} is far too large")
    return path.read_bytes()


def _bytes_back(table: str, record: object, folder: Path, payload: set[str]) -> object:
    """A record with its bytes in place of how JSON holds them."""
    if not isinstance(record, dict):
        return record
    back = dict(record)
    for key in BY_NAME[table].blobs:
        held = back.get(key)
        if not isinstance(held, dict):
            continue
        if set(held) == {"file"} and isinstance(held["file"], str):
            back[key] = _payload(folder, payload, held["file"], 1 << 24)
        elif set(held) == {"base64"} and isinstance(held["base64"], str):
            try:
                back[key] = base64.b64decode(held["base64"], validate=True)
            except ValueError as error:
                raise _refused(f"{key} of a record of {table} cannot be read") from error
    return back


def _refused(
    reason: str, advice: str = "Copy or export it once more, and import that."
) -> ArchiveError:
    """The error; what the bag library quotes of a damaged bag may hold control characters."""
    return ArchiveError(
        f"The bag was refused: {printable(reason)}.",
        kept="Nothing of it was taken in; the archive is as it was.",
        advice=advice,
    )
