"""hostlink: load listings into small BASIC computers, save them, keep every version."""

__version__ = "0.2.0"
