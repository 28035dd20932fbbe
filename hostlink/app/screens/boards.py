"""The screen of boards: ports that are present, known boards, and which are attached."""

from __future__ import annotations

from collections.abc import Iterator
from typing import ClassVar

from textual.binding import Binding, BindingType
from textual.widget import Widget

from hostlink.app.actions.screen_keys import screen_key
from hostlink.app.actions.table import way_to
from hostlink.app.board_words import ago
from hostlink.app.screens.dialogues import AskText
from hostlink.app.screens.meeting import show_meeting
from hostlink.app.screens.surveying import SurveyScreen, ask_to_survey
from hostlink.app.widgets.page import Page, with_detail
from hostlink.app.widgets.rows import Entry, ListColumn, Rows
from hostlink.archive import Board
from hostlink.board.port.ports import identity_of, usb_ports
from hostlink.jobs.boards import KnownBoard, known_boards, label_board
from hostlink.jobs.session.last_known import known_board
from hostlink.jobs.survey_results import PastSurvey, last_survey
from hostlink.sentences import ASKED_FOR_LABEL

PRACTICE = "practice://"
_MATTERS = (
    ("baud", "talk.baud"),
    ("prompt", "talk.prompt"),
    ("ms per line", "talk.line_ms"),
    ("receive buffer", "talk.receive_buffer"),
)


def _no_profile(port: str) -> str:
    """Say which profile a board without one gets."""
    if port.startswith("practice:"):
        return "that of the practice board, once it is attached"
    return "none yet: survey the board, or name one in the settings"


class BoardsScreen(Page[None]):
    """Attach, detach, label, and choose the current board."""

    AUTO_FOCUS = "#boards"
    HEAD = "Boards"
    FOOT = (
        "Enter attaches a board and makes it the current one. D detaches, L labels, M tests "
        "how far it answers, S surveys, V shows the last survey, O names another port, A looks "
        "again. Escape goes back."
    )
    BINDINGS: ClassVar[list[BindingType]] = [
        Binding(
            "enter",
            "attach",
            "Attach, make current",
            priority=True,
            tooltip="Loading and the console then go to it",
        ),
        screen_key("boards.detach", "Detach", "Close its port"),
        screen_key("boards.label", "Label", "What you call it, such as a colour"),
        screen_key("boards.meet", "How far it answers", "From its bridge to its program"),
        screen_key("boards.other", "Another port", "By its name or address"),
        screen_key("boards.survey", "Survey it", "Measure how it talks; asks first"),
        screen_key("boards.view-survey", "View its last survey", "What was measured, and when"),
        screen_key("boards.renew", "Look for ports again", "After plugging one in"),
        Binding("escape", "leave", "Back", tooltip="To the desk"),
    ]

    def __init__(self) -> None:
        super().__init__()
        self.known: dict[str, KnownBoard] = {}

    def body(self) -> Iterator[Widget]:
        """Lay out the list of ports and boards, with the details of the chosen one."""
        rows = Rows(
            [
                ListColumn("state"),
                ListColumn("label", -1, extra=True),
                ListColumn("port"),
                ListColumn("profile", extra=True),
                ListColumn("last held", -1),
            ],
            id="boards",
        )
        yield from with_detail(rows, id="board-detail")

    def on_screen_resume(self) -> None:
        self.action_renew()

    def action_renew(self) -> None:
        """Find the ports again and show what is known of each board."""
        rows = known_boards(self.app.archive, usb_ports())
        ports = {row.port for row in rows}
        extra = [port for port in (PRACTICE, *self.app.boards.by_port) if port not in ports]
        # A practice board that is listed already stands for the one that is always here.
        if any(port.startswith("practice:") for port in ports | set(self.app.boards.by_port)):
            extra = [port for port in extra if port != PRACTICE]
        places = [identity_of(port) for port in dict.fromkeys(extra)]
        rows = known_boards(self.app.archive, [*usb_ports(), *places])
        first = not self.known
        self.known = {row.port or f"away:{at}": row for at, row in enumerate(rows)}
        self.set_head(f"Boards: {len(self.app.boards.by_port):,} attached, {len(rows):,} known")
        self.query_one(Rows).show(
            [
                Entry(
                    key,
                    (
                        self._state(row),
                        row.label,
                        row.port.partition("?")[0] or "not here",
                        row.profile,
                        row.held_words,
                    ),
                )
                for key, row in self.known.items()
            ]
        )
        if first:
            states = [self._state(row) for row in self.known.values()]
            self.query_one(Rows).cursor = states.index("current") if "current" in states else 0
        self.detail()

    def _port_attached(self, port: str) -> str:
        """Return the port under which a board is attached, "" if it is not. port: "" if away."""
        spelled = self.app.boards.spelled(port) if port else ""
        return spelled if spelled in self.app.boards.by_port else ""

    def _state(self, row: KnownBoard) -> str:
        attached = self._port_attached(row.port)
        current = self.app.boards.current
        if attached and current is not None and current.port == attached:
            return "current"
        if attached:
            return "attached"
        return "here" if row.port else "away"

    def detail(self) -> None:
        """Show the board at the cursor in full."""
        row = self.known.get(self.query_one(Rows).key)
        if row is None:
            self.say("#board-detail", "No board is known yet.")
            return
        words = [
            ("chip", f"{row.chip} {row.usb_id}".strip()),
            ("driver", row.driver),
            ("recognised by", row.recognised_by),
            ("opening its port", row.opening_words),
            ("profile", row.profile or _no_profile(row.port)),
            ("last held", row.held_words),
            ("last backup", self._backup(row)),
            ("last firmware", self._firmware(row)),
            ("last survey", self._survey_words(row)),
            ("access", row.access),
        ]
        text = "\n".join(f"{name}: {value}" for name, value in words if value)
        past = self._survey(row)
        if past is not None and past.told:
            text += f"\n\n{past.told}"
        self.say("#board-detail", text)

    def _survey(self, row: KnownBoard) -> PastSurvey | None:
        board = self._board(row)
        return last_survey(self.app.archive, board.uuid) if board is not None else None

    def _survey_words(self, row: KnownBoard) -> str:
        """Return when a board was surveyed, and how to see the result or its main values."""
        past = self._survey(row)
        if past is None:
            return f"none; {way_to('boards.survey')} surveys it" if row.port else "none"
        if past.told:
            return f"{ago(past.at, self.app.now())}; {way_to('boards.view-survey')} shows it"
        found = {name: value for name, value, _, _ in past.rows if value != "-"}
        named = [(word, found[name]) for word, name in _MATTERS if name in found]
        values = ", ".join(f"{word} {value}" for word, value in named)
        return f"{ago(past.at, self.app.now())}: {values}"

    def _board(self, row: KnownBoard) -> Board | None:
        """Return the archive's record of the board in a row."""
        if row.port:
            return known_board(self.app.archive, identity_of(row.port))
        boards = self.app.archive.boards()
        return next((board for board in boards if row.label and board.label == row.label), None)

    def _backup(self, row: KnownBoard) -> str:
        board = self._board(row)
        if board is None:
            return ""
        found = self.app.archive.backups(board_uuid=board.uuid, limit=1)
        if not found:
            return "none"
        return f"{found[0].spec}, {ago(found[0].at, self.app.now())}"

    def _firmware(self, row: KnownBoard) -> str:
        board = self._board(row)
        last = self.app.archive.last_write(board.uuid) if board is not None else None
        if last is None:
            return ""
        return (
            f"{last.image.name}, {ago(last.began_at, self.app.now())}: {last.outcome or 'cut off'}"
        )

    @property
    def chosen(self) -> KnownBoard | None:
        """Return the board at the cursor if it is present."""
        row = self.known.get(self.query_one(Rows).key)
        return row if row is not None and row.port else None

    def action_attach(self) -> None:
        row = self.chosen
        if row is None:
            self.app.notify("That board is not plugged in.", markup=False)
            return
        self.dismiss()
        self.app.boards.attach(self._port_attached(row.port) or row.port)

    def action_detach(self) -> None:
        row = self.chosen
        attached = self._port_attached(row.port) if row is not None else ""
        busy = self.app.boards.by_port[attached].busy if attached else None
        if busy is not None and busy.stop_question:
            self.app.notify(f"{busy.name} is under way; stop it first.", markup=False)
        elif attached:
            self.app.boards.detach(attached)
            self.action_renew()

    def action_meet(self) -> None:
        row = self.chosen
        port = (self._port_attached(row.port) or row.port) if row is not None else ""
        self.dismiss()
        show_meeting(self.app, port)

    def action_survey(self) -> None:
        row = self.chosen
        port = self._port_attached(row.port) if row is not None else ""
        if port:
            ask_to_survey(self.app, self.app.boards.by_port[port])
        else:
            self.app.notify("Attach it first, with Enter.", markup=False)

    def action_view_survey(self) -> None:
        row = self.known.get(self.query_one(Rows).key)
        past = self._survey(row) if row is not None else None
        if row is None or past is None:
            self.app.notify("This board has not been surveyed yet.", markup=False)
            return
        name = row.label or row.port.partition("?")[0]
        when = ago(past.at, self.app.now())
        self.app.push_screen(SurveyScreen(name, past.told, past.rows, when=when))

    def action_label(self) -> None:
        row = self.chosen
        if row is None:
            return

        def answered(label: str | None) -> None:
            if label is not None:
                self.app.attempt(lambda: label_board(self.app.archive, row.port, label))
                self.app.desk.readings.show()
                self.action_renew()

        self.app.push_screen(AskText(ASKED_FOR_LABEL, row.label), answered)

    def action_other(self) -> None:
        def answered(port: str | None) -> None:
            if port:
                self.dismiss()
                self.app.boards.attach(port)

        self.app.push_screen(
            AskText(
                "Which port?",
                hint="A device, practice://NAME, rfc2217://HOST:PORT or socket://HOST:PORT.",
            ),
            answered,
        )
