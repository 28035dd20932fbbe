"""What is known of one kind of board: its profile, read from a file, checked and written."""
