"""New material without end: a melody and a figured bass at a step of the course, from a seed.

The melody is drawn by chance (`melody`), the bass found under it (`harmonise`), and the piece is
given out only if it can be realized, its outer voices are clean, and a beginner has a choice of
voicings at every moment, or nearly. The same wish and seed give the same piece, another seed
another one.
"""

from __future__ import annotations

import random
import re
from fractions import Fraction

from trainer.composing.harmonise import exercise_of, harmonise
from trainer.composing.melody import melody
from trainer.errors import ExerciseError, TrainerError
from trainer.score.check import check
from trainer.score.exercise import Exercise
from trainer.score.patterns import every_key
from trainer.score.syllabus import FIRST_PHRASES, LAST_STEP, load_steps, vocabulary
from trainer.theory.key import Key
from trainer.theory.moment import Metre
from trainer.theory.realize import Solver

METRES = (Metre(4, 4), Metre(3, 4), Metre(2, 2))
_BARS = (2, 64)
_ATTEMPTS = 40
_STRICT = 20  # attempts in which a moment with few voicings is not accepted
_BROAD_FROM = 8  # the step from which the matter needs notes long enough to move under


def generate(
    step: int,
    *,
    seed: int,
    key: Key | None = None,
    metre: Metre | None = None,
    bars: int = 8,
) -> Exercise:
    """A new exercise of that course step (4 to 24); key and metre by chance where not given.

    Raises ExerciseError for a step without phrases, a metre or mode for which there is no matter,
    a key the step does not allow, or a length outside 2 to 64 bars.
    """
    if not FIRST_PHRASES <= step <= LAST_STEP:
        raise ExerciseError(
            f"no phrases can be made at step {step}", remedy=f"use {FIRST_PHRASES} to {LAST_STEP}"
        )
    if not _BARS[0] <= bars <= _BARS[1]:
        raise ExerciseError(f"{bars} bars cannot be made", remedy=f"use {_BARS[0]} to {_BARS[1]}")
    if metre is not None and metre not in METRES:
        names = ", ".join(map(str, METRES))
        raise ExerciseError(f"no phrases can be made in {metre}", remedy=f"use one of {names}")
    wish = f"{step} {key} {metre} {bars} {seed}"
    chance = random.Random(wish)
    key = _fitting_key(step, key, chance)
    metre = metre or chance.choice(METRES[:2])
    failed = ""
    for attempt in range(_ATTEMPTS):
        drawn = random.Random(f"{wish} {attempt}")
        upbeat = drawn.random() < 0.4
        pickup = metre.beat_length if upbeat else Fraction(0)
        broad = step >= _BROAD_FROM and drawn.random() < 0.6
        tune = melody(key, metre, bars, upbeat=upbeat, broad=broad, chance=drawn)
        try:
            (path,) = harmonise(
                tune, key, metre, step, pickup=pickup, seed=drawn.randrange(1 << 30)
            )
            exercise = exercise_of(
                path,
                tune,
                key,
                metre,
                pickup=pickup,
                id=_name(step, key, metre, bars, seed),
                title=f"At sight, step {step}, {key.in_words}, no. {seed}",
                tempo=load_steps()[step - 1].tempo,
                level=step,
                tags=("at sight",),
            )
            Solver(exercise.moments).best()
        except TrainerError as error:
            failed = error.what
            continue
        found = check(exercise)
        clean = all(one.weight == "remark" for one in found)
        if clean and (attempt >= _STRICT or all(one.subject != "voicing" for one in found)):
            return exercise
        failed = str(found[0])
    raise ExerciseError(f"nothing came of seed {seed} ({failed})", remedy="use another seed")


def _fitting_key(step: int, key: Key | None, chance: random.Random) -> Key:
    taught = vocabulary(step)
    if key is None:
        keys = [k for k in every_key() if abs(k.signature) <= taught.max_accidentals]
        if not taught.in_minor:
            keys = [k for k in keys if not k.is_minor]
        if step == LAST_STEP:
            keys += [Key.parse(f"{final} dorian") for final in ("d", "g", "c", "e", "a")]
            keys += [Key.parse(f"{final} phrygian") for final in ("e", "a", "b")]
        return chance.choice(keys)
    if abs(key.signature) > taught.max_accidentals:
        raise ExerciseError(
            f"{key} has {abs(key.signature)} accidentals, step {step} at most "
            f"{taught.max_accidentals}",
            remedy="choose an easier key or a later step",
        )
    if key.is_minor and not taught.in_minor:
        raise ExerciseError(f"step {step} has not come to minor keys", remedy="use step 5 or later")
    return key


def _name(step: int, key: Key, metre: Metre, bars: int, seed: int) -> str:
    name = re.sub(r"[^a-z]+", "-", str(key).replace("#", " sharp").replace("b ", " flat ").lower())
    return f"at-sight-{step}-{name}-{metre.beats}-{metre.unit}-{bars}-{seed}"
