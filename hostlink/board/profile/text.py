"""Read a profile from TOML text, naming every fault, and write one as commented TOML.

Rules of the text:
1. It is at most 256 KiB of TOML with the tables of `hostlink.board.profile.schema`.
2. Only `name` in `[board]` is required. Every other key has a cautious default in `Talk`,
   `Commands`, `Form`, `Storage` or `Language`.
3. An unknown key is an error and is never ignored: a misspelt limit would limit nothing.
4. One error reports all faults, each with its line.
"""

from __future__ import annotations

from typing import Any

from hostlink.board.profile.checks import profile_clashes
from hostlink.board.profile.kinds import Wrong
from hostlink.board.profile.lines import key_lines
from hostlink.board.profile.model import Commands, Profile, Talk
from hostlink.board.profile.schema import (
    BOARD,
    EVIDENCE,
    EVIDENCE_KEY,
    EVIDENCE_MOST,
    EVIDENCE_VALUE,
    RENAMED,
    TABLES,
    Key,
)
from hostlink.board.profile.toml_file import FileFaults, parse_toml
from hostlink.board.profile.written import key_written, short_value, written
from hostlink.errors import ProfileError
from hostlink.listing.rules import Form, Language, Rules, Storage
from hostlink.pins import NO_PINS, Pins
from hostlink.words import nearest


def read_profile(text: str, name: str) -> Profile:
    """Read a profile from TOML text. name: what errors call the text, such as its file name.

    Raises `ProfileError` with all faults, each with its line.
    """
    name = short_value(name)[1:-1] if not name.isprintable() else name
    document = parse_toml(text, name, ProfileError)
    faults = FileFaults(name, key_lines(text), ProfileError)
    held = _values(document, faults)
    evidence = _evidence(document.get(EVIDENCE, {}), faults)
    if "name" not in held["board"] and "board.name" not in faults.bad:
        faults.add(("board",), f"[board] must hold a name, {BOARD[0].says}")
    profile = Profile(
        **{"name": "", **held["board"]},
        talk=Talk(**held["talk"]),
        commands=Commands(**held["commands"]),
        rules=Rules(
            Form(**held["listing"]),
            Storage(**held["storage"]),
            Language(**held["language"], pins=Pins(**held["pins"])).with_pin_words(),
        ),
        evidence=evidence,
    )
    for clash in profile_clashes(profile):
        # A default may be the other half of a clash: point at a key that is in the file.
        if faults.bad.isdisjoint(clash.keys):
            paths = [(*key.split("."),) for key in clash.keys]
            faults.add(next((p for p in paths if p in faults.lines), paths[0]), clash.says)
            faults.bad.difference_update(clash.keys)  # one clash does not hide another
    faults.check()
    return profile


def profile_text(profile: Profile) -> str:
    """Write a profile as commented TOML.

    Raises `ProfileError` if the text would not read back as the same profile.
    """
    places = {"board": profile, **profile.tables}
    rows = ["# How one kind of board talks, stores and limits programs.", ""]
    for table, keys in TABLES.items():
        if places[table] == NO_PINS:
            continue
        rows.append(f"[{table}]")
        for key in keys:
            value = getattr(places[table], key.name)
            if key.name != "tokens" or value:  # an empty table of costs says nothing
                rows += [f"# {key.says}", f"{key.name} = {written(value)}"]
        rows.append("")
    if profile.evidence:
        rows += ["# how each value was found", f"[{EVIDENCE}]"]
        rows += [f"{key_written(key)} = {written(value)}" for key, value in profile.evidence]
    text = "\n".join(rows).rstrip("\n") + "\n"
    if read_profile(text, f"profile {profile.name}") != profile:
        raise ProfileError(
            f"Profile {profile.name} would not read back the same, so it was not written.",
            kept="The profile in use is unchanged.",
        )
    return text


def _values(document: dict[str, Any], faults: FileFaults) -> dict[str, dict[str, Any]]:
    """Return the valid values by table and key; add the others to `faults`."""
    held: dict[str, dict[str, Any]] = {table: {} for table in TABLES}
    for table, content in document.items():
        if table == EVIDENCE:
            continue
        if table not in TABLES:
            faults.add((table,), _unknown_table(table, content, faults.are_many))
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
                    faults.add((table, name), _unknown_key(table, name, faults.are_many))
    return held


def _take(table: str, key: Key, value: object, held: dict[str, Any], faults: FileFaults) -> None:
    try:
        held[key.name] = key.kind.read(value)
    except Wrong as wrong:
        faults.add((table, key.name), f"{table}.{key.name} is {short_value(value)}; {wrong}")


def _evidence(content: object, faults: FileFaults) -> tuple[tuple[str, str], ...]:
    """Read the table that says how values were found; it may have any keys."""
    if not isinstance(content, dict):
        faults.add((EVIDENCE,), "evidence must be a table, [evidence]")
        return ()
    if len(content) > EVIDENCE_MOST:
        says = f"evidence has {len(content)} entries; at most {EVIDENCE_MOST} are allowed"
        faults.add((EVIDENCE,), says)
        return ()
    held = []
    for key, value in content.items():
        try:
            held.append((EVIDENCE_KEY.read(key), EVIDENCE_VALUE.read(value)))
        except Wrong as wrong:
            hint = "; a name with a dot needs quotes" if isinstance(value, dict) else ""
            faults.add(
                (EVIDENCE, key),
                f"evidence {short_value(key)} is {short_value(value)}; {wrong}{hint}",
            )
    return tuple(held)


def _unknown_table(table: str, content: object, brief: bool) -> str:
    if isinstance(content, dict):
        near = [] if brief else nearest(table, [*TABLES, EVIDENCE], 1)
        hint = f"; did you mean [{near[0]}]?" if near else ""
        return f"there is no table {short_value(table)}{hint}"
    homes = [home for home, keys in TABLES.items() if any(key.name == table for key in keys)]
    if homes:
        return f"{table} is outside its table; it belongs in [{homes[0]}]"
    return f"the key {short_value(table)} is outside any table, and is not known"


def _unknown_key(table: str, name: str, brief: bool) -> str:
    here = [key.name for key in TABLES[table]]
    homes = [home for home, keys in TABLES.items() if any(key.name == name for key in keys)]
    says = f"[{table}] has no key {short_value(name)}"
    if brief:
        return says
    if homes:
        return f"{says}; it belongs in [{homes[0]}]"
    near = nearest(name, here, 1)
    return f"{says}; did you mean {near[0]}?" if near else f"{says}; it has {', '.join(here)}"
