"""Profiles as TOML files: found by a word, read with every fault named, written with comments.

Rules of a profile file:
1. It is UTF-8 TOML of at most 256 KiB, with the tables of `hostlink.board.profile.schema`.
2. Only `name` in `[board]` must be there; what is left out has the value that `Talk`, `Commands`,
   `Form`, `Storage` and `Language` give it, which is the careful one.
3. A key that is not known is an error, never ignored: a misspelt limit would be no limit.
4. All faults of a file are told at once, each with the file and its line.
"""

from __future__ import annotations

import os
import re
import tomllib
from importlib.resources import files
from importlib.resources.abc import Traversable
from pathlib import Path
from typing import Any

from hostlink.board.profile.checks import clashes
from hostlink.board.profile.kinds import Wrong
from hostlink.board.profile.lines import key_lines, line_of
from hostlink.board.profile.model import Commands, Profile, Talk
from hostlink.board.profile.schema import (
    EVIDENCE,
    EVIDENCE_KEY,
    EVIDENCE_MOST,
    EVIDENCE_VALUE,
    RENAMED,
    TABLES,
    Key,
)
from hostlink.board.profile.written import key_written, shown, written
from hostlink.errors import ProfileError, UsageError
from hostlink.listing.rules import Form, Language, Rules, Storage

LARGEST_FILE = 256 * 1024  # bytes
LONGEST_ROW = 4096  # characters; a TOML reader is slow on very long dotted keys
MOST_TOLD = 100  # faults that one error spells out
MOST_EXPLAINED = 20  # of them with what may have been meant
_MEND = "Mend the file and try again."


class _Faults:
    """Collects what is wrong with one file; its places come from the text."""

    def __init__(self, file: str, lines: dict[tuple[str, ...], int]) -> None:
        self.file = file
        self.lines = lines
        self.bad: set[str] = set()  # "table.key" of values that could not be used
        self._found: list[tuple[int, str]] = []

    def add(self, path: tuple[str, ...], says: str) -> None:
        self._found.append((line_of(self.lines, path) or 0, says))
        self.bad.add(".".join(path[:2]))

    @property
    def many(self) -> bool:
        """Whether there are so many already that the rest is told without suggestions."""
        return len(self._found) >= MOST_EXPLAINED

    def check(self) -> None:
        """Raise one `ProfileError` for everything collected, in the order of the file."""
        if not self._found:
            return
        in_order = sorted(self._found, key=lambda fault: fault[0])
        told = [self._told(line, says) for line, says in in_order[:MOST_TOLD]]
        if len(self._found) > MOST_TOLD:
            told.append(f"{self.file}: {len(self._found) - MOST_TOLD} more faults are not shown.")
        raise ProfileError("\n".join(told), advice=_MEND)

    def _told(self, line: int, says: str) -> str:
        place = f"{self.file}, line {line}" if line else self.file
        return f"{place}: {says}" + ("" if says.endswith("?") else ".")


def read_profile(text: str, name: str) -> Profile:
    """The profile that a TOML text describes. name: what errors call the text, such as its file.

    Raises `ProfileError` with all faults, each with its line.
    """
    name = shown(name)[1:-1] if not name.isprintable() else name
    document = _document(text, name)
    faults = _Faults(name, key_lines(text))
    held = _values(document, faults)
    evidence = _evidence(document.get(EVIDENCE, {}), faults)
    if "name" not in held["board"] and "board.name" not in faults.bad:
        faults.add(("board",), "[board] must hold a name, the word to call this profile by")
    profile = Profile(
        **{"name": "", **held["board"]},
        talk=Talk(**held["talk"]),
        commands=Commands(**held["commands"]),
        rules=Rules(
            Form(**held["listing"]), Storage(**held["storage"]), Language(**held["language"])
        ),
        evidence=evidence,
    )
    for clash in clashes(profile):
        # A default may be the other half of a clash: point at a key that is in the file.
        if faults.bad.isdisjoint(clash.keys):
            paths = [(*key.split("."),) for key in clash.keys]
            faults.add(next((p for p in paths if p in faults.lines), paths[0]), clash.says)
            faults.bad.difference_update(clash.keys)  # one clash does not hide another
    faults.check()
    return profile


def load_profile(path: Path | Traversable) -> Profile:
    """The profile in a file. Raises `ProfileError`: missing, not readable, too large, or wrong."""
    name = _name_of(path)
    try:
        if not path.is_file():
            kind = "is a folder" if path.is_dir() else "is not there, or is not a file"
            raise ProfileError(
                f"{name} {kind}, so there is no profile to read.",
                advice="Check the name of the file.",
            )
        with path.open("rb") as file:
            data = file.read(LARGEST_FILE + 1)
    except OSError as error:
        reason = error.strerror or type(error).__name__
        raise ProfileError(
            f"{name} cannot be read: {reason}.", advice="Check that you may read the file."
        ) from error
    if len(data) > LARGEST_FILE:
        raise _too_large(name)
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = data.count(b"\n", 0, error.start) + 1
        raise ProfileError(
            f"{name}, line {line}: byte {data[error.start]} is not UTF-8 text.",
            advice="Save the file as UTF-8 and try again.",
        ) from error
    return read_profile(text, name)


def shipped_profiles() -> dict[str, Traversable]:
    """Profiles that come with hostlink: name to file, sorted by name."""
    folder = files("hostlink.board") / "profiles"
    found = {item.name[:-5]: item for item in folder.iterdir() if item.name.endswith(".toml")}
    return dict(sorted(found.items()))


def profiles_folder() -> Path:
    """The user's own profiles: $HOSTLINK_PROFILES, else `profiles` in the settings folder."""
    if folder := os.environ.get("HOSTLINK_PROFILES"):
        return Path(folder)
    import platformdirs

    return Path(platformdirs.user_config_dir("hostlink")) / "profiles"


def user_profiles() -> dict[str, Path]:
    """The user's own profiles: name to file, sorted by name; empty where there is no folder."""
    try:
        found = [item for item in profiles_folder().iterdir() if item.suffix == ".toml"]
    except OSError:
        return {}
    return {item.stem: item for item in sorted(found)}


def find_profile(word: str) -> Profile:
    """The profile that `word` means: one that is shipped, one of the user's, or a .toml file.

    Raises `UsageError` where there is none of that name. Raises `ProfileError` where it is wrong,
    where a user's profile has the name of a shipped one, or calls itself otherwise than its file.
    """
    if word.lower().endswith(".toml"):
        return load_profile(Path(word))
    name = word.lower()
    shipped, own = shipped_profiles(), user_profiles()
    if name in own:
        place = _name_of(own[name])
        if name in shipped:
            raise ProfileError(
                f"{place} has the name of a profile that comes with hostlink.",
                kept="Neither was used.",
                advice="Give the file, and the name in its [board], another name.",
            )
        profile = load_profile(own[name])
        if profile.name != name:
            raise ProfileError(
                f'{place} calls itself "{profile.name}", which is not the name of the file.',
                advice="Make the two the same.",
            )
        return profile
    if name in shipped:
        return load_profile(shipped[name])
    known = [*shipped, *own]
    near = _nearest(name, known)
    raise UsageError(
        f"There is no profile {shown(word)}." + (f' Did you mean "{near}"?' if near else ""),
        advice=f"There are: {', '.join(known)}; or give a file that ends in .toml.",
    )


def profile_text(profile: Profile) -> str:
    """The profile as commented TOML. It was read back and was equal; else `ProfileError`."""
    places: dict[str, object] = {
        "board": profile,
        "talk": profile.talk,
        "commands": profile.commands,
        "listing": profile.rules.form,
        "storage": profile.rules.storage,
        "language": profile.rules.language,
    }
    rows = ["# How one kind of board talks, stores and limits programs.", ""]
    for table, keys in TABLES.items():
        rows.append(f"[{table}]")
        for key in keys:
            value = getattr(places[table], key.name)
            if key.name != "tokens" or value:  # an empty table of costs says nothing
                rows += [f"# {key.says}", f"{key.name} = {written(value)}"]
        rows.append("")
    if profile.evidence:
        rows += ["# which value was found how", f"[{EVIDENCE}]"]
        rows += [f"{key_written(key)} = {written(value)}" for key, value in profile.evidence]
    text = "\n".join(rows).rstrip("\n") + "\n"
    if read_profile(text, f"profile {profile.name}") != profile:
        raise ProfileError(
            f"profile {profile.name}: it would not read back as it is, so it was not written.",
            kept="The profile in use is unchanged.",
        )
    return text


def _document(text: str, name: str) -> dict[str, Any]:
    """What `tomllib` reads; its errors become ours, with the line."""
    if len(text) > LARGEST_FILE:
        raise _too_large(name)
    for line, row in enumerate(text.split("\n"), 1):
        if len(row) > LONGEST_ROW:
            raise ProfileError(
                f"{name}, line {line}: the line has {len(row)} characters and may have "
                f"{LONGEST_ROW}.",
                advice=_MEND,
            )
    try:
        return tomllib.loads(text)
    except RecursionError as error:
        raise ProfileError(
            f"{name}: its lists or tables are nested too deep for a profile.", advice=_MEND
        ) from error
    except ValueError as error:
        said = str(error)
        place = re.search(r" \(at line (\d+), column (\d+)\)$", said)
        end = " (at end of document)"
        line = int(place[1]) if place else text.rstrip("\n").count("\n") + 1
        at = (
            f", column {place[2]}"
            if place
            else ", at the end of the file"
            if said.endswith(end)
            else ""
        )
        where = f", line {line}" if place or said.endswith(end) else ""
        reason = said[: place.start()] if place else said.removesuffix(end)
        raise ProfileError(
            f"{name}{where}: this is not TOML: {_plain(reason)}{at}.", advice=_MEND
        ) from error


def _values(document: dict[str, Any], faults: _Faults) -> dict[str, dict[str, Any]]:
    """Every value that may stand, by table; faults for those that may not."""
    held: dict[str, dict[str, Any]] = {table: {} for table in TABLES}
    for table, content in document.items():
        if table == EVIDENCE:
            continue
        if table not in TABLES:
            faults.add((table,), _unknown_table(table, content, faults.many))
        elif not isinstance(content, dict):
            faults.add((table,), f"{table} must be a table, [{table}]")
        else:
            known = {key.name: key for key in TABLES[table]}
            for name, value in content.items():
                if name in known:
                    _take(table, known[name], value, held[table], faults)
                elif (table, name) in RENAMED:
                    now, become = RENAMED[table, name]
                    _take(table, known[now], become(value), held[table], faults)
                else:
                    faults.add((table, name), _unknown_key(table, name, faults.many))
    return held


def _take(table: str, key: Key, value: object, held: dict[str, Any], faults: _Faults) -> None:
    try:
        held[key.name] = key.kind.read(value)
    except Wrong as wrong:
        faults.add((table, key.name), f"{table}.{key.name} is {shown(value)}; {wrong}")


def _evidence(content: object, faults: _Faults) -> tuple[tuple[str, str], ...]:
    """How values were found; its keys are free."""
    if not isinstance(content, dict):
        faults.add((EVIDENCE,), "evidence must be a table, [evidence]")
        return ()
    if len(content) > EVIDENCE_MOST:
        faults.add((EVIDENCE,), f"evidence has {len(content)} entries and may have {EVIDENCE_MOST}")
        return ()
    held = []
    for key, value in content.items():
        try:
            held.append((EVIDENCE_KEY.read(key), EVIDENCE_VALUE.read(value)))
        except Wrong as wrong:
            hint = "; a name with a dot needs quotes" if isinstance(value, dict) else ""
            faults.add((EVIDENCE, key), f"evidence {shown(key)} is {shown(value)}; {wrong}{hint}")
    return tuple(held)


def _unknown_table(table: str, content: object, brief: bool) -> str:
    if isinstance(content, dict):
        near = "" if brief else _nearest(table, [*TABLES, EVIDENCE])
        return f"there is no table {shown(table)}" + (f"; did you mean [{near}]?" if near else "")
    homes = [home for home, keys in TABLES.items() if any(key.name == table for key in keys)]
    if homes:
        return f"{table} stands outside its table; it belongs in [{homes[0]}]"
    return f"the key {shown(table)} stands outside any table, and is not known"


def _unknown_key(table: str, name: str, brief: bool) -> str:
    here = [key.name for key in TABLES[table]]
    homes = [home for home, keys in TABLES.items() if any(key.name == name for key in keys)]
    says = f"[{table}] has no key {shown(name)}"
    if brief:
        return says
    if homes:
        return f"{says}; it belongs in [{homes[0]}]"
    near = _nearest(name, here)
    return f"{says}; did you mean {near}?" if near else f"{says}; it has {', '.join(here)}"


def _nearest(word: str, known: list[str]) -> str:
    """The known word most like `word`, "" where none is like it."""
    if len(word) > 60:
        return ""
    import difflib  # only faults need it

    return next(iter(difflib.get_close_matches(word.lower(), known, 1, 0.6)), "")


def _plain(reason: str) -> str:
    """A TOML reader's own words, fit for our sentence."""
    reason = "".join(ch if ch.isprintable() else shown(ch)[1:-1] for ch in reason)[:200]
    return reason[:1].lower() + reason[1:]


def _too_large(name: str) -> ProfileError:
    return ProfileError(
        f"{name} is larger than {LARGEST_FILE // 1024} KiB, so it is no profile.",
        advice="Check the name of the file.",
    )


def _name_of(path: Path | Traversable) -> str:
    name = str(path)
    return name if name.isprintable() else shown(name)[1:-1]
