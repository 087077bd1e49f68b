"""Making today's plan.

Six parts, each with its reason: a warm-up on familiar ground; the items whose memory is due; the
drill in which what is weak is met most; the drills of the course step; one piece on its ladder;
one piece at sight. A part that has nothing to offer gives its minutes to the others.
"""

from __future__ import annotations

import hashlib
from collections.abc import Container, Sequence
from dataclasses import replace
from datetime import date, datetime
from itertools import islice
from random import Random

from trainer.judging.timing import SLOWEST
from trainer.practice.assignment import Assigned
from trainer.practice.groundwork import TURNS, Groundwork
from trainer.practice.item import Item
from trainer.practice.material import Material
from trainer.practice.memory import Known, end_of_day
from trainer.practice.past import Past
from trainer.practice.pieces import ladder_part, sight_part
from trainer.practice.plan import Part, PartKind, Plan, Task
from trainer.practice.question import askable, items_of, question_id
from trainer.score.patterns import Pattern
from trainer.theory.hands import Hands
from trainer.theory.key import Key, key_in_words

# part of the minutes -> each kind, in the order of playing
_SHARES: tuple[tuple[PartKind, float], ...] = (
    ("warm-up", 0.08),
    ("due", 0.27),
    ("weak", 0.17),
    ("step", 0.18),
    ("ladder", 0.18),
    ("sight", 0.12),
)
_LEAST = 1.25  # minutes a part is worth beginning for: in a short time there are fewer parts
_FIRST: tuple[PartKind, ...] = ("due", "weak", "ladder", "step", "warm-up", "sight")
_LOAD = 0.6  # of the room for questions: above it nothing new is begun
_QUESTION = 10.0  # seconds a question takes, with the look at its answer
_NEW = 8  # figurings asked for the first time on one day
_WEAK, _KEYS, _DRILLS = 8, 3, 6  # drills of the weak part; keys and drills of the step's part


def todays_plan(
    now: datetime,
    minutes: float,
    material: Material,
    past: Past,
    *,
    hands: Hands = "1+3",
    player: str = "",
    assigned: Sequence[Assigned] = (),
) -> Plan:
    """The plan for the day of `now`. The same past, player, minutes, day and assignments give the
    same plan. What is assigned and not yet reached comes first on the ladder, until its day."""
    chance = _chance(now.date(), player)
    makers = {
        "warm-up": _warm_up,
        "due": _due,
        "weak": _weak,
        "step": _step,
        "ladder": ladder_part,
        "sight": sight_part,
    }
    ground = Groundwork(end_of_day(now), minutes, material, past, hands, tuple(assigned))
    parts: list[Part] = []
    wanted = _FIRST[: max(1, int(minutes / _LEAST))]
    whole = sum(share for kind, share in _SHARES if kind in wanted)
    for kind, share in _SHARES:
        own = Random(chance.random())
        if kind in wanted:
            taken = frozenset(task.exercise_id for part in parts for task in part.tasks)
            part = makers[kind](replace(ground, taken=taken), own, minutes * share / whole)
            if part.tasks:
                parts.append(part)
    step = past.standing.step.number
    return Plan(now.date(), minutes, step, hands, _filled(parts, minutes))


def _filled(parts: Sequence[Part], minutes: float) -> tuple[Part, ...]:
    """All the minutes given out: what the short parts leave goes to those that can use more."""
    needs = [_need(part) for part in parts]
    given = [min(part.minutes, need) for part, need in zip(parts, needs, strict=True)]
    able = [need > part.minutes for part, need in zip(parts, needs, strict=True)]
    more = [part.minutes * can for part, can in zip(parts, able, strict=True)]
    weights = more if any(more) else given
    rest = minutes - sum(given)
    return tuple(
        replace(part, minutes=own + rest * weight / sum(weights))
        for part, own, weight in zip(parts, given, weights, strict=True)
    )


def _need(part: Part) -> float:
    """The most minutes a part can use: questions take a few seconds each, what is played once or
    twice two minutes a time; ladders as many as there are."""
    if any(task.ladder is not None for task in part.tasks):
        return float("inf")
    return sum(
        _QUESTION * 1.5 / 60 if task.item is not None else 1.0 * task.most for task in part.tasks
    )


def _chance(day: date, player: str) -> Random:
    seed = hashlib.sha256(f"{player} {day.isoformat()}".encode()).digest()
    return Random(int.from_bytes(seed[:8], "big"))


# ── the parts ────────────────────────────────────────────────────────────────────────────────


def _warm_up(ground: Groundwork, chance: Random, minutes: float) -> Part:
    secure = [
        (pattern, key)
        for pattern, key in ground.met_drills()
        if ground.ladder(pattern.id, key, pattern.tempo).highest is not None
    ]
    pattern, key = chance.choice(secure or list(ground.met_drills())[:1])
    task = ground.drill(pattern, key, chance, 2)
    assert task.ladder is not None
    tempo = float(round(0.8 * (task.ladder.highest or task.ladder.tempo)))
    task = replace(task, ladder=None, tempo=max(SLOWEST, tempo))
    slowly = "something familiar, slower than you can, to wake the hands"
    reason = slowly if secure else "slowly, to find the hands and the keys"
    return Part("warm-up", f"{pattern.title} in {key_in_words(str(key))}", reason, minutes, (task,))


def _due(ground: Groundwork, chance: Random, minutes: float) -> Part:
    room = max(1, int(60 * minutes / _QUESTION))
    can_ask = askable(ground.material)
    can_wait = (
        known
        for known in ground.past.memory.due(ground.evening)
        if known.item.kind == "figuring" and can_ask(known.item)
    )
    waiting = list(islice(can_wait, room + 1))  # one more shows that others wait
    due = [known.item for known in waiting[:room]]
    new = _new_items(ground, chance, min(_NEW, int(_LOAD * room) - len(due)), set(due))
    tasks = tuple(Task(question_id(item), item=item) for item in (*due, *new))
    return Part("due", "Figures", _due_reason(waiting, due, new), minutes, tasks)


def _due_reason(waiting: Sequence[Known], due: Sequence[Item], new: Sequence[Item]) -> str:
    said = []
    if due:
        said.append(f"{len(due)} due, the most forgotten first: {due[0].words}")
    if len(waiting) > len(due):
        said.append("others wait for another day")
    if new:
        said.append("one new of this step" if len(new) == 1 else f"{len(new)} new of this step")
    return "; ".join(said)


def _new_items(
    ground: Groundwork, chance: Random, wanted: int, due: Container[Item]
) -> tuple[Item, ...]:
    """Figurings of the present step that were never asked, those the step brings first; where
    the next step waits for these, asked ones too."""
    at = ground.past.standing
    brought = {*at.step.new_figurings, *at.step.new_in_minor}
    waits = any(requirement.figurings and not requirement.met for requirement in at.requirements)
    forms = [
        (pattern, key)
        for pattern in ground.material.drills(at.step)
        for key in ground.material.keys(pattern, at.step.number)
    ]
    chance.shuffle(forms)
    fresh: dict[Item, int] = {}
    for pattern, key in forms[:6]:
        for item in items_of(pattern, key):
            new, of_step = item not in ground.past.memory.known, item.name in brought
            if item not in due and (new or (waits and of_step)):
                fresh[item] = (0 if new else 1) if of_step else 2
    items = list(fresh)
    chance.shuffle(items)
    items.sort(key=lambda item: fresh[item])
    return tuple(items[: max(0, wanted)])


def _weak(ground: Groundwork, chance: Random, minutes: float) -> Part:
    drills = list(ground.met_drills())
    beyond = [(pattern, key) for pattern, key in drills if pattern.kind != "triad"]
    scored = [
        (_score(ground, pattern, key), chance.random(), pattern, key)
        for pattern, key in beyond or drills
    ]
    scored.sort(key=lambda entry: entry[:2], reverse=True)
    forms = [(pattern, key) for _, _, pattern, key in scored]
    first: dict[str, tuple[Pattern, Key]] = {}
    for pattern, key in forms:
        first.setdefault(pattern.id, (pattern, key))
    leading = list(first.values())[: _WEAK // 2]  # other drills before other keys of the same
    some = [*leading, *(form for form in forms if form not in leading)][:_WEAK]
    tasks = tuple(ground.drill(pattern, key, chance, TURNS) for pattern, key in some)
    pattern, key = some[0]
    reason = _weak_reason(ground, pattern, key)
    return Part("weak", f"{pattern.title} in {key_in_words(str(key))}", reason, minutes, tasks)


def _score(ground: Groundwork, pattern: Pattern, key: Key) -> float:
    """How much a drill in a key is wanted: what is weak in it, and how far it is forgotten."""
    names = _names(pattern, key)
    weak = [ground.past.weakness.get(name, 0.1) for name in names]
    known = ground.past.memory.known.get(_whole(ground, pattern, key))
    forgotten = 0.3 if known is None else 1 - known.recall(ground.evening)
    worst = max(weak)
    return 0.6 * worst + 0.2 * sum(weak) / len(weak) + 0.2 * forgotten


def _weak_reason(ground: Groundwork, pattern: Pattern, key: Key) -> str:
    weakness = ground.past.weakness
    worst = max(_names(pattern, key), key=lambda name: weakness.get(name, 0.1))
    if weakness.get(worst, 0.0) > 0.12:
        name = "a plain triad" if worst == "-" else worst
        return f"{name} has lately gone wrong or come late {weakness[worst]:.0%} of the time"
    known = ground.past.memory.known.get(_whole(ground, pattern, key))
    if known is None:
        return "nothing is weak just now, and this has not yet been played in this key"
    assert known.card.last_review is not None  # what is known has been played
    days = (ground.evening - known.card.last_review).days
    ago = {0: "today", 1: "yesterday"}.get(days, f"{days} days ago")
    return f"last played {ago}, and the most forgotten of the drills"


def _names(pattern: Pattern, key: Key) -> tuple[str, ...]:
    degrees = pattern.minor if key.is_minor else pattern.major
    return tuple(figuring for degree in degrees for figuring in degree.figurings)


def _whole(ground: Groundwork, pattern: Pattern, key: Key) -> Item:
    return Item(ground.material.wholes[pattern.id].kind, pattern.id, str(key))


def _step(ground: Groundwork, chance: Random, minutes: float) -> Part:
    at = ground.past.standing
    tasks: list[Task] = []
    title = f"Step {at.step.number}: {at.step.title}"
    for wanted in at.requirements:
        if not wanted.drill or wanted.met:
            continue
        pattern = ground.material.patterns[wanted.drill]
        keys = [
            key
            for key in ground.material.keys(pattern, at.step.number)
            if str(key) not in wanted.keys
        ]
        begun = [k for k in keys if (pattern.id, str(k), ground.hands) in ground.past.ladders]
        chance.shuffle(keys)
        wanted_keys = [*begun, *(key for key in keys if key not in begun)][:_KEYS]
        tasks.extend(ground.drill(pattern, key, chance, TURNS) for key in wanted_keys)
    open_ = [requirement for requirement in at.requirements if not requirement.met]
    reason = f"the next step waits for: {open_[0].words}" if open_ else ""
    return Part("step", title, reason, minutes, tuple(tasks[:_DRILLS]))
