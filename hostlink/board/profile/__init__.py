"""Profiles of kinds of board, read from files, checked and written."""
