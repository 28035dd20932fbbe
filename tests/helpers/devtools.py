"""A browser that a test drives: what stands in a page, what a click does, how wide it is.

Chromium is told what to do by its DevTools protocol, over two pipes (--remote-debugging-pipe): each
message is JSON, ended by a NUL.
"""

from __future__ import annotations

import base64
import fcntl
import json
import os
import subprocess
from collections.abc import Sequence
from pathlib import Path
from typing import Any


class DrivenBrowser:
    """One browser with one page; a context manager that ends it."""

    def __init__(self, command: Sequence[str], folder: Path) -> None:
        asked, self._to = os.pipe()
        self._from, answers = os.pipe()

        def connect() -> None:
            """Give Chromium the ends that it reads and writes, as descriptors 3 and 4."""
            for end, number in [(fcntl.fcntl(each, fcntl.F_DUPFD, 10), number)
                                for each, number in ((asked, 3), (answers, 4))]:  # fmt: skip
                os.dup2(end, number)

        self._process = subprocess.Popen(
            [*command, "--remote-debugging-pipe", f"--user-data-dir={folder}", "about:blank"],
            preexec_fn=connect, pass_fds=(3, 4), stderr=subprocess.DEVNULL,
        )  # fmt: skip
        os.close(asked)
        os.close(answers)
        self._held = b""
        self._last = 0
        self._session = ""
        made = self.ask("Target.createTarget", url="about:blank")
        told = self.ask("Target.attachToTarget", targetId=made["targetId"], flatten=True)
        self._session = told["sessionId"]
        self.ask("Page.enable")

    def __enter__(self) -> DrivenBrowser:
        return self

    def __exit__(self, *_: object) -> None:
        self._session = ""
        self.ask("Browser.close")
        self._process.wait()
        os.close(self._from)
        os.close(self._to)

    def ask(self, method: str, **params: Any) -> Any:
        """Send a command of the protocol; return its result."""
        self._last += 1
        message: dict[str, Any] = {"id": self._last, "method": method, "params": params}
        if self._session:
            message["sessionId"] = self._session
        os.write(self._to, json.dumps(message).encode() + b"\0")
        while (answer := self._next()).get("id") != self._last:
            pass
        assert "error" not in answer, (method, answer["error"])
        return answer["result"]

    def _next(self) -> dict[str, Any]:
        while b"\0" not in self._held:
            more = os.read(self._from, 65_536)
            assert more, "the browser has ended"
            self._held += more
        message, _, self._held = self._held.partition(b"\0")
        told = json.loads(message)
        assert isinstance(told, dict)
        return told

    def open(self, page: Path, *, width: int = 1000, scripts: bool = True) -> None:
        """Open a file at a width in CSS pixels, as a telephone does below 500."""
        self.ask(
            "Emulation.setDeviceMetricsOverride",
            width=width, height=800, deviceScaleFactor=1, mobile=width < 500,
        )  # fmt: skip
        self.ask("Emulation.setScriptExecutionDisabled", value=not scripts)
        self.ask("Page.navigate", url=page.absolute().as_uri())
        while self._next().get("method") != "Page.loadEventFired":
            pass

    def value(self, expression: str) -> Any:
        """Return the value of an expression in the page, waited for if it is a promise."""
        told = self.ask(
            "Runtime.evaluate", expression=expression, returnByValue=True, awaitPromise=True,
            userGesture=True,
        )  # fmt: skip
        assert "exceptionDetails" not in told, told
        return told["result"].get("value")

    def until(self, expression: str, wanted: Any) -> None:
        """Wait until an expression has a value; a minute at the most."""
        self.value(
            f"new Promise((done, failed) => {{ const end = Date.now() + 60000; (function look() {{"
            f"if (({expression}) === {json.dumps(wanted)}) done(); else if (Date.now() > end)"
            f" failed(Error({expression})); else setTimeout(look, 10); }})(); }})"
        )

    def pasted(self) -> str:
        """Return what the browser pastes into an empty field for more than one row."""
        self.value(
            "document.body.append(document.createElement('textarea')),"
            "document.querySelector('body > textarea').focus()"
        )
        self.ask("Input.dispatchKeyEvent", type="keyDown", key="v", commands=["paste"], modifiers=2)
        text = self.value("document.querySelector('body > textarea').value")
        assert isinstance(text, str)
        return text

    def copied(self, selector: str) -> str:
        """Mark an element, copy it, and return what is pasted then."""
        self.value(
            f"getSelection().selectAllChildren(document.querySelector({json.dumps(selector)}))"
        )
        self.ask("Input.dispatchKeyEvent", type="keyDown", key="c", commands=["copy"], modifiers=2)
        return self.pasted()

    def click(self, selector: str) -> None:
        """Click in the middle of an element, as a hand does."""
        place = self.value(
            f"(() => {{ const e = document.querySelector({json.dumps(selector)});"
            "e.scrollIntoView({block: 'center'}); const b = e.getBoundingClientRect();"
            "return [b.x + b.width / 2, b.y + b.height / 2]; })()"
        )
        for kind in ("mousePressed", "mouseReleased"):
            self.ask(
                "Input.dispatchMouseEvent",
                type=kind, x=place[0], y=place[1], button="left", clickCount=1,
            )  # fmt: skip

    def picture(self, file: Path) -> None:
        """Draw what the screen shows."""
        told = self.ask("Page.captureScreenshot", format="png", captureBeyondViewport=True)
        file.write_bytes(base64.b64decode(told["data"]))
