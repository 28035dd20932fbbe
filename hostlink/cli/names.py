"""Names that several parts of the command line share."""

from __future__ import annotations

import os

COMPLETING = "_HOSTLINK_COMPLETE"
"""The environment variable with which a shell asks for completions; a convention of click."""
GIVEN_PORT = "hostlink.port"
"""Where the context of a command line keeps the port that was given as an option."""


def how_called() -> str:
    """Return the words that start hostlink, as the user typed them.

    scripts/start.py sets HOSTLINK_CALLED, since it installs no command `hostlink` on PATH.
    """
    return os.environ.get("HOSTLINK_CALLED", "") or "hostlink"
