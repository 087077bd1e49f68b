"""Headless Chromium over the W3C WebDriver protocol, as much of it as the tests of pages need."""

from __future__ import annotations

import base64
import contextlib
import json
import os
import shutil
import socket
import subprocess
import tempfile
import time
import urllib.error
import urllib.request
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest


class Browser:
    """One window. Scripts run in the page; what they return comes back as plain values."""

    def __init__(self, port: int) -> None:
        self._root = f"http://127.0.0.1:{port}"
        self._session = ""

    def begin(self, profile: Path) -> None:
        options = {
            "args": [
                "--headless=new",
                "--disable-gpu",
                "--hide-scrollbars",
                "--autoplay-policy=no-user-gesture-required",
                f"--user-data-dir={profile}",
                *(["--no-sandbox"] if os.geteuid() == 0 else []),
            ]
        }
        wanted = {
            "browserName": "chrome",
            "goog:chromeOptions": options,
            "goog:loggingPrefs": {"browser": "ALL"},
        }
        done = self._ask("POST", "/session", {"capabilities": {"alwaysMatch": wanted}})
        self._session = f"/session/{done['sessionId']}"

    def open(self, page: Path) -> None:
        self._ask("POST", f"{self._session}/url", {"url": page.resolve().as_uri()})

    def run(self, script: str, *args: object) -> Any:
        body = {"script": script, "args": list(args)}
        return self._ask("POST", f"{self._session}/execute/sync", body)

    def click(self, css: str) -> None:
        body = {"using": "css selector", "value": css}
        found = self._ask("POST", f"{self._session}/element", body)
        (element,) = found.values()
        self._ask("POST", f"{self._session}/element/{element}/click", {})

    def wait(self, script: str, seconds: float = 8.0) -> bool:
        """Whether the script comes to return something true in that time."""
        end = time.monotonic() + seconds
        while time.monotonic() < end:
            if self.run(script):
                return True
            time.sleep(0.05)
        return False

    def tool(self, name: str, **parameters: object) -> Any:
        """A command of the DevTools protocol."""
        body = {"cmd": name, "params": parameters}
        return self._ask("POST", f"{self._session}/goog/cdp/execute", body)

    def complaints(self) -> list[str]:
        """What stands on the console since last asked."""
        found = self._ask("POST", f"{self._session}/se/log", {"type": "browser"})
        return [f"{one['level']}: {one['message']}" for one in found]

    def printed(self) -> bytes:
        """The page as a PDF."""
        return base64.b64decode(self._ask("POST", f"{self._session}/print", {"background": True}))

    def screenshot(self) -> bytes:
        return base64.b64decode(self._ask("GET", f"{self._session}/screenshot"))

    def end(self) -> None:
        if self._session:
            self._ask("DELETE", self._session)

    def _ask(self, method: str, path: str, body: object = None) -> Any:
        data = None if body is None else json.dumps(body).encode()
        request = urllib.request.Request(self._root + path, data, method=method)
        try:
            with urllib.request.urlopen(request, timeout=60) as answer:
                return json.load(answer)["value"]
        except urllib.error.HTTPError as error:
            raise AssertionError(error.read().decode()) from None


@pytest.fixture(scope="session")
def browser() -> Iterator[Browser]:
    """A browser, or the reason why there is none."""
    driver = shutil.which("chromedriver")
    if driver is None:
        pytest.skip("no chromedriver here: install chromium and chromium-driver")
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port = probe.getsockname()[1]
    profile = Path(tempfile.mkdtemp(prefix="mittelstimme-browser-"))
    process = subprocess.Popen(
        [driver, f"--port={port}"], stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL
    )
    window = Browser(port)
    try:
        for _ in range(200):
            with contextlib.suppress(OSError), socket.create_connection(("127.0.0.1", port), 1):
                break
            time.sleep(0.05)
        window.begin(profile)
        yield window
        window.end()
    finally:
        process.terminate()
        process.wait(10)
        shutil.rmtree(profile, ignore_errors=True)
