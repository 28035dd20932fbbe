"""Adapt a listing in another BASIC, in the editor or before it is loaded."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING

from hostlink.app.desk.part import DeskPart
from hostlink.app.sentences import INTO_EDITOR

if TYPE_CHECKING:
    from hostlink.app.screens.rewriting import RewriteScreen
    from hostlink.jobs.language_of import Offer
    from hostlink.jobs.listing_source import Material


class Adaptations(DeskPart):
    """Shows how a listing would be adapted, and uses the result if the user accepts it."""

    def adapt(self) -> None:
        """Show the listing adapted to the current profile's BASIC; edit the result if accepted."""
        from hostlink.jobs.language_of import offer

        if self.desk.workshop.need_listing() is None:
            return
        profile = self.app.boards.profile
        material = self.sheets.sheet.as_material(self.sheets.editor.text, profile)
        found = self.app.attempt(lambda: offer(profile, material))
        if found is None:
            self.app.tell(f"Nothing was found to adapt for {profile.name}.")
            return
        self.app.push_screen(
            _screen(found, material, INTO_EDITOR),
            lambda text: self.sheets.take_text(text, f"The listing is adapted to {profile.name}"),
        )

    def show_before(self, offer: Offer, material: Material, load: Callable[[], None]) -> None:
        """Show how a listing would be adapted, and load the result if accepted. load: loads it."""
        self.app.push_screen(
            _screen(offer, material, "loads the adapted listing"),
            lambda text: None if text is None else load(),
        )


def _screen(offer: Offer, material: Material, does: str) -> RewriteScreen:
    """Return the screen of an offer. does: what Enter does, as the end of a sentence.

    Both versions are run meanwhile, and the result is shown as soon as it is known.
    """
    from hostlink.app.screens.rewrites import Adapting
    from hostlink.app.screens.rewriting import RewriteScreen
    from hostlink.jobs.proving import inputs_of, prove

    kinds = (offer.source.name, offer.target.name)
    return RewriteScreen(
        Adapting(
            offer,
            f"Enter {does}. Escape cancels.",
            lambda: prove(material.listing, offer.made, kinds, inputs_of(material)),
        )
    )
