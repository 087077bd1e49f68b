"""What the program says, to be looked at by whoever may not wait for it, nor for another thread."""

from __future__ import annotations

import os
import select
import threading
from collections import deque
from typing import Any

from trainer.apart.line import AT_ONCE, Line


class Inbox:
    """`taken` gives what has come, without waiting. `over` is set at the end of the line.

    On POSIX it is read from the pipe where it is wanted: what the program has written is there,
    whether or not any thread of ours was given time to fetch it. Pipes of Windows cannot be asked
    whether they are empty, so a thread fetches.
    """

    def __init__(self, line: Line) -> None:
        self.over = threading.Event()
        self._line = line
        self._fetched: deque[Any] = deque()
        self._at_once = os.name == "posix"
        if self._at_once:
            os.set_blocking(line.handle, False)
            threading.Thread(target=self._watch, daemon=True, name="end of line").start()
        else:
            line.listen(self._fetched.append, self.over.set)

    def taken(self) -> list[Any]:
        """The messages that have come since the last call, in order; for one thread only."""
        if not self._at_once:
            return [self._fetched.popleft() for _ in range(len(self._fetched))]
        while (read := self._read()) is not None:
            self._line.so_far += read
            if len(read) < AT_ONCE:
                break
        return list(self._line.messages())

    def _read(self) -> bytes | None:
        try:
            read = os.read(self._line.handle, AT_ONCE)
        except BlockingIOError:
            return None
        if not read:
            self.over.set()
            return None
        return read

    def _watch(self) -> None:
        """Wait for the other end to be closed, in case nobody looks any more."""
        poll = select.poll()
        poll.register(self._line.handle, 0)
        poll.poll()
        self.over.set()
        self._line.linger()
