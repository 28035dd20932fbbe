"""Repair pasted listings: letters for digits, blanks, markup."""
