"""Widgets: the editor of the listing, rows, the ruler, long texts."""
