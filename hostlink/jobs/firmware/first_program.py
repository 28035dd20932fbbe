"""The first program of a new board: the smallest shipped one that its BASIC takes."""

from __future__ import annotations

from hostlink.board.profile.model import Profile
from hostlink.errors import RefusedError
from hostlink.jobs.fitness import check_loadable
from hostlink.jobs.listing_source import Material, read_shipped, shipped_programs


def first_program(profile: Profile) -> Material | None:
    """Return the smallest shipped program without errors for a kind of board, None if none is."""
    materials = sorted(map(read_shipped, shipped_programs()), key=lambda each: len(each.raw))
    for material in materials:
        try:
            check_loadable(material, profile, despite_review=False)
        except RefusedError:
            continue
        return material
    return None
