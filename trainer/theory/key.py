"""Key signature, final and mode; old settings may carry a signature that is not their final's."""

from __future__ import annotations

import re
from dataclasses import dataclass

from trainer.errors import PitchError
from trainer.theory.pitch import PitchName

# mode -> place of its signature on the line of fifths, relative to major on the same final
MODES: dict[str, int] = {
    "major": 0,
    "minor": -3,
    "dorian": -2,
    "phrygian": -4,
    "lydian": 1,
    "mixolydian": -1,
    "aeolian": -3,
}
_SHARP_ORDER = (3, 0, 4, 1, 5, 2, 6)  # f c g d a e b


def key_in_words(name: str) -> str:
    """The name of a key as it is said: `B flat major` of `Bb major`, `f sharp` of `f#`."""
    final, _, mode = name.partition(" ")
    word = {"": "", "#": " sharp", "b": " flat"}.get(final[1:], final[1:])
    return f"{final[:1]}{word} {mode}".strip()


@dataclass(frozen=True, slots=True)
class Key:
    """`signature` counts sharps (+) or flats (-), -7 to 7; `final` is the tonic or final."""

    final: PitchName
    mode: str
    signature: int

    @staticmethod
    def of(final: PitchName, mode: str = "major", signature: int | None = None) -> Key:
        """The key on `final`; the mode's own signature unless another is given.

        Raises PitchError for an unknown mode or a signature beyond seven accidentals.
        """
        if mode not in MODES:
            raise PitchError(f"{mode!r} is not a mode", remedy=f"use one of {', '.join(MODES)}")
        fifths = final.fifths + MODES[mode] if signature is None else signature
        if not -7 <= fifths <= 7:
            raise PitchError(f"{final} {mode} would need a signature of {abs(fifths)} accidentals")
        return Key(final, mode, fifths)

    @staticmethod
    def parse(text: str) -> Key:
        """Read `G` (major), `g` (minor), `f# minor`, `d dorian`, `Bb`; raises PitchError."""
        match = re.fullmatch(r"\s*([a-gA-G](?:#|b)?)(?:[\s-]+([a-z]+))?\s*", text)
        if match is None:
            raise PitchError(f"{text!r} is not a key", remedy="write one like G, g, Bb or d dorian")
        mode = match[2] or ("major" if match[1][0].isupper() else "minor")
        return Key.of(PitchName.parse(match[1]), mode)

    @property
    def in_words(self) -> str:
        """`B flat major`, `f sharp minor`."""
        return key_in_words(str(self))

    @property
    def is_minor(self) -> bool:
        """Whether the third above the final is minor."""
        return (self.alter((self.final.step + 2) % 7) - self.final.alter) + _third(
            self.final.step
        ) == 3

    def alter(self, step: int) -> int:
        """The signature's alteration of a letter (c = 0), in semitones."""
        order = _SHARP_ORDER if self.signature >= 0 else _SHARP_ORDER[::-1]
        altered = step in order[: abs(self.signature)]
        return 0 if not altered else (1 if self.signature > 0 else -1)

    def degree(self, step: int) -> int:
        """Scale degree 1 to 7 of a letter."""
        return (step - self.final.step) % 7 + 1

    def note(self, degree: int) -> PitchName:
        """The note of a scale degree (1 = final) as the signature has it."""
        step = (self.final.step + degree - 1) % 7
        return PitchName(step, self.alter(step))

    @property
    def leading_tone(self) -> PitchName:
        """The letter below the final, a semitone from it, raised where the signature has it low."""
        step = (self.final.step - 1) % 7
        natural = PitchName(step, 0).pitch_class
        alter = (self.final.pitch_class - 1 - natural + 6) % 12 - 6
        return PitchName(step, alter)

    def __str__(self) -> str:
        name = str(self.final)
        name = name[0].upper() + name[1:] if self.mode == "major" else name
        return f"{name} {self.mode}"


def _third(step: int) -> int:
    semitones = (0, 2, 4, 5, 7, 9, 11)
    return (semitones[(step + 2) % 7] - semitones[step]) % 12
