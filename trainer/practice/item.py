"""What a player can know, one thing at a time: a figuring on a degree of a key under a certain
top note; a cadence or a sequence in a key; a piece."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import lru_cache
from typing import Literal

from trainer.errors import ExerciseError
from trainer.score.syllabus import UNFIGURED, relative
from trainer.theory.figures import Way
from trainer.theory.key import key_in_words
from trainer.theory.moment import Moment

ItemKind = Literal["figuring", "cadence", "sequence", "piece"]
_KINDS: tuple[ItemKind, ...] = ("figuring", "cadence", "sequence", "piece")
_EACH_SEMITONE = (8, 2, 2, 3, 3, 4, 4, 5, 6, 6, 7, 7)  # interval of a top key nobody has spelled


@dataclass(frozen=True, slots=True, order=True)
class Item:
    """One thing that can be known.

    `name` is the figuring as it would be written without a signature (`#` for any third raised,
    `-` where nothing is written), or the identifier of a pattern or piece. `key` is empty for a
    piece.
    `degree` of the bass (`4`, `#7`) and `position`, the interval of the top note over the bass (2
    to 8; 0 any), are set for a figuring only.
    """

    kind: ItemKind
    name: str
    key: str = ""
    degree: str = ""
    position: int = 0

    def __str__(self) -> str:
        """One line of text that `Item.parse` reads back."""
        parts: tuple[str, ...] = (self.kind, self.name, self.key)
        if self.kind == "figuring":
            parts = (*parts, self.degree, str(self.position))
        return " | ".join(parts)

    @staticmethod
    def parse(text: str) -> Item:
        """Read what `str` wrote; raises ExerciseError."""
        kind, *rest = [part.strip() for part in text.split("|")]
        for known in _KINDS:
            if kind == known and len(rest) == (4 if known == "figuring" else 2):
                if known != "figuring":
                    return Item(known, rest[0], rest[1])
                if rest[3].isdecimal():
                    return Item(known, rest[0], rest[1], rest[2], int(rest[3]))
        raise ExerciseError(f"{text!r} is nothing to be learned")

    @property
    def words(self) -> str:
        """As one would say it in a lesson."""
        key = key_in_words(self.key)
        if self.kind == "figuring":
            figuring = "a plain triad" if self.name == UNFIGURED else self.name
            return f"{figuring} on degree {self.degree} in {key}, {_top_words(self.position)}"
        return f"{self.name} in {key}" if self.key else self.name


def _top_words(position: int) -> str:
    names = ("", "", "second", "third", "fourth", "fifth", "sixth", "seventh", "octave")
    return f"{names[position]} on top" if 2 <= position <= 8 else "any position"


def figuring_item(moment: Moment, top: int | None) -> Item | None:
    """What a chord moment asks of the player, with `top` the highest key that was down.

    The melody, where one is given, decides the position; 0 where there is neither. A wrong chord's
    top should not be given: it says nothing of the position that was missed. None where there is
    nothing to know: no bass, tasto solo, unison, an extender.
    """
    if moment.bass is None or moment.figuring.way is not Way.FIGURES:
        return None
    name = relative(moment.figuring, moment.bass, moment.key)
    item = Item("figuring", name, str(moment.key), degree_of_bass(moment))
    if moment.melody is not None:
        letters = (moment.melody.height - moment.bass.height) % 7
        return replace(item, position=letters + 1 if letters else 8)
    return item if top is None else under_top(item, moment.bass.midi, top)


@lru_cache(maxsize=65536)
def positioned(item: Item, position: int) -> Item:
    """The item in a position."""
    return replace(item, position=position)


def under_top(item: Item, bass: int, top: int) -> Item:
    """The item in the position that a top key makes over a bass, both MIDI numbers."""
    return positioned(item, _EACH_SEMITONE[(top - bass) % 12]) if top > bass else item


def degree_of_bass(moment: Moment) -> str:
    """The bass as a degree of the key, with the sign by which it departs from the signature."""
    assert moment.bass is not None
    change = moment.bass.alter - moment.key.alter(moment.bass.step)
    sign = "#" * change if change > 0 else "b" * -change
    return f"{sign}{moment.key.degree(moment.bass.step)}"
