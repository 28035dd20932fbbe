"""The boards attached to the app, one of them current."""

from __future__ import annotations

import contextlib
import time
from collections.abc import Callable, Sequence
from dataclasses import replace
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from hostlink.app.application import DeskApp
    from hostlink.app.attached_board import AttachedBoard
    from hostlink.app.job import Job
    from hostlink.board.profile.model import Profile
    from hostlink.jobs.session.link_choice import LinkChoice

DRAIN_S = 1 / 30


class AttachedBoards:
    """Attaches and detaches boards, and knows which one is current.

    by_port: the attached boards by their ports. current: the one that loading, saving and the
    console use, None if none is attached. cut_off: the jobs that were under way at the end.
    """

    def __init__(self, app: DeskApp) -> None:
        self.app = app
        self.by_port: dict[str, AttachedBoard] = {}
        self.current: AttachedBoard | None = None
        self.cut_off: list[Job[Any]] = []
        self._profiles: dict[str, Profile] = {}
        self._drains = False  # reports are about to be processed
        self._drained_at = 0.0

    @property
    def profile(self) -> Profile:
        """Return the current board's profile; without a board, the one given or set for the app."""
        if self.current is not None:
            return self.current.choice.effective
        name = self.app.first_profile
        if name not in self._profiles:
            from hostlink.board.profile.file import profile_or_practice

            self._profiles[name] = profile_or_practice(name)
        return self._profiles[name]

    def forget_profiles(self) -> None:
        """Have the profile that is used without a board read again; its file may have changed."""
        self._profiles.clear()

    def spelled(self, port: str) -> str:
        """Return the name under which this port is attached already, or else the given name."""
        from hostlink.board.port.ports import identity_of, same_board

        if port in self.by_port:
            return port
        identity = identity_of(port)
        return next(
            (each for each in self.by_port if same_board(identity_of(each), identity)), port
        )

    def attach(self, port: str, then: Callable[[AttachedBoard], object] | None = None) -> None:
        """Open a board's port and make it current; ask first if that will probably restart it.

        then: called with the attached board, instead of reading what it holds.
        """
        is_new = port not in self.by_port

        def opened(attached: AttachedBoard) -> None:
            self.make_current(port)
            if then is not None:
                then(attached)
            elif is_new:
                self.app.desk.readings.look_again()

        self.attach_all([port], opened)

    def attach_all(self, ports: Sequence[str], then: Callable[[AttachedBoard], object]) -> None:
        """Open the ports that are not open yet; ask once if that will probably restart boards.

        then: called with each attached board. The current board, if any, stays current.
        """
        from hostlink.app.screens.dialogues import ask
        from hostlink.jobs.session.opening import foresee_opening

        new = [port for port in ports if port not in self.by_port]
        chosen: list[LinkChoice] | None = self.app.attempt(lambda: list(map(self._choice, new)))
        if chosen is None:
            return
        foreseen = [(each, foresee_opening(each, self.app.archive)) for each in chosen]
        warnings = [sight.warning(each.port) for each, sight in foreseen if sight.restarts]

        def open_them() -> None:
            for choice, foresight in foreseen:
                self._open(replace(choice, may_restart=foresight.restarts))
            for port in ports:
                then(self.by_port[port])

        if not warnings:
            open_them()
            return
        question = "\n".join(warnings)
        words = ("Open it", "Leave it closed") if len(ports) == 1 else ("Open all", "Open none")
        ask(self.app, question, ("open", words[0], open_them), leave=words[1])

    def _choice(self, port: str) -> LinkChoice:
        from hostlink.jobs.session.link_choice import LinkChoice
        from hostlink.jobs.session.recognising import choose_profile

        named = self.app.first_profile
        profile, is_guess = choose_profile(self.app.archive, port, named)
        return LinkChoice(port, profile, self.app.baud, is_guess=is_guess, is_named=bool(named))

    def _open(self, choice: LinkChoice) -> None:
        from hostlink.app.attached_board import AttachedBoard

        self.by_port[choice.port] = AttachedBoard(choice, self.app.archive, self.on_news)
        if self.current is None:
            self.make_current(choice.port)
        self.app.desk.readings.show()  # how many are attached

    def detach(self, port: str) -> None:
        """Close a board's port without changing its program."""
        attached = self.by_port.pop(port, None)
        if attached is None:
            return
        if not attached.close():
            self.app.tell(
                f"{port} has not closed yet, because the job on it has not ended. "
                "Unplug the board to end it."
            )
        if self.current is attached:
            others = list(self.by_port)
            self.current = None
            if others:
                self.make_current(others[-1])
        self.app.desk.readings.show()

    def make_current(self, port: str) -> None:
        """Make this the board that loading, saving and the console use."""
        self.current = self.by_port[port]
        self.app.desk.readings.show()

    def on_news(self) -> None:
        """Have the boards' reports processed soon; may be called in any thread."""
        if not self._drains and self.app.is_running:
            self._drains = True
            with contextlib.suppress(RuntimeError):  # the event loop has ended meanwhile
                self.app.call_later(self._drain_soon)

    def _drain_soon(self) -> None:
        """Process the reports, at most 30 times a second."""
        rest_s = self._drained_at + DRAIN_S - time.monotonic()
        if rest_s > 0:
            self.app.set_timer(rest_s, self.app.drain)
        else:
            self.app.drain()

    def drain(self) -> None:
        """Process the reports of the owner threads."""
        self._drains = False
        self._drained_at = time.monotonic()
        for attached in list(self.by_port.values()):
            attached.drain()

    @property
    def under_way(self) -> list[Job[Any]]:
        """Return the jobs that are shown and have not ended."""
        jobs = [job for attached in self.by_port.values() for job in attached.jobs]
        return [job for job in jobs if job.shown and not job.ended]

    def close(self) -> list[str]:
        """Stop all jobs and close every port; return those that did not close in time."""
        self.cut_off = self.cut_off or self.under_way
        return [port for port, attached in self.by_port.items() if not attached.close()]
