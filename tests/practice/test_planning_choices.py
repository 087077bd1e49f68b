"""What the day's plan chooses: the minutes of each part, new figurings, weak drills, the step's.

The numbers (shares, weights, how many of each) are the planner's own; common practice, no source.
"""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta
from random import Random

import pytest

from tests.practice.test_planning import START, a_pass, ground, patterns_of, wrongly
from trainer.practice import planning
from trainer.practice.course import Requirement
from trainer.practice.groundwork import Groundwork, drill_id
from trainer.practice.item import Item
from trainer.practice.material import Material, open_material
from trainer.practice.memory import end_of_day
from trainer.practice.past import Past, past_of
from trainer.practice.planning import (
    _due,
    _new_items,
    _score,
    _step,
    _warm_up,
    _weak,
    _weak_reason,
    todays_plan,
)
from trainer.practice.question import items_of
from trainer.score.library import Library
from trainer.score.patterns import Pattern
from trainer.theory.key import Key


@pytest.fixture(scope="module")
def material() -> Material:
    return open_material(Library())


def weak_in(past: Past, **weakness: float) -> Past:
    """The past of somebody for whom these figurings go wrong so often; `_65` is 6 5."""
    found = replace(past)
    named = {" ".join(name.strip("_")) or "-": share for name, share in weakness.items()}
    found.__dict__["weakness"] = named
    return found


def waiting_for(past: Past, *requirements: Requirement) -> Past:
    return replace(past, standing=replace(past.standing, requirements=requirements))


# ── minutes ──────────────────────────────────────────────────────────────────────────────────


@pytest.mark.parametrize(
    ("minutes", "given"),
    [(100, [8, 27, 17, 18, 18, 12]), (4.4, [2.7, 1.7])],
)
def test_the_minutes_are_shared_out_among_the_parts_there_are(
    material: Material, monkeypatch: pytest.MonkeyPatch, minutes: float, given: list[float]
) -> None:
    """Before what a part cannot use goes to the others; in a short time there are two parts."""
    monkeypatch.setattr(planning, "_filled", lambda parts, minutes: tuple(parts))
    monkeypatch.setattr(planning, "_LEAST", 2.0)
    plan = todays_plan(START, minutes, material, past_of((), material, START, 12))
    assert [part.minutes for part in plan.parts] == pytest.approx(given)


def test_a_beginner_always_warms_up_on_the_very_first_drill(material: Material) -> None:
    here = ground(material, past_of((), material, START, 1))
    pattern, key = next(iter(here.met_drills()))
    begun = {_warm_up(here, Random(seed), 2.0).tasks[0].exercise_id for seed in range(12)}
    assert {id.partition(":")[0] for id in begun} == {drill_id(pattern.id, key)}


# ── questions ────────────────────────────────────────────────────────────────────────────────


def test_four_questions_have_room_in_just_less_than_fifty_seconds(material: Material) -> None:
    here = ground(material, past_of((), material, START, 12))
    assert len(_due(here, Random(1), 49.8 / 60).tasks) == 2  # six tenths of four


def test_in_the_shortest_time_one_that_is_due_is_asked(material: Material) -> None:
    item = Item("figuring", "6", "C major", "3", 8)
    later = START + timedelta(days=30)
    here = ground(material, past_of([wrongly(item, 0)], material, later, 12), later)
    assert [task.item for task in _due(here, Random(1), 0.1).tasks] == [item]


def test_only_figurings_that_some_drill_contains_are_asked(material: Material) -> None:
    """Sequences and cadences are due as well, and are played; a figuring of some piece may stand
    in no drill of the course."""
    later = START + timedelta(days=60)
    asked = Item("figuring", "6", "C major", "3", 8)
    nowhere = Item("figuring", "9 7 4", "C major", "#6", 3)
    sequence = next(id for id, whole in material.wholes.items() if whole.kind == "sequence")
    played = [
        wrongly(asked, 0),
        *(
            replace(a_pass("a-piece", "C major", 60.0, day), answers=wrongly(nowhere, 0).answers)
            for day in (1, 2, 3)  # missed three times in playing
        ),
        a_pass(f"{sequence}@C:third", "C major", 60.0, 4),
    ]
    past = past_of(played, material, later, 12)
    due = [known.item for known in past.memory.due(end_of_day(later))]
    assert nowhere in due and {item.kind for item in due} == {"figuring", "sequence"}
    tasks = _due(ground(material, past, later), Random(1), 20).tasks
    items = [task.item for task in tasks if task.item is not None]
    assert asked in items and nowhere not in items
    assert {item.kind for item in items} == {"figuring"}


def one_a_form(pattern: Pattern, key: Key) -> tuple[Item, ...]:
    return (Item("figuring", pattern.id, str(key), "1", 3),)


def test_new_figurings_are_looked_for_in_six_drills_by_turns(
    material: Material, monkeypatch: pytest.MonkeyPatch
) -> None:
    here = ground(material, past_of((), material, START, 12))
    monkeypatch.setattr(planning, "items_of", one_a_form)
    found = [_new_items(here, Random(seed), 8, ()) for seed in range(6)]
    assert [len(items) for items in found] == [6] * 6
    assert len({frozenset(items) for items in found}) > 1


def test_of_one_drill_not_always_the_same_is_asked_first(
    material: Material, monkeypatch: pytest.MonkeyPatch
) -> None:
    here = ground(material, past_of((), material, START, 12))
    several = tuple(Item("figuring", "6", "C major", str(degree), 3) for degree in range(1, 6))
    monkeypatch.setattr(planning, "items_of", lambda pattern, key: several)
    orders = {_new_items(here, Random(seed), 8, ()) for seed in range(6)}
    assert len(orders) > 1 and {frozenset(order) for order in orders} == {frozenset(several)}


FIGURINGS = Requirement("its figurings", 3, 10, figurings=True)
KNOWN_THEM = replace(FIGURINGS, reached=10)
A_PIECE = Requirement("two of its pieces", 0, 2)


@pytest.mark.parametrize(
    ("requirements", "kinds"),
    [
        ((FIGURINGS, A_PIECE), ["of the step, new", "of the step, asked", "other, new"]),
        ((KNOWN_THEM, A_PIECE), ["of the step, new", "other, new"]),
        ((A_PIECE,), ["of the step, new", "other, new"]),
        ((), ["of the step, new", "other, new"]),
    ],
)
def test_asked_ones_are_asked_again_only_where_the_next_step_waits_for_them(
    material: Material,
    monkeypatch: pytest.MonkeyPatch,
    requirements: tuple[Requirement, ...],
    kinds: list[str],
) -> None:
    """New ones of the step come first, then asked ones of the step, then others that are new."""
    fresh = past_of((), material, START, 12)
    brought = sorted({*fresh.standing.step.new_figurings, *fresh.standing.step.new_in_minor})[0]
    assert "5 4 2 1" not in brought
    items = {
        "other, asked": Item("figuring", "5 4 2 1", "C major", "1", 3),
        "other, new": Item("figuring", "5 4 2 1", "C major", "2", 3),
        "of the step, asked": Item("figuring", brought, "C major", "3", 3),
        "of the step, new": Item("figuring", brought, "C major", "4", 3),
        "of the step, due": Item("figuring", brought, "C major", "5", 3),
    }
    asked = [wrongly(items[kind], 0) for kind in ("other, asked", "of the step, asked")]
    past = waiting_for(past_of(asked, material, START, 12), *requirements)
    monkeypatch.setattr(planning, "items_of", lambda pattern, key: tuple(items.values()))
    due = {items["of the step, due"]}
    for seed in range(6):
        found = _new_items(ground(material, past), Random(seed), 8, due)
        assert found == tuple(items[kind] for kind in kinds)


def test_items_of_a_drill_are_what_new_figurings_are_taken_from(material: Material) -> None:
    here = ground(material, past_of((), material, START, 12))
    step = here.past.standing.step
    contained = {
        item
        for pattern in material.drills(step)
        for key in material.keys(pattern, step.number)
        for item in items_of(pattern, key)
    }
    assert set(_new_items(here, Random(1), 8, ())) <= contained


# ── what is weak ─────────────────────────────────────────────────────────────────────────────


def drill(material: Material, *figurings: str, minor: bool = False) -> tuple[Pattern, Key]:
    """A drill with exactly these figurings, made of one the course has."""
    found = material.patterns[material.steps[0].drills[0]]
    degree = found.major[0]
    degrees = tuple(replace(degree, figurings=(name,)) for name in figurings)
    plain = (replace(degree, figurings=("-",)),)
    pattern = replace(found, major=plain if minor else degrees, minor=degrees if minor else plain)
    return pattern, Key.parse("a" if minor else "C")


@pytest.mark.parametrize("minor", [False, True])
@pytest.mark.parametrize(
    ("weakness", "score"),
    [
        ({}, 0.6 * 0.1 + 0.2 * 0.1 + 0.2 * 0.3),
        ({"_6": 0.5}, 0.6 * 0.5 + 0.2 * 0.3 + 0.2 * 0.3),
        ({"_6": 0.5, "_": 0.02}, 0.6 * 0.5 + 0.2 * 0.26 + 0.2 * 0.3),
        ({"_7": 0.9}, 0.6 * 0.1 + 0.2 * 0.1 + 0.2 * 0.3),  # not in it
    ],
)
def test_a_drill_is_wanted_for_the_weakest_in_it_all_in_it_and_how_far_it_is_forgotten(
    material: Material, weakness: dict[str, float], score: float, minor: bool
) -> None:
    """Six tenths, two tenths, two tenths. A figuring of which nothing is known goes wrong one time
    in ten; a drill never played is forgotten by three tenths."""
    here = ground(material, weak_in(past_of((), material, START, 12), **weakness))
    pattern, key = drill(material, "-", "6", minor=minor)
    assert _score(here, pattern, key) == pytest.approx(score)


def played_once(material: Material, days: float) -> tuple[Groundwork, Pattern, Key]:
    """A drill played so many days before the evening of the plan, and never again."""
    pattern, key = drill(material, "-", "6")
    id = f"{pattern.id}@C:third"
    past = past_of([a_pass(id, str(key), 60.0)], material, START + timedelta(days=400), 12)
    here = ground(material, past, START)
    return replace(here, evening=START + timedelta(days=days)), pattern, key


def test_the_longer_ago_the_more_is_a_drill_wanted(material: Material) -> None:
    """What is not remembered counts: what was just played hardly, what was played a year ago
    more than what was never played."""
    scores = [_score(*played_once(material, days)) for days in (0, 3, 30, 365)]
    assert scores == sorted(scores)
    here, pattern, key = played_once(material, 0)
    whole = here.past.memory.known[Item(material.wholes[pattern.id].kind, pattern.id, "C major")]
    weak = weak_in(here.past, _=0.1, _6=0.1)
    for days in (0, 3, 30):
        at = replace(here, past=weak, evening=START + timedelta(days=days))
        forgotten = 1 - whole.recall(at.evening)
        assert _score(at, pattern, key) == pytest.approx(0.08 + 0.2 * forgotten)
        assert 0 <= forgotten < 1
    assert _score(replace(here, past=weak, evening=START), pattern, key) == pytest.approx(0.08)


@pytest.mark.parametrize(
    ("weakness", "reason"),
    [
        ({"_6": 0.5, "_": 0.3}, "6 has lately gone wrong or come late 50% of the time"),
        ({"_": 0.3}, "a plain triad has lately gone wrong or come late 30% of the time"),
        ({"_6": 0.125, "_": 0.0}, "6 has lately gone wrong or come late 12% of the time"),
        ({"_6": 0.12, "_": 0.0}, "nothing is weak just now"),
        ({"_": 0.105}, "nothing is weak just now"),
        ({"_7": 0.9}, "nothing is weak just now"),
    ],
)
def test_the_reason_names_what_goes_wrong_more_than_twelve_times_in_a_hundred(
    material: Material, weakness: dict[str, float], reason: str
) -> None:
    here = ground(material, weak_in(past_of((), material, START, 12), **weakness))
    assert _weak_reason(here, *drill(material, "-", "6")).startswith(reason)


@pytest.mark.parametrize(
    ("days", "ago"),
    [(0.2, "today"), (1.2, "yesterday"), (2.2, "2 days ago"), (40.2, "40 days ago")],
)
def test_the_reason_says_when_a_drill_was_last_played(
    material: Material, days: float, ago: str
) -> None:
    here, pattern, key = played_once(material, days)
    here = replace(here, past=weak_in(here.past, _=0.1, _6=0.1))
    reason = f"last played {ago}, and the most forgotten of the drills"
    assert _weak_reason(here, pattern, key) == reason


def test_the_drill_that_is_wanted_most_leads_the_weak_part(material: Material) -> None:
    """Four different drills, the most wanted first, each in the key in which it is wanted most;
    then other keys, the most wanted first."""
    fresh = past_of((), material, START, 12)
    beyond = [form for form in ground(material, fresh).met_drills() if form[0].kind != "triad"]
    names = {
        (name,)
        for pattern, key in beyond
        for step in (pattern.minor if key.is_minor else pattern.major)
        for name in step.figurings
    }
    weakness = {name: 0.04 * number for number, (name,) in enumerate(sorted(names))}
    past = replace(fresh)
    past.__dict__["weakness"] = weakness
    here = ground(material, past)
    scores = {drill_id(p.id, k): _score(here, p, k) for p, k in beyond}
    best: dict[str, float] = {}
    for id, score in scores.items():
        pattern = id.partition("@")[0]
        best[pattern] = max(best.get(pattern, 0.0), score)
    wanted = sorted(best.values(), reverse=True)[:4]
    for seed in range(4):
        found = _weak(here, Random(seed), 3.0)
        ids = [task.exercise_id.partition(":")[0] for task in found.tasks]
        assert [scores[id] for id in ids[:4]] == pytest.approx(wanted)
        assert len(set(patterns_of(found)[:4])) == 4
        rest = sorted((score for id, score in scores.items() if id not in ids[:4]), reverse=True)
        assert [scores[id] for id in ids[4:]] == pytest.approx(rest[:4])
        first = found.tasks[0].ladder
        assert first is not None
        assert found.title == f"{material.patterns[patterns_of(found)[0]].title} in {first.key}"


def test_where_all_drills_are_wanted_alike_chance_decides(material: Material) -> None:
    here = ground(material, past_of((), material, START, 12))
    assert len({_weak(here, Random(seed), 3.0).title for seed in range(6)}) > 1


# ── the step ─────────────────────────────────────────────────────────────────────────────────


def a_drill(id: str, keys: tuple[str, ...] = (), reached: int = 0) -> Requirement:
    return Requirement(f"{id} in three keys", reached, 3, drill=id, keys=keys)


def test_three_drills_of_a_step_are_six_tasks_and_its_keys_change(material: Material) -> None:
    fresh = past_of((), material, START, 14)
    ids = [id for step in material.steps[:14] for id in step.drills][:3]
    many = [id for id in ids if len(material.keys(material.patterns[id], 14)) > 3]
    assert many == ids
    here = ground(material, waiting_for(fresh, *map(a_drill, ids)))
    parts = [_step(here, Random(seed), 3.0) for seed in range(6)]
    assert {len(part.tasks) for part in parts} == {6}
    assert {tuple(patterns_of(part)) for part in parts} == {(ids[0],) * 3 + (ids[1],) * 3}
    keys = {tuple(task.ladder.key for task in part.tasks if task.ladder) for part in parts}
    assert len(keys) > 1


def test_what_is_reached_is_not_asked_again_and_what_is_not_is_the_reason(
    material: Material,
) -> None:
    """Neither a drill that is secure in its three keys, nor a key in which one is secure."""
    fresh = past_of((), material, START, 14)
    first, second = [id for step in material.steps[:14] for id in step.drills][:2]
    keys = [str(key) for key in material.keys(material.patterns[second], 14)]
    done = a_drill(first, reached=3)
    going = a_drill(second, keys=tuple(keys[:-1]), reached=2)
    here = ground(material, waiting_for(fresh, done, going))
    found = _step(here, Random(1), 3.0)
    assert patterns_of(found) == [second]
    assert found.tasks[0].ladder is not None and found.tasks[0].ladder.key == keys[-1]
    assert found.reason == f"the next step waits for: {second} in three keys"
    nothing = _step(ground(material, waiting_for(fresh, done)), Random(1), 3.0)
    assert (nothing.tasks, nothing.reason) == ((), "")
