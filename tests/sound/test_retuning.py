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

from tests.sound.asked import Asked
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
    asked = Asked(choice, loud=True)
    asked.take(*(KeyOn(key, 64, 0.0) for key in keys))
    parts = []
    for block in range(round(seconds * RATE / BLOCK)):
        if changes and block in changes:
            asked.take(changes[block])
        parts.append(asked.block())
    return np.concatenate(parts)


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
    asked = Asked(Choice(stop, volume=0.5))
    asked.take(KeyOn(64, 64, 0.0))
    for choice in (Choice(stop, "meantone-quarter", 415.0, 0.5), Choice(stop, "equal", 466.0, 0.5)):
        asked.take(choice)
        late = asked.sound(1.1)[RATE // 10 :]
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
    asked = Asked(Choice())
    asked.take(*(KeyOn(key, 64, 0.0) for key in CHORD))
    for choice in choices(list(STOPS)):
        asked.take(choice)
        asked.block()
        assert asked.mixer.sounding < 40  # never more than what moves and where it moves to
    asked.sound(0.2)
    mixer = asked.mixer
    assert (mixer.stop, mixer.temperament, mixer.standard) == (
        choice.sound,
        choice.temperament,
        choice.standard,
    )
    assert mixer.sounding == len(CHORD) * len(STOPS[choice.sound].ranks)


def test_the_first_second_begins_quietly_after_every_opening() -> None:
    asked = Asked(Choice(volume=0.5))
    asked.take(KeyOn(60, 64, 0.0))
    first, _, later = (np.abs(asked.sound(seconds)).max() for seconds in (0.1, 1.0, 1.0))
    assert first < 0.3 * later


def test_turning_the_sound_off_and_on_again_keeps_what_is_held() -> None:
    asked = Asked(Choice())
    asked.take(KeyOn(60, 64, 0.0))
    levels = []
    for choice in (Choice(), Choice("none"), Choice("plucked")):
        asked.take(choice)
        levels.append(float(np.abs(asked.sound(0.8)[-BLOCK:]).max()))
    assert levels[0] > 0.01 and levels[1] == 0.0 and levels[2] > 0.001
