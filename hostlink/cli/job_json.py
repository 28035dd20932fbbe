"""The JSON for loads and saves."""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from hostlink.board.dialogue.witness import ProofDoubt
    from hostlink.jobs.loading import Loaded
    from hostlink.jobs.saving import Saved


def loaded_dict(loaded: Loaded) -> dict[str, object]:
    """Return the JSON for a load."""
    report = loaded.report
    return {
        "listing": loaded.label,
        "revision": loaded.spec or None,
        "board_held": loaded.rescued or None,
        "proven": True,
        "lines": report.lines,
        "bytes_sent": report.bytes,
        "size_bytes": loaded.size,
        "limit_bytes": loaded.limit or None,
        "free_bytes": loaded.free,
        "repairs": report.repairs,
        "captures": report.captures,
        "seconds": None if report.seconds is None else round(report.seconds, 3),
    }


def proof_dict(doubt: ProofDoubt | None) -> dict[str, object]:
    """Return the JSON for the proof of a capture, with the figures if it is not proven."""
    if doubt is None:
        return {"proven": True}
    return {"proven": False, **doubt.figures}


def saved_dict(saved: Saved) -> dict[str, object]:
    """Return the JSON for a save."""
    revision = saved.revision
    return {
        "revision": revision.spec,
        "is_new": saved.is_new,
        "captures": saved.captures,
        **proof_dict(saved.doubt),
        "size_bytes": revision.size_bytes,
        "lines": revision.line_count,
        "sha256": revision.sha256,
    }
