"""Decide whether a board whose listing shows no line holds an empty program.

An empty answer proves nothing by itself. The program is empty only if the board's free memory is
that of an empty one, or if LIST was echoed right and answered by nothing but what the profile
names. Without echo the board must also refuse a word that no BASIC knows, which shows that what is
typed arrives.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from hostlink.board.dialogue.common_words import NONSENSE
from hostlink.board.dialogue.own_rows import is_own
from hostlink.board.dialogue.reading import Reading, refuse_colours, rows_of
from hostlink.board.dialogue.witness import Witness, ask_witness
from hostlink.errors import NoListingError, NotKnownError
from hostlink.link.probe import Probe
from hostlink.listing.charset import to_text
from hostlink.sentences import CONTENTS_UNKNOWN, NAME_IDLE_ROW, STILL_ON_BOARD
from hostlink.words import safe

if TYPE_CHECKING:
    from hostlink.board.dialogue.dialogue import Dialogue

_LATE_S = 1.0  # silence after which no listing is expected any more: common practice, no source
_LATEST_S = 20.0  # seconds for which a late listing is read
_NONSENSE_TIMES = 2


def check_empty(dialogue: Dialogue, witness: Witness) -> str:
    """Check that a listing without lines means an empty program.

    witness: the free memory compared with that of an empty program. Returns "" if the program is
    empty, else the first row that the board sent late, after its prompt. Raises NotKnownError if
    nothing shows that it is empty.
    """
    if witness.doubt is not None:
        raise NotKnownError(
            f"The board lists no program, but {witness.doubt}: {CONTENTS_UNKNOWN}.",
            advice="If its profile has wrong sizes, measure them with a survey.",
        )
    if witness.agrees:
        return ""
    if not dialogue.profile.talk.echo and not _refuses_nonsense(dialogue):
        raise NotKnownError(
            "The board lists no program, but it neither echoes nor reports its free memory, so "
            f"that does not prove it empty: {CONTENTS_UNKNOWN}."
        )
    return late_row(dialogue)


def check_empty_by_memory(dialogue: Dialogue, readings: Sequence[Reading]) -> None:
    """Check by the free memory alone that a board that does not list holds no program.

    readings: the answers to LIST. Raises NoListingError if the free memory does not show it.
    """
    if ask_witness(dialogue, {}).agrees:
        return
    kept = dialogue.evidence.unless_damaged(STILL_ON_BOARD)
    refuse_colours(readings[-1].rows, dialogue.profile, kept)
    said = next((r.said[0] for r in reversed(readings) if r.said), "")
    command = safe(dialogue.profile.commands.list)
    no_listing = f'"{safe(said[:60])}", which is not a listing' if said else "without a listing"
    raise NoListingError(
        f"The board answered {command} {'with ' * bool(said)}{no_listing}: {CONTENTS_UNKNOWN}.",
        advice=lambda by: (
            f"{NAME_IDLE_ROW} If another word lists the program on this board, name it in its "
            f"profile. If its memory is empty, measure it {by.survey_discarding}."
        ),
    )


def _refuses_nonsense(dialogue: Dialogue) -> bool:
    """Return whether an unknown word is answered by an error word of the profile each time."""
    words = dialogue.profile.commands.error_words
    commands = [dialogue.command(NONSENSE) for _ in range(_NONSENSE_TIMES)]
    return bool(words) and all(
        dialogue.refusal_in(command.answer).startswith(words) for command in commands
    )


def late_row(dialogue: Dialogue) -> str:
    """Return the first unknown row that the board sends after its prompt, "" if there is none.

    A board that shows its prompt before it lists would look empty otherwise, and one that prints
    rows like lines would seem to hold one.
    """
    profile, charset = dialogue.profile, dialogue.profile.rules.form.charset
    # Behind a row that it sends by itself a board shows its prompt again.
    idle = (*profile.talk.idle_chatter, to_text(profile.talk.prompt, charset).strip())
    heard = b""
    for longest_s in (_LATE_S, _LATEST_S):
        core = Probe(b"", dialogue.pacing.byte_s, quiet_s=_LATE_S, longest_s=longest_s)
        dialogue.wire.run(core)
        heard += core.heard
        rows = rows_of(to_text(heard, charset))
        late = next((row for row in rows if not is_own(row, idle)), "")
        if not late:
            break
    return late
