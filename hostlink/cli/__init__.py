"""The command line: parse, call one job, render. The commands load what they need when they run."""

from __future__ import annotations

from hostlink.cli.entry import main

__all__ = ["main"]
