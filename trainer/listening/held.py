"""What is held down, by whom: each channel of each port is a manual (or a pedalboard) of its own.

The same pitch held on two manuals sounds until both have let it go; a manual that is silenced
takes nothing from another.
"""

from __future__ import annotations

from collections import Counter

from trainer.listening.events import KeyDown, KeyEvent, KeyUp, Pedal

Manual = tuple[str, int]  # port and channel


class Held:
    """The keys and pedals that are down on all ports together."""

    def __init__(self) -> None:
        self._down: dict[tuple[Manual, int], int] = {}  # key pressed -> key meant, in order
        self._holders: Counter[int] = Counter()  # of each key meant
        self._pedals: set[Manual] = set()

    def press(
        self, manual: Manual, key: int, octaves: int, velocity: int, time: float
    ) -> list[KeyEvent]:
        """A key goes down; one that is down already is struck anew."""
        meant = moved(key, octaves)
        if (manual, key) not in self._down:
            self._down[manual, key] = meant
            self._holders[meant] += 1
        return [KeyDown(time, meant, velocity)]

    def release(self, manual: Manual, key: int, octaves: int, time: float) -> list[KeyEvent]:
        """A key goes up; nothing comes of it while another manual holds the same pitch."""
        meant = self._down.pop((manual, key), None)
        if meant is None:  # pressed before anybody listened
            meant = moved(key, octaves)
        elif self._holders[meant] > 1:
            self._holders[meant] -= 1
            return []
        else:
            del self._holders[meant]
        return [] if meant in self._holders else [KeyUp(time, meant)]

    def pedal(self, manual: Manual, down: bool, time: float) -> list[KeyEvent]:
        """The sustain pedal; half-pedal values stream in, and only the change counts."""
        before = bool(self._pedals)
        if down:
            self._pedals.add(manual)
        else:
            self._pedals.discard(manual)
        after = bool(self._pedals)
        return [] if before == after else [Pedal(time, after)]

    def keys_up(self, manual: Manual, time: float) -> list[KeyEvent]:
        """All keys of one manual go up."""
        keys = [key for at, key in self._down if at == manual]
        return [event for key in keys for event in self.release(manual, key, 0, time)]

    def silence(self, port: str, time: float) -> list[KeyEvent]:
        """All keys and pedals of a port go up: its cable was pulled."""
        manuals = {at for at, _ in self._down if at[0] == port}
        events = [e for manual in sorted(manuals) for e in self.keys_up(manual, time)]
        for manual in [manual for manual in self._pedals if manual[0] == port]:
            events += self.pedal(manual, False, time)
        return events


def moved(key: int, octaves: int) -> int:
    """A key some octaves higher; one that would leave the keyboard stays where it is."""
    meant = key + 12 * octaves
    return meant if 0 <= meant <= 127 else key
