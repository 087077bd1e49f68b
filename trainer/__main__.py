"""The program from its first moment to its last: `mittelstimme`, or `python -m trainer`."""

from __future__ import annotations

import os
import signal
import sys
from contextlib import suppress
from types import FrameType
from typing import NoReturn


def program() -> NoReturn:
    """Run the command given and end with its status.

    What is imported first takes a while; a ctrl-C then ends the program without a word. At the end
    all is put away, and no thread that is left in a library is waited for.
    """
    interrupted = signal.getsignal(signal.SIGINT)
    _have_streams()
    if interrupted == signal.default_int_handler:
        signal.signal(signal.SIGINT, signal.SIG_DFL)
    from trainer.commands import main

    status: object = 1
    try:
        signal.signal(signal.SIGINT, interrupted)
        if signal.getsignal(signal.SIGTERM) == signal.SIG_DFL:
            signal.signal(signal.SIGTERM, _asked_to_end)
        main()
    except KeyboardInterrupt:
        status = 130
    except SystemExit as end:
        status = end.code
    except BaseException:
        sys.excepthook(*sys.exc_info())  # a fault of ours
    for stream in (sys.stdout, sys.stderr):
        with suppress(OSError, ValueError, AttributeError):
            stream.flush()
    os._exit(status if isinstance(status, int) else 0)


def _asked_to_end(number: int, frame: FrameType | None) -> NoReturn:
    """As ctrl-C: what is open is put away, and nothing is left half written."""
    raise SystemExit(128 + number)


def _have_streams() -> None:
    """A stream that was closed before the program began leads nowhere, and no file takes its
    number, to be printed into."""
    for name, number, mode in (("stdin", 0, "r"), ("stdout", 1, "w"), ("stderr", 2, "w")):
        if getattr(sys, name) is None:
            nothing = os.open(os.devnull, os.O_RDWR)
            if nothing != number:
                os.dup2(nothing, number)
                os.close(nothing)
            setattr(sys, name, os.fdopen(number, mode, closefd=False))


if __name__ == "__main__":
    program()
