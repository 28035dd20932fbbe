"""The desk: the main screen, and the parts that do its work."""
