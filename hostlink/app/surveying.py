"""The survey of a board: asked first, shown value by value, and kept as a profile if wanted."""

from __future__ import annotations

import dataclasses
from collections.abc import Iterator, Sequence
from typing import TYPE_CHECKING, ClassVar

from textual.binding import Binding, BindingType
from textual.content import Content
from textual.widget import Widget
from textual.widgets import Static

from hostlink.app.dialogues import Ask, AskText
from hostlink.app.page import Page, with_detail
from hostlink.app.rows import Column, Entry, Rows
from hostlink.board.profile import Profile
from hostlink.board.profile_schema import TABLES
from hostlink.errors import HostlinkError
from hostlink.jobs.files import TakenError
from hostlink.jobs.surveying import (
    Surveyed,
    SurveyOptions,
    finding_rows,
    keep_profile,
    survey,
)
from hostlink.words import capital, plural, safe

if TYPE_CHECKING:
    from hostlink.app.application import DeskApp
    from hostlink.app.work import Attached

_SAYS = {f"{table}.{key.name}": key.says for table, keys in TABLES.items() for key in keys}
FoundRow = tuple[str, str, str, str]


def ask_to_survey(app: DeskApp, attached: Attached) -> None:
    """Ask how far a survey may go, run it, and show what it found."""
    name = app.desk.board_name(attached)

    def answered(answer: str | None) -> None:
        if answer in ("talk", "storing"):
            _run(app, attached, storing=answer == "storing")

    app.push_screen(
        Ask(
            f"Survey {name}? It measures how the board talks.",
            [
                ("leave", "Leave it"),
                ("talk", "Measure without storing anything"),
                ("storing", "Store test lines too, then put its program back"),
            ],
            why="Blank lines, a direct comment, the listing and questions are sent. Only by "
            "storing test lines can the time per line and the receive buffer be measured: what "
            "memory holds is kept first, put back afterwards and proven.",
        ),
        answered,
    )


def _run(app: DeskApp, attached: Attached, *, storing: bool) -> None:
    options = SurveyOptions(storing=storing)
    job = attached.do(
        f"Surveying {app.desk.board_name(attached)}",
        lambda session, archive: survey(session, archive, options),
    )

    def done(surveyed: Surveyed) -> str:
        return f"The survey is done; the board holds {plural(surveyed.lines, 'line')} as before."

    def then(surveyed: Surveyed) -> None:
        name = app.desk.board_name(attached)
        rows = finding_rows(surveyed.findings)
        app.push_screen(SurveyScreen(name, rows, surveyed.profile, attached))

    app.watch_job(job, done=done, then=then)


class SurveyScreen(Page[None]):
    """What a survey found. profile, attached: to keep it and use it; None for an earlier one."""

    app: DeskApp
    AUTO_FOCUS = "#found"
    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("k", "keep", "Keep as a profile", tooltip="The board is talked to by it then"),
        Binding("escape", "leave", "Back", tooltip="To the boards"),
    ]

    def __init__(
        self,
        name: str,
        rows: Sequence[FoundRow],
        profile: Profile | None = None,
        attached: Attached | None = None,
        *,
        when: str = "just now",
    ) -> None:
        super().__init__()
        self.board, self.rows, self.when = name, rows, when
        self.profile, self.attached = profile, attached

    def body(self) -> Iterator[Widget]:
        rows = Rows(
            [
                Column("value", 22),
                Column("found", 16),
                Column("how sure", 9),
                Column("evidence", -1),
            ],
            empty="The survey found nothing.",
            id="found",
        )
        yield from with_detail(rows, id="found-detail")

    def foot(self) -> str:
        keeps = "K keeps this as a profile, by which the board is talked to then. "
        return f"{keeps if self.profile else ''}Escape goes back."

    def head(self) -> str:
        missing = sum(row[2] == "not found" for row in self.rows)
        head = f"Survey of {self.board}, {self.when}: {plural(len(self.rows) - missing, 'value')}"
        return head + (f" found, {missing:,} not" if missing else " found")

    def on_mount(self) -> None:
        self.query_one(Rows).show([Entry(row[0], row) for row in self.rows])
        self._detail()

    def check_action(self, action: str, parameters: tuple[object, ...]) -> bool | None:  # noqa: ARG002
        """An earlier survey can only be looked at."""
        return action != "keep" or self.profile is not None

    def on_rows_moved(self, event: Rows.Moved) -> None:
        event.stop()
        self._detail()

    def _detail(self) -> None:
        key = self.query_one(Rows).key
        row = next((one for one in self.rows if one[0] == key), None)
        if row is None:
            return
        name, found, sure, evidence = row
        words = [
            f"{name}: {_SAYS.get(name, '')}",
            f"found: {found} ({sure})",
            f"evidence: {evidence}",
        ]
        text = "\n".join(safe(one) for one in words)
        self.query_one("#found-detail", Static).update(Content(text))

    def action_keep(self) -> None:
        def named(name: str | None) -> None:
            if name:
                self._keep(name.strip().lower().replace(" ", "-"), replace=False)

        self.app.push_screen(
            AskText(
                "Under which name is the profile kept?",
                hint=f"One word, such as red. {capital(self.board)} is talked to by it then.",
            ),
            named,
        )

    def _keep(self, name: str, *, replace: bool) -> None:
        assert self.profile is not None
        try:
            path = keep_profile(self.profile, name, replace=replace)
        except TakenError:
            self._ask_to_replace(name)
            return
        except HostlinkError as error:
            self.app.trouble(error)
            return
        self.app.tell(f"The profile is kept as {path}.")
        if self.attached is not None:
            self._use(self.attached, dataclasses.replace(self.profile, name=name))

    def _ask_to_replace(self, name: str) -> None:
        def answered(answer: str | None) -> None:
            if answer == "replace":
                self._keep(name, replace=True)

        self.app.push_screen(
            Ask(
                f"You have a profile {name} already.",
                [("leave", "Leave it"), ("replace", "Replace it")],
                why="Boards that are known by it are talked to by the new one then.",
            ),
            answered,
        )

    def _use(self, attached: Attached, profile: Profile) -> None:
        """Talk to the board by its new profile, over the port that is open."""
        choice = dataclasses.replace(attached.choice, profile=profile, baud=0)
        job = attached.talk(f"Using profile {profile.name}", lambda board: board.use(choice))

        def done(_: object) -> str:
            attached.choice = choice
            self.app.desk.look_again(attached, quietly=True)
            if self.is_current:
                self.dismiss()
            return f"{capital(self.board)} is talked to by profile {profile.name} from now on."

        self.app.watch_job(job, done=done)
