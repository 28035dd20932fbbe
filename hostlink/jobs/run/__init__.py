"""Running the program in a board's memory."""
