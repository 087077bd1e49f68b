"""Messages on their way into a pipe whose other end may have stopped reading."""

from __future__ import annotations

import os
import select
import threading
from collections import deque
from io import FileIO

MOST = 1 << 26  # bytes that may wait for a process that does not read
_LOOK = 1000  # ms between two looks whether a full pipe has been given up


class Outbox:
    """`put` never waits: what the pipe does not take at once is written by a thread.

    On POSIX the pipe is written to where `put` is called, so that a key sounds without a change
    of threads. Pipes of Windows cannot be asked whether they are full: there the thread writes all.
    """

    def __init__(self, pipe: FileIO) -> None:
        self._pipe = pipe
        self._at_once = os.name == "posix"
        if self._at_once:
            os.set_blocking(pipe.fileno(), False)
        self._waiting: deque[bytes] = deque()
        self._size = 0
        self._change = threading.Condition()
        self._thread: threading.Thread | None = None
        self._closing = False
        self._given_up = False

    def put(self, data: bytes) -> bool:
        """Send `data`; False where the other end takes nothing any more."""
        with self._change:
            if self._closing or self._size + len(data) > MOST:
                return False
            if self._at_once and not self._waiting:
                try:
                    data = data[self._pipe.write(data) or 0 :]
                except (OSError, ValueError):
                    return False
            if data:
                self._wait_in_line(data)
        return True

    def close(self) -> None:
        """End the pipe once everything is in it; returns at once."""
        with self._change:
            if not self._closing and self._thread is None:
                _closed(self._pipe)
            self._closing = True
            self._change.notify()

    def give_up(self) -> None:
        """End the pipe, whatever was still to be written; returns at once."""
        self._given_up = True
        self.close()

    def _wait_in_line(self, data: bytes) -> None:
        self._waiting.append(data)
        self._size += len(data)
        if self._thread is None:
            self._thread = threading.Thread(target=self._drain, daemon=True, name="outbox")
            self._thread.start()
        self._change.notify()

    def _drain(self) -> None:
        try:
            while (data := self._next()) is not None:
                written = self._written(data)
                with self._change:
                    self._size -= written
                    self._waiting[0] = data[written:]
                    if not self._waiting[0]:
                        self._waiting.popleft()
        except (OSError, ValueError):
            pass  # the other end is gone
        finally:
            with self._change:
                self._closing = True
            _closed(self._pipe)

    def _next(self) -> bytes | None:
        with self._change:
            while not self._waiting and not self._closing:
                self._change.wait()
            return self._waiting[0] if self._waiting and not self._given_up else None

    def _written(self, data: bytes) -> int:
        if self._at_once:
            poll = select.poll()  # `select` itself knows no more than 1024 open files
            poll.register(self._pipe, select.POLLOUT)
            if not poll.poll(_LOOK):
                return 0
        return self._pipe.write(data) or 0


def _closed(pipe: FileIO) -> None:
    try:
        pipe.close()
    except OSError:
        return  # what was still to be written to a dead process
