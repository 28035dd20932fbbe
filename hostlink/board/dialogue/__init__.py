"""Talk with one board as its profile says: ask, capture and enter lines."""
