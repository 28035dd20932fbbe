"""The table of bridge chips against the public list of USB ids.

Source: usb.ids, as installed by Debian's package usb.ids at /usr/share/misc/usb.ids; its form is
told in its own heading (vendor rows, device rows behind one tab).
"""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import NoReturn

import pytest

from hostlink.board.port.bridges import BRIDGES

LIST = Path("/usr/share/misc/usb.ids")


@pytest.fixture(scope="module")
def published(lacking: Callable[[str], NoReturn]) -> dict[tuple[int, int], str]:
    """Vendor and product number to the product's name."""
    if not LIST.exists():
        lacking("the list of USB ids is not installed (Debian package usb.ids)")
    names: dict[tuple[int, int], str] = {}
    vendor = None
    for row in LIST.read_text(encoding="utf-8", errors="replace").splitlines():
        if row.startswith("C "):
            break  # the classes follow; their rows look the same
        number, _, name = row.strip().partition("  ")
        if row.startswith("\t") and not row.startswith("\t\t") and vendor is not None:
            names[vendor, int(number, 16)] = name
        elif row[:1] not in ("", "#", "\t"):
            vendor = int(number, 16)
    return names


@pytest.mark.parametrize("ids", BRIDGES, ids=lambda ids: f"{ids[0]:04x}:{ids[1]:04x}")
def test_a_bridge_is_called_what_the_list_calls_it(
    ids: tuple[int, int], published: dict[tuple[int, int], str]
) -> None:
    """Word for word, so that what `boards` shows can be looked up."""
    assert len(published) > 10_000
    assert BRIDGES[ids].name == published[ids]
