"""Words to type at a board about which nothing is known yet."""

from __future__ import annotations

# Commands that clear the program: NEW nearly everywhere; SCR: common practice, no source.
CLEARING = ("NEW", "SCR")
NONSENSE = "QZ"  # no statement of any BASIC; two letters, like the name of a variable
