"""A JACK server of our own with the dummy driver, and who plays and listens there."""

from __future__ import annotations

import json
import os
import shutil
import signal
import subprocess
import sys
import time
from collections.abc import Sequence
from pathlib import Path

Bytes = tuple[float, list[int]]  # seconds on the clock of time.monotonic, and a message
HERE = Path(__file__).parent
VARIABLE = "JACK_DEFAULT_SERVER"  # where libjack in every process looks


class NoServerError(Exception):
    """JACK cannot be had here; says why."""


class Server:
    """A JACK server beside any other; while it is there all processes of ours find it."""

    def __init__(self, name: str | None = None, *, frames: int = 256) -> None:
        if shutil.which("jackd") is None:
            raise NoServerError("jackd is not installed (Debian: apt-get install jackd2)")
        self.name = name or f"mittelstimme-{os.getpid()}"
        self._frames = frames  # of a period at 48 kHz
        self._before = os.environ.get(VARIABLE)
        os.environ[VARIABLE] = self.name
        self.start()

    def start(self) -> None:
        """Start it (again)."""
        # real-time (-R) where the machine lets it, and never going on without a client that is late
        # (-S): else a busy machine drops what comes too late
        words = ["jackd", "-n", self.name, "-R", "-S", "-d", "dummy", "-r", "48000"]
        self.process = subprocess.Popen(
            [*words, "-p", str(self._frames)], stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL
        )
        deadline = time.monotonic() + 20
        while not self._answers():
            if self.process.poll() is not None or time.monotonic() > deadline:
                self.process.kill()
                self._forget()
                raise NoServerError("jackd does not start on this machine")
            time.sleep(0.1)

    def kill(self) -> None:
        """Without a word to its clients."""
        self.process.kill()
        self.process.wait()

    def stand_still(self) -> None:
        """As if it hung."""
        self.process.send_signal(signal.SIGSTOP)

    def close(self) -> None:
        """End it in order: of servers that were killed a machine bears no more than eight."""
        if self.process.poll() is None:
            self.process.send_signal(signal.SIGCONT)
        elif self.process.returncode == -signal.SIGKILL:
            self.start()
        self.process.terminate()
        try:
            self.process.wait(10)
        except subprocess.TimeoutExpired:
            self.kill()
        self._forget()

    def _forget(self) -> None:
        os.environ.pop(VARIABLE, None)
        if self._before is not None:
            os.environ[VARIABLE] = self._before

    def _answers(self) -> bool:
        code = "import rtmidi; rtmidi.MidiIn(rtmidi.API_UNIX_JACK, name='knock')"
        done = subprocess.run([sys.executable, "-c", code], capture_output=True, timeout=60)
        return done.returncode == 0


class _Script:
    """A script of this folder in a process of its own, spoken to in lines."""

    def __init__(self, script: str, *arguments: str) -> None:
        self.process = subprocess.Popen(
            [sys.executable, str(HERE / script), *arguments],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            stderr=subprocess.DEVNULL,
            text=True,
        )
        self.expect("ready")

    def say(self, line: str) -> None:
        assert self.process.stdin is not None
        self.process.stdin.write(line + "\n")
        self.process.stdin.flush()

    def answer(self) -> str:
        assert self.process.stdout is not None
        return self.process.stdout.readline()

    def expect(self, word: str) -> None:
        line = self.answer()
        assert line.strip() == word, f"{self.process.args} said {line!r}"

    def kill(self) -> None:
        """As if the cable were pulled."""
        self.process.kill()
        self.process.communicate()

    def close(self) -> None:
        if self.process.poll() is None:
            try:
                self.process.communicate(timeout=10)
            except subprocess.TimeoutExpired:
                self.kill()


class Organ(_Script):
    """The instrument of `organ.py`."""

    def __init__(self, name: str = "organ", ports: Sequence[str] = ("keys",)) -> None:
        super().__init__("organ.py", name, *ports)

    def send(self, messages: Sequence[Bytes]) -> None:
        """Have these played; returns at once."""
        self.say(json.dumps(sorted(messages)))

    def put_in_again(self) -> None:
        """Out and in again under its name, within a few milliseconds."""
        self.say("again")
        self.expect("ready")

    def wait(self) -> None:
        """Until the last ones sent have been played."""
        self.expect("played")


class NeutralEar(_Script):
    """The listener of `neutral_ear.py`, at the first port whose name begins with `name`."""

    def __init__(self, name: str = "organ") -> None:
        super().__init__("neutral_ear.py", name)

    def heard(self, sent: int) -> list[Bytes]:
        """All that has come of so many."""
        self.say(str(sent))
        return [(at, message) for at, message in json.loads(self.answer())]
