"""Advice that the jobs give in commands and options, told in the app's own keys.

The jobs are shared with the command line, and their errors name its commands. Whoever sits at the
desk needs the key that does the same; where the app has none, the command is said to be one.
"""

from __future__ import annotations

import re

_SAID: tuple[tuple[str, str], ...] = (
    (r"`hostlink load (\S+)` puts it back", r"open it with Ctrl+O as \1 and load it"),
    (r"`hostlink mend [^`]*` repairs", "Alt+M repairs"),
    (r"`hostlink review [^`]*` shows everything", "Alt+V shows everything"),
    (r"`hostlink shrink [^`]*` makes it fit", "Alt+D makes it fit"),
    (r"`hostlink programs` lists what is in the archive, `hostlink programs --shipped` [^.]*",
     "Ctrl+F finds what is there"),
    (r"`hostlink programs( --shipped)?` lists (what is there|them)", "Ctrl+F finds what is there"),
    (r"`hostlink save NAME`", "Ctrl+G asks for it"),
    (r"Look at it with `hostlink console`, or save it all the same with --yes",
     "Look at it in the console (Ctrl+T), or save it all the same"),
    (r"Look at it with `hostlink backup`", "Look at it with Alt+O"),
    (r"`hostlink backup --list` shows them", "Alt+P shows them"),
    (r"`hostlink putback (\S+)` tries again", r"Alt+P tries \1 again"),
    (r"`hostlink putback (\S+) --profile NAME` puts them back", r"Alt+P puts \1 back"),
    (r"`hostlink putback (\S+)` puts them on", r"Alt+P puts \1 on"),
    (r"`hostlink putback (\S+)` puts (them|it) back", r"Alt+P puts \1 back"),
    (r"`hostlink putback (\S+)`: both put", r"Alt+P with \1: both put"),
    (r"Name what is to go back: `hostlink putback (\S+) --item \S+`",
     r"Mark in Alt+P what is to go back of \1"),
    (r"name its --profile or --baud", "name its profile in the settings (Alt+S)"),
    (r"and run `hostlink boards` to see the ports", "and look at the boards with Alt+Y"),
    (r"Run `hostlink boards` to see the ports", "Alt+Y shows the ports"),
    (r"this is the right port and speed \(--port, --baud\)",
     "this is the right port; Alt+Y, then S, finds its speed"),
    (r"talks at another speed: try --baud", "talks at another speed: Alt+Y, then S, finds it"),
    (r"if it is another kind of board, name its --profile",
     "if it is another kind of board, name its profile in the settings (Alt+S)"),
    (r" \(--profile\)", ": Alt+S names another"),
    (r"Choose another --baud", "Choose another profile (Alt+S)"),
    (r"repeat with --stop-running", "interrupt it with Alt+X"),
    (r"\(--baud, --stop-running\)", "(Alt+L)"),
    (r"`hostlink firmware history` shows what was written where",
     "Alt+I, then a lone -, shows what was written where"),
    (r"or repeat with --yes to replace( it)?", "or say that it may be replaced"),
    (r"is not kept; name it with --as", "is not kept"),
    (r"; with --discard-board what the board [^.]*", ""),
    (r"`hostlink firmware write --previous( --discard-board)?`", "G on the firmware screen"),
    (r"`hostlink firmware write IMAGE( --discard-board)?`", "W on the firmware screen"),
)  # fmt: skip
_REST = re.compile(r"(`hostlink [^`]+`)")


def in_app(text: str) -> str:
    """A message of the jobs with the app's keys in place of commands and options."""
    if "--" not in text and "`" not in text:
        return text
    for words, keys in _SAID:
        text = re.sub(words, keys, text)
    return _REST.sub(r"the command \1", text)
