"""The other end: what a process that works apart is given to hear and to answer with."""

from __future__ import annotations

import importlib
import os
import signal
import sys
import threading
import time
import traceback
from collections.abc import Callable, Iterator
from typing import Any, NoReturn

from trainer.apart.wire import BEAT, LAST_WORDS, MESSAGE, WIRES, Wire, framed, whole_frames

AT_ONCE = 1 << 16  # bytes read at a time
LINGER = 5.0  # seconds that a process may outlive the program, whatever it is at


class Line:
    """Messages in, messages out. It ends with the program, however that ends. `handed` are the
    system's handles that the program has handed to this process."""

    def __init__(self, wire: Wire, handed: tuple[int, ...] = ()) -> None:
        self.handed = handed
        self._wire = wire
        self.handle = os.dup(0)  # the system's, of what comes in
        self.so_far = bytearray()  # read of it, and not yet looked at
        self._out = os.fdopen(os.dup(1), "wb")
        self._lock = threading.Lock()
        with open(os.devnull, "rb") as nothing:  # noqa: PTH123  before anything is imported
            os.dup2(nothing.fileno(), 0)
        os.dup2(2, 1)  # what a library prints must not get among the answers

    def __iter__(self) -> Iterator[Any]:
        """What the program says, as it comes, until it has no more to say."""
        while True:
            yield from self.messages()
            read = os.read(self.handle, AT_ONCE)
            if not read:
                return
            self.so_far += read

    def messages(self) -> Iterator[Any]:
        """Those that lie in `so_far`; one that has not come whole stays there."""
        for _, data in whole_frames(self.so_far):
            yield self._wire.unpacked(data)

    def listen(self, told: Callable[[Any], None], over: Callable[[], None]) -> None:
        """Have a thread call `told` with each message and `over` at the end, after which the
        process may not last long."""

        def hear() -> None:
            for message in self:
                told(message)
            over()
            self.linger()

        threading.Thread(target=hear, daemon=True, name="line").start()

    @staticmethod
    def linger() -> None:
        """Wait `LINGER` seconds, then end the process whatever it is at."""
        end_at_last()
        time.sleep(LINGER)
        os._exit(0)

    def tell(self, message: Any) -> None:
        """Say something to the program, from any thread; raises BrokenPipeError if it is gone."""
        self._write(framed(MESSAGE, self._wire.packed(message)))

    def beat(self) -> None:
        """A sign of life, where there is nothing else to say."""
        self._write(framed(BEAT, b""))

    def last_words(self, why: str) -> None:
        """One line why the process ends."""
        self._write(framed(LAST_WORDS, why.encode()))

    def _write(self, frame: bytes) -> None:
        with self._lock:
            self._out.write(frame)
            self._out.flush()


def end_at_last(within: float = 2 * LINGER) -> None:
    """Have the system end this process after `within` seconds at the latest: where a library holds
    Python's lock for ever, no thread of Python's can. (Windows has no such clock; there the program
    kills it.)"""
    if hasattr(signal, "setitimer"):
        signal.setitimer(signal.ITIMER_REAL, within)


def run(entry: str, wire: str, handed: tuple[int, ...] = ()) -> NoReturn:
    """The whole life of such a process; `entry` is `package.module:function`."""
    if threading.current_thread() is threading.main_thread():
        signal.signal(signal.SIGINT, signal.SIG_IGN)  # the program ends it
    line = Line(WIRES[wire], handed)
    status = 0
    try:
        module, _, name = entry.partition(":")
        getattr(importlib.import_module(module), name)(line)
    except BrokenPipeError:
        pass  # the program is gone, and nobody left to be told
    except BaseException as error:
        traceback.print_exc(file=sys.stderr)
        status = 1
        _said(line, f"{type(error).__name__}: {error}")
    os._exit(status)  # threads may still hold the line: there is nothing else to put away


def _said(line: Line, why: str) -> None:
    try:
        line.last_words(" ".join(why.split()))
    except OSError:
        return
