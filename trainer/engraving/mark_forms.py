"""Which form each rule's mark has, and how the forms are drawn about a place."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from trainer.engraving.figure_drawing import DIGITS
from trainer.engraving.glyphs import sign
from trainer.engraving.ink import Drawing, Ink, Sign, Stroke

Form = Literal["parallel", "cross", "caret", "bracket", "arrow", "join", "step", "tick"]

# rule -> how it is drawn; what is not here gets a tick beside its notes
FORMS: dict[str, Form] = {
    "missing-third": "caret",
    "missing-figure": "caret",
    "foreign-note": "cross",
    "held-too-long": "cross",
    "wrong-bass": "cross",
    "wrong-melody": "cross",
    "doubled-leading-tone": "join",
    "doubled-dissonance": "join",
    "doubled-raised-note": "join",
    "unprepared-suspension": "bracket",
    "dissonance-by-leap": "bracket",
    "unresolved-dissonance": "arrow",
    "delayed-resolution": "arrow",
    "tritone-astray": "arrow",
    "leading-tone-astray": "arrow",
    "consecutive-octaves": "parallel",
    "consecutive-unisons": "parallel",
    "consecutive-fifths": "parallel",
    "consecutives-by-contrary-motion": "parallel",
    "unequal-fifths": "parallel",
    "hidden-octave": "parallel",
    "hidden-fifth": "parallel",
    "augmented-step": "step",
    "leap-in-middle-voice": "step",
    "false-relation": "step",
    "spacing": "join",
    "crossing": "join",
    "overlap": "join",
}
# from the form that can stand in the fewest places to the one that finds room everywhere
_BY_FREEDOM: tuple[Form, ...] = (
    "join",
    "bracket",
    "parallel",
    "step",
    "caret",
    "cross",
    "arrow",
    "tick",
)
RISES = {"leading-tone-astray"}  # the arrow of all others points down
SIZES = {
    "consecutive-octaves": 8,
    "consecutive-unisons": 1,
    "consecutive-fifths": 5,
    "unequal-fifths": 5,
    "hidden-fifth": 5,
    "hidden-octave": 8,
}
MARK_INKS: dict[str, Ink] = {"gross": "mark", "weak": "mark", "remark": "remark"}
THICKNESS = {"gross": 0.24, "weak": 0.15, "remark": 0.12}  # in staff spaces


@dataclass(frozen=True, slots=True)
class Nib:
    """What a mark is drawn with: the distance of two staff lines and the width of the stroke, in
    pixels, and the ink."""

    space: float
    thick: float
    ink: Ink

    def stroke(self, x1: float, y1: float, x2: float, y2: float) -> Stroke:
        return Stroke(x1, y1, x2, y2, self.thick, self.ink)


def freedom(rule: str) -> int:
    """How freely a rule's mark finds its place, against those of other rules."""
    return _BY_FREEDOM.index(FORMS.get(rule, "tick"))


def cross(nib: Nib, x: float, y: float) -> tuple[Drawing, ...]:
    """Its left end at x."""
    arm = 0.55 * nib.space
    return (
        nib.stroke(x, y - arm, x + 2 * arm, y + arm),
        nib.stroke(x, y + arm, x + 2 * arm, y - arm),
    )


def tick(nib: Nib, x: float, y: float) -> tuple[Drawing, ...]:
    """Its left end at x."""
    space = nib.space
    y += 0.2 * space
    foot_x, foot_y = x + 0.35 * space, y + 0.45 * space
    return (
        nib.stroke(x, y, foot_x, foot_y),
        nib.stroke(foot_x, foot_y, x + 0.95 * space, y - 0.75 * space),
    )


def arrow(nib: Nib, x: float, y: float, *, rises: bool) -> tuple[Drawing, ...]:
    """From x to the right, a little up or down."""
    space, way = nib.space, -1 if rises else 1
    x1, y1 = x, y + way * 0.1 * space
    x2, y2 = x1 + 1.2 * space, y + way * 0.85 * space
    return (
        nib.stroke(x1, y1, x2, y2),
        nib.stroke(x2, y2, x2 - 0.6 * space, y2 - way * 0.02 * space),
        nib.stroke(x2, y2, x2 - 0.2 * space, y2 - way * 0.6 * space),
    )


def bracket(nib: Nib, x: float, top: float, bottom: float, *, opens: bool) -> tuple[Drawing, ...]:
    """An upright at x with two feet: to the right where it opens before notes, to the left where
    it closes after them."""
    foot = (0.4 if opens else -0.5) * nib.space
    return (
        nib.stroke(x, top, x, bottom),
        nib.stroke(x, top, x + foot, top),
        nib.stroke(x, bottom, x + foot, bottom),
    )


def broken_bracket(
    nib: Nib, x: float, top: float, bottom: float, *, opens: bool
) -> tuple[Drawing, ...]:
    """The same of which the middle is left out, over what stands between."""
    stub = min(0.8 * nib.space, (bottom - top) / 3)
    _, *feet = bracket(nib, x, top, bottom, opens=opens)
    return (nib.stroke(x, top, x, top + stub), nib.stroke(x, bottom - stub, x, bottom), *feet)


def caret(nib: Nib, x: float, base: float, size: int | None) -> tuple[Drawing, ...]:
    """An insertion mark with its point at x, and under it the figure that is missing."""
    arm, scale = 0.6 * nib.space, 1.5 * nib.space
    peak = base - 1.4 * arm
    strokes = (nib.stroke(x - arm, base, x, peak), nib.stroke(x, peak, x + arm, base))
    if size is None:
        return strokes
    return (*strokes, _digit(size, x, base + 0.35 * nib.space + scale, scale, nib.ink))


def numeral(nib: Nib, size: int, x: float, y: float) -> tuple[Drawing, ...]:
    """A digit in the middle of (x, y)."""
    scale = 1.6 * nib.space
    return (_digit(size, x, y + scale / 2, scale, nib.ink),)


def _digit(size: int, x: float, foot: float, scale: float, ink: Ink) -> Sign:
    outline = sign(DIGITS[size], 4 * scale)
    return Sign(DIGITS[size], x - (outline.left + outline.right) / 2, foot, scale, ink)
