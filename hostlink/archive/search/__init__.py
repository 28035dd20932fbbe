"""Find programs and rescues by words."""
