"""Writing a firmware image, after a backup, with a way back to the firmware before it."""
