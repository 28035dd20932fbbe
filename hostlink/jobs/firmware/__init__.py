"""Writing a firmware image, with a backup before and the way back after."""
