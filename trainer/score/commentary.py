"""Commentary that stays true in every key: notes named in it stand in braces and are moved along.

`From {a} to {g#} the bass falls` is shown as "From a to g sharp the bass falls", and a tone higher
as "From b to a sharp the bass falls". A capital is kept (`{F#} minor`). A note whose natural is
foreign to the signature is called natural. What is no note in braces stands as it is written.
"""

from __future__ import annotations

import re

from trainer.errors import PitchError
from trainer.theory.key import Key
from trainer.theory.pitch import Interval, Pitch, PitchName, transposed

_BRACES = re.compile(r"\{([A-Ga-g](?:#{1,3}|b{1,3})?)\}")
_SOMETHING = re.compile(r"\{[^{}]*\}")


def in_words(paragraph: str, key: Key) -> str:
    """The paragraph as a pupil reads it, its notes spelled out."""

    def spoken(match: re.Match[str]) -> str:
        name = PitchName.parse(match[1])
        if name.alter == 0 and key.alter(name.step) == 0:
            return match[1]
        return f"{match[1][0]} {name.accidental}"

    return _BRACES.sub(spoken, paragraph)


def moved(paragraph: str, interval: Interval) -> str:
    """The paragraph with its notes moved by an interval; the inverse interval undoes it.

    Raises PitchError where a note would need more than three accidentals.
    """

    def there(match: re.Match[str]) -> str:
        name = PitchName.parse(match[1])
        pitch = transposed(Pitch(name.step, name.alter, 4), interval)
        if abs(pitch.alter) > 3:
            raise PitchError(f"{name} of the commentary has no spelling in that key")
        text = str(pitch.name)
        return "{" + (text[0].upper() + text[1:] if match[1][0].isupper() else text) + "}"

    return _BRACES.sub(there, paragraph)


def strange_braces(paragraph: str) -> tuple[str, ...]:
    """What stands in braces and is no note."""
    return tuple(found for found in _SOMETHING.findall(paragraph) if not _BRACES.fullmatch(found))
