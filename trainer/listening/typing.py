"""Two rows of a typing keyboard as two octaves of keys.

    The lower row begins at its home note with `z`, its sharps lie above it:

         s   d       g   h   j
       z   x   c   v   b   n   m   ,        c d e f g a b c'

    The upper row goes on an octave higher with `q`, its sharps in the row of digits:

         2   3       5   6   7       9   0
       q   w   e   r   t   y   u   i   o   p   c d e f g a b c' d' e'

The characters are those of a keyboard with q w e r t y; on others the same places are meant where
the view knows places (the window), the same characters where it knows only those (the terminal).
A terminal tells of no key that is let go: there a key sounds until the same character comes again,
or until the next chord begins (see `Latched`).
"""

from __future__ import annotations

from dataclasses import dataclass

from trainer.listening.events import KeyDown, KeyEvent, KeyUp

LOWER = "zsxdcvgbhnjm,l."  # c to d', chromatically
UPPER = "q2w3er5t6y7ui9o0p"  # c' to e''
HOME = 48  # the c of the lower row, unless shifted: the middle voices of a chorale
ALONE = 0.35  # seconds after which a new character begins a new chord


def layout(home: int = HOME) -> dict[str, int]:
    """Character to MIDI key; `home` is the key of `z`."""
    keys = {character: home + index for index, character in enumerate(LOWER)}
    return keys | {character: home + 12 + index for index, character in enumerate(UPPER)}


@dataclass(frozen=True, slots=True)
class Latched:
    """Keys of a terminal, where letting go is not told: a chord holds until the next one begins.

    Characters that follow one another within `ALONE` seconds build one chord. The first character
    after that lets the old chord go, save the keys that are struck again.
    """

    home: int = HOME
    held: tuple[int, ...] = ()
    last: float = float("-inf")

    def typed(self, character: str, now: float) -> tuple[Latched, tuple[KeyEvent, ...]]:
        """The events one character makes; none if it is no key of the layout."""
        key = layout(self.home).get(character.lower())
        if key is None:
            return self, ()
        ups: tuple[int, ...] = ()
        held = self.held
        if now - self.last > ALONE:
            ups, held = held, ()
        elif key in held:
            ups, held = (key,), tuple(k for k in held if k != key)
        events: list[KeyEvent] = [KeyUp(now, k) for k in ups]
        events.append(KeyDown(now, key))
        return Latched(self.home, (*held, key), now), tuple(events)

    def released(self, now: float) -> tuple[Latched, tuple[KeyEvent, ...]]:
        """All keys up."""
        return Latched(self.home), tuple(KeyUp(now, key) for key in self.held)
