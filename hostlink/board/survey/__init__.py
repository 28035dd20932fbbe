"""Measure how an unknown board talks, stores lines and understands BASIC.

Rules:

1. A survey begins by recognising the board (hostlink.board.recognise), twice with the same result.
2. Without consent only direct lines are typed that change nothing on any board, and nothing that
   begins with a digit. No more characters are erased than were typed.
3. With consent test lines are stored. Their effect is read from the listing, never from the echo.
   The caller has rescued and cleared the memory, and restores it.
4. An answer counts only if the wire was clean, or if a second answer is the same.
5. What cannot be observed is not found, and what is only probable is called likely.

findings: the values that were found. proposal: a valid profile made of them. bench: the board under
survey. steps: the order of the tests. talk, keys, listed, language, numbers, memory, paging: tests
without storing. store, form, bounds, pricing, costs, timing, trial, stopping: tests with stored
lines. slots, filling: tests that overwrite EEPROM or fill the memory. survey_words: the result in
plain words.
"""
