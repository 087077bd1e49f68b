"""A score of another program as it was written: staves, layers, figures, before anything is chosen.

Score time is in quarter notes from the first event, as Fraction. The values can travel as JSON,
because foreign files are read in a process of their own.
"""

from __future__ import annotations

from dataclasses import asdict, dataclass
from fractions import Fraction
from typing import Any

from trainer.theory.pitch import Pitch


@dataclass(frozen=True, slots=True)
class Event:
    """A note, a chord (`pitches` from the lowest up) or a rest (none).

    `tied` says for each pitch whether a tie leads into it.
    """

    onset: Fraction
    duration: Fraction
    pitches: tuple[Pitch, ...] = ()
    tied: tuple[bool, ...] = ()
    fermata: bool = False

    @property
    def end(self) -> Fraction:
        return self.onset + self.duration


@dataclass(frozen=True, slots=True)
class Line:
    """One layer of one staff, gapless; `staff` and `layer` count from 1, staff 1 on top."""

    staff: int
    layer: int
    name: str
    events: tuple[Event, ...]
    sung: bool = False

    @property
    def label(self) -> str:
        """How the line is named to the user: its staff's name, or the staff's number."""
        name = self.name or f"staff {self.staff}"
        return name if self.layer == 1 else f"{name}, layer {self.layer}"

    @property
    def pitches(self) -> list[Pitch]:
        return [pitch for event in self.events for pitch in event.pitches]


@dataclass(frozen=True, slots=True)
class WrittenFigure:
    """A stack of figures as plain text; `staff` is 0 where the file does not say."""

    onset: Fraction
    staff: int
    text: str


@dataclass(frozen=True, slots=True)
class WrittenKey:
    """A signature; `mode` is empty where the file does not say."""

    onset: Fraction
    signature: int
    mode: str = ""


@dataclass(frozen=True, slots=True)
class WrittenMetre:
    onset: Fraction
    beats: int
    unit: int


@dataclass(frozen=True, slots=True)
class ForeignScore:
    """`tempo` is in quarter notes a minute; `facts` are fields of our own found in the file;
    `remarks` say what was not taken and why."""

    title: str
    lines: tuple[Line, ...]
    figures: tuple[WrittenFigure, ...]
    keys: tuple[WrittenKey, ...]
    metres: tuple[WrittenMetre, ...]
    tempo: float | None
    pickup: Fraction
    length: Fraction
    facts: tuple[tuple[str, str], ...] = ()
    remarks: tuple[str, ...] = ()

    def to_json(self) -> dict[str, Any]:
        """As plain values, Fractions and pitches as text."""
        plain = _plain(asdict(self))
        assert isinstance(plain, dict)
        return plain

    @staticmethod
    def from_json(value: dict[str, Any]) -> ForeignScore:
        """The inverse of `to_json`."""
        return ForeignScore(
            title=value["title"],
            lines=tuple(
                Line(
                    line["staff"],
                    line["layer"],
                    line["name"],
                    tuple(
                        Event(
                            Fraction(event["onset"]),
                            Fraction(event["duration"]),
                            tuple(Pitch(**pitch) for pitch in event["pitches"]),
                            tuple(event["tied"]),
                            event["fermata"],
                        )
                        for event in line["events"]
                    ),
                    line["sung"],
                )
                for line in value["lines"]
            ),
            figures=tuple(
                WrittenFigure(Fraction(f["onset"]), f["staff"], f["text"]) for f in value["figures"]
            ),
            keys=tuple(
                WrittenKey(Fraction(k["onset"]), k["signature"], k["mode"]) for k in value["keys"]
            ),
            metres=tuple(
                WrittenMetre(Fraction(m["onset"]), m["beats"], m["unit"]) for m in value["metres"]
            ),
            tempo=value["tempo"],
            pickup=Fraction(value["pickup"]),
            length=Fraction(value["length"]),
            facts=tuple((name, text) for name, text in value["facts"]),
            remarks=tuple(value["remarks"]),
        )


def _plain(value: object) -> object:
    if isinstance(value, Fraction):
        return str(value)
    if isinstance(value, dict):
        return {name: _plain(one) for name, one in value.items()}
    if isinstance(value, list | tuple):
        return [_plain(one) for one in value]
    return value
