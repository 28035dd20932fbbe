"""Our own three themes, with the colours of a listing; nothing is told by colour alone.

Monochrome uses the terminal's own two colours and tells things apart by bold, underline and
reversed text; it is the only theme where NO_COLOR is set.
"""

from __future__ import annotations

from textual.theme import Theme

LIGHT = "light"
DARK = "dark"
MONOCHROME = "monochrome"
NAMES = (LIGHT, DARK, MONOCHROME)

_PLAIN = "ansi_default"


def _listing(
    keyword: str, quoted: str, number: str, remark: str, jump: str, finding: str
) -> dict[str, str]:
    return {
        "listing-keyword": keyword,
        "listing-quoted": quoted,
        "listing-number": number,
        "listing-remark": remark,
        "listing-jump": jump,
        "listing-finding": finding,
    }


THEMES = (
    Theme(
        name=LIGHT,
        dark=False,
        primary="#7d3c12",
        secondary="#4d5b2a",
        accent="#0f6257",
        warning="#8a5a00",
        error="#a3231a",
        success="#33691e",
        foreground="#241f18",
        background="#fbf7ee",
        surface="#f4eee0",
        panel="#e6dcc6",
        boost="#efe7d6",
        variables={
            **_listing("#7d3c12", "#33691e", "#0f6257", "#6e6657", "#8c1f5e", "#a3231a"),
            "block-cursor-foreground": "#fbf7ee",
            "block-cursor-background": "#7d3c12",
            "block-cursor-text-style": "bold",
            "input-cursor-background": "#241f18",
            "input-cursor-foreground": "#fbf7ee",
            "input-selection-background": "#e8c9a0",
            "scrollbar": "#c9bb9c",
            "scrollbar-hover": "#a8966f",
            "scrollbar-active": "#7d3c12",
            "scrollbar-background": "#efe7d6",
            "scrollbar-background-hover": "#efe7d6",
            "scrollbar-background-active": "#efe7d6",
            "scrollbar-corner-color": "#efe7d6",
            "border": "#7d3c12",
            "border-blurred": "#c9bb9c",
        },
    ),
    Theme(
        name=DARK,
        dark=True,
        primary="#e0a458",
        secondary="#a9b665",
        accent="#74c2b1",
        warning="#e6bf5a",
        error="#f0806c",
        success="#9bc272",
        foreground="#ece4d4",
        background="#1b1814",
        surface="#221e19",
        panel="#332c23",
        boost="#2a251e",
        variables={
            **_listing("#e0a458", "#9bc272", "#74c2b1", "#a2977f", "#e59ac1", "#f0806c"),
            "block-cursor-foreground": "#1b1814",
            "block-cursor-background": "#e0a458",
            "block-cursor-text-style": "bold",
            "input-cursor-background": "#ece4d4",
            "input-cursor-foreground": "#1b1814",
            "input-selection-background": "#5a4526",
            "scrollbar": "#544837",
            "scrollbar-hover": "#8a7453",
            "scrollbar-active": "#e0a458",
            "scrollbar-background": "#2a251e",
            "scrollbar-background-hover": "#2a251e",
            "scrollbar-background-active": "#2a251e",
            "scrollbar-corner-color": "#2a251e",
            "border": "#e0a458",
            "border-blurred": "#544837",
        },
    ),
    Theme(
        name=MONOCHROME,
        ansi=True,
        dark=True,
        primary=_PLAIN,
        secondary=_PLAIN,
        accent=_PLAIN,
        warning=_PLAIN,
        error=_PLAIN,
        success=_PLAIN,
        foreground=_PLAIN,
        background=_PLAIN,
        surface=_PLAIN,
        panel=_PLAIN,
        boost=_PLAIN,
        variables={
            **_listing(*[_PLAIN] * 6),
            "ansi-background": _PLAIN,
            "ansi-foreground": _PLAIN,
            "border": _PLAIN,
            "border-blurred": _PLAIN,
            "block-cursor-foreground": _PLAIN,
            "block-cursor-background": _PLAIN,
            "block-cursor-text-style": "reverse",
            "block-hover-background": _PLAIN,
            "input-cursor-background": _PLAIN,
            "input-cursor-foreground": _PLAIN,
            "input-cursor-text-style": "reverse",
            "input-selection-background": _PLAIN,
            "input-selection-foreground": _PLAIN,
            "screen-selection-background": _PLAIN,
            "screen-selection-foreground": _PLAIN,
            "scrollbar": _PLAIN,
            "scrollbar-hover": _PLAIN,
            "scrollbar-active": _PLAIN,
            "scrollbar-background": _PLAIN,
            "scrollbar-background-hover": _PLAIN,
            "scrollbar-background-active": _PLAIN,
            "scrollbar-corner-color": _PLAIN,
        },
    ),
)
