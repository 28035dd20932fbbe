"""One virtual job done again, with all that was drawn and told, to find out what went wrong."""

from __future__ import annotations

import dataclasses
from pathlib import Path

from soak_durable import watched_syncs
from soak_jobs import VirtualJob, new_archive
from soak_making import whole
from soak_saboteurs import sabotaged

from hostlink.board.dialogue.events import LineSent
from hostlink.board.profile.file import find_profile
from hostlink.practice.faults import Faults
from hostlink.practice.settings import BoardSettings


def replay(number: int, fault: str = "", saboteur: str = "", record: Path | None = None) -> int:
    """Do the job of that number and print it; 0 where it shows no trouble, else 1.

    fault, saboteur: as in a hunt, "" for what the soak itself does. record: file for the wire.
    """
    with sabotaged(saboteur), new_archive() as archive:
        drawn = whole(number, fault)
        job = VirtualJob(number, archive, **drawn, syncs=watched_syncs(), record=record)
        made = job.made
        profile = find_profile("practice")
        print(f"job {number}: {made.kind}, {made.fault}, on: {made.drawn.name}")
        for what, held, usual in (
            ("drawn", made.drawn, type(made.drawn)()),
            ("board", made.settings, BoardSettings()),
            ("faults", made.faults, Faults()),
            ("talk", made.profile.talk, profile.talk),
            ("commands", made.profile.commands, profile.commands),
            ("form", made.profile.rules.form, profile.rules.form),
            ("storage", made.profile.rules.storage, profile.rules.storage),
        ):
            print(f"  {what}: {differing(held, usual)}")
        print(f"  memory: {len(job.truth.before)} lines, stored: {list(job.truth.slots_before)}")
        outcome = job.run()
        for at, event in job.events:
            if not isinstance(event, LineSent):
                print(f"{at:9.3f}  {event}")
    print(f"{outcome.seconds:9.3f}  {outcome.error or 'done'}")
    for trouble in outcome.trouble:
        print(f"{'beyond any host: ' if outcome.beyond else ''}{trouble}")
    return 1 if outcome.troubles else 0


def differing(held: object, usual: object) -> str:
    """The fields of a dataclass that differ from those of another."""
    found = []
    for each in dataclasses.fields(held):  # type: ignore[arg-type]
        value = getattr(held, each.name)
        if value != getattr(usual, each.name):
            found.append(f"{each.name}={value!r}")
    return ", ".join(found) or "as usual"
