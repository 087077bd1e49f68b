"""The one way out: in what order, and in what time, the program ends, whatever ends it.

Whatever is opened is named for the end where it is opened. At the end the log comes first, devices
last; each has its own time, and none is waited for longer, nor does one that fails keep the others.

    with WayOut() as way:
        writer = way.closing("the log", Writer(...))
        way.at_the_end("the pass", shell.leave)
        way.only_at_looks()
        while playing:
            way.look()
    raise SystemExit(way.status)

A signal to end (ctrl-C, a request to terminate, a terminal that is gone) raises `Leave` at once
while things are being opened, and at the next look while one plays, so that it never falls between
an event and the log. Where the program does not come to its next look, stuck in a library, a guard
ends it.
"""

from __future__ import annotations

import errno
import os
import signal
import socket
import sys
import threading
import time
from collections.abc import Callable, Mapping
from contextlib import suppress
from dataclasses import dataclass
from types import FrameType, TracebackType
from typing import Any, Protocol, Self, TypeVar

from trainer.errors import TrainerError

# One row after another, what stands in one row at the same time; seconds that each may take.
ORDER: tuple[Mapping[str, float], ...] = (
    {"the pass": 0.4},  # what has been played, handed to the log
    {"the log": 0.8},
    {"the window": 0.1},  # its size, remembered
    {"the terminal": 0.3, "the page": 0.3, "errands": 0.3, "the sound": 0.3, "the keyboards": 0.3},
)
HEEDS = 0.2  # seconds in which the program comes to its next look, if nothing holds it
ALL = 1.8  # seconds from a signal until the program is gone, whatever it is at

_SIGNALS = tuple(
    getattr(signal, name)
    for name in ("SIGINT", "SIGTERM", "SIGHUP", "SIGBREAK")
    if hasattr(signal, name)
)


HUNG_UP = 128 + getattr(signal, "SIGHUP", 1)


class Leave(BaseException):
    """The program is to end, with `status`; no error, and nothing but a `WayOut` heeds it."""

    def __init__(self, status: int = 0) -> None:
        super().__init__(status)
        self.status = status


class Closes(Protocol):
    """What can be closed."""

    def close(self) -> Any: ...


_T = TypeVar("_T", bound=Closes)


@dataclass(frozen=True, slots=True)
class _Step:
    """What is done at the end, and what to say where it is not done in its time."""

    do: Callable[[], object]
    undone: Callable[[], str]


class WayOut:
    """Puts away what it is told of when its block is left.

    `status` is then what the program should end with: 0, or 128 and the signal's number, as is
    usual. `troubles` are lines on what could not be put away, told by `say`.
    """

    def __init__(
        self,
        say: Callable[[str], None] = lambda line: print(line, file=sys.stderr, flush=True),
        end: Callable[[int], object] = os._exit,
    ) -> None:
        """`end` ends the process at once, where it cannot end by itself."""
        self.status = 0
        self.troubles: list[str] = []
        self._say, self._end = say, end
        self._steps: dict[str, list[_Step]] = {}
        self._asked = False
        self._looking = False
        self._begun = threading.Lock()  # taken by whoever puts away, for good
        self._leaving, self._away = threading.Event(), threading.Event()
        self._before: dict[int, Any] = {}
        self._signal = 0  # the one heeded
        self._first = 0  # the signal that came first, as the system tells
        self._told = threading.Event()  # that it is known
        self._woken: socket.socket | None = None
        self._wakes: socket.socket | None = None

    # ---- what is to be put away -----------------------------------------------------------

    def at_the_end(
        self, name: str, do: Callable[[], object], undone: Callable[[], str] = lambda: ""
    ) -> None:
        """Have something done at the end; `name` is one of `ORDER`. What it returns, if it is
        text, and its error, if it is one of ours, is told; where it is not done in its time, what
        `undone` says, if that is anything."""
        assert any(name in row for row in ORDER), name
        self._steps.setdefault(name, []).append(_Step(do, undone))

    def closing(self, name: str, thing: _T, undone: Callable[[], str] = lambda: "") -> _T:
        """The thing, which will be closed at the end."""
        self.at_the_end(name, thing.close, undone)
        return thing

    # ---- while it is open -----------------------------------------------------------------

    def only_at_looks(self) -> None:
        """From now on a signal is heeded at the next `look` and nowhere else."""
        self._looking = True
        self.look()

    def look(self) -> None:
        """Raise Leave if the program was asked to end."""
        if self._asked:
            raise Leave(self.status)

    def terminal_is_gone(self) -> None:
        """Nobody sees or types any more; raises Leave."""
        self._asked = True
        self.status = self.status or HUNG_UP
        raise Leave(self.status)

    def break_off(self, why: str, status: int) -> None:
        """Put everything away here and now, say why, and end the process."""
        self.status = self.status or status
        self._asked = True
        self._put_away()
        self._tell(f"mittelstimme: {why}")
        self._end(self.status)

    # ---- entering and leaving -------------------------------------------------------------

    def __enter__(self) -> Self:
        if threading.current_thread() is threading.main_thread():
            self._listen()
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> bool:
        lost = isinstance(error, OSError) and error.errno in (errno.EIO, errno.EPIPE)
        if lost and not self._asked and _terminal_lost():
            self._asked = True
            self.status = HUNG_UP
        self._put_away()
        if self._signal:
            # of two that came while Python was held up it calls the lower number first
            self._told.wait(HEEDS)
            self.status = 128 + (self._first or self._signal)
        if not self._asked:
            self._listen_no_more()
        return isinstance(error, Leave) or (lost and self._asked)

    def _put_away(self) -> None:
        """Do what is to be done at the end, once, by whoever comes first; the other waits."""
        self._leaving.set()
        if self._begun.acquire(blocking=False):
            for row in ORDER:
                self._do(row)
            for line in self.troubles:
                self._tell(f"mittelstimme: {line}")
            self._away.set()
        else:
            self._away.wait(ALL)

    def _do(self, row: Mapping[str, float]) -> None:
        began = time.monotonic()
        threads = [
            (step, within, threading.Thread(target=self._step, args=(step.do,), daemon=True))
            for name, within in row.items()
            for step in self._steps.get(name, ())
        ]
        for _, _, thread in threads:
            thread.start()
        for step, within, thread in threads:
            thread.join(max(0.0, began + within - time.monotonic()))
            if thread.is_alive() and (lost := step.undone()):
                self.troubles.append(lost)

    def _step(self, do: Callable[[], object]) -> None:
        try:
            said = do()
        except TrainerError as error:
            said = str(error)
        except Exception as error:  # whatever one does, the others must be done
            said = f"at the end: {error!r}"
        if isinstance(said, str):
            self.troubles.append(said)

    def _tell(self, line: str) -> None:
        with suppress(OSError, ValueError, AttributeError):  # nobody may be left to be told
            self._say(line)

    # ---- signals --------------------------------------------------------------------------

    def _listen(self) -> None:
        self._woken, self._wakes = socket.socketpair()
        self._wakes.setblocking(False)
        signal.set_wakeup_fd(self._wakes.fileno(), warn_on_full_buffer=False)
        threading.Thread(target=self._guard, daemon=True, name="way out").start()
        for number in _SIGNALS:
            if signal.getsignal(number) != signal.SIG_IGN:  # as `nohup` and `&` of a script have it
                self._before[number] = signal.signal(number, self._signalled)

    def _listen_no_more(self) -> None:
        if self._wakes is not None:
            for number, before in self._before.items():
                signal.signal(number, before)
            signal.set_wakeup_fd(-1)
            self._wakes.close()

    def _signalled(self, number: int, frame: FrameType | None) -> None:
        if self._asked or self._leaving.is_set():
            return  # a second one must not spoil the end
        self._asked = True
        self._signal = number
        self.status = 128 + number
        if not self._looking:
            raise Leave(self.status)

    def _guard(self) -> None:
        """End the program where a signal came and it does not end by itself."""
        assert self._woken is not None
        number = self._woken.recv(1)
        while number and number[0] not in self._before:
            number = self._woken.recv(1)
        if not number:
            self._woken.close()
            return
        self._first = number[0]
        self._told.set()
        until = time.monotonic() + ALL
        if not self._leaving.wait(HEEDS):
            self.status = self.status or 128 + number[0]
            self._asked = True
            self._put_away()
            self._end(self.status)
        time.sleep(max(0.0, until - time.monotonic()))
        self._end(self.status)


def _terminal_lost() -> bool:
    """Whether one of the program's own streams is a terminal that was closed."""
    try:
        import termios
    except ImportError:
        return False
    for stream in range(3):
        try:
            termios.tcgetattr(stream)
        except termios.error as error:
            if error.args[0] == errno.EIO:
                return True
    return False
