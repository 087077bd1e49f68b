"""The sound measured from rendered samples: pitch, level, clicks, onset times."""

from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.io import wavfile

from trainer.sound.mixer import Mixer
from trainer.sound.rendering import rendered, write_wave
from trainer.sound.tone import RATE, STOPS
from trainer.sound.track import Click, ToneNote, Track
from trainer.sound.tuning import PITCH_STANDARDS, TEMPERAMENTS, frequency


def loud(mixer: Mixer) -> Mixer:
    """A mixer whose quiet start is over."""
    while mixer.frame < 2 * RATE:
        mixer.render(4096)
    return mixer


def measured_hertz(samples: NDArray[np.float32], near: float) -> float:
    """The strongest partial within a semitone of `near`: a parabola through its spectral peak."""
    window = np.blackman(len(samples))
    spectrum = np.log(np.abs(np.fft.rfft(samples * window, 4 * len(samples))) + 1e-12)
    width = RATE / (4 * len(samples))
    low, high = int(near / 1.06 / width), int(near * 1.06 / width)
    peak = low + int(np.argmax(spectrum[low:high]))
    a, b, c = spectrum[peak - 1 : peak + 2]
    return float((peak + (a - c) / (2 * (a - 2 * b + c))) * width)


@pytest.mark.parametrize("stop", STOPS)
@pytest.mark.parametrize("temperament", TEMPERAMENTS)
def test_rendered_pitch_is_within_a_cent_of_the_temperament(
    stop: str, temperament: str, tmp_path: Path
) -> None:
    standard = PITCH_STANDARDS[len(temperament) % len(PITCH_STANDARDS)]
    for key in (36, 49, 60, 68, 75, 84):
        mixer = loud(Mixer(stop=stop, temperament=temperament, standard=standard, volume=0.5))
        samples = rendered(Track((ToneNote(0.0, 2.0, key),)), mixer)
        write_wave(tmp_path / "tone.wav", samples)
        rate, read = wavfile.read(tmp_path / "tone.wav")
        assert rate == RATE
        wanted = frequency(key, temperament, standard)
        heard = measured_hertz(read[RATE // 4 : 7 * RATE // 4].astype(np.float32), wanted)
        assert abs(1200 * np.log2(heard / wanted)) < 1.0


@pytest.mark.parametrize("stop", STOPS)
def test_nothing_clicks_at_start_repeat_or_end(stop: str) -> None:
    mixer = loud(Mixer(stop=stop, volume=0.5))
    track = Track((ToneNote(0.1, 0.4, 60), ToneNote(0.5, 0.4, 60), ToneNote(0.5013, 0.3777, 64)))
    samples = rendered(track, mixer).astype(np.float64)
    # a click is a corner: a sample that steps much farther than the waveform itself ever does
    # (a plucked string begins within 2 ms, which is its attack and not a click)
    steps = np.abs(np.diff(samples, n=2))
    steady = np.abs(np.diff(samples[int(0.2 * RATE) : int(0.4 * RATE)], n=2)).max()
    allowed = 3 if stop == "organ" else 8
    assert steps.max() < allowed * steady
    assert np.abs(samples[-1000:]).max() < 1e-4


def test_a_held_organ_pipe_keeps_its_level_for_a_minute() -> None:
    mixer = loud(Mixer(volume=0.5))
    samples = rendered(Track((ToneNote(0.0, 60.0, 55),)), mixer)
    early = np.sqrt((samples[RATE : 2 * RATE] ** 2).mean())
    late = np.sqrt((samples[58 * RATE : 59 * RATE] ** 2).mean())
    assert late == pytest.approx(early, rel=0.01)


def test_a_string_dies_away_and_its_brightness_first() -> None:
    mixer = loud(Mixer(stop="plucked", volume=0.5))
    samples = rendered(Track((ToneNote(0.0, 4.0, 60),)), mixer)

    def spectrum(second: float) -> tuple[float, float]:
        part = samples[int(second * RATE) : int((second + 0.5) * RATE)]
        power = np.abs(np.fft.rfft(part * np.hanning(len(part)))) ** 2
        split = int(1000 * len(part) / RATE)
        return float(power[:split].sum()), float(power[split:].sum())

    (low_before, high_before), (low_after, high_after) = spectrum(0.05), spectrum(2.0)
    assert low_after < low_before
    assert high_after / low_after < high_before / low_before


@pytest.mark.parametrize("volume", [0.3, 1.0])
@pytest.mark.parametrize("stop", STOPS)
def test_output_never_exceeds_half_of_full_scale(stop: str, volume: float) -> None:
    mixer = loud(Mixer(stop=stop, volume=volume))
    for key in range(36, 84, 2):
        mixer.key_on(key, at=mixer.frame)
    assert np.abs(np.concatenate([mixer.render(256) for _ in range(200)])).max() <= 0.5


def test_the_first_second_begins_quietly() -> None:
    mixer = Mixer(volume=0.5)
    mixer.key_on(60, at=0)
    first = np.abs(mixer.render(RATE // 10)).max()
    mixer.render(RATE)
    later = np.abs(mixer.render(RATE // 10)).max()
    assert first < 0.3 * later


@pytest.mark.parametrize("bpm", [20, 40, 66.6, 160, 231])
def test_clicks_lie_within_a_millisecond_of_the_score(bpm: float) -> None:
    beat = 60 / bpm
    track = Track((), tuple(Click(0.05 + i * beat, i % 4 == 0) for i in range(12)))
    samples = np.abs(rendered(track, loud(Mixer(volume=0.5))))
    loudest = samples.max()
    heard = [
        (start + int(np.argmax(samples[start : start + RATE // 20] > 0.02 * loudest))) / RATE
        for start in (round((c.start - 0.01) * RATE) for c in track.clicks)
    ]
    assert heard == pytest.approx([c.start for c in track.clicks], abs=1e-3)


@pytest.mark.parametrize("stop", STOPS)
@pytest.mark.parametrize("bpm", [40, 97.3, 160])
def test_accompaniment_onsets_lie_within_a_millisecond_of_the_score(stop: str, bpm: float) -> None:
    beat = 60 / bpm
    wanted = [0.1 + i * beat for i in range(8)]
    track = Track(tuple(ToneNote(start, 0.6 * beat, 72) for start in wanted))
    samples = np.abs(rendered(track, loud(Mixer(stop=stop, volume=0.5))))
    rms = np.sqrt(np.convolve(samples**2, np.ones(48) / 48, mode="full")[: len(samples)])
    before = round(0.02 * RATE)
    heard = (
        np.array(
            [
                start + int(np.argmax(rms[start : start + 4 * before] > 0.05 * rms.max()))
                for start in (round(w * RATE) - before for w in wanted)
            ]
        )
        / RATE
    )
    rise = heard[0] - wanted[0]  # the time a pipe takes to speak: the same at every note
    assert 0 <= rise < 0.03
    assert heard - rise == pytest.approx(wanted, abs=1e-3)


def test_silence_ends_all_and_forgets_what_had_not_begun() -> None:
    mixer = loud(Mixer(volume=0.5))
    mixer.key_on(60, at=mixer.frame)
    mixer.key_on(64, at=mixer.frame + RATE)
    mixer.render(RATE // 2)
    mixer.silence(at=mixer.frame)
    mixer.render(RATE // 5)
    assert mixer.sounding == 0
    assert np.abs(mixer.render(2 * RATE)).max() == 0


def test_the_players_note_outlasts_the_programs_on_the_same_key() -> None:
    mixer = loud(Mixer(volume=0.5))
    mixer.key_on(60, at=mixer.frame, source="player")
    mixer.key_on(60, at=mixer.frame, source="track")
    mixer.key_off(60, at=mixer.frame + 100, source="track")
    mixer.render(RATE)
    assert mixer.sounding == len(STOPS["organ"].ranks)


def test_more_notes_than_slots_lets_the_oldest_go() -> None:
    mixer = loud(Mixer(volume=0.5))
    for key in range(24, 108):
        mixer.key_on(key, at=mixer.frame + key)
    assert np.isfinite(mixer.render(4096)).all()
    assert mixer.sounding <= 96
