"""The real program played in every way: by the demonstration player, at a terminal, at a real port.

Each runs in a home of its own, for as long as an `ExitStack` is open.
"""

from __future__ import annotations

import fcntl
import os
import pty
import signal
import subprocess
import sys
import tempfile
import termios
import threading
import time
from collections.abc import Callable
from contextlib import ExitStack, suppress
from dataclasses import dataclass, field
from pathlib import Path
from random import Random

from tests.end_to_end.jack import Organ
from tests.end_to_end.window import press
from tests.screen.x_server import Server as Display
from trainer.errors import LogError
from trainer.journal.store import Journal
from trainer.listening.events import KeyDown
from trainer.listening.typing import layout

ON_ITS_WAY = 0.03  # seconds that a key may be under way through the server
LETTERS = "bnmcvxz"
LONG = ("practice", "old-hundredth", "--tempo", "30")
FAST = ("practice", "old-hundredth", "--tempo", "200", "--loop", "--input", "demo")
SETTINGS = 'player = "Ada"\n[players.Ada]\nid = "ada"\nfirst_run_seen = true\n'


@dataclass
class Playing:
    """The program while it plays, and what has been played."""

    home: Path
    process: subprocess.Popen[bytes]
    terminal: int | None = None  # the master's end of it
    display: Display | None = None
    downs: list[tuple[float, int]] = field(default_factory=list)  # keys known to have gone down
    said: list[bytes] = field(default_factory=list)
    line: int | None = None  # the program's end of the terminal
    unread: int = 0  # letters that were still on their way to it when the terminal was closed

    def key_downs(self) -> list[int]:
        """Those the log holds, take after take."""
        try:
            with Journal.open(self.home / "log.sqlite", write=False) as journal:
                takes = [journal.take(one.id) for one in reversed(list(journal.takes()))]
        except LogError:
            return []
        return [e.key for take in takes for e in take.events if isinstance(e, KeyDown)]

    def until_it_plays(self, keys: int = 1) -> None:
        """Until the log holds so many keys."""
        while len(self.key_downs()) < keys:
            if self.process.poll() is not None:
                raise RuntimeError(f"it ended by itself: {b''.join(self.said)[-400:]!r}")
            time.sleep(0.02)


Player = Callable[[ExitStack], Playing]


def started(stack: ExitStack, *words: str, **surroundings: str) -> Playing:
    """The program in a new home, what it says read all the time; killed at the end."""
    home = Path(stack.enter_context(tempfile.TemporaryDirectory(ignore_cleanup_errors=True)))
    (home / "settings.toml").write_text(SETTINGS)
    environment = {**os.environ, "MITTELSTIMME_HOME": str(home), "SDL_AUDIODRIVER": "dummy"}
    for name in ("DISPLAY", "WAYLAND_DISPLAY", "SDL_VIDEODRIVER", "MITTELSTIMME_LOG"):
        environment.pop(name, None)
    on_terminal = surroundings.pop("on_terminal", "")
    master, slave = pty.openpty() if on_terminal else (None, subprocess.DEVNULL)
    process = subprocess.Popen(
        [sys.executable, "-m", "trainer", *words],
        stdin=slave,
        stdout=slave if on_terminal else subprocess.PIPE,
        stderr=slave if on_terminal else subprocess.STDOUT,
        env={**environment, "TERM": "xterm", **surroundings},
        start_new_session=True,
        preexec_fn=_owns_terminal if on_terminal else _hears_ctrl_c,
    )
    playing = Playing(home, process, master)
    if master is not None:
        playing.line = slave
        stack.callback(os.close, slave)
    stream = master if master is not None else process.stdout.fileno()  # type: ignore[union-attr]
    threading.Thread(target=_listen, args=(stream, playing.said), daemon=True).start()

    def over() -> None:
        process.kill()
        process.wait()

    stack.callback(over)
    return playing


def _hears_ctrl_c() -> None:
    signal.signal(signal.SIGINT, signal.default_int_handler)  # scripts in the background do not


def _owns_terminal() -> None:
    _hears_ctrl_c()
    fcntl.ioctl(0, termios.TIOCSCTTY, 0)


def _listen(stream: int, said: list[bytes]) -> None:
    with suppress(OSError):
        while data := os.read(stream, 4096):
            said.append(data)


def demo(stack: ExitStack) -> Playing:
    return started(stack, *FAST, "--view", "none")


def drill(stack: ExitStack) -> Playing:
    return started(stack, "drill", "--input", "demo", "--view", "none")


def letters(stack: ExitStack) -> Playing:
    """Typed on a terminal."""
    words = (*LONG, "--input", "typing", "--view", "terminal")
    playing = started(stack, *words, on_terminal="yes")
    over = threading.Event()
    stack.callback(over.set)

    def type_on() -> None:
        assert playing.terminal is not None
        while b"space to begin" not in b"".join(playing.said) and not over.wait(0.02):
            pass
        with suppress(OSError):
            os.write(playing.terminal, b" ")
            number = 0
            while not over.wait(0.07) and playing.process.poll() is None:
                letter = LETTERS[number % len(LETTERS)]
                os.write(playing.terminal, letter.encode())
                playing.downs.append((time.monotonic(), layout()[letter]))
                number += 1

    threading.Thread(target=type_on, daemon=True).start()
    return playing


_ALONE = threading.Lock()  # where ports come and go a port may be refused at first


def through_jack(stack: ExitStack, *words: str, **surroundings: str) -> Playing:
    """Played on an instrument at a real port, one key after another, from when a pass begins."""
    stack.enter_context(_ALONE)
    organ = Organ(f"organ{Random().randrange(10**6)}")
    stack.callback(organ.kill)
    playing = started(stack, *LONG, "--input", organ_name(organ), *words, **surroundings)
    over = threading.Event()
    stack.callback(over.set)

    def play_on() -> None:
        while not _open_take(playing.home) and not over.wait(0.02):
            pass
        number = 0
        with suppress(OSError, AssertionError, ValueError):
            while not over.is_set():
                key = 40 + number % 40
                at = time.monotonic() + 0.005
                organ.send([(at, [0x90, key, 70]), (at + 0.01, [0x80, key, 0])])
                organ.wait()
                playing.downs.append((time.monotonic() + ON_ITS_WAY, key))
                number += 1

    threading.Thread(target=play_on, daemon=True).start()
    return playing


def organ_name(organ: Organ) -> str:
    return str(organ.process.args[2])  # type: ignore[index]


def _open_take(home: Path) -> bool:
    try:
        with Journal.open(home / "log.sqlite", write=False) as journal:
            return any(True for _ in journal.takes())
    except LogError:
        return False


def jack(stack: ExitStack) -> Playing:
    return through_jack(stack, "--view", "none")


def window(stack: ExitStack, *words: str) -> Playing:
    """The demonstration player in a window."""
    display = _display(stack)
    playing = started(stack, *(words or FAST), "--view", "window", DISPLAY=display.display)
    playing.display = display
    return playing


def window_jack(stack: ExitStack) -> Playing:
    """A window, played from a real port."""
    display = _display(stack)
    playing = through_jack(stack, "--view", "window", DISPLAY=display.display)
    playing.display = display
    over = threading.Event()
    stack.callback(over.set)

    def begin() -> None:
        while not _open_take(playing.home) and not over.wait(0.3):
            press(display.display, "space")

    threading.Thread(target=begin, daemon=True).start()
    return playing


def _display(stack: ExitStack) -> Display:
    display = Display(Path(stack.enter_context(tempfile.TemporaryDirectory())))

    def over() -> None:
        display._process.send_signal(signal.SIGCONT)
        display._process.kill()
        display._process.wait()

    stack.callback(over)
    return display
