"""Whole user tasks, composed from link, board, listing and archive; they report typed events."""
