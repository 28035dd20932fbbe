"""Talking with one board as its profile says: asking, capturing, entering lines."""
