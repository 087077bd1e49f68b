"""When a message arrived, on our own clock, though it is read a little later."""

from __future__ import annotations


class Stamps:
    """The times of one port's messages, in seconds on our clock.

    A library tells only how long after the message before it each one came. Every reading narrows
    down where the library's zero lies on our clock: what is read now was not there at the reading
    before, and is not yet to come. So times are exact to the best reading, not to each one, and
    clocks that run apart are followed.
    """

    def __init__(self, now: float) -> None:
        self._before = now  # when the queue was last seen empty
        self._since = 0.0  # seconds from the library's zero to its last message
        self._zero: float | None = None

    def read(self, now: float, after: list[float]) -> list[float]:
        """The times of the messages read at `now`, given the seconds that each came `after` the
        one before it. Call it for every reading, also of nothing."""
        sums: list[float] = []
        for seconds in after:
            self._since += max(0.0, seconds)
            sums.append(self._since)
        before, self._before = self._before, now
        if not sums:
            return []
        earliest, latest = before - sums[0], now - sums[-1]
        zero = (earliest + latest) / 2 if self._zero is None else self._zero
        self._zero = zero = min(max(zero, earliest), latest)
        return [zero + since for since in sums]
