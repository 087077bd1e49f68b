"""Headless Chromium over the W3C WebDriver protocol, as much of it as the tests of pages need."""

from __future__ import annotations

import base64
import json
import os
import re
import shutil
import subprocess
import tempfile
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

    def wait(self, script: str, seconds: float = 60.0) -> bool:
        """Whether the script comes to return something true; the page itself looks, before each
        frame it draws. The limit only guards against hanging."""
        look = f"""
            const [until, done] = arguments;
            const holds = () => {{ {script} }};
            const look = () => {{
                if (holds()) done(true);
                else if (performance.now() > until) done(false);
                else setTimeout(look, 5);
            }};
            look();
        """
        self._ask("POST", f"{self._session}/timeouts", {"script": 1000 * seconds + 10_000})
        until = self.run("return performance.now()") + 1000 * seconds
        body = {"script": look, "args": [until]}
        return bool(self._ask("POST", f"{self._session}/execute/async", body))

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
            with urllib.request.urlopen(request, timeout=120) as answer:
                return json.load(answer)["value"]
        except urllib.error.HTTPError as error:
            raise AssertionError(error.read().decode()) from None


@pytest.fixture(scope="session")
def browser() -> Iterator[Browser]:
    """A browser, or the reason why there is none."""
    driver = shutil.which("chromedriver")
    if driver is None:
        pytest.skip("no chromedriver here: install chromium and chromium-driver")
    profile = Path(tempfile.mkdtemp(prefix="mittelstimme-browser-"))
    process = subprocess.Popen(
        [driver, "--port=0"], stdout=subprocess.PIPE, stderr=subprocess.DEVNULL, text=True
    )
    try:
        window = Browser(_port(process))
        window.begin(profile)
        yield window
        window.end()
    finally:
        process.terminate()
        process.wait(60)
        shutil.rmtree(profile, ignore_errors=True)


def _port(driver: subprocess.Popen[str]) -> int:
    """The port it takes, which it says as soon as it listens there."""
    assert driver.stdout is not None
    for line in driver.stdout:
        found = re.search(r"started successfully on port (\d+)", line)
        if found is not None:
            return int(found[1])
    raise AssertionError("the driver of the browser has ended")
