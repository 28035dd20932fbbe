"""Profile files that are rubbish or meant to harm: one clear error each, and nothing else."""

from __future__ import annotations

import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from hostlink.board.profile.text import read_profile
from hostlink.board.profile.toml_file import LARGEST_FILE
from hostlink.errors import ProfileError

SMALL = '[board]\nname = "red"\n'


def faults(text: str) -> str:
    """What reading says is wrong, without the advice at the end."""
    with pytest.raises(ProfileError) as caught:
        read_profile(text, "red.toml")
    return caught.value.what


HOSTILE = {
    "deep lists": "x = " + "[\n" * 100_000,
    "deep lists on one line": "x = " + "[" * 2000 + "]" * 2000,
    "deep tables": "x = " + "{a=" * 1000 + "1" + "}" * 1000,
    "long dotted keys": "".join(f"a{i}." + "a." * 1000 + "a = 1\n" for i in range(30)),
    "one long line": "#" * 200_000,
    "thirty thousand tables": "".join(f"[t{i}]\n" for i in range(30_000)),
    "twenty thousand keys": "[talk]\n" + "".join(f"k{i} = 1\n" for i in range(20_000)),
    "thousands of words": "[language]\nstatements = ["
    + "".join(f'"A{i}",\n' for i in range(20_000))
    + "]",
    "endless text": 'x = """' + "\n" * 200_000,
    "larger than a profile may be": "#\n" * LARGEST_FILE,
    "NUL characters": "\0" * 1000,
    "lone surrogates": '[board]\nname = "\ud800"\n',
    "escape sequences in keys": '[talk]\n"\\u001b[2J" = 1\n',
}


@pytest.mark.parametrize("kind", HOSTILE)
def test_a_hostile_file_gives_one_profile_error_fit_to_be_shown(kind: str) -> None:
    """No nesting, size or character brings down reading, or reaches a screen unescaped."""
    said = faults(HOSTILE[kind])
    assert said.startswith("red.toml")
    assert len(said) < 30_000
    assert all(row.isprintable() for row in said.split("\n"))


def test_of_very_many_faults_the_first_hundred_are_told_and_the_rest_counted() -> None:
    """A file of rubbish does not flood the screen."""
    rows = faults(SMALL + "[talk]\n" + "".join(f"k{i} = 1\n" for i in range(250))).split("\n")
    assert len(rows) == 101
    assert rows[-1] == "red.toml: 150 more faults are not shown."


@settings(max_examples=3 * settings().max_examples, deadline=None, derandomize=True)
@given(
    st.one_of(
        st.text(max_size=200),
        st.lists(
            st.sampled_from(
                [*"[]{}=.,#\"'\\\n \r", '"""', "'''", "talk", "baud", "board", "name", "1", "true"]
            ),
            max_size=40,
        ).map("".join),
    )
)
@example('board.name = "a"')
@example("[board]\nname = '''a'''''")
def test_no_text_raises_anything_but_a_profile_error(text: str) -> None:
    """Arbitrary text is a profile or one ProfileError."""
    try:
        read_profile(text, "any.toml")
    except ProfileError as error:
        assert error.what.startswith("any.toml")
