"""What commands share: the archive, the profile and the port that their common options choose.

Each command gets `CommonOptions` of its own. `together` opens the port and the archive once, as an
`OpenLink`, which the commands that it runs use instead of opening their own.
"""

from __future__ import annotations

import contextlib
import dataclasses
import os
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from hostlink.cli.output import say
from hostlink.cli.port_choice import known_ports, resolved_ports
from hostlink.cli.stopping import stoppable
from hostlink.errors import RefusedError, UsageError
from hostlink.sentences import (
    NO_BOARD_HERE,
    PLUG_IN,
    PORT_NOT_OPENED,
    name_another_file,
    no_archive_at,
)

if TYPE_CHECKING:
    from hostlink.archive import Archive
    from hostlink.archive.programs import Programs
    from hostlink.board.profile.model import Profile
    from hostlink.jobs.events import Emit
    from hostlink.jobs.session.link_choice import LinkChoice
    from hostlink.jobs.session.session import Session


@dataclass
class OpenLink:
    """The open port and archive that all commands of a `together` file use.

    session: None while the file is only rehearsed. choice: the board that `together` was given.
    """

    session: Session | None
    archive: Archive
    choice: LinkChoice
    quiet: bool = False

    @property
    def in_use(self) -> LinkChoice:
        """Return the port and profile in use; the session may have recognised the board since."""
        return self.choice if self.session is None else self.session.choice


@dataclass
class CommonOptions:
    """The values of the options that commands share, from the command line or the environment.

    may_restart: as in LinkChoice. open_link: the port and archive of `together`, None for a command
    run by itself.
    """

    port: str | None = None
    ports: tuple[str, ...] = ()
    all_boards: bool = False
    profile: str | None = None
    baud: int | None = None
    archive_path: Path | None = None
    record: Path | None = None
    stop_running: bool = False
    json: bool = False
    quiet: bool = False
    yes: bool = False
    may_restart: bool = False
    open_link: OpenLink | None = None

    @contextlib.contextmanager
    def archive(self, *, create: bool = True, read_only: bool = False) -> Iterator[Archive]:
        """Open the archive for the duration of the block."""
        if self.open_link is not None:
            yield self.open_link.archive
            return
        from hostlink.archive import Archive

        file = self.archive_file()
        if self.on_practice and not self.archive_path and create and not file.exists():
            say(
                f"What practice boards hold is kept apart from your archive, in {file}. With "
                "HOSTLINK_PORT=practice:// set, every command uses it.",
                quiet=self.quiet,
            )
        with Archive.open(file, create=create, read_only=read_only) as opened:
            yield opened

    @contextlib.contextmanager
    def reading(self) -> Iterator[Archive]:
        """Open the archive for reading only.

        If there is none yet, say so and yield an empty one; no file is left behind.
        """
        if self.open_link is not None or self.archive_file().exists():
            with self.archive(create=False, read_only=True) as opened:
                yield opened
            return
        import tempfile

        from hostlink.archive import Archive

        begins = "it is made when the first program is kept"
        say(f"{no_archive_at(self.archive_file())} yet; {begins}.", quiet=self.quiet)
        with (
            tempfile.TemporaryDirectory(prefix="hostlink-") as folder,
            Archive.open(Path(folder) / "empty.sqlite3") as empty,
        ):
            yield empty

    @contextlib.contextmanager
    def programs(self) -> Iterator[Programs]:
        """Open only the archive's list of programs, which takes less time to import."""
        if self.open_link is not None:
            yield self.open_link.archive
            return
        from hostlink.archive.programs import Programs

        with Programs.open(self.archive_file()) as opened:
            yield opened

    def archive_file(self) -> Path:
        """Return the path of the archive, existing or not; practice boards have their own."""
        from hostlink.archive.database.place import archive_path

        if self.archive_path:
            return self.archive_path.expanduser()
        return archive_path(practice=self.on_practice)

    @property
    def on_practice(self) -> bool:
        """Return whether all chosen boards are practice boards.

        For a command that has no --port, HOSTLINK_PORT decides.
        """
        ports = self.ports or resolved_ports(self, (os.environ.get("HOSTLINK_PORT", ""),))
        return all(port.startswith("practice:") for port in ports)

    def the_profile(self) -> Profile:
        """Return the profile to use without a board.

        It is the named one, else that of the board known at the port, else the practice board's;
        for an unknown board at a port it is `careful_profile`.
        """
        if self.open_link is not None and self.profile is None:
            return self.open_link.in_use.effective
        return self._choose_profile(None)[0]

    def _choose_profile(self, archive: Archive | None) -> tuple[Profile, bool]:
        from hostlink.jobs.session.recognising import choose_profile

        return choose_profile(archive, self.port or "", self.profile or "")

    def the_port(self) -> str:
        """Return the port given, else the port of the only board plugged in. Raises UsageError."""
        if self.open_link is not None:
            return self.open_link.choice.port
        if self.port:
            return self.port
        from hostlink.board.port.ports import usb_ports

        found = usb_ports()
        if len(found) == 1:
            self.port = found[0].port
            return self.port
        if not found:
            raise UsageError(
                f"{NO_BOARD_HERE}.",
                advice=f"{PLUG_IN} (`hostlink boards` "
                "lists what is here), name its --port, or try --port practice://.",
            )
        raise UsageError(
            f"{len(found)} boards are plugged in: {', '.join(each.port for each in found)}.",
            advice="Name one with --port.",
        )

    @contextlib.contextmanager
    def session(self, archive: Archive, emit: Emit) -> Iterator[Session]:
        """Open the board's port for the duration of the block."""
        if self.open_link is not None:
            session = self.open_link.session
            if session is None:
                from hostlink.jobs.rehearsing import BoardNeeded

                raise BoardNeeded
            session.tell(emit)
            yield session
            return

        from hostlink.jobs.session.opening import open_session

        choice = self.link_choice(archive)
        with (
            stoppable() as stopped,
            open_session(choice, emit, stopped, archive=archive) as session,
        ):
            yield session

    def link_choice(self, archive: Archive) -> LinkChoice:
        """Return the port, profile and speed for one board; its port is not opened."""
        from hostlink.jobs.session.link_choice import LinkChoice

        if self.open_link is not None:
            return self.open_link.in_use
        port = self.the_port()
        profile, is_guess = self._choose_profile(archive)
        self._check_record()
        return LinkChoice(
            port,
            profile,
            self.baud or 0,
            self.record,
            self.stop_running,
            is_guess=is_guess,
            is_named=bool(self.profile),
            may_restart=self.may_restart,
        )

    @property
    def many(self) -> bool:
        """Return whether several boards were chosen."""
        return self.open_link is None and (self.all_boards or len(self.ports) > 1)

    def choices(self, archive: Archive) -> list[LinkChoice]:
        """Return the port, profile and speed for each chosen board; no port is opened.

        Raises UsageError if there are none, or if an option is for one board only.
        """
        if self.record is not None:
            raise UsageError("--record is for one board: name one --port.")
        ports = self.ports or known_ports(self, archive)
        each = [dataclasses.replace(self, port=port, ports=()) for port in ports]
        return [common.link_choice(archive) for common in each]

    def _check_record(self) -> None:
        """Refuse to overwrite the --record file without --yes."""
        if self.record is not None and self.record.is_file() and not self.yes:
            raise RefusedError(
                f"{self.record} already exists.",
                kept=f"It was not changed. {PORT_NOT_OPENED}",
                advice=name_another_file,
            )
