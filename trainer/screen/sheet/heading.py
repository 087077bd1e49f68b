"""The head and the foot of a page with music: what is played, how, and what listens and sounds."""

from __future__ import annotations

from collections.abc import Sequence

from trainer.conducting.setup import Setup
from trainer.conducting.shell import Shell
from trainer.conducting.sources import HandsSource
from trainer.screen.drawing.forme import Forme
from trainer.screen.sheet.layout import Layout
from trainer.theory.hands import DIVISIONS


def set_head(forme: Forme, place: Layout, setup: Setup, heading: str) -> None:
    """Title and tempo; below them the key and the rest, and why it is played now."""
    measure, conditions = forme.measure, setup.conditions
    right = measure.width - measure.margin
    tempo = "untimed" if conditions.tempo is None else f"{conditions.tempo:g}"
    unit = "" if conditions.tempo is None else "beats a minute"
    unit_rect = forme.text(unit, right, place.title, face="italic", size=1.05, align="right")
    edge = unit_rect.x - round(0.4 * forme.em) if unit else right
    number = forme.text(tempo, edge, place.title, size=1.7, align="right")
    room = number.x - measure.margin - 2 * forme.em
    forme.text(setup.exercise.title, measure.margin, place.title, size=1.9, room=room)
    wide = forme.text(
        heading,
        right,
        place.under_title,
        face="italic",
        role="soft",
        align="right",
        room=measure.width * 0.42,
    )
    forme.text(
        " · ".join(part for part in _under_title(setup) if part),
        measure.margin,
        place.under_title,
        face="italic",
        role="soft",
        room=wide.x - measure.margin - forme.em if heading else right - measure.margin,
    )
    forme.rule(measure.margin, place.rule, right, role="soft")


def _under_title(setup: Setup) -> Sequence[str]:
    exercise, page = setup.exercise, setup.page
    key = exercise.key.in_words
    if page.key != exercise.key:
        key = f"written in {page.key.in_words}, played in {key}"
    step = f"course step {exercise.level}" if exercise.level else ""
    hands = DIVISIONS[setup.conditions.hands].words
    if len(setup.conditions.supply) == 2:
        hands = "the middle voices are yours"
    elif setup.conditions.supply == ("bass",):
        hands = "the upper voices are yours"
    tune = "" if exercise.tune == exercise.title else exercise.tune
    return (tune, key, str(exercise.metre), step, hands)


def status_words(shell: Shell, notice: str) -> str:
    """Keyboard, sound and what the program plays, in one line."""
    source = shell.source
    if isinstance(source, HandsSource):
        port = source.port
        keyboard = f"listening to {port}" if port else "no keyboard found: the letters are keys"
        if port and source.complaint:
            keyboard = f"{keyboard}, but {source.complaint}"
    else:
        keyboard = "a demo player plays"
    supply = shell.setup.conditions.supply
    plays = f"the program plays {' and '.join(supply)}" if supply else "the program plays nothing"
    return " · ".join(part for part in (keyboard, shell.output.about, plays, notice) if part)
