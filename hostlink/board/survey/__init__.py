"""Measuring how an unknown board talks, stores and understands, from what it really does.

Rules:
1. It begins by recognising the board (hostlink.board.recognise), twice the same.
2. Without consent only direct lines are typed that change nothing on any board, and nothing that
   begins with a digit. Never is more taken back than was typed.
3. With consent test lines are stored. What the board does to them is read from its listing, never
   from its echo. The caller has rescued and cleared the memory, and puts it back.
4. What one answer shows counts only where the wire was right, or a second answer shows it again.
5. What cannot be seen is not found, and what is only probable is called likely.

findings: what was found, value by value. proposal: a profile made of that, always a sound one.
bench: the board under survey. talk, keys, listed, language, numbers: what is found without storing.
store, form, bounds, memory, costs, timing, trial, stopping: what test lines show. slots, filling:
what overwrites EEPROM, and what fills the memory. telling: the result in plain words.
"""
