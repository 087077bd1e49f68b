"""Making today's plan.

Six parts, each with its reason: a warm-up on familiar ground; the items whose memory is due; the
drill in which what is weak is met most; the drills of the course step; one piece on its ladder;
one piece at sight. A part that has nothing to offer gives its minutes to the others.
"""

from __future__ import annotations

import hashlib
from collections.abc import Container, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime
from random import Random

from trainer.judging.take import Hands
from trainer.judging.timing import SLOWEST
from trainer.practice.assignment import Assigned, is_secure, key_for
from trainer.practice.course import Standing, standing
from trainer.practice.item import Item
from trainer.practice.ladder import Ladder, Place, ladders, taken_up
from trainer.practice.material import Material, Piece
from trainer.practice.memory import Known, Memory, end_of_day, rated, remembered
from trainer.practice.plan import Part, PartKind, Plan, Task
from trainer.practice.question import askable, items_of, question_id
from trainer.practice.result import PassResult, base, believable
from trainer.score.generate import FIRST_STEP
from trainer.score.patterns import POSITIONS, Pattern, every_key
from trainer.theory.key import Key

MADE = "at-sight"  # exercise ids of pieces made for reading at sight: `at-sight@STEP:SEED`

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
_TURNS = 12  # passes at one thing on one day, at most
_NEW = 8  # figurings asked for the first time on one day
_WEAK, _KEYS, _DRILLS = 8, 3, 6  # drills of the weak part; keys and drills of the step's part
_KEPT = 5  # pieces never played that are kept for the ladder
_SIGHT = 0.6  # of a piece's own tempo, for the first reading


@dataclass(frozen=True)
class Past:
    """What has been played so far, folded. `left_out` counts passes dated in the future."""

    results: tuple[PassResult, ...]
    memory: Memory
    ladders: Mapping[Place, Ladder]
    standing: Standing
    weakness: Mapping[str, float]
    left_out: int = 0


def past_of(
    results: Iterable[PassResult], material: Material, now: datetime, begin_at: int = 1
) -> Past:
    """Everything the plan needs to know of the past, as of `now`."""
    told, left_out = believable(results, now)
    return folded(told, material, begin_at, left_out)


def folded(
    told: tuple[PassResult, ...], material: Material, begin_at: int = 1, left_out: int = 0
) -> Past:
    """The past of results that are in order and believed."""
    nothing = Past((), Memory(), {}, standing(material, (), begin_at), {}, left_out)
    return continued(nothing, told, material, begin_at)


def continued(
    past: Past, more: tuple[PassResult, ...], material: Material, begin_at: int = 1
) -> Past:
    """The past with later results added to it: the same as if all had been folded at once."""
    goals = {id: whole.tempo for id, whole in material.wholes.items()}
    results = (*past.results, *more)
    return Past(
        results=results,
        memory=remembered(more, material.wholes, past.memory),
        ladders=ladders(more, goals, past.ladders),
        standing=standing(material, results, begin_at),
        weakness=weaknesses(results),
        left_out=past.left_out,
    )


def weaknesses(results: Iterable[PassResult]) -> Mapping[str, float]:
    """How often each figuring goes wrong, 0 to 1, the last thirty answers weighing most.

    Slow or late answers count a third. A figuring met a few times only is taken to be like any
    other: one in ten wrong.
    """
    wrong: dict[str, float] = {}
    met: dict[str, float] = {}
    for result in results:
        for answer in result.answers:
            name, rating = answer.item.name, rated(answer)
            bad = {1: 1.0, 2: 1 / 3}.get(int(rating), 0.0)
            wrong[name] = wrong.get(name, 0.3) * _FADING + bad
            met[name] = met.get(name, 3.0) * _FADING + 1
    return {name: wrong[name] / met[name] for name in met}


_FADING = 1 - 1 / 30


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
        "ladder": _ladder,
        "sight": _sight,
    }
    desk = _Desk(end_of_day(now), minutes, material, past, hands, tuple(assigned))
    parts: list[Part] = []
    wanted = _FIRST[: max(1, int(minutes / _LEAST))]
    whole = sum(share for kind, share in _SHARES if kind in wanted)
    for kind, share in _SHARES:
        own = Random(chance.random())
        if kind in wanted:
            taken = frozenset(task.exercise_id for part in parts for task in part.tasks)
            part = makers[kind](replace(desk, taken=taken), own, minutes * share / whole)
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


@dataclass(frozen=True, slots=True)
class _Desk:
    """What every part is made from; `evening` is the end of the day, so that the hour at which a
    plan is made changes nothing in it."""

    evening: datetime
    minutes: float
    material: Material
    past: Past
    hands: Hands
    assigned: tuple[Assigned, ...] = ()
    taken: frozenset[str] = frozenset()  # what earlier parts of the plan already play

    @property
    def step(self) -> int:
        return self.past.standing.step.number

    def ladder(self, piece: str, key: Key | str, goal: float) -> Ladder:
        return taken_up(self.past.ladders, (piece, str(key), self.hands), goal)

    def drill(self, pattern: Pattern, key: Key, chance: Random, most: int) -> Task:
        """A drill on its ladder, beginning in one of the three positions."""
        id = f"{drill_id(pattern.id, key)}:{chance.choice(POSITIONS)}"
        return Task(id, ladder=self.ladder(pattern.id, key, pattern.tempo), most=most)

    def met_drills(self) -> Iterable[tuple[Pattern, Key]]:
        """Every drill of the course up to here, in every key allowed, in course order."""
        seen: set[str] = set()
        for step in self.material.steps[: self.step]:
            for pattern in self.material.drills(step):
                if pattern.id not in seen:
                    seen.add(pattern.id)
                    for key in self.material.keys(pattern, self.step):
                        yield pattern, key


def drill_id(pattern: str, key: Key) -> str:
    """The exercise id of a drill in a key: `rising-5-6@Bb`, `rising-5-6@g`."""
    name = str(key.final)
    return f"{pattern}@{name[0].upper() + name[1:] if key.mode == 'major' else name}"


def _chance(day: date, player: str) -> Random:
    seed = hashlib.sha256(f"{player} {day.isoformat()}".encode()).digest()
    return Random(int.from_bytes(seed[:8], "big"))


# ── the parts ────────────────────────────────────────────────────────────────────────────────


def _warm_up(desk: _Desk, chance: Random, minutes: float) -> Part:
    secure = [
        (pattern, key)
        for pattern, key in desk.met_drills()
        if desk.ladder(pattern.id, key, pattern.tempo).highest is not None
    ]
    pattern, key = chance.choice(secure or list(desk.met_drills())[:1])
    task = desk.drill(pattern, key, chance, 2)
    assert task.ladder is not None
    tempo = float(round(0.8 * (task.ladder.highest or task.ladder.tempo)))
    task = replace(task, ladder=None, tempo=max(SLOWEST, tempo))
    slowly = "something familiar, slower than you can, to wake the hands"
    reason = slowly if secure else "slowly, to find the hands and the keys"
    return Part("warm-up", f"{pattern.title} in {key}", reason, minutes, (task,))


def _due(desk: _Desk, chance: Random, minutes: float) -> Part:
    room = max(1, int(60 * minutes / _QUESTION))
    can_ask = askable(desk.material)
    waiting = [
        known
        for known in desk.past.memory.due(desk.evening)
        if known.item.kind == "figuring" and can_ask(known.item)
    ]
    due = [known.item for known in waiting[:room]]
    new = _new_items(desk, chance, min(_NEW, int(_LOAD * room) - len(due)), set(due))
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


def _new_items(desk: _Desk, chance: Random, wanted: int, due: Container[Item]) -> tuple[Item, ...]:
    """Figurings of the present step that were never asked, those the step brings first; where
    the next step waits for these, asked ones too."""
    at = desk.past.standing
    brought = {*at.step.new_figurings, *at.step.new_in_minor}
    waits = any(requirement.figurings and not requirement.met for requirement in at.requirements)
    forms = [
        (pattern, key)
        for pattern in desk.material.drills(at.step)
        for key in desk.material.keys(pattern, at.step.number)
    ]
    chance.shuffle(forms)
    fresh: dict[Item, int] = {}
    for pattern, key in forms[:6]:
        for item in items_of(pattern, key):
            new, of_step = item not in desk.past.memory.known, item.name in brought
            if item not in due and (new or (waits and of_step)):
                fresh[item] = (0 if new else 1) if of_step else 2
    items = list(fresh)
    chance.shuffle(items)
    items.sort(key=lambda item: fresh[item])
    return tuple(items[: max(0, wanted)])


def _weak(desk: _Desk, chance: Random, minutes: float) -> Part:
    drills = list(desk.met_drills())
    beyond = [(pattern, key) for pattern, key in drills if pattern.kind != "triad"]
    scored = [
        (_score(desk, pattern, key), chance.random(), pattern, key)
        for pattern, key in beyond or drills
    ]
    scored.sort(key=lambda entry: entry[:2], reverse=True)
    forms = [(pattern, key) for _, _, pattern, key in scored]
    first: dict[str, tuple[Pattern, Key]] = {}
    for pattern, key in forms:
        first.setdefault(pattern.id, (pattern, key))
    leading = list(first.values())[: _WEAK // 2]  # other drills before other keys of the same
    some = [*leading, *(form for form in forms if form not in leading)][:_WEAK]
    tasks = tuple(desk.drill(pattern, key, chance, _TURNS) for pattern, key in some)
    pattern, key = some[0]
    reason = _weak_reason(desk, pattern, key)
    return Part("weak", f"{pattern.title} in {key}", reason, minutes, tasks)


def _score(desk: _Desk, pattern: Pattern, key: Key) -> float:
    """How much a drill in a key is wanted: what is weak in it, and how far it is forgotten."""
    names = _names(pattern, key)
    weak = [desk.past.weakness.get(name, 0.1) for name in names]
    known = desk.past.memory.known.get(_whole(desk, pattern, key))
    forgotten = 0.3 if known is None else 1 - known.recall(desk.evening)
    worst = max(weak)
    return 0.6 * worst + 0.2 * sum(weak) / len(weak) + 0.2 * forgotten


def _weak_reason(desk: _Desk, pattern: Pattern, key: Key) -> str:
    weakness = desk.past.weakness
    worst = max(_names(pattern, key), key=lambda name: weakness.get(name, 0.1))
    if weakness.get(worst, 0.0) > 0.12:
        name = "a plain triad" if worst == "-" else worst
        return f"{name} has lately gone wrong or come late {weakness[worst]:.0%} of the time"
    known = desk.past.memory.known.get(_whole(desk, pattern, key))
    if known is None:
        return "nothing is weak just now, and this has not yet been played in this key"
    assert known.card.last_review is not None  # what is known has been played
    days = (desk.evening - known.card.last_review).days
    ago = {0: "today", 1: "yesterday"}.get(days, f"{days} days ago")
    return f"last played {ago}, and the most forgotten of the drills"


def _names(pattern: Pattern, key: Key) -> tuple[str, ...]:
    degrees = pattern.minor if key.is_minor else pattern.major
    return tuple(figuring for degree in degrees for figuring in degree.figurings)


def _whole(desk: _Desk, pattern: Pattern, key: Key) -> Item:
    return Item(desk.material.wholes[pattern.id].kind, pattern.id, str(key))


def _step(desk: _Desk, chance: Random, minutes: float) -> Part:
    at = desk.past.standing
    tasks: list[Task] = []
    title = f"Step {at.step.number}: {at.step.title}"
    for wanted in at.requirements:
        if not wanted.drill or wanted.met:
            continue
        pattern = desk.material.patterns[wanted.drill]
        keys = [
            key
            for key in desk.material.keys(pattern, at.step.number)
            if str(key) not in wanted.keys
        ]
        begun = [k for k in keys if (pattern.id, str(k), desk.hands) in desk.past.ladders]
        chance.shuffle(keys)
        wanted_keys = [*begun, *(key for key in keys if key not in begun)][:_KEYS]
        tasks.extend(desk.drill(pattern, key, chance, _TURNS) for key in wanted_keys)
    open_ = [requirement for requirement in at.requirements if not requirement.met]
    reason = f"the next step waits for: {open_[0].words}" if open_ else ""
    return Part("step", title, reason, minutes, tuple(tasks[:_DRILLS]))


def _ladder(desk: _Desk, chance: Random, minutes: float) -> Part:
    assigned = _assigned(desk, minutes)
    if assigned is not None:
        return assigned
    choice = _ladder_piece(desk, chance)
    if choice is None:
        return Part("ladder", "", "", minutes, ())
    piece, reason = choice
    key = playable_key(piece, desk.past.standing.step.max_accidentals)
    ladder = desk.ladder(piece.id, key, piece.tempo)
    moved = "" if key == piece.key else str(key)
    task = Task(piece.id, key=moved, ladder=ladder, most=_TURNS)
    where = f" in {key}" if moved else ""
    title = f"{piece.title}{where}, {ladder.tempo:g} of {ladder.goal:g} beats a minute"
    return Part("ladder", title, reason, minutes, (task,))


def _assigned(desk: _Desk, minutes: float) -> Part | None:
    """What a teacher has set and is not yet secure, by turns; the nearest day first."""
    today = desk.evening.date()
    wanted = [
        (one, task)
        for one in sorted(desk.assigned, key=lambda one: one.until)
        if one.until >= today and not is_secure(one, desk.past.results)
        if (task := _assigned_task(desk, one)) is not None
    ]
    if not wanted:
        return None
    title, until = wanted[0][0].title, wanted[0][0].until
    tasks = tuple(task for one, task in wanted if one.title == title)
    reason = f"set for you until {until:%A %d %B}: {len(tasks)} not yet secure"
    return Part("ladder", title, reason, minutes, tasks)


def _assigned_task(desk: _Desk, one: Assigned) -> Task | None:
    piece = desk.material.pieces.get(one.exercise)
    accidentals = desk.past.standing.step.max_accidentals
    usual = Key.parse("C") if piece is None else playable_key(piece, accidentals)
    key = key_for(one, desk.material, usual)
    if key is None:
        return None
    ladder = desk.ladder(one.exercise, key, one.tempo)
    ladder = replace(ladder, goal=one.tempo, tempo=min(ladder.tempo, one.tempo))
    if piece is None:
        return Task(drill_id(one.exercise, key), ladder=ladder, most=_TURNS)
    return Task(piece.id, "" if key == piece.key else str(key), ladder=ladder, most=_TURNS)


def _ladder_piece(desk: _Desk, chance: Random) -> tuple[Piece, str] | None:
    """The piece that is on its way up; else one that is due again; else a new one."""
    pieces = desk.material.pieces
    passes: dict[str, int] = {}
    begun: dict[str, datetime] = {}
    for result in desk.past.results:
        id = base(result.exercise_id)
        if id in pieces and result.tempo is not None and result.whole:
            passes[id] = passes.get(id, 0) + 1
            if passes[id] > 1:  # once is a reading at sight, and no ladder
                begun[id] = result.at
    for id in sorted(begun, key=lambda id: (begun[id], id), reverse=True):
        piece = pieces[id]
        key = playable_key(piece, desk.past.standing.step.max_accidentals)
        ladder = desk.ladder(id, key, piece.tempo)
        if not ladder.done and piece.level <= desk.step:
            return piece, "on its way up; here you left it"
    for known in desk.past.memory.due(desk.evening):
        if known.item.kind == "piece" and known.item.name in pieces:
            return pieces[known.item.name], "you had it at its tempo, and it is due again"
    fresh = [p for p in pieces.values() if p.id not in begun and 0 < p.level <= desk.step]
    if not fresh:
        return None
    highest = max(piece.level for piece in fresh)
    chosen = chance.choice([piece for piece in fresh if piece.level == highest])
    return chosen, f"new, of step {chosen.level}"


def _sight(desk: _Desk, chance: Random, minutes: float) -> Part:
    played = {base(result.exercise_id) for result in desk.past.results}
    unknown = [
        piece
        for piece in desk.material.pieces.values()
        if piece.id not in played | desk.taken and 0 < piece.level <= desk.step
    ]
    if len(unknown) <= _KEPT and desk.step >= FIRST_STEP:
        return _made_for_sight(desk, chance, minutes)
    if not unknown:
        return Part("sight", "", "", minutes, ())
    piece = chance.choice(sorted(unknown, key=lambda piece: (-piece.level, piece.id))[:5])
    key = playable_key(piece, desk.past.standing.step.max_accidentals)
    moved = "" if key == piece.key else str(key)
    tempo = max(SLOWEST, float(round(_SIGHT * piece.tempo)))
    task = Task(piece.id, key=moved, tempo=tempo, most=1)
    reason = "not yet played; look first for signature, highest note and each cadence"
    return Part("sight", f"At sight: {piece.title}", reason, minutes, (task,))


def _made_for_sight(desk: _Desk, chance: Random, minutes: float) -> Part:
    """A piece made for today, so that the last unknown ones of the library stay for the ladder."""
    step = desk.past.standing.step
    tempo = max(SLOWEST, float(round(_SIGHT * step.tempo)))
    task = Task(f"{MADE}@{step.number}:{chance.randrange(10**6)}", tempo=tempo, most=1)
    reason = "made for today; look first for signature, highest note and each cadence"
    return Part("sight", f"At sight: a new piece of step {step.number}", reason, minutes, (task,))


def playable_key(piece: Piece, accidentals: int) -> Key:
    """The piece's own key, or the nearest of its mode with no more accidentals than allowed."""
    own = piece.key
    if abs(own.signature) <= accidentals or own.mode not in ("major", "minor"):
        return own
    keys = [k for k in every_key() if k.mode == own.mode and abs(k.signature) <= accidentals]

    def distance(key: Key) -> int:
        up = (key.final.pitch_class - own.final.pitch_class) % 12
        return min(up, 12 - up)

    return min(keys, key=distance)
