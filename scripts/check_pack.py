"""The step of scripts/check.py that makes a pack and starts from it as another computer would."""

from __future__ import annotations

import sys
import tempfile
from concurrent.futures import ThreadPoolExecutor
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

        def start(found: pythons.Interpreter) -> str:
            home = folder / str(found)
            home.mkdir()
            for words in (["load", "shipped:tide", "--run"], ["save", "tide"], ["programs"]):
                command = [found.file, str(stick / "start.py"), *words]
                if problem := passes(command, home, unreachable(home)):
                    return f"Python {found}, {words[0]}: {problem}"
            return ""

        with ThreadPoolExecutor() as pool:
            return "; ".join(filter(None, pool.map(start, pythons.find().values())))
