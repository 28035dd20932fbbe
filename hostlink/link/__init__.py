"""Bytes and time: ports, the clock, the cores that talk to a board, the recording of the wire."""
