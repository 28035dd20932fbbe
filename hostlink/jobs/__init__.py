"""Whole user tasks, composed from link, board, listing and archive; they report typed events.

A job is a function. It takes what it works on and an `emit` for its events, or a session that has
one, and returns a frozen result or raises one of hostlink.errors. It knows nothing of terminals,
windows or options.
"""
