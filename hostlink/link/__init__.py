"""Bytes and time: the port seam, the clock, the sender, captures, the recording of the wire."""
