"""JACK's dummy driver: real MIDI ports on a machine without any (Debian: jackd2)."""

from __future__ import annotations

import json
import os
import shutil
import subprocess
import sys
import time
from collections.abc import Iterator, Sequence
from pathlib import Path

import pytest

SERVER = f"mittelstimme-{os.getpid()}"  # a server of our own beside any other
# real-time (-R) where the machine lets it: else a busy machine drops what clients send too late
JACKD = ["jackd", "-n", SERVER, "-R", "-d", "dummy", "-r", "48000", "-p", "256"]
Bytes = tuple[float, list[int]]


class Organ:
    """The instrument of `organ.py`."""

    def __init__(self, name: str = "organ") -> None:
        self._process = subprocess.Popen(
            [sys.executable, str(Path(__file__).with_name("organ.py")), name],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            stderr=subprocess.DEVNULL,
            text=True,
        )
        self._answer("ready")

    def send(self, messages: Sequence[Bytes]) -> None:
        """Have these played; returns at once."""
        assert self._process.stdin is not None
        self._process.stdin.write(json.dumps(sorted(messages)) + "\n")
        self._process.stdin.flush()

    def wait(self) -> None:
        """Until the last ones sent have been played."""
        self._answer("played")

    def kill(self) -> None:
        """As if the cable were pulled."""
        self._process.kill()
        self._process.wait()

    def close(self) -> None:
        if self._process.poll() is None:
            assert self._process.stdin is not None
            self._process.stdin.close()
            self._process.wait(10)

    def _answer(self, word: str) -> None:
        assert self._process.stdout is not None
        line = self._process.stdout.readline()
        assert line.strip() == word, f"the organ said {line!r}"


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

    def close(self) -> None:
        if self._process.poll() is None:
            self._process.kill()
        self._process.communicate()


@pytest.fixture(scope="session")
def jack() -> Iterator[None]:
    """A JACK server with the dummy driver."""
    if shutil.which("jackd") is None:
        pytest.skip("jackd is not installed (Debian: apt-get install jackd2)")
    import rtmidi

    if rtmidi.API_UNIX_JACK not in rtmidi.get_compiled_api():
        pytest.skip("this build of python-rtmidi knows no JACK")
    before = os.environ.get("JACK_DEFAULT_SERVER")
    os.environ["JACK_DEFAULT_SERVER"] = SERVER  # where libjack in every process looks
    server = subprocess.Popen(JACKD, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
    try:
        deadline = time.monotonic() + 10
        while not _answers():
            if server.poll() is not None or time.monotonic() > deadline:
                pytest.skip("jackd does not start on this machine")
            time.sleep(0.2)
        yield
    finally:
        os.environ.pop("JACK_DEFAULT_SERVER")
        if before is not None:
            os.environ["JACK_DEFAULT_SERVER"] = before
        server.terminate()
        server.wait(10)


def _answers() -> bool:
    code = "import rtmidi; rtmidi.MidiIn(rtmidi.API_UNIX_JACK, name='knock')"
    return subprocess.run([sys.executable, "-c", code], capture_output=True).returncode == 0


@pytest.fixture(scope="module")
def organ(jack: None) -> Iterator[Organ]:
    instrument = Organ()
    yield instrument
    instrument.close()
