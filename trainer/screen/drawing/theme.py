"""Paper and ink: colours by role, contrast, and sizes that follow window and text scale."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from trainer.engraving.ink import Ink

Ground = Literal["light", "dark"]
Colour = tuple[int, int, int]
Role = Literal["paper", "ink", "soft", "rule", "wash", "player", "mark", "remark", "pencil"]


@dataclass(frozen=True, slots=True)
class Theme:
    """Colours of one ground.

    `ink` is for text and notes, `soft` for text of less weight, `rule` for lines that carry no
    meaning, `wash` for the bed of what is chosen, `player`, `mark`, `remark` and `pencil` for what
    is added to the page.
    """

    ground: Ground
    paper: Colour
    ink: Colour
    soft: Colour
    rule: Colour
    wash: Colour
    player: Colour
    mark: Colour
    remark: Colour
    pencil: Colour

    def colour(self, role: Role) -> Colour:
        found: Colour = getattr(self, role)
        return found

    def inks(self) -> dict[Ink, Colour]:
        """What the inks of drawings on the page look like."""
        return {
            "print": self.ink,
            "player": self.player,
            "mark": self.mark,
            "remark": self.remark,
            "pencil": self.pencil,
        }


LIGHT = Theme(
    ground="light",
    paper=(244, 239, 228),
    ink=(34, 31, 28),
    soft=(94, 88, 80),
    rule=(190, 181, 164),
    wash=(231, 223, 205),
    player=(31, 78, 134),
    mark=(158, 33, 30),
    remark=(112, 80, 14),
    pencil=(98, 94, 88),
)
DARK = Theme(
    ground="dark",
    paper=(30, 28, 26),
    ink=(232, 224, 208),
    soft=(172, 163, 148),
    rule=(84, 78, 70),
    wash=(48, 45, 41),
    player=(142, 184, 232),
    mark=(240, 134, 122),
    remark=(222, 184, 96),
    pencil=(160, 154, 146),
)
THEMES: dict[Ground, Theme] = {"light": LIGHT, "dark": DARK}

# what is set on what, wherever text or a sign that means something stands
PAIRS: tuple[tuple[Role, Role], ...] = (
    ("ink", "paper"),
    ("soft", "paper"),
    ("player", "paper"),
    ("mark", "paper"),
    ("remark", "paper"),
    ("pencil", "paper"),
    ("ink", "wash"),
    ("soft", "wash"),
    ("mark", "wash"),
    ("player", "wash"),
    ("paper", "ink"),
    ("paper", "player"),
    ("paper", "mark"),
)


def contrast(one: Colour, other: Colour) -> float:
    """The contrast ratio of WCAG 2.2 (1 to 21); text needs 4.5, large text and signs 3."""
    lighter, darker = sorted((_luminance(one), _luminance(other)), reverse=True)
    return (lighter + 0.05) / (darker + 0.05)


def _luminance(colour: Colour) -> float:
    def linear(value: int) -> float:
        share = value / 255
        return share / 12.92 if share <= 0.04045 else float(((share + 0.055) / 1.055) ** 2.4)

    red, green, blue = (linear(value) for value in colour)
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue


SMALLEST = (1024, 640)
LARGEST = (3840, 2160)


@dataclass(frozen=True, slots=True)
class Measure:
    """Sizes in pixels that all views share. `em` is the size of running text."""

    width: int
    height: int
    em: float
    margin: int

    @staticmethod
    def of(width: int, height: int, text_scale: float) -> Measure:
        """For a window of that size; `text_scale` 0.8 to 2."""
        share = min(width / 1920, height / 1080)
        em = max(15.0, 22 * share**0.85) * text_scale
        return Measure(width, height, em, max(30, round(0.05 * width)))

    @property
    def line(self) -> int:
        """From baseline to baseline of running text."""
        return round(1.4 * self.em)
