"""The pieces of a day's plan: one on its ladder, one at sight."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime
from random import Random

from trainer.judging.timing import SLOWEST
from trainer.practice.assignment import Assigned, is_secure, key_for
from trainer.practice.groundwork import TURNS, Groundwork, drill_id
from trainer.practice.material import Piece
from trainer.practice.plan import Part, Task
from trainer.score.patterns import every_key
from trainer.score.syllabus import FIRST_PHRASES
from trainer.theory.key import Key

MADE = "at-sight"  # exercise ids of pieces made for reading at sight: `at-sight@STEP:SEED`
_KEPT = 5  # pieces never played that are kept for the ladder
_SIGHT = 0.6  # of a piece's own tempo, for the first reading


def ladder_part(ground: Groundwork, chance: Random, minutes: float) -> Part:
    assigned = _assigned(ground, minutes)
    if assigned is not None:
        return assigned
    choice = _ladder_piece(ground, chance)
    if choice is None:
        return Part("ladder", "", "", minutes, ())
    piece, reason = choice
    key = playable_key(piece, ground.past.standing.step.max_accidentals)
    ladder = ground.ladder(piece.id, key, piece.tempo)
    moved = "" if key == piece.key else str(key)
    task = Task(piece.id, key=moved, ladder=ladder, most=TURNS)
    where = f" in {key.in_words}" if moved else ""
    title = f"{piece.title}{where}, {ladder.tempo:g} of {ladder.goal:g} beats a minute"
    return Part("ladder", title, reason, minutes, (task,))


def _assigned(ground: Groundwork, minutes: float) -> Part | None:
    """What a teacher has set and is not yet secure, by turns; the nearest day first."""
    today = ground.evening.date()
    wanted = [
        (one, task)
        for one in sorted(ground.assigned, key=lambda one: one.until)
        if one.until >= today and not is_secure(one, ground.past.played)
        if (task := _assigned_task(ground, one)) is not None
    ]
    if not wanted:
        return None
    title, until = wanted[0][0].title, wanted[0][0].until
    tasks = tuple(task for one, task in wanted if one.title == title)
    reason = f"set for you until {until:%A %d %B}: {len(tasks)} not yet secure"
    return Part("ladder", title, reason, minutes, tasks)


def _assigned_task(ground: Groundwork, one: Assigned) -> Task | None:
    piece = ground.material.pieces.get(one.exercise)
    accidentals = ground.past.standing.step.max_accidentals
    usual = Key.parse("C") if piece is None else playable_key(piece, accidentals)
    key = key_for(one, ground.material, usual)
    if key is None:
        return None
    ladder = ground.ladder(one.exercise, key, one.tempo)
    ladder = replace(ladder, goal=one.tempo, tempo=min(ladder.tempo, one.tempo))
    if piece is None:
        return Task(drill_id(one.exercise, key), ladder=ladder, most=TURNS)
    return Task(piece.id, "" if key == piece.key else str(key), ladder=ladder, most=TURNS)


def _ladder_piece(ground: Groundwork, chance: Random) -> tuple[Piece, str] | None:
    """The piece that is on its way up; else one that is due again; else a new one."""
    pieces = ground.material.pieces
    begun: dict[str, datetime] = {
        id: met.last
        for id, met in ground.past.played.met.items()
        if id in pieces and met.times > 1 and met.last  # once is a reading at sight, and no ladder
    }
    for id in sorted(begun, key=lambda id: (begun[id], id), reverse=True):
        piece = pieces[id]
        key = playable_key(piece, ground.past.standing.step.max_accidentals)
        ladder = ground.ladder(id, key, piece.tempo)
        if not ladder.done and piece.level <= ground.step:
            return piece, "on its way up; here you left it"
    for known in ground.past.memory.due(ground.evening):
        if known.item.kind == "piece" and known.item.name in pieces:
            return pieces[known.item.name], "you had it at its tempo, and it is due again"
    fresh = [p for p in pieces.values() if p.id not in begun and 0 < p.level <= ground.step]
    if not fresh:
        return None
    highest = max(piece.level for piece in fresh)
    chosen = chance.choice([piece for piece in fresh if piece.level == highest])
    return chosen, f"new, of step {chosen.level}"


def sight_part(ground: Groundwork, chance: Random, minutes: float) -> Part:
    unknown = [
        piece
        for piece in ground.material.pieces.values()
        if piece.id not in ground.past.played.met
        and piece.id not in ground.taken
        and 0 < piece.level <= ground.step
    ]
    if len(unknown) <= _KEPT and ground.step >= FIRST_PHRASES:
        return _made_for_sight(ground, chance, minutes)
    if not unknown:
        return Part("sight", "", "", minutes, ())
    piece = chance.choice(sorted(unknown, key=lambda piece: (-piece.level, piece.id))[:5])
    key = playable_key(piece, ground.past.standing.step.max_accidentals)
    moved = "" if key == piece.key else str(key)
    tempo = max(SLOWEST, float(round(_SIGHT * piece.tempo)))
    task = Task(piece.id, key=moved, tempo=tempo, most=1)
    reason = "not yet played; look first for signature, highest note and each cadence"
    return Part("sight", f"At sight: {piece.title}", reason, minutes, (task,))


def _made_for_sight(ground: Groundwork, chance: Random, minutes: float) -> Part:
    """A piece made for today, so that the last unknown ones of the library stay for the ladder."""
    step = ground.past.standing.step
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
