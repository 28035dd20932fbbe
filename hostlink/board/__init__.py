"""Talk with one kind of board: its profile, and the dialogue built on it."""
