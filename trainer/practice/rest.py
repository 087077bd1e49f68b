"""When to let the hands rest: after twenty-five minutes of playing without a pause of five."""

from __future__ import annotations

from collections.abc import Sequence

BREAK = 5 * 60.0  # seconds without playing that are a pause
ENOUGH = (
    25 * 60.0
)  # seconds of playing after which a pause is suggested (common practice, no source)

REST = (
    "You have played for twenty-five minutes. Let the hands rest a while, get up, look far away; "
    "everything waits where you leave it."
)


def rest_due(played: Sequence[tuple[float, float]], now: float) -> bool:
    """Whether a pause is due at `now`. `played` are stretches of playing in order, each from and
    to in seconds on one clock."""
    seconds, begun = 0.0, now
    for first, last in reversed(played):
        if begun - last >= BREAK:
            break
        seconds += last - first
        begun = first
    return seconds >= ENOUGH
