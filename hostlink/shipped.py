"""Where the shipped example programs are, in an installed package and in a checkout alike.

A built wheel carries the listings as `hostlink/library`. An editable install has no copy (a copy
could go stale): there the package stands in the checkout, with `library/` beside it.
"""

from __future__ import annotations

from pathlib import Path

from hostlink.errors import HostlinkError

_PACKAGE = Path(__file__).resolve().parent


def library_folder(package: Path = _PACKAGE) -> Path:
    """Return the folder with the shipped listings and their index.

    package: the folder of the hostlink package. Raises HostlinkError if neither place has it.
    """
    inside, beside = package / "library", package.parent / "library"
    if inside.is_dir():
        return inside
    # Beside an installed package, a folder of this name would belong to another package.
    if beside.is_dir() and (package.parent / "pyproject.toml").is_file():
        return beside
    raise HostlinkError(
        f"The shipped programs are missing: there is no library folder in {package}.",
        kept="Your archive was not touched.",
        advice="Install hostlink again.",
    )
