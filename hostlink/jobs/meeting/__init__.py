"""Meet a board: find out, from the USB bridge up to its program, how far it answers."""
