"""Listings for people: the sheet to type from and the card of a board, as pages to print. Pure."""
