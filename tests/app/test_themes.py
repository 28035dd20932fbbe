"""The themes: their contrasts, which of them a terminal gets, and the focus without colour."""

from __future__ import annotations

from typing import Any

import pytest
from rich._palettes import STANDARD_PALETTE
from rich.color import Color as Shown
from rich.color import ColorSystem
from textual.color import Color
from textual.theme import Theme
from textual.widgets import OptionList

from hostlink.app.themes import COLOURS, COLOURS_16, THEMES, name_in_settings, variant

# The colours 0 to 15 of xterm: "xterm-col.ad" of its source, from memory. Rich's are a PC's.
XTERM = (
    *("000000", "cd0000", "00cd00", "cdcd00", "0000ee", "cd00cd", "00cdcd", "e5e5e5"),
    *("7f7f7f", "ff0000", "00ff00", "ffff00", "5c5cff", "ff00ff", "00ffff", "ffffff"),
)
TERMINALS = {
    "xterm": [Color.parse(f"#{one}") for one in XTERM],
    "a PC": [Color(*STANDARD_PALETTE[number]) for number in range(16)],
}
GROUNDS = ("background", "surface", "boost")
TEXT = ("remark", "keyword", "quoted", "number", "jump", "error", "accent")


def contrast(one: Color, other: Color) -> float:
    """WCAG 2.2, definition of contrast ratio: (L1 + 0.05) / (L2 + 0.05), relative luminance."""

    def luminance(color: Color) -> float:
        parts = [
            value / 12.92 if value <= 0.04045 else ((value + 0.055) / 1.055) ** 2.4
            for value in (color.r / 255, color.g / 255, color.b / 255)
        ]
        return 0.2126 * parts[0] + 0.7152 * parts[1] + 0.0722 * parts[2]

    high, low = sorted((luminance(one), luminance(other)), reverse=True)
    return (high + 0.05) / (low + 0.05)


def shown(theme: str, role: str) -> Color:
    """Return the colour that a terminal shows for a role of a theme."""
    written = Color.parse(COLOURS[theme][role])
    if not theme.endswith("-256"):
        return written
    rich = Shown.from_rgb(written.r, written.g, written.b).downgrade(ColorSystem.EIGHT_BIT)
    return Color(*rich.get_truecolor())


def test_the_contrast_is_that_of_the_standard() -> None:
    """Black on white is 21:1, by WCAG 2.2; #767676 on white is the last grey of 4.5:1."""
    white = Color.parse("#ffffff")
    assert round(contrast(Color.parse("#000000"), white), 2) == 21
    assert contrast(Color.parse("#767676"), white) >= 4.5 > contrast(Color.parse("#777777"), white)


@pytest.mark.parametrize("theme", COLOURS)
def test_text_has_seven_to_one_and_the_rest_four_and_a_half(theme: str) -> None:
    """On each ground that it stands on, as the terminal shows both."""
    for ground in GROUNDS:
        for role in TEXT:
            ratio = contrast(shown(theme, role), shown(theme, ground))
            assert ratio >= 7, (theme, role, ground, round(ratio, 2))
        assert contrast(shown(theme, "rule"), shown(theme, ground)) >= 4.5
    for ground in (*GROUNDS, "panel", "selection"):
        assert contrast(shown(theme, "foreground"), shown(theme, ground)) >= 7, (theme, ground)


@pytest.mark.parametrize("theme", COLOURS)
def test_the_colours_of_a_listing_can_be_told_apart(theme: str) -> None:
    """Keyword, text in quotes, number, jump and finding each have their own."""
    roles = ("foreground", "keyword", "quoted", "number", "jump", "error")
    assert len({shown(theme, role).hex for role in roles}) == len(roles)


@pytest.mark.parametrize("terminal", TERMINALS)
@pytest.mark.parametrize("theme", COLOURS_16)
def test_sixteen_colours_can_be_read_on_the_usual_ones(theme: str, terminal: str) -> None:
    """Their values are the user's; on those of two usual terminals text keeps 4.5:1 and more."""

    def value(role: str) -> Color:
        number = Color.parse(COLOURS_16[theme][role]).ansi
        assert number is not None
        return TERMINALS[terminal][number]

    for role in (*TEXT, "foreground"):
        ratio = contrast(value(role), value("background"))
        assert ratio >= 4.5, (theme, terminal, role, round(ratio, 2))


@pytest.mark.parametrize(
    ("name", "system", "theme"),
    [
        ("dark", "truecolor", "dark"),
        ("light", "256", "light-256"),
        ("dark", "standard", "dark-16"),
        ("dark", "windows", "dark-16"),
        ("light", None, "monochrome"),
        ("monochrome", "truecolor", "monochrome"),
    ],
)
def test_a_terminal_gets_the_variant_for_its_colours(
    name: str, system: str | None, theme: str
) -> None:
    """A name of the settings and what rich finds out about the terminal choose it."""
    assert variant(name, system) == theme
    assert theme in {one.name for one in THEMES}


@pytest.mark.parametrize(
    ("term", "colorterm", "theme"),
    [
        ("xterm", "", "dark-16"),
        ("xterm-256color", "", "dark-256"),
        ("xterm-256color", "truecolor", "dark"),
    ],
)
def test_the_app_asks_the_terminal(
    stage: Any, monkeypatch: pytest.MonkeyPatch, term: str, colorterm: str, theme: str
) -> None:
    """TERM and COLORTERM decide; the settings keep the name without the variant."""
    monkeypatch.setenv("TERM", term)
    monkeypatch.setenv("COLORTERM", colorterm)

    async def story(pilot: Any, app: Any) -> None:
        await pilot.pause()
        assert app.theme == theme
        app.use_theme("light")
        assert name_in_settings(app.theme) == "light" and app.settings.theme == "light"

    stage.play(story, port="")


def styles(app: Any, words: str) -> list[Any]:
    """Return the styles of the cells in which words stand, as the terminal is told them."""
    for strip in app.screen._compositor.render_strips():
        text = "".join(segment.text for segment in strip)
        if words in text:
            line = strip.crop(text.index(words), text.index(words) + len(words))
            for line_filter in app._filters:
                if line_filter.enabled:
                    line = line.apply_filter(line_filter, Color.parse("black"))
            return [segment.style for segment in line]
    raise AssertionError(f"{words} is not on the screen")


@pytest.mark.parametrize("without", ["monochrome", "NO_COLOR"])
def test_the_chosen_row_of_the_palette_shows_without_colour(
    stage: Any, wait: Any, monkeypatch: pytest.MonkeyPatch, without: str
) -> None:
    """It is underlined, and the others are not."""
    if without == "NO_COLOR":
        monkeypatch.setenv("NO_COLOR", "1")

    async def story(pilot: Any, app: Any) -> None:
        app.use_theme("monochrome")
        await pilot.press("f2")
        await wait(pilot, lambda: any(one.option_count > 2 for one in app.screen.query(OptionList)))
        chosen = app.screen.query_one(OptionList)
        await pilot.press("down")
        await wait(pilot, lambda: chosen.highlighted == 1)
        words = [str(chosen.get_option_at_index(at).prompt).split("\n")[0] for at in range(2)]
        assert all(one.underline for one in styles(app, words[1]))
        assert not any(one.underline for one in styles(app, words[0]))

    stage.play(story, port="")


def test_a_button_shows_its_focus_by_a_sign(stage: Any, wait: Any, shown: Any) -> None:
    """A bar stands before the one that Enter presses."""

    async def story(pilot: Any, app: Any) -> None:
        from hostlink.app.screens.dialogues import Ask

        app.push_screen(Ask("Which?", [("one", "The first"), ("two", "The second")]))
        await wait(pilot, lambda: "▌The first" in " ".join(shown(app).split()).replace("▌ ", "▌"))
        await pilot.press("tab")
        await wait(pilot, lambda: "▌The second" in shown(app).replace("▌ ", "▌"))
        assert shown(app).count("▌") == 1

    stage.play(story, port="")


@pytest.mark.parametrize("theme", COLOURS_16)
def test_a_dialogue_stands_on_the_ground_of_its_theme(stage: Any, wait: Any, theme: str) -> None:
    """Text and ground are both ours: black text never stands on a black terminal."""

    async def story(pilot: Any, app: Any) -> None:
        from hostlink.app.screens.dialogues import Ask

        app.theme = theme
        app.push_screen(Ask("Which of the two?", [("one", "The first"), ("two", "The second")]))
        await wait(pilot, lambda: app.focused is not None and app.focused.id == "answer-one")
        ground = Color.parse(COLOURS_16[theme]["background"]).ansi
        for words in ("Which of the two?", "The second"):
            assert {style.bgcolor.number for style in styles(app, words)} == {ground}

    stage.play(story, port="")


@pytest.mark.parametrize("theme", THEMES, ids=lambda theme: theme.name)
def test_no_theme_leaves_a_colour_to_the_library(theme: Theme) -> None:
    """Cursor, selection and scrollbar are set by each of ours."""
    assert {"block-cursor-background", "scrollbar", "input-selection-background"} <= set(
        theme.variables
    )


def test_no_bold_black_stands_on_the_accent_of_16_colours(stage: Any) -> None:
    """Many terminals show bold black as grey (seen in a stock xterm): it could not be read."""

    async def story(pilot: Any, app: Any) -> None:
        for theme in COLOURS_16:
            app.theme = theme
            await pilot.pause()
            heading = app.screen.query_one("Heading.-here")
            assert not heading.rich_style.bold, theme
            assert app.theme_variables["block-cursor-text-style"] == "none"

    stage.play(story, port="")
