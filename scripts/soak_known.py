"""What hostlink is known to do wrong, by kind of board or fault, and kind of trouble.

Such troubles are counted apart, so that the soak shows what is new. Beside each stands the number
of a job that shows it: `soak.py --replay NUMBER`. A test replays them all and fails where one is
not seen any more; its row goes with its cause.
"""

from __future__ import annotations

from collections.abc import Mapping

KNOWN: Mapping[tuple[str, str], int] = {
    # The same line is missing in every capture, and the free memory that contradicts is outvoted.
    ("skips a line", "silent"): 152,
    ("skips a line", "lost"): 611,
    # The first row of each listing stands behind the prompt, and is taken for no line.
    ("prompts before it lists", "silent"): 122,
    ("prompts before it lists", "lost"): 204,
    # Words, or rows of another form, are taken for an empty program after some repeats.
    ("refuses to list", "lost"): 1944,
    ("lists nothing", "lost"): 1590,
    ("wrong commands.list", "lost"): 137,
    ("wrong rules.form.list_form", "lost"): 501,
    # Memory was taken for empty and "put back" so; or a slot that could not be read is in it.
    ("wrong commands.list", "untrue"): 137,
    ("wrong rules.form.list_form", "untrue"): 50683,
    ("repeats a line", "untrue"): 50454,
    # Limits within limits: 24 captures of 15 seconds for one read-back.
    ("damage 2.0%", "hang"): 3991,
    ("late prompt", "hang"): 52448,
    # Several commands one after the other, each until its own limit, and nothing told.
    ("flood", "quiet"): 32,
    ("mixture", "quiet"): 51068,
}
