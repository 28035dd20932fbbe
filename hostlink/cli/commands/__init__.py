"""The commands, grouped into modules by subject."""
