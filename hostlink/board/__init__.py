"""What one kind of board understands: its profile, and the dialogue built on it."""
