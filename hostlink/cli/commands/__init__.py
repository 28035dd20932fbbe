"""The commands, in files by what they are about."""
