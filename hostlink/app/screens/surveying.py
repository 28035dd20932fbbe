"""Survey a board after consent, show the result, and keep it as a profile on request."""

from __future__ import annotations

import dataclasses
from collections.abc import Iterator, Sequence
from typing import TYPE_CHECKING, ClassVar

from textual.binding import Binding, BindingType
from textual.containers import VerticalScroll
from textual.content import Content
from textual.widget import Widget
from textual.widgets import Static

from hostlink.app.actions.screen_keys import screen_key
from hostlink.app.screens.dialogues import AskText, ask
from hostlink.app.sentences import under_which_name
from hostlink.app.widgets.page import Page, with_detail
from hostlink.app.widgets.rows import Entry, ListColumn, Rows
from hostlink.board.port.ports import identity_of
from hostlink.board.profile.model import Profile
from hostlink.board.profile.schema import TABLES
from hostlink.board.survey.steps import Consent
from hostlink.errors import HostlinkError
from hostlink.jobs.files import TakenError
from hostlink.jobs.profiles import give_profile, keep_profile
from hostlink.jobs.survey_results import finding_rows
from hostlink.jobs.surveying import Surveyed, SurveyOptions, survey
from hostlink.words import capital, plural, safe

if TYPE_CHECKING:
    from pathlib import Path

    from hostlink.app.application import DeskApp
    from hostlink.app.attached_board import AttachedBoard

_SAYS = {f"{table}.{key.name}": key.says for table, keys in TABLES.items() for key in keys}
FoundRow = tuple[str, str, str, str]


def ask_to_survey(app: DeskApp, attached: AttachedBoard) -> None:
    """Ask how far a survey may go, run it, and show what it found."""
    name = app.desk.readings.name_of(attached)

    says = "Store test lines too, then put its program back"
    ask(
        app,
        f"Survey {name}? It measures how the board talks.",
        ("talk", "Measure without storing anything", lambda: _run(app, attached, storing=False)),
        ("storing", says, lambda: _run(app, attached, storing=True)),
        why="hostlink types empty lines, a remark, LIST, questions and words. Only test lines "
        "show what the board does to lines, what they cost and how long storing takes: the "
        "program in memory is kept first, put back afterwards and proven.",
    )


def _run(app: DeskApp, attached: AttachedBoard, *, storing: bool) -> None:
    options = SurveyOptions(consent=Consent(storing=storing))
    job = attached.do(
        f"Surveying {app.desk.readings.name_of(attached)}",
        lambda session, archive: survey(session, archive, options),
    )

    def done(surveyed: Surveyed) -> str:
        return f"The survey is done. {surveyed.held}"

    def then(surveyed: Surveyed) -> None:
        name = app.desk.readings.name_of(attached)
        rows = finding_rows(surveyed.findings)
        app.push_screen(SurveyScreen(name, surveyed.told, rows, surveyed.profile, attached))

    app.watch_job(job, done=done, then=then)


class SurveyScreen(Page[None]):
    """Shows what a survey found, first in words, on request each value with its evidence.

    profile, attached: the profile to keep, and the board to use it for; None for an earlier survey.
    """

    AUTO_FOCUS = "#told"
    BINDINGS: ClassVar[list[BindingType]] = [
        screen_key("survey.keep", "Keep as a profile", "hostlink then uses it for this board"),
        screen_key("survey.details", "Details", "All values with their evidence, or the words"),
        Binding("escape", "leave", "Back", tooltip="To the boards"),
    ]

    def __init__(
        self,
        name: str,
        told: str,
        rows: Sequence[FoundRow],
        profile: Profile | None = None,
        attached: AttachedBoard | None = None,
        *,
        when: str = "just now",
    ) -> None:
        super().__init__()
        self.board, self.told, self.rows, self.when = name, told, rows, when
        self.profile, self.attached = profile, attached

    def body(self) -> Iterator[Widget]:
        """Lay out the survey in words and, after it, the table of values with their evidence."""
        with VerticalScroll(id="told"):
            yield Static(Content(safe(self.told)), markup=False)
        rows = Rows(
            [
                ListColumn("value"),
                ListColumn("found", -1),
                ListColumn("how sure", extra=True),
                ListColumn("evidence", -1),
            ],
            empty="The survey found nothing.",
            id="found",
        )
        yield from with_detail(rows, id="found-detail")

    def foot(self) -> str:
        """Return the line of keys that the survey offers."""
        keeps = "K keeps this as a profile, which is then used for the board. "
        details = "E shows every value with its evidence, or the words again. "
        return f"{keeps if self.profile else ''}{details}Escape goes back."

    def head(self) -> str:
        """Return the heading: the board, the time, and how many values were found."""
        missing = sum(row[2] == "not found" for row in self.rows)
        head = f"Survey of {self.board}, {self.when}: {plural(len(self.rows) - missing, 'value')}"
        return head + (f" found, {missing:,} not" if missing else " found")

    def on_mount(self) -> None:
        self.query_one(Rows).show([Entry(row[0], row) for row in self.rows])
        self.detail()
        self._show(details=not self.told)  # an older survey has no words

    def action_details(self) -> None:
        self._show(details=not self.query_one(".across").display)

    def _show(self, *, details: bool) -> None:
        """Show every value, or the result in words."""
        self.query_one("#told").display = not details
        self.query_one(".across").display = details
        self.set_focus(self.query_one("#found" if details else "#told"))

    def check_action(self, action: str, parameters: tuple[object, ...]) -> bool | None:  # noqa: ARG002
        """Return whether an action is offered; an earlier survey cannot be kept again."""
        if action == "details":
            return bool(self.told)
        return action != "keep" or self.profile is not None

    def detail(self) -> None:
        """Show the row at the cursor in full."""
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
        self.say("#found-detail", "\n".join(words))

    def action_keep(self) -> None:
        def named(name: str | None) -> None:
            if name:
                self._keep(name.strip().lower().replace(" ", "-"), replace=False)

        self.app.push_screen(
            AskText(
                under_which_name("the profile"),
                hint=f"One word, such as red. hostlink then uses it for {self.board}.",
            ),
            named,
        )

    def _keep(self, name: str, *, replace: bool) -> None:
        assert self.profile is not None
        assert self.attached is not None
        try:
            path = keep_profile(self.profile, name, replace=replace)
        except TakenError:
            self._ask_to_replace(name)
            return
        except HostlinkError as error:
            self.app.show_error(error)
            return
        self.app.boards.forget_profiles()
        give_profile(self.app.archive, identity_of(self.attached.port), name)
        self._use(self.attached, dataclasses.replace(self.profile, name=name), path)

    def _ask_to_replace(self, name: str) -> None:
        ask(
            self.app,
            f"You already have a profile {name}.",
            ("replace", "Replace it", lambda: self._keep(name, replace=True)),
            why="hostlink then uses the new one for the boards that had the old one.",
        )

    def _use(self, attached: AttachedBoard, profile: Profile, path: Path) -> None:
        """Use the new profile for the board, over the port that is already open."""
        choice = dataclasses.replace(attached.choice, profile=profile, baud=0)
        job = attached.talk(f"Using profile {profile.name}", lambda board: board.use(choice))

        def done(_: object) -> str:
            attached.choice = choice
            self.app.desk.readings.look_again(attached, quietly=True)
            if self.is_current:
                self.dismiss()
            words = f"{capital(self.board)} now has profile {profile.name}, kept as {path}."
            self.app.notify(words, markup=False)  # on the screen behind, once this one is closed
            return words

        self.app.watch_job(job, done=done)
