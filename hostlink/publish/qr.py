"""Draw a listing as a QR code (ISO/IEC 18004) inside a page."""

from __future__ import annotations

MODULE_MM = 0.8
LARGEST_MM = 95.0
"""Widest drawing, so that it stands on one page; a module is then no less than 0.5 mm."""


def drawing(content: str) -> tuple[str, float] | None:
    """Return a text as an SVG drawing and its width in millimetres; None if it is too long.

    Error correction M (15 %) if the text fits, else L (7 %).
    """
    import segno  # here, since only a sheet needs it

    data = content.encode("utf-8")
    for correction in ("m", "l"):
        try:
            code = segno.make_qr(data, error=correction, boost_error=False, mode="byte")
        except segno.DataOverflowError:
            continue
        modules = code.symbol_size(scale=1, border=4)[0]
        svg = code.svg_inline(border=4, omitsize=True, svgclass=None, lineclass=None)
        return svg, round(min(LARGEST_MM, modules * MODULE_MM), 1)
    return None
