"""How two hands share four voices: the divisions in use, and what one hand spans."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from trainer.theory.voicing import NEIGHBOURS, VOICES, VoiceName

Hands = Literal["1+3", "2+2"]

SPAN = 12  # semitones one hand reaches


@dataclass(frozen=True, slots=True)
class Division:
    """The voices of each hand, highest first, and how a player is told of it."""

    left: tuple[VoiceName, ...]
    right: tuple[VoiceName, ...]
    words: str


DIVISIONS: dict[Hands, Division] = {
    "1+3": Division(
        ("bass",), ("soprano", "alto", "tenor"), "left hand bass, right hand three voices"
    ),
    "2+2": Division(("tenor", "bass"), ("soprano", "alto"), "two voices in each hand"),
}
HANDS: tuple[Hands, ...] = tuple(DIVISIONS)


def lines(hands: Hands) -> tuple[tuple[int, int], ...]:
    """Neighbouring voices, as places in VOICES, of which the ear follows each: not those of three
    in one hand, which moves as a block, so that they seem to overlap whenever it changes position.
    Common practice, no source."""
    blocks = [
        {VOICES.index(voice) for voice in hand}
        for hand in (DIVISIONS[hands].left, DIVISIONS[hands].right)
        if len(hand) > 2
    ]
    return tuple(pair for pair in NEIGHBOURS if not any(block.issuperset(pair) for block in blocks))


def stretches(hands: Hands) -> tuple[tuple[int, int], ...]:
    """The highest and the lowest voice of each hand that has more than one, as places in VOICES."""
    division = DIVISIONS[hands]
    shares = (division.right, division.left)
    return tuple((VOICES.index(s[0]), VOICES.index(s[-1])) for s in shares if len(s) > 1)
