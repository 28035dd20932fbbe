"""The step of scripts/check.py that makes a pack and starts from it as another computer would."""

from __future__ import annotations

import sys
import tempfile
from pathlib import Path

import pythons
from check_run import ROOT, passes

# Nothing listens there, so that whatever asks the network fails at once.
NOWHERE = "http://127.0.0.1:9"


def unreachable(home: Path) -> dict[str, str]:
    """Return the variables of a user without a network, and without settings of pip.

    home: an empty folder for all that this user has.
    """
    away = dict.fromkeys(("PIP_FIND_LINKS", "PIP_INDEX_URL", "PIP_EXTRA_INDEX_URL"), "")
    proxies = dict.fromkeys(("http_proxy", "https_proxy", "HTTP_PROXY", "HTTPS_PROXY"), NOWHERE)
    homes = dict.fromkeys(("HOME", "USERPROFILE", "LOCALAPPDATA", "XDG_DATA_HOME"), str(home))
    return {
        **away,
        **proxies,
        **homes,
        "PIP_CONFIG_FILE": "/dev/null" if sys.platform != "win32" else "nul",
        "PYTHONPATH": "",
        "HOSTLINK_ARCHIVE": str(home / "archive.sqlite3"),
        "HOSTLINK_PRACTICE": str(home / "practice"),
        "HOSTLINK_PORT": "practice://pack?time=virtual",
    }


def pack(python: str) -> str:
    """Make a pack with a Python; start from it without a network, with each Python that is here.

    Returns what is wrong, "" if nothing is.
    """
    with tempfile.TemporaryDirectory(prefix="hostlink-pack-") as name:
        folder = Path(name).resolve()
        stick = folder / "a stick"
        nobody = {"HOSTLINK_ARCHIVE": str(folder / "none.sqlite3")}
        made = [python, str(ROOT / "scripts" / "pack.py"), str(stick), "LICENSE"]
        if problem := passes(made, variables=nobody):
            return f"pack: {problem}"
        problems = []
        for found in pythons.find().values():
            print(f"Python {found}", flush=True)
            home = folder / str(found)
            home.mkdir()
            for words in (["load", "shipped:tide", "--run"], ["save", "tide"], ["programs"]):
                start = [found.file, str(stick / "start.py"), *words]
                if problem := passes(start, home, unreachable(home)):
                    problems.append(f"Python {found}, {words[0]}: {problem}")
                    break
        return "; ".join(problems)
