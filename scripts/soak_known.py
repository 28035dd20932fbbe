"""What hostlink is known to do wrong, by kind of board or fault, and kind of trouble.

Such troubles are counted apart, so that the soak shows what is new. Beside each stands the number
of a job that shows it: `soak.py --replay NUMBER`. A test replays them all and fails where one is
not seen any more; its row goes with its cause.
"""

from __future__ import annotations

from collections.abc import Mapping

KNOWN: Mapping[tuple[str, str], int] = {
    # The first row of each listing stands after the prompt, and is no line. That it is there each
    # time is not seen where damage makes it another one in most of the readings.
    ("prompts before it lists", "silent"): 1615,
    ("prompts before it lists", "lost"): 5876,
}
