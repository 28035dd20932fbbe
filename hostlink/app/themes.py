"""Our own three themes, with the colours of a listing; nothing is shown by colour alone.

Light and dark have variants for terminals of 256 and of 16 colours. scripts/colours.py computes
the colours, except those of the variants for 16: these use the colours of the terminal, whose
values are the user's, so they are chosen by hand. Monochrome uses the terminal's own two colours
and tells things apart by bold, underline and reversed text; it is the only theme where NO_COLOR
is set.
"""

from __future__ import annotations

from textual.theme import Theme

LIGHT = "light"
DARK = "dark"
MONOCHROME = "monochrome"
NAMES = (LIGHT, DARK, MONOCHROME)
_FEWER = {"256": "-256", "standard": "-16", "windows": "-16"}  # colour systems of rich

# Made by scripts/colours.py --write.
COLOURS = {
    "light": {
        "background": "#fcfaf6",
        "surface": "#f7f5ef",
        "boost": "#f4f0e4",
        "panel": "#e8e4da",
        "foreground": "#262522",
        "remark": "#51514c",
        "keyword": "#394b97",
        "quoted": "#005e28",
        "number": "#035965",
        "jump": "#7a3775",
        "error": "#8c3227",
        "accent": "#644e00",
        "rule": "#6e6d69",
        "selection": "#c0af83",
    },
    "dark": {
        "background": "#151411",
        "surface": "#1c1a17",
        "boost": "#24211b",
        "panel": "#2e2b25",
        "foreground": "#edede7",
        "remark": "#acaca7",
        "keyword": "#8ea9fc",
        "quoted": "#68bd7c",
        "number": "#0dbdd3",
        "jump": "#dd93d6",
        "error": "#f59080",
        "accent": "#caa842",
        "rule": "#888883",
        "selection": "#5b4d23",
    },
    "light-256": {
        "background": "#ffffff",
        "surface": "#ffffff",
        "boost": "#ffffff",
        "panel": "#e6e6e6",
        "foreground": "#1a1a1a",
        "remark": "#5f5f5f",
        "keyword": "#005f87",
        "quoted": "#005f00",
        "number": "#005f5f",
        "jump": "#87005f",
        "error": "#870000",
        "accent": "#5f5f5f",
        "rule": "#767676",
        "selection": "#afaf87",
    },
    "dark-256": {
        "background": "#101010",
        "surface": "#1a1a1a",
        "boost": "#242424",
        "panel": "#2e2e2e",
        "foreground": "#ffffff",
        "remark": "#b3b3b3",
        "keyword": "#afafff",
        "quoted": "#87d787",
        "number": "#00d7ff",
        "jump": "#ffafff",
        "error": "#ffaf87",
        "accent": "#d7af5f",
        "rule": "#949494",
        "selection": "#5f5f5f",
    },
}
# End of what is made.
_PLAIN = "ansi_default"
COLOURS_16 = {
    "light-16": {
        **dict.fromkeys(("background", "surface", "boost", "panel"), "ansi_bright_white"),
        **dict.fromkeys(("foreground", "remark", "number", "rule"), "ansi_black"),
        "keyword": "ansi_blue",
        "quoted": "ansi_magenta",
        "jump": "ansi_blue",
        "error": "ansi_red",
        "accent": "ansi_blue",
        "selection": "ansi_bright_white",
    },
    "dark-16": {
        **dict.fromkeys(("background", "surface", "boost", "panel"), "ansi_black"),
        **dict.fromkeys(("foreground", "remark", "rule"), "ansi_white"),
        "keyword": "ansi_bright_yellow",
        "quoted": "ansi_bright_green",
        "number": "ansi_bright_cyan",
        "jump": "ansi_bright_magenta",
        "error": "ansi_bright_red",
        "accent": "ansi_bright_yellow",
        "selection": "ansi_black",
    },
}


def variant(name: str, colour_system: str | None) -> str:
    """Return the theme to use on a terminal. colour_system: as rich names it, None for none."""
    if name == MONOCHROME or colour_system is None:
        return MONOCHROME
    return name + _FEWER.get(colour_system, "")


def name_in_settings(theme: str) -> str:
    """Return the name that a variant goes by in the settings."""
    return theme.partition("-")[0]


def _of_terminal(colours: dict[str, str]) -> dict[str, str]:
    """Return the values that Textual derives for a theme of the terminal's own colours."""
    ground, text = colours["background"], colours["foreground"]
    return {
        "ansi-background": ground,
        "ansi-foreground": text,
        "text": text,
        "text-muted": text,
        **{name: colours[name] for name in ("surface", "panel", "boost")},
    }


def _variables(colours: dict[str, str], reverse: str) -> dict[str, str]:
    """Return the variables of a theme. reverse: "reverse" if the theme has no colours, else ""."""
    ground, text, accent = colours["background"], colours["foreground"], colours["accent"]
    rule = colours["rule"]
    return {
        "listing-keyword": colours["keyword"],
        "listing-quoted": colours["quoted"],
        "listing-number": colours["number"],
        "listing-remark": colours["remark"],
        "listing-jump": colours["jump"],
        "listing-finding": colours["error"],
        "block-cursor-foreground": ground,
        "block-cursor-background": accent,
        # Many terminals show bold black as grey, which cannot be read on the accent.
        "block-cursor-text-style": reverse or ("none" if ground.startswith("ansi_") else "bold"),
        "block-hover-background": colours["boost"],
        "input-cursor-background": text,
        "input-cursor-foreground": ground,
        "input-cursor-text-style": reverse or "none",
        "input-selection-background": colours["selection"],
        "input-selection-foreground": text,
        "screen-selection-background": colours["selection"],
        "screen-selection-foreground": text,
        "scrollbar": rule,
        "scrollbar-hover": accent,
        "scrollbar-active": accent,
        "scrollbar-background": ground,
        "scrollbar-background-hover": ground,
        "scrollbar-background-active": ground,
        "scrollbar-corner-color": ground,
        "border": accent,
        "border-blurred": rule,
    }


def _theme(name: str, colours: dict[str, str]) -> Theme:
    """Return a theme. colours: by role, names of the terminal's own colours or #rrggbb."""
    ansi = colours["background"].startswith("ansi_")
    variables = _variables(colours, "reverse" if name == MONOCHROME else "")
    accent = colours["accent"]
    return Theme(
        name=name,
        ansi=ansi,
        dark=not name.startswith(LIGHT),
        primary=accent,
        secondary=colours["keyword"],
        accent=colours["number"],
        warning=accent,
        error=colours["error"],
        success=colours["quoted"],
        foreground=colours["foreground"],
        background=colours["background"],
        surface=colours["surface"],
        panel=colours["panel"],
        boost=colours["boost"],
        variables=variables | (_of_terminal(colours) if ansi else {}),
    )


THEMES = (
    *(_theme(name, colours) for name, colours in {**COLOURS, **COLOURS_16}.items()),
    _theme(MONOCHROME, dict.fromkeys(COLOURS[DARK], _PLAIN)),
)
