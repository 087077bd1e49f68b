"""What is held down, by whom: each channel of each port is a keyboard (or a pedalboard) of its own.

The same pitch held on two of them is one key until both have let it go, unless they are told to
play different things (`trainer.listening.manuals`): then it is two keys. A keyboard that is
silenced takes nothing from another.
"""

from __future__ import annotations

from collections import Counter

from trainer.listening.events import KeyDown, KeyEvent, KeyUp, Pedal
from trainer.listening.manuals import Manual

Where = tuple[str, int]  # port and channel
_Key = tuple[int, Manual]  # a key meant, and what the keyboard it lies on is told to play


class Held:
    """The keys and pedals that are down on all ports together."""

    def __init__(self) -> None:
        self._down: dict[tuple[Where, int], _Key] = {}  # key pressed -> key meant, in order
        self._holders: Counter[_Key] = Counter()
        self._pedals: set[Where] = set()

    def press(
        self,
        where: Where,
        key: int,
        octaves: int,
        velocity: int,
        time: float,
        manual: Manual = Manual.EVERYTHING,
    ) -> list[KeyEvent]:
        """A key goes down; one that is down already is struck anew. `manual` is what it is told to
        play there."""
        meant = moved(key, octaves), manual
        if (where, key) not in self._down:
            self._down[where, key] = meant
            self._holders[meant] += 1
        return [KeyDown(time, meant[0], velocity, manual)]

    def release(
        self,
        where: Where,
        key: int,
        octaves: int,
        time: float,
        manual: Manual = Manual.EVERYTHING,
    ) -> list[KeyEvent]:
        """A key goes up; nothing comes of it while the same key is held elsewhere."""
        meant = self._down.pop((where, key), None)
        if meant is None:  # pressed before anybody listened
            meant = moved(key, octaves), manual
        elif self._holders[meant] > 1:
            self._holders[meant] -= 1
            return []
        else:
            del self._holders[meant]
        return [] if meant in self._holders else [KeyUp(time, *meant)]

    def pedal(self, where: Where, down: bool, time: float) -> list[KeyEvent]:
        """The sustain pedal; half-pedal values stream in, and only the change counts."""
        before = bool(self._pedals)
        if down:
            self._pedals.add(where)
        else:
            self._pedals.discard(where)
        after = bool(self._pedals)
        return [] if before == after else [Pedal(time, after)]

    def keys_up(self, where: Where, time: float) -> list[KeyEvent]:
        """All keys of one keyboard go up."""
        keys = [key for at, key in self._down if at == where]
        return [event for key in keys for event in self.release(where, key, 0, time)]

    def silence(self, port: str, time: float) -> list[KeyEvent]:
        """All keys and pedals of a port go up: its cable was pulled."""
        keyboards = {at for at, _ in self._down if at[0] == port}
        events = [e for where in sorted(keyboards) for e in self.keys_up(where, time)]
        for where in [where for where in self._pedals if where[0] == port]:
            events += self.pedal(where, False, time)
        return events


def moved(key: int, octaves: int) -> int:
    """A key some octaves higher; one that would leave the keyboard stays where it is."""
    meant = key + 12 * octaves
    return meant if 0 <= meant <= 127 else key
