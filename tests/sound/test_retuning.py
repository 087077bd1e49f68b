"""Changing tone, tuning and volume while a chord sounds: no click, measured from the samples.

A click is a corner: two samples that lie farther apart, or a bend between three that is sharper,
than they can be in the same chord held steadily in any of the tones and tunings that were used,
however the waves of its notes happen to meet.
"""

import random
from functools import cache

import numpy as np
import pytest
from numpy.typing import NDArray

from trainer.sound.engine import Engine
from trainer.sound.rendering import BLOCK
from trainer.sound.requests import Choice, KeyOn
from trainer.sound.tone import RATE, STOPS
from trainer.sound.tuning import PITCH_STANDARDS, TEMPERAMENTS, frequency

CHORD = (48, 60, 64, 67)
Samples = NDArray[np.float64]


def sounding(
    choice: Choice,
    seconds: float,
    changes: dict[int, Choice] | None = None,
    keys: tuple[int, ...] = CHORD,
) -> Samples:
    """Keys struck at once, at full volume from the beginning; `changes` by block."""
    engine = Engine(choice)
    engine.mixer._level = choice.volume
    for key in keys:
        engine.take(KeyOn(key, 64, 0.0))
    parts = []
    for block in range(round(seconds * RATE / BLOCK)):
        if changes and block in changes:
            engine.take(changes[block])
        parts.append(engine.block(BLOCK, block * BLOCK / RATE))
    return np.concatenate(parts).astype(np.float64)


def step(samples: Samples) -> float:
    return float(np.abs(np.diff(samples)).max())


def corner(samples: Samples) -> float:
    return float(np.abs(np.diff(samples, n=2)).max())


@cache
def held(choice: Choice) -> tuple[float, float]:
    """The largest step and the sharpest corner the chord can have: the sums of its notes'."""
    notes = [sounding(choice, 0.3, keys=(key,))[RATE // 20 :] for key in CHORD]
    return sum(map(step, notes)), sum(map(corner, notes))


def steady(choices: list[Choice]) -> tuple[float, float]:
    steps, corners = zip(*map(held, choices), strict=True)
    return max(steps), max(corners)


def choices(stops: list[str]) -> list[Choice]:
    """Each temperament and each standard, in all stops; not every pair, which takes long."""
    tunings = [(t, p) for n, t in enumerate(TEMPERAMENTS) for p in PITCH_STANDARDS[n % 2 :: 2]]
    return [Choice(stop, *tuning) for tuning in tunings for stop in stops]


@pytest.mark.parametrize("stops", [["organ"], ["plucked"], list(STOPS)], ids="-".join)
@pytest.mark.parametrize("every", [1, 7, 14], ids="every {} blocks".format)
def test_no_change_of_tone_or_tuning_clicks(stops: list[str], every: int) -> None:
    pool = choices(stops)
    drawn = random.Random(every)
    changes = {20 + every * n: drawn.choice(pool) for n in range(80)}
    moved = sounding(pool[0], (20 + every * 80) * BLOCK / RATE, changes)[RATE // 20 :]
    most_step, most_corner = steady(pool)
    assert step(moved) <= 1.01 * most_step
    assert corner(moved) <= 1.05 * most_corner


def test_the_measure_sees_a_note_that_is_cut_and_begun_again() -> None:
    samples = sounding(Choice(), 1.0)
    joined = np.concatenate([samples[RATE // 20 : RATE // 2], samples[RATE // 2 + 60 :]])
    most_step, most_corner = steady([Choice()])
    assert step(joined) > 1.01 * most_step or corner(joined) > 1.05 * most_corner


def test_no_change_of_volume_clicks() -> None:
    drawn = random.Random(5)
    off = Choice("none")
    loud = Choice(volume=1.0)
    changes = {
        20 + 9 * n: drawn.choice([off, loud, Choice(volume=drawn.random())]) for n in range(150)
    }
    most_step, most_corner = steady([loud])
    moved = sounding(loud, 8.0, changes)[RATE // 20 :]
    assert step(moved) <= 1.01 * most_step
    assert corner(moved) <= 1.05 * most_corner


@pytest.mark.parametrize("stop", STOPS)
def test_a_held_note_comes_to_the_pitch_of_the_new_tuning(stop: str) -> None:
    engine = Engine(Choice(stop, volume=0.5))
    engine.take(KeyOn(64, 64, 0.0))
    for choice in (Choice(stop, "meantone-quarter", 415.0, 0.5), Choice(stop, "equal", 466.0, 0.5)):
        engine.take(choice)
        parts = [engine.block(BLOCK, engine.mixer.frame / RATE) for _ in range(200)]
        late = np.concatenate(parts)[RATE // 10 :].astype(np.float64)
        wanted = frequency(64, choice.temperament, choice.standard)
        spectrum = np.abs(np.fft.rfft(late * np.blackman(len(late)), 8 * len(late)))
        heard = int(np.argmax(spectrum[: round(1.3 * wanted * 8 * len(late) / RATE)]))
        assert heard * RATE / (8 * len(late)) == pytest.approx(wanted, rel=0.001)


def test_a_change_of_tuning_strikes_no_string_again() -> None:
    changed = sounding(Choice("plucked"), 3.0, {300: Choice("plucked", "meantone-sixth", 415.0)})
    second = RATE
    before, after = changed[second : 3 * second // 2], changed[2 * second : 5 * second // 2]
    assert np.sqrt((after**2).mean()) < np.sqrt((before**2).mean())


def test_changes_that_come_faster_than_the_sound_moves_end_in_the_last_of_them() -> None:
    engine = Engine(Choice())
    for key in CHORD:
        engine.take(KeyOn(key, 64, 0.0))
    for choice in choices(list(STOPS)):
        engine.take(choice)
        engine.block(BLOCK, engine.mixer.frame / RATE)
        assert engine.mixer.sounding < 40  # never more than what moves and where it moves to
    for _ in range(30):
        engine.block(BLOCK, engine.mixer.frame / RATE)
    mixer = engine.mixer
    assert (mixer.stop, mixer.temperament, mixer.standard) == (choice.sound, *last(choice))
    assert mixer.sounding == len(CHORD) * len(STOPS[choice.sound].ranks)


def last(choice: Choice) -> tuple[str, float]:
    return choice.temperament, choice.standard


def test_the_first_second_begins_quietly_after_every_opening() -> None:
    engine = Engine(Choice(volume=0.5))
    engine.take(KeyOn(60, 64, 0.0))
    samples = [np.abs(engine.block(BLOCK, n * BLOCK / RATE)).max() for n in range(400)]
    assert max(samples[:19]) < 0.3 * max(samples[200:])


def test_turning_the_sound_off_and_on_again_keeps_what_is_held() -> None:
    engine = Engine(Choice())
    engine.take(KeyOn(60, 64, 0.0))
    levels = []
    for choice in (Choice(), Choice("none"), Choice("plucked")):
        engine.take(choice)
        parts = [engine.block(BLOCK, engine.mixer.frame / RATE) for _ in range(150)]
        levels.append(float(np.abs(parts[-1]).max()))
    assert levels[0] > 0.01 and levels[1] == 0.0 and levels[2] > 0.001
