"""Finding programs and rescues by their words."""
