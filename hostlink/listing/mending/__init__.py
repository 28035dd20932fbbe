"""Repair pasted listings: characters, markup, wrapped lines, blanks."""
