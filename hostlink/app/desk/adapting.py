"""The screen of an adapted listing, from the desk's action and before a load."""

from __future__ import annotations

from hostlink.app.rewrites import Adapting
from hostlink.app.screens.rewriting import RewriteScreen
from hostlink.jobs.adapting import Proof, inputs_of, prove
from hostlink.jobs.language_of import Offer
from hostlink.jobs.listing_source import Material


def adapting_screen(offer: Offer, material: Material, does: str) -> RewriteScreen:
    """Return the screen of an offer. does: what Enter does, as the end of a sentence.

    Both versions are run meanwhile, and the result is shown as soon as it is known.
    """
    from hostlink.app.aside import aside

    rewrite = Adapting(offer, f"Enter {does}. Escape leaves it as it was.")
    kinds = (offer.source.name, offer.target.name)

    def begin(screen: RewriteScreen) -> None:
        def done(proof: Proof) -> None:
            rewrite.proof = proof
            if screen.is_attached:
                screen.renew()

        aside(
            screen.app,
            lambda: prove(material.listing, offer.made, kinds, inputs_of(material)),
            done,
        )

    return RewriteScreen(rewrite, begin)
