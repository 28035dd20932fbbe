"""A draft profile for a board that has not been plugged in, made from its firmware image."""

from __future__ import annotations

import dataclasses
import re
from pathlib import Path

from hostlink.board.profile.model import Profile
from hostlink.board.profile.text import profile_text
from hostlink.errors import RefusedError
from hostlink.firmware.image import Image
from hostlink.firmware.knowledge import ImageKnowledge
from hostlink.jobs.files import write_new
from hostlink.jobs.session.recognising import careful_profile
from hostlink.sentences import WORD_TABLE_MISSING

# Words that are functions in nearly every BASIC that has them: common practice, no source.
_FUNCTIONS = frozenset(
    {
        *("ABS", "ASC", "ATN", "CHR", "COS", "EXP", "FRE", "INKEY", "INP", "INT", "LEFT"),
        *("LEN", "LOG", "MID", "PEEK", "RIGHT", "RND", "SGN", "SIN", "SIZE", "SQR", "STR"),
        *("TAB", "TAN", "USR", "VAL", "AREAD", "DREAD"),
    }
)
_JUMPS = ("GOTO", "GOSUB", "THEN")
_NAME = re.compile(r"[^a-z0-9]+")


def write_draft(image: Image, known: ImageKnowledge, path: Path, *, replace: bool) -> None:
    """Write a draft profile to a file. replace: consent to replace the file.

    Raises RefusedError if the image shows no BASIC words, or the file cannot be written.
    """
    write_new(path, profile_text(draft_profile(image, known)).encode(), replace=replace)


def draft_profile(image: Image, known: ImageKnowledge) -> Profile:
    """Return a profile with the values found in an image, and careful values for all others.

    Raises RefusedError if the image shows no BASIC words.
    """
    if not known.has_basic:
        raise RefusedError(
            f"{WORD_TABLE_MISSING} in {image.name}, so no profile can be drafted.",
            kept="Nothing was written.",
            advice=lambda by: f"If a board runs this firmware, measure it {by.survey}.",
        )
    careful = careful_profile()
    words = [word for word in known.words if word.rstrip("$").isalpha()]
    functions = tuple(each for each in words if each.rstrip("$") in _FUNCTIONS)
    language = dataclasses.replace(
        careful.rules.language,
        statements=tuple(each for each in words if each not in functions),
        functions=functions,
        jumps=tuple(each for each in _JUMPS if each in words),
        remarks=("REM",) if "REM" in words else (),
    )
    read = f"read from the image {image.name}, not measured"
    evidence = {"language.statements": read, "language.functions": f"{read}; by their names"}
    talk = careful.talk
    if len(known.bauds) == 1:
        talk, evidence["talk.baud"] = dataclasses.replace(talk, baud=known.bauds[0]), read
    # The costs of a line are guesses, so free memory must not be checked against them.
    storage = dataclasses.replace(careful.rules.storage, exact=False)
    name = _NAME.sub("-", Path(image.name).stem.lower()).strip("-") or "draft"
    return dataclasses.replace(
        careful,
        name=name,
        title=f"draft read from {image.name}",
        about="A draft made before a board was plugged in. Its words are those that the image "
        "holds; everything else is a careful guess. A survey of the board replaces it.",
        source=f"{read}; SHA-256 {image.sha256}",
        talk=talk,
        rules=dataclasses.replace(careful.rules, language=language, storage=storage),
        evidence=tuple(evidence.items()),
    )
