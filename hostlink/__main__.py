"""Let `python -m hostlink` do what the `hostlink` command does."""

from hostlink.cli import main

if __name__ == "__main__":
    main()
