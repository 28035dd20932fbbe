"""Lets `python -m hostlink` do what the `hostlink` command does."""

import sys

from hostlink.cli import main

if __name__ == "__main__":
    sys.exit(main())
