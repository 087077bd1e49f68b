"""JACK's dummy driver: real MIDI ports on a machine without any (Debian: jackd2)."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.end_to_end.jack import NoServerError, Organ, Server


class Program:
    """The trainer in a process of its own; `lines` are the JSON lines it writes on stderr."""

    def __init__(self, *arguments: str, home: Path) -> None:
        self._process = subprocess.Popen(
            [sys.executable, "-m", "trainer", *arguments],
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            text=True,
            env={**os.environ, "MITTELSTIMME_HOME": str(home)},
        )
        self.lines: list[dict] = []

    def next(self, key: str) -> dict:
        """The next line that has `key`."""
        assert self._process.stderr is not None
        while line := self._process.stderr.readline():
            if line.startswith("{"):
                self.lines.append(json.loads(line))
                if key in self.lines[-1]:
                    return self.lines[-1]
            else:
                pytest.fail(f"the program said: {line.strip()}")
        pytest.fail(f"the program ended before it said {key!r}")

    def result(self) -> dict:
        """What it prints at its end."""
        out, err = self._process.communicate(timeout=60)
        assert self._process.returncode == 0, err
        return json.loads(out)

    def ended(self) -> tuple[int, str, str]:
        """Status, stdout and stderr, once it has ended."""
        out, err = self._process.communicate(timeout=60)
        return self._process.returncode, out, err

    def close(self) -> None:
        if self._process.poll() is None:
            self._process.kill()
        self._process.communicate()


def server_or_skip(name: str | None = None) -> Server:
    """A JACK server; skips the test where there can be none."""
    rtmidi = pytest.importorskip(
        "rtmidi", reason="without python-rtmidi the program goes through PortMidi, not through JACK"
    )
    if rtmidi.API_UNIX_JACK not in rtmidi.get_compiled_api():
        pytest.skip("this build of python-rtmidi knows no JACK")
    try:
        return Server(name)
    except NoServerError as error:
        pytest.skip(str(error))


@pytest.fixture(scope="module")
def jack() -> Iterator[None]:
    """A JACK server for the tests of a module."""
    server = server_or_skip()
    yield
    server.close()


@pytest.fixture()
def server() -> Iterator[Server]:
    """A JACK server of a test's own, which it may kill."""
    found = server_or_skip(f"mittelstimme-own-{os.getpid()}")
    yield found
    found.close()


@pytest.fixture(scope="module")
def organ(jack: None) -> Iterator[Organ]:
    instrument = Organ()
    yield instrument
    instrument.close()
