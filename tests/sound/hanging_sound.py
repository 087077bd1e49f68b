"""Processes that stand for one that sounds: they open, and then go wrong in one way each."""

from __future__ import annotations

import os
import signal
import time

from trainer.apart import Line
from trainer.sound.requests import Opened


def never_opens(line: Line) -> None:
    """As a driver that waits for ever, and takes no notice of being asked to end."""
    signal.signal(signal.SIGTERM, signal.SIG_IGN)
    while True:
        time.sleep(60)


def falls(line: Line) -> None:
    """As a driver that takes its process with it as soon as something is to sound."""
    messages = iter(line)
    next(messages)
    line.tell(Opened())
    next(messages)
    os._exit(7)
