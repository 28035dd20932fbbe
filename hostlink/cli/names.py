"""Names that parts of the command line pass on to each other."""

from __future__ import annotations

COMPLETING = "_HOSTLINK_COMPLETE"
"""The environment variable with which a shell asks for completions; a convention of click."""
GIVEN_PORT = "hostlink.port"
"""Where the context of a command line keeps the port that was given as an option."""
