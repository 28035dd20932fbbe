"""The size of the QR code on a sheet, and what it can hold, against ISO/IEC 18004 (from memory).

Version 1 has 21 modules a side, version 40 has 177, each with a quiet zone of 4 on every side.
In byte mode they hold 14 and 2,331 bytes with correction M, and 17 and 2,953 with L.
"""

from __future__ import annotations

import re

import pytest

from hostlink.publish.qr import drawing


@pytest.mark.parametrize(
    ("count", "modules", "width_mm"),
    [(14, 21, 23.2), (15, 25, 26.4), (2331, 177, 95.0), (2332, 161, 95.0), (2953, 177, 95.0)],
)
def test_a_code_is_as_large_as_its_version_and_stands_on_the_page(
    count: int, modules: int, width_mm: float
) -> None:
    """0.8 mm a module and at most 95 mm in all; the drawing has the modules of its version.

    What does not fit with correction M is drawn with L: 2,332 bytes need
    version 36 then, which holds 2,431.
    """
    drawn = drawing("x" * count)
    assert drawn is not None
    svg, width = drawn
    assert width == width_mm
    box = re.search(r'viewBox="0 0 (\d+) (\d+)"', svg)
    assert box is not None
    assert box.groups() == (str(modules + 8),) * 2


def test_what_no_version_holds_has_no_code() -> None:
    """2,954 bytes are one too many for version 40 with the least correction."""
    assert drawing("x" * 2954) is None
