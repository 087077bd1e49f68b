"""Whether there is a screen to open a window on."""

from __future__ import annotations

import os
import sys


def has_display() -> bool:
    """Whether a window can be opened here, as far as the environment says."""
    if sys.platform in ("win32", "darwin"):
        return True
    return bool(os.environ.get("DISPLAY") or os.environ.get("WAYLAND_DISPLAY"))
