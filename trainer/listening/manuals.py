"""What a manual (or pedalboard) is played for, and its keys beside those of the others.

For who sings what all manuals are laid side by side as one long keyboard: leftmost those that play
the bass, then the left hand's, then those that play everything, then the right hand's. A key's
place on it is its MIDI note number moved by whole boards of eleven octaves. So the lowest place is
the bass and the highest the soprano, wherever the hands lie and cross; the same pitch on two
manuals is two places; and a place modulo 12 is a pitch class as a key is. Where nothing is told of
any manual a place is nothing but the key.
"""

from __future__ import annotations

from collections.abc import Iterable
from enum import IntEnum


class Manual(IntEnum):
    """What a manual is told to play. The numbers stand in the log (`trainer.journal.packing`)."""

    EVERYTHING = 0
    BASS = 1
    LEFT_HAND = 2
    RIGHT_HAND = 3

    @property
    def words(self) -> str:
        """As a player writes it."""
        return self.name.lower().replace("_", " ")


_BOARD = 132  # keys from one board to the next: eleven octaves, more than MIDI's 128 keys
_ALONG = {Manual.BASS: -2, Manual.LEFT_HAND: -1, Manual.EVERYTHING: 0, Manual.RIGHT_HAND: 1}
_MANUALS = {board: manual for manual, board in _ALONG.items()}


def placed(key: int, manual: Manual) -> int:
    """The place of a manual's key, a MIDI note number, on the long keyboard."""
    return key + _BOARD * _ALONG[manual]


def key_at(place: int) -> int:
    """The key, a MIDI note number, that lies at a place."""
    return place % _BOARD


def keys_at(places: Iterable[int]) -> tuple[int, ...]:
    """The keys at these places, ascending; one that is down on two manuals stands there twice."""
    return tuple(sorted(place % _BOARD for place in places))


def manual_at(place: int) -> Manual:
    """The manual on whose board a place lies."""
    return _MANUALS[place // _BOARD]


def as_bass(key: int, lowest: int) -> int:
    """The place of a bass that no finger plays, beside the lowest place that is played: on the same
    board, but never among the right hand's, which does not play the bass."""
    return key + min(0, lowest - lowest % _BOARD)


def as_soprano(key: int, highest: int) -> int:
    """The place of a soprano that no finger plays, beside the highest place that is played: on the
    same board, but never among those of the left hand or the bass."""
    return key + max(0, highest - highest % _BOARD)


def manual_plain(manual: Manual) -> dict[str, str]:
    """What a key's manual is told to play, beside the key in a JSON object; nothing where it plays
    everything."""
    return {} if manual is Manual.EVERYTHING else {"manual": manual.words}
