"""Pages to print: the listing sheet to type from and the card of a board. No I/O."""
