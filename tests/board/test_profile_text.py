"""Writing profiles: what is written reads back equal, or is not written."""

from __future__ import annotations

import dataclasses
import re

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from hostlink.board.profile.checks import profile_clashes
from hostlink.board.profile.file import load_profile, shipped_profiles
from hostlink.board.profile.model import Commands, Profile, Talk
from hostlink.board.profile.text import profile_text, read_profile
from hostlink.errors import HostlinkError, ProfileError
from hostlink.listing.rules import Form, Language, Rules, Storage

PRINTABLE = st.characters(min_codepoint=32, max_codepoint=126)
# Printable as str.isprintable has it: categories C and Z are not, except the blank. Nothing here is
# filtered: how much a filter discards depends on the Python, and hypothesis fails above a share.
LATIN = st.characters(max_codepoint=255, exclude_categories=("C", "Z")) | st.just(" ")
ANY = st.characters(exclude_categories=("C", "Z")) | st.just(" ")
TYPED = st.text(
    st.characters(min_codepoint=32, max_codepoint=126, exclude_characters="{}"), max_size=40
)
KEYWORD = st.from_regex(r"[A-Z$@?]{1,8}( [A-Z]{1,8})?", fullmatch=True)
MS = st.floats(0, 600_000) | st.integers(0, 600_000).map(float)


def _words(item: st.SearchStrategy[str]) -> st.SearchStrategy[tuple[str, ...]]:
    return st.lists(item, max_size=30, unique=True).map(tuple)


def _control(longest: int, shortest: int = 0) -> st.SearchStrategy[bytes]:
    control = st.integers(0, 31) | st.integers(127, 255)
    return st.lists(control, min_size=shortest, max_size=longest).map(bytes)


TALKS = st.builds(
    Talk,
    baud=st.integers(1, 4_000_000),
    echo=st.booleans(),
    line_end=_control(4, 1),
    reply_end=_control(4, 1),
    prompt=st.binary(max_size=40),
    line_done=st.sampled_from(["echo", "prompt", "after-prompt"]),
    after_prompt_ms=MS,
    receive_buffer=st.integers(0, 65535),
    line_ms=MS,
    char_ms=MS,
    line_window=st.integers(0, 65535),
    flow=st.sampled_from(["none", "xon-xoff"]),
    line_cancel=_control(4),
    erase=_control(4),
    interrupt=_control(4),
    banner=st.text(LATIN, max_size=80),
    restarts_on_open=st.booleans(),
    restart_ms=MS,
    idle_chatter=_words(st.text(LATIN, min_size=1, max_size=40)).map(
        lambda texts: tuple(text for text in texts[:20] if not text.lstrip()[:1].isdigit())
    ),
    page_prompt=st.text(LATIN, max_size=20),
    page_key=st.binary(max_size=4),
)
COMMANDS = st.builds(
    Commands,
    list=TYPED,
    answer_rows=st.sampled_from([(), ("OK",), ("Ready", "\xb7 end")]),
    clear=TYPED,
    run=TYPED,
    free_memory=TYPED,
    store=st.sampled_from(["", "STOW {name}", '{name}"']),
    recall=st.sampled_from(["", "FETCH {name}"]),
    stored=TYPED,
    slots=_words(st.text(PRINTABLE, min_size=1, max_size=20)),
    error_words=_words(st.text(LATIN, min_size=1, max_size=20)),
)
RULES = st.builds(
    Rules,
    form=st.builds(
        Form,
        first_line=st.integers(0, 70_000),
        last_line=st.integers(0, 70_000),
        longest_line=st.just(0) | st.integers(6, 65535),
        case=st.sampled_from(["kept", "upper"]),
        spacing=st.sampled_from(["kept", "after-number", "free"]),
        list_form=st.sampled_from(["{number} {text}", "{number}: {text}", '"{number}"\\{text}']),
        charset=st.sampled_from(["latin-1", "ISO8859-1"]),
        characters=st.sampled_from([((32, 126),), ((32, 127), (161, 255))]),
    ),
    storage=st.builds(
        Storage,
        program_bytes=st.integers(0, 2**24),
        kind=st.sampled_from(["text", "tokens"]),
        number_bytes=st.integers(0, 8),
        length_bytes=st.integers(0, 8),
        end_bytes=st.integers(0, 8),
        blank_after_number=st.sampled_from(["dropped", "kept", "all"]),
        empty_bytes=st.integers(0, 2**10),
        eeprom_bytes=st.integers(0, 2**24),
        tokens=st.dictionaries(KEYWORD, st.integers(0, 255), max_size=20).map(
            lambda costs: tuple(costs.items())
        ),
    ),
    language=st.builds(
        Language,
        statements=_words(KEYWORD),
        functions=_words(KEYWORD),
        jumps=_words(KEYWORD),
        remarks=_words(KEYWORD),
        separator=st.sampled_from(["", ":", ";", "\\"]),
        abbreviation_mark=st.sampled_from(["", "."]),
        computed_jumps=st.booleans(),
        quotes=st.sampled_from(["", '"', "\"'"]),
        long_names=st.booleans(),
        smallest_number=st.integers(-(2**63), 0),
        largest_number=st.integers(0, 2**63 - 1),
    ),
)
PROFILES = st.builds(
    Profile,
    name=st.from_regex(r"[a-z][a-z0-9-]{0,39}", fullmatch=True),
    title=st.text(ANY, max_size=80),
    about=st.text(ANY, max_size=300),
    source=st.text(ANY, max_size=300),
    talk=TALKS,
    commands=COMMANDS,
    rules=RULES,
    evidence=st.dictionaries(
        st.text(ANY, min_size=1, max_size=60), st.text(ANY, max_size=100), max_size=8
    ).map(lambda notes: tuple(notes.items())),
)


def _settled(profile: Profile) -> Profile:
    """The profile with the contradictions that chance brought in taken out."""
    talk, commands, form = profile.talk, profile.commands, profile.rules.form
    done = talk.line_done
    if not (talk.echo if done == "echo" else talk.prompt):
        done = "echo" if talk.echo else "prompt"
    after = (talk.after_prompt_ms or 1.0) if done == "after-prompt" else 0.0
    paged = bool(talk.page_prompt and talk.page_key)
    signs = {
        name: getattr(talk, name) for name in ("line_end", "line_cancel", "erase", "interrupt")
    }
    clean: dict[str, bytes] = {}
    for name, sign in signs.items():
        sign = bytes(byte for byte in sign if byte < 32 and byte not in (17, 19))
        sign = sign if sign not in clean.values() else b""
        clean[name] = sign or (b"\r" if name == "line_end" else b"")
    if clean["line_end"] in [sign for name, sign in clean.items() if name != "line_end"]:
        clean = {"line_end": b"\r", "line_cancel": b"", "erase": b"", "interrupt": b""}
    talk = dataclasses.replace(
        talk,
        **clean,  # type: ignore[arg-type]
        line_done=done,
        after_prompt_ms=after,
        line_window=talk.line_window if talk.echo else 0,
        page_prompt=talk.page_prompt if paged else "",
        page_key=bytes(byte for byte in talk.page_key if byte not in (17, 19)) if paged else b"",
    )
    if not talk.page_key:
        talk = dataclasses.replace(talk, page_prompt="")
    if not (commands.store or commands.recall):
        commands = dataclasses.replace(commands, slots=())
    first, last = sorted((form.first_line, form.last_line))
    storage = profile.rules.storage
    storage = dataclasses.replace(
        storage,
        tokens=storage.tokens if storage.kind == "tokens" else (),
        number_bytes=storage.number_bytes if storage.number_bytes > 2 else 0,
        empty_bytes=storage.empty_bytes if storage.program_bytes > storage.empty_bytes else 0,
    )
    form = dataclasses.replace(form, first_line=first, last_line=last)
    rules = dataclasses.replace(profile.rules, form=form, storage=storage)
    settled = dataclasses.replace(profile, talk=talk, commands=commands, rules=rules)
    for clash in profile_clashes(settled):
        for key in clash.keys:
            table, _, name = key.partition(".")
            if table == "commands":
                value = getattr(Commands(), name)
                commands = dataclasses.replace(commands, **{name: value})
    return dataclasses.replace(settled, commands=commands)


@pytest.mark.no_cover
@settings(max_examples=40)
@given(PROFILES.map(_settled))
def test_a_written_profile_reads_back_equal(profile: Profile) -> None:
    """Writing loses nothing, and the text is stable when written again."""
    text = profile_text(profile)
    again = read_profile(text, "again")
    assert again == profile
    assert profile_text(again) == text


@pytest.mark.no_cover
@settings(max_examples=40)
@given(PROFILES)
def test_a_profile_is_written_exactly_if_nothing_in_it_clashes(profile: Profile) -> None:
    """Writing checks like reading: what could not be read back is refused, never written."""
    expected = not list(profile_clashes(profile))
    try:
        assert read_profile(profile_text(profile), "again") == profile
        written = True
    except ProfileError:
        written = False
    assert written == expected


@pytest.mark.parametrize("name", shipped_profiles())
def test_a_shipped_profile_survives_writing(name: str) -> None:
    """A copy of a shipped profile, written by hostlink, is the same profile."""
    profile = load_profile(shipped_profiles()[name])
    assert read_profile(profile_text(profile), "copy") == profile


def test_written_text_is_plain_commented_and_readable() -> None:
    """Bytes are shown by readable escapes, and each value stands under a line that explains it."""
    rows = profile_text(Profile("red", talk=Talk(prompt=b"\x01\xe9> "))).split("\n")
    assert rows[rows.index('prompt = "\\u0001\\u00E9> "') - 1].startswith("# ")
    assert 'line_end = "\\r"' in rows and 'interrupt = "\\u0003"' in rows
    keys = [at for at, row in enumerate(rows) if re.match(r"[a-z_]+ = ", row)]
    assert len(keys) > 50 and all(rows[at - 1].startswith("# ") for at in keys)


@pytest.mark.parametrize(
    "profile",
    [
        Profile("Red Board"),
        Profile("red", talk=Talk(baud=0)),
        Profile("red", talk=Talk(line_ms=float("nan"))),
        Profile("red", talk=Talk(prompt=b"", line_done="prompt")),
        Profile("red", title="\x1b[2J"),
        Profile("red", commands=Commands(error_words=("!", "!"))),
        Profile("red", evidence=(("baud", "a"), ("baud", "b"))),
    ],
)
def test_a_wrong_profile_is_not_written(profile: Profile) -> None:
    """Nothing comes out that could not be read again."""
    with pytest.raises(HostlinkError) as caught:
        profile_text(profile)
    assert type(caught.value) is ProfileError
