"""What all kinds of port share once open; each adds its calls and `_release`.

Rules:
1. `timeout`, in seconds, is the same for all kinds and is set once, when the port is opened.
2. After `close` each call raises LinkError with the reason GONE: a call asks `_check_open` first.
3. Closing twice is allowed; only the first close releases the port.
"""

from __future__ import annotations

from hostlink.errors import LinkError, LinkReason
from hostlink.sentences import PLUG_IN_AGAIN

READ_TIMEOUT_S = 0.05


class OpenPort:
    """An open port. name: as users name it."""

    def __init__(self, name: str) -> None:
        self.name = name
        self.timeout: float | None = READ_TIMEOUT_S
        self._closed = False

    def close(self) -> None:
        """Close the port; closing twice is allowed."""
        if not self._closed:
            self._closed = True
            self._release()

    def _release(self) -> None:
        """Release what the port holds."""
        raise NotImplementedError

    def _check_open(self) -> None:
        if self._closed:
            raise LinkError(f"The port {self.name} is closed.", reason=LinkReason.GONE)


def unplugged(what: str) -> LinkError:
    """Return the error for a board that went away from an open port. what: says so, in a clause."""
    return LinkError(f"{what}.", reason=LinkReason.GONE, advice=f"{PLUG_IN_AGAIN}.")
