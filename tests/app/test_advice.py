"""What the jobs advise in commands is told in the app's keys."""

from __future__ import annotations

import re
from pathlib import Path
from typing import Any

import pytest

import hostlink
from hostlink.app.advice import _SAID, in_app
from hostlink.app.dialogues import Trouble
from hostlink.app.work import as_trouble
from hostlink.board.profile_file import find_profile
from hostlink.errors import LinkError
from hostlink.jobs.session import LinkChoice, Session

SOURCE = Path(hostlink.__file__).parent


@pytest.mark.parametrize(("words", "keys"), _SAID)
def test_each_sentence_that_is_translated_is_one_that_the_jobs_say(words: str, keys: str) -> None:
    """A changed message would slip through untranslated; and what replaces it names no option."""
    assert "--" not in keys and "`" not in keys
    said = re.split(r"\[[^]]*\]\*|\(\\S\+\)|\([^)\\]*\)\??|\\", words)
    longest = max(said, key=len).strip()
    texts = []
    for folder in ("jobs", "board", "link", "archive", "firmware"):
        for path in (SOURCE / folder).glob("*.py"):
            # Sentences that run over two lines of source are joined.
            texts.append(re.sub(r'"\s+f?"', "", path.read_text(encoding="utf-8")))
    assert any(longest in text for text in texts), longest


def test_what_the_app_has_no_key_for_is_said_to_be_a_command() -> None:
    """It can be typed in a terminal; plain text stays as it is."""
    assert in_app("Run `hostlink archive prove`.") == "Run the command `hostlink archive prove`."
    assert in_app("Check the cable.") == "Check the cable."
    assert in_app("`hostlink load rescue@1` puts it back.") == (
        "open it with Ctrl+O as rescue@1 and load it."
    )


def test_a_silent_board_is_told_with_keys(stage: Any, wait: Any, shown: Any) -> None:
    """Nothing comes back at any speed: the app says which key measures a board."""
    silent = "practice://x?time=virtual&stall_every_bytes=1&stall_s=100000"
    choice = LinkChoice(silent, find_profile("practice"), 1200)
    with pytest.raises(LinkError) as caught, Session(choice, lambda _: None) as session:
        session.attach()
    assert "--baud" in caught.value.advice
    trouble = as_trouble(caught.value)
    assert "--" not in trouble.advice
    assert "Alt+Y, then S" in trouble.advice

    async def story(pilot: Any, app: Any) -> None:
        app.trouble(caught.value)
        await wait(pilot, lambda: isinstance(app.screen, Trouble))
        assert "Alt+Y, then S" in " ".join(shown(app).replace("│", " ").split())

    stage.play(story, port="")
