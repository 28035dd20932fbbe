"""Mending a pasted listing: letters for digits, blanks, rows that are no lines."""
