"""Cautions to show before firmware is written or a program is stored in the EEPROM."""

from __future__ import annotations

from hostlink.sentences import lift_wire
from hostlink.words import capital

# Common practice, no source, but for the last two: absolute maximum ratings of the ATmega328P
# (DS40002061A, section 29.1: supply 6.0 V, pins at most VCC + 0.5 V).
CAUTIONS = (
    """\
Before firmware is written:
- Do not unplug the board, disconnect its supply or let this computer sleep until it is done.
- A wrong image leaves the board mute: no prompt, no picture. Its bootloader remains, so another
  image can be written. What a board holds now can be brought back {goes_back}; a new board holds
  nothing to go back to.
- This writes to the {part} at {port}. Check that this is the board you mean.
- In a machine of two boards, """
    + lift_wire()
    + """: with
  it in place two outputs work against each other, and this board hears nothing from here.
- Supply it with 5 V, never 6 V or more, and never from two supplies at once, USB being one: a chip
  that is fed through its pins may be damaged. Disconnect the supply before you move a wire.
- When in doubt, stop here and ask a qualified person."""
)

# Common practice, no source: each board's receiver may have one driver only while it is written.
MOVE_TO_DISPLAY = (
    """\
Now the display. Where the machine's own description says otherwise, follow that:
1. Unplug the USB bridge, and disconnect the supply of both boards.
2. Put back the wire that you lifted at the computer.
3. """
    + capital(lift_wire("the computer", "the display"))
    + """.
4. If both boards share one bridge, move its wires (ground, TX, RX and the restart line) from the
   computer to the display.
5. Plug the bridge in again, and supply the display with 5 V, from one supply only."""
)
MOVE_BACK = """\
Both boards are written. Unplug the bridge, disconnect the supply, put back the wire that you lifted
at the display, and move the bridge back to the computer."""

ROLES_TOLD = {
    "computer": "it runs the BASIC, and the keyboard is connected to it",
    "display": "it makes the picture, and the screen is connected to it",
}
"""How a user can tell the two boards of a machine apart."""

# ATmega328P data sheet DS40002061A, features: 100,000 EEPROM write/erase cycles.
WEAR_WARNING = (
    "Each store wears the EEPROM a little; the ATmega328P's is made for 100,000 writes of a byte."
)
