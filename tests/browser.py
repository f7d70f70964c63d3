"""A browser for tests: chromedriver's plain HTTP (W3C WebDriver, an open standard) and nothing else.

Only what the tests need.  The browser gets an empty profile of its own and is told to keep off the
network; where it or its driver is missing, :func:`missing` says so and tests skip.
"""

from __future__ import annotations

import base64
import json
import shutil
import subprocess
import tempfile
import time
import urllib.error
import urllib.request
from pathlib import Path
from typing import Any

BROWSERS = ("chromium", "chromium-browser")
DRIVER = "chromedriver"
FLAGS = (
    "--headless",
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--disable-dev-shm-usage",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
    "--hide-scrollbars",
)
ELEMENT = "element-6066-11e4-a52e-4f735466cecf"
"""Name under which WebDriver hands over an element (W3C WebDriver, section Elements)."""
KEYS = {"Space": " ", "End": "\ue010", "Home": "\ue011", "Left": "\ue012", "Right": "\ue014", "Tab": "\ue004"}
"""Code points of keys (W3C WebDriver, section Keyboard actions)."""


def missing() -> str:
    """Why there is no browser to test in; empty if there is one."""
    if not any(shutil.which(name) for name in BROWSERS):
        return "no chromium on this machine"
    return "" if shutil.which(DRIVER) else "no chromedriver on this machine"


class Browser:
    """One headless browser with one page."""

    def __init__(self, *, width: int = 1280, height: int = 800, flags: tuple[str, ...] = ()) -> None:
        self._profile = tempfile.TemporaryDirectory(ignore_cleanup_errors=True)
        driver = shutil.which(DRIVER)
        browser = next(found for found in map(shutil.which, BROWSERS) if found)
        assert driver
        self._driver = subprocess.Popen(
            [driver, "--port=0"], stdout=subprocess.PIPE, stderr=subprocess.DEVNULL, text=True
        )
        self._base = f"http://127.0.0.1:{self._port()}"
        options = {
            "binary": browser,
            "args": [
                *FLAGS,
                *flags,
                f"--user-data-dir={self._profile.name}",
                f"--window-size={width},{height}",
            ],
        }
        wanted = {"goog:chromeOptions": options, "goog:loggingPrefs": {"browser": "ALL"}}
        try:
            answer = self._send("POST", "/session", {"capabilities": {"alwaysMatch": wanted}})
        except BaseException:
            self._end_driver()
            raise
        self._session = f"/session/{answer['sessionId']}"

    def _port(self) -> int:
        assert self._driver.stdout
        for line in self._driver.stdout:
            if "on port" in line and "successfully" in line:
                return int(line.rstrip().rstrip(".").rpartition(" ")[2])
        raise RuntimeError("chromedriver did not start")

    def _send(self, method: str, path: str, body: dict[str, Any] | None = None) -> Any:
        data = None if body is None else json.dumps(body).encode()
        request = urllib.request.Request(self._base + path, data=data, method=method)
        try:
            with urllib.request.urlopen(request, timeout=600) as answer:
                return json.load(answer)["value"]
        except urllib.error.HTTPError as fault:
            raise RuntimeError(fault.read().decode()[:500]) from None

    def close(self) -> None:
        """End browser and driver."""
        try:
            self._send("DELETE", self._session)
        finally:
            self._end_driver()

    def _end_driver(self) -> None:
        self._driver.terminate()
        self._driver.wait(timeout=120)
        if self._driver.stdout:
            self._driver.stdout.close()
        self._profile.cleanup()

    def open(self, file: Path) -> None:
        """Open a file as a page."""
        self._send("POST", f"{self._session}/url", {"url": file.resolve().as_uri()})

    def run(self, script: str, *args: Any) -> Any:
        """What a script returns in the page."""
        return self._send("POST", f"{self._session}/execute/sync", {"script": script, "args": list(args)})

    def tell(self, command: str, **values: Any) -> Any:
        """A command of the browser's own protocol, such as the size of the screen it plays."""
        body = {"cmd": command, "params": values}
        return self._send("POST", f"{self._session}/goog/cdp/execute", body)

    def size(self, width: int, height: int) -> None:
        """Make the page this large, as on such a screen."""
        self.tell(
            "Emulation.setDeviceMetricsOverride",
            width=width,
            height=height,
            deviceScaleFactor=1,
            mobile=False,
        )

    def log(self) -> list[str]:
        """What the page complained of since this was last asked."""
        found = self._send("POST", f"{self._session}/se/log", {"type": "browser"})
        return [f"{entry['level']}: {entry['message']}" for entry in found]

    def press(self, *keys: str) -> None:
        """Press keys one after the other, wherever the focus is."""
        codes = [KEYS.get(key, key) for key in keys]
        strokes = [{"type": kind, "value": code} for code in codes for kind in ("keyDown", "keyUp")]
        self._act({"type": "key", "id": "keys", "actions": strokes})

    def drag(self, start: tuple[float, float], end: tuple[float, float], steps: int = 6) -> None:
        """Drag the pointer from one place of the page to another, in steps."""
        moves: list[dict[str, Any]] = [_move(start), {"type": "pointerDown", "button": 0}]
        for k in range(1, steps + 1):
            part = k / steps
            moves.append(
                _move((start[0] + part * (end[0] - start[0]), start[1] + part * (end[1] - start[1])))
            )
        moves.append({"type": "pointerUp", "button": 0})
        self._act(
            {"type": "pointer", "id": "mouse", "parameters": {"pointerType": "mouse"}, "actions": moves}
        )

    def click(self, at: tuple[float, float]) -> None:
        """Click at a place of the page."""
        self.drag(at, at, steps=1)

    def _act(self, source: dict[str, Any]) -> None:
        self._send("POST", f"{self._session}/actions", {"actions": [source]})

    def picture(self) -> bytes:
        """What is on the screen, as PNG."""
        return base64.b64decode(self._send("GET", f"{self._session}/screenshot"))

    def until(self, script: str, seconds: float = 120.0) -> Any:
        """Wait until a script returns something true, and return that."""
        end = time.monotonic() + seconds
        while time.monotonic() < end:
            found = self.run(script)
            if found:
                return found
            time.sleep(0.05)
        raise AssertionError(f"still not true after {seconds:g} s: {script}")


def _move(to: tuple[float, float]) -> dict[str, Any]:
    return {"type": "pointerMove", "duration": 20, "x": round(to[0]), "y": round(to[1]), "origin": "viewport"}
