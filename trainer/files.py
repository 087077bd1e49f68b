"""Files of the user's: only ordinary ones are opened, and of none more is read than can be meant.

A named pipe waits for a writer that may never come, a device may have no end, and to put a file in
the place of one would take it away. A link is what it leads to.
"""

from __future__ import annotations

import errno
import os
import stat
from pathlib import Path
from typing import BinaryIO

_KINDS = {
    stat.S_IFDIR: "a folder",
    stat.S_IFIFO: "a named pipe",
    stat.S_IFCHR: "a device",
    stat.S_IFBLK: "a device",
    stat.S_IFSOCK: "a socket",
}


class NotAFileError(OSError):
    """What lies there is no ordinary file; `strerror` says what it is."""


def opened(path: Path | str) -> BinaryIO:
    """An ordinary file, open for reading. Raises OSError; never waits for anybody."""
    _check(Path(path).stat().st_mode, path)
    # looked at again once it is open, and opened without waiting: it may have been changed since
    flags = os.O_RDONLY | getattr(os, "O_NONBLOCK", 0) | getattr(os, "O_BINARY", 0)
    handle = os.open(path, flags)
    try:
        _check(os.fstat(handle).st_mode, path)
        return os.fdopen(handle, "rb")
    except BaseException:
        os.close(handle)
        raise


def content(path: Path | str, most: int) -> bytes:
    """All of an ordinary file of at most so many bytes. Raises OSError."""
    with opened(path) as file:
        data = file.read(most + 1)
    if len(data) > most:
        raise OSError(errno.EFBIG, f"it has more than {most} bytes", str(path))
    return data


def text_of(path: Path | str, most: int) -> str:
    """The same as UTF-8 text, line ends as `\\n`. Raises OSError and UnicodeDecodeError."""
    return content(path, most).decode("utf-8-sig").replace("\r\n", "\n")


def check_place(path: Path | str) -> None:
    """Raise NotAFileError where something lies that no file may be put in place of. Nothing lying
    there is well."""
    try:
        mode = Path(path).stat().st_mode
    except OSError:
        return
    _check(mode, path)


def _check(mode: int, path: Path | str) -> None:
    if not stat.S_ISREG(mode):
        kind = _KINDS.get(stat.S_IFMT(mode), "something else")
        raise NotAFileError(errno.EINVAL, f"it is {kind}, not a file", str(path))
