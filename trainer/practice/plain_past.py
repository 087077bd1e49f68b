"""The folds of the past as plain data for JSON, and back, to the last bit."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import astuple
from datetime import date, datetime
from typing import Any

import fsrs

from trainer.practice.course import standing
from trainer.practice.item import Item
from trainer.practice.ladder import Ladder
from trainer.practice.material import Material
from trainer.practice.memory import Known, Memory
from trainer.practice.past import Past
from trainer.practice.played import Met, Played, Tempi, Thought

Plain = Mapping[str, Any]


def past_plain(past: Past) -> dict[str, Any]:
    """What was folded; where the player stands follows from it and is not kept."""
    memory, played = past.memory, past.played
    entered, count = memory.entered
    return {
        "known": [_known_plain(one) for one in memory.known.values()],
        "misses": [[*astuple(item), times] for item, times in memory.misses.items()],
        "entered": [None if entered is None else entered.isoformat(), count],
        "ladders": [astuple(ladder) for ladder in past.ladders.values()],
        "passes": played.passes,
        "clean": played.clean,
        "good": played.good,
        "met": {name: [one.times, _text(one.last)] for name, one in played.met.items()},
        "thoughts": [[step, one.shown, one.row] for step, one in played.thoughts.items()],
        "faded": played.faded,
        "recent": [[at.isoformat(), seconds] for at, seconds in played.recent],
    }


def past_from(plain: Plain, material: Material, begin_at: int = 1) -> Past:
    """The past that was made plain. Raises ValueError, LookupError, TypeError or AttributeError
    for data that is none."""
    played = Played(
        passes=plain["passes"],
        clean=_tempi(plain["clean"]),
        good=_tempi(plain["good"]),
        met={name: Met(times, _time(last)) for name, (times, last) in plain["met"].items()},
        thoughts={
            step: Thought(shown, tuple((right, took) for right, took in row))
            for step, shown, row in plain["thoughts"]
        },
        faded={name: (wrong, met) for name, (wrong, met) in plain["faded"].items()},
        recent=tuple((datetime.fromisoformat(at), seconds) for at, seconds in plain["recent"]),
    )
    entered, count = plain["entered"]
    memory = Memory(
        known={one.item: one for one in map(_known_from, plain["known"])},
        misses={Item(*item): times for *item, times in plain["misses"]},
        entered=(None if entered is None else date.fromisoformat(entered), count),
    )
    ladders = [Ladder(*values) for values in plain["ladders"]]
    places = {(one.piece, one.key, one.hands): one for one in ladders}
    return Past(memory, places, played, standing(material, played, begin_at))


def _known_plain(known: Known) -> list[Any]:
    card = known.card
    learnt = (card.state.value, card.step, card.stability, card.difficulty)
    times = (_text(card.due), _text(card.last_review))
    day = None if known.day is None else known.day.isoformat()
    return [*astuple(known.item), *learnt, *times, day, known.asked, known.wrong, known.slow]


def _known_from(plain: list[Any]) -> Known:
    *item, state, step, stability, difficulty, due, last, day, asked, wrong, slow = plain
    card = fsrs.Card(
        card_id=0,
        state=fsrs.State(state),
        step=step,
        stability=stability,
        difficulty=difficulty,
        due=datetime.fromisoformat(due),
        last_review=_time(last),
    )
    met = None if day is None else date.fromisoformat(day)
    return Known(Item(*item), card, met, asked, wrong, slow)


def _tempi(plain: Mapping[str, Mapping[str, list[float]]]) -> Tempi:
    return {
        piece: {key: tuple(tempi) for key, tempi in keys.items()} for piece, keys in plain.items()
    }


def _text(at: datetime | None) -> str | None:
    return None if at is None else at.isoformat()


def _time(text: str | None) -> datetime | None:
    return None if text is None else datetime.fromisoformat(text)
