"""The environment in which the benchmark starts Python processes whose start it measures."""

from __future__ import annotations

import os
from pathlib import Path


def compiled_environment(folder: Path) -> dict[str, str]:
    """Return this environment, but with byte code kept in a folder: what an installed copy has.

    Where PYTHONDONTWRITEBYTECODE is set, as in some containers, every start would compile
    hostlink's source anew, and that would be most of what is measured. Run each command once
    before it is timed.
    """
    environment = {**os.environ, "PYTHONPYCACHEPREFIX": str(folder / "bytecode")}
    environment.pop("PYTHONDONTWRITEBYTECODE", None)
    return environment
