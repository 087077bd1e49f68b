"""A passage from one process of ours to another, past the program.

What one has to tell another at once must not wait until the program, which draws and judges, gets
its turn and Python's lock. The passage is a pipe of the system's. The program opens it and hands
its ends on to the processes as they start; it keeps both, so that one started anew finds the same
passage. Nothing in it is torn or out of order; while it is full no more can be sent.
"""

from __future__ import annotations

import contextlib
import os
import select
import struct
from collections.abc import Callable
from dataclasses import dataclass

Row = tuple[float, int, int, int]  # a time, and three numbers from 0 to 255
PEDAL = 128  # in the place of a key, where rows tell of keys: the sustain pedal

_ROW = struct.Struct("<dBBB")
_AT_ONCE = 4096 * _ROW.size  # bytes read at a time


@dataclass(frozen=True, slots=True)
class Passage:
    """Both ends, handles of the system's: what is sent at `entrance` comes out at `exit`."""

    entrance: int
    exit: int

    def close(self) -> None:
        for handle in (self.entrance, self.exit):
            with contextlib.suppress(OSError):
                os.close(handle)


def passage() -> Passage | None:
    """A new one; None on Windows, where a process does not take over another's handles, and where
    the system gives no more. Whoever uses it has another way as well."""
    if os.name != "posix":
        return None
    try:
        exit, entrance = os.pipe()
    except OSError:
        return None
    os.set_blocking(exit, False)
    os.set_blocking(entrance, False)
    return Passage(entrance, exit)


def send(entrance: int, row: Row) -> bool:
    """Never waits; False where the passage is full, or nobody is left at its other end."""
    try:
        return os.write(entrance, _ROW.pack(*row)) == _ROW.size
    except OSError:
        return False


def taken(exit: int) -> list[Row]:
    """What has come since the last call, in order. Never waits."""
    try:
        return list(_ROW.iter_unpack(os.read(exit, _AT_ONCE)))
    except BlockingIOError:
        return []


def hear(exit: int, told: Callable[[Row], None]) -> None:
    """Call `told` with each row as it comes, until nobody is left who could send one."""
    own = os.dup(exit)  # whoever opened the passage may close it meanwhile
    poll = select.poll()
    poll.register(own, select.POLLIN)
    try:
        while True:
            ((_, happened),) = poll.poll()
            rows = taken(own)
            for row in rows:
                told(row)
            if not rows and happened & select.POLLHUP:
                return
    finally:
        os.close(own)
