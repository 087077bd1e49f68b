"""Where the window was when it was left: its size, remembered for the next time."""

from __future__ import annotations

import contextlib
import json
from dataclasses import asdict, dataclass, replace
from pathlib import Path

from trainer.files import text_of
from trainer.folders import cache_folder, replace_text
from trainer.screen.drawing.theme import LARGEST, SMALLEST

_LARGEST = 1 << 16  # bytes


@dataclass(frozen=True, slots=True)
class WindowState:
    """Size in pixels, and the last exercise that was open."""

    width: int = 1280
    height: int = 800
    maximal: bool = False
    exercise: str = ""

    def sized(self, width: int, height: int) -> WindowState:
        return replace(self, width=width, height=height)

    def maximised(self, maximal: bool) -> WindowState:
        return replace(self, maximal=maximal)

    def at(self, exercise: str) -> WindowState:
        return replace(self, exercise=exercise)


def state_path() -> Path:
    return cache_folder() / "window.json"


def load_state(path: Path | None = None) -> WindowState:
    """The state that was left; the usual one where there is none or it cannot be used.

    Nothing of the player's is in it, so a damaged file is simply replaced.
    """
    try:
        found = json.loads(text_of(path or state_path(), _LARGEST))
        state = WindowState(
            int(found["width"]),
            int(found["height"]),
            bool(found["maximal"]),
            str(found["exercise"]),
        )
    except (OSError, ValueError, KeyError, TypeError):
        return WindowState()
    return state.sized(
        min(max(state.width, SMALLEST[0]), LARGEST[0]),
        min(max(state.height, SMALLEST[1]), LARGEST[1]),
    )


def save_state(state: WindowState, path: Path | None = None) -> None:
    """Keep the state; a folder that cannot be written is no reason to say anything."""
    with contextlib.suppress(OSError):
        replace_text(path or state_path(), json.dumps(asdict(state)))
