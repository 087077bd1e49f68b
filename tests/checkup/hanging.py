"""Processes that answer nothing, for the examinations to give up."""

from __future__ import annotations

import threading

from trainer.apart import Line


def serve(line: Line) -> None:
    """As a driver that never comes back."""
    threading.Event().wait()


def fall(line: Line) -> None:
    """As a driver that takes its process with it."""
    raise SystemError("the driver fell")
