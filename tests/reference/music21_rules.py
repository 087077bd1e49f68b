"""The rules music21 realizes by, stated over our own lattice, so that both can count the same.

Source: music21.figuredBass.rules, possibility, resolution and segment (BSD), read for what they
forbid; only its figured lines are taken over. Four parts, the upper three anywhere from the bass up
to b5 without crossing; every note of the sonority present; the upper parts within an octave; no
fifths or octaves by similar or contrary motion, no hidden ones between the outer parts, no
overlap; dominant and diminished sevenths go the one way `resolution` has them go.

Augmented sixths, which music21 also resolves by table, do not occur in its examples A to D and
are refused here rather than counted wrongly.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from music21.figuredBass.realizer import FiguredBassLine

from trainer.theory.figures import Figuring
from trainer.theory.key import Key
from trainer.theory.pitch import SEMITONES, Pitch, PitchName
from trainer.theory.realize.lattice import FORBIDDEN, Lattice, count
from trainer.theory.realize.pairs import Pairs, Steps, uncrossed
from trainer.theory.sonority import sonority

HIGHEST = 83  # b5
VOICE_PAIRS = [(high, low) for high in range(4) for low in range(high + 1, 4)]


@dataclass(frozen=True)
class Music21Rules:
    """The settings of music21's Rules that its own examples use, with its defaults."""

    complete: bool = True
    upper_parts_within: int | None = 12  # semitones
    parallel_fifths: bool = False
    overlap: bool = False
    part_movement: tuple[tuple[int, int], ...] = ()  # (part from 1 = soprano, most semitones)


@dataclass(frozen=True)
class Place:
    """A bass note with the note names that sound over it, the bass's own among them."""

    bass: Pitch
    names: tuple[PitchName, ...]


def places_of(line: FiguredBassLine, key: Key) -> list[Place]:
    """A line of music21's as its notes and figures, the figures read by our own interpreter."""
    places = []
    for note, notation in line._fbList:
        bass = Pitch.parse(note.pitch.nameWithOctave.replace("-", "b").lower())
        sounding = sonority(bass, Figuring.parse((notation or "").replace(",", " ")), key)
        numbers = dict.fromkeys(sounding.completions[0])
        names = [sounding.name(number) for number in numbers]
        places.append(Place(bass, tuple(dict.fromkeys([bass.name, *names]))))
    return places


# What a seventh chord turns into, and by how many (letters, semitones) each member moves, the
# members named by their place over the root; a member not named stays. Of the first that fits.
UP_TONE, UP_SEMITONE, UP_FOURTH, SHARPENED = (1, 2), (1, 1), (3, 5), (0, 1)
DOWN_TONE, DOWN_SEMITONE = (-1, -2), (-1, -1)
DOMINANT = (
    # (from tonic: letters, semitones), quality, not for the second inversion?, moves
    (
        (0, 0),
        "major",
        False,
        {"bass root": UP_FOURTH, 3: UP_SEMITONE, 5: DOWN_TONE, 7: DOWN_SEMITONE},
    ),
    ((0, 0), "minor", False, {"bass root": UP_FOURTH, 3: UP_SEMITONE, 5: DOWN_TONE, 7: DOWN_TONE}),
    ((5, 9), "minor", True, {1: UP_TONE, 3: UP_SEMITONE, 5: DOWN_TONE, 7: DOWN_SEMITONE}),
    ((5, 8), "major", True, {1: UP_SEMITONE, 3: UP_SEMITONE, 5: DOWN_TONE, 7: DOWN_TONE}),
    ((3, 5), "major", True, {1: UP_TONE, 3: UP_SEMITONE, 5: DOWN_TONE}),
    ((3, 5), "minor", True, {1: UP_SEMITONE, 3: UP_SEMITONE, 5: DOWN_TONE}),
)
DIMINISHED = (
    ((0, 0), "major", {1: UP_SEMITONE, 3: UP_TONE, 5: DOWN_SEMITONE, 7: DOWN_SEMITONE}),
    ((0, 0), "minor", {1: UP_SEMITONE, 3: UP_SEMITONE, 5: DOWN_TONE, 7: DOWN_SEMITONE}),
    ((3, 5), "major", {1: UP_SEMITONE, 3: DOWN_TONE, 7: SHARPENED}),
    ((3, 5), "minor", {1: UP_SEMITONE, 3: DOWN_TONE}),
)
QUALITIES = {
    "major": {(2, 4), (4, 7)},
    "minor": {(2, 3), (4, 7)},
    "dominant": {(2, 4), (4, 7), (6, 10)},
    "diminished seventh": {(2, 3), (4, 6), (6, 9)},
}


def count_as_music21(places: list[Place], rules: Music21Rules) -> int:
    """The number of realizations of a figured line under music21's rules."""
    kinds = [chord_kind(place) for place in places]
    fates = [fate(kinds[i], kinds[i + 1], places[i]) for i in range(len(places) - 1)]
    layers = []
    for i, place in enumerate(places):
        complete = rules.complete
        if i and fates[i - 1] is not None and fates[i - 1].incomplete_after:
            complete = False
        layers.append(possibilities(place, rules, complete))
    if fates and fates[-1] is not None:  # the last chord is whatever the resolution makes of it
        last = np.unique(moved(layers[-2], fates[-1], places[-2]), axis=1)
        layers[-1] = last[:, (last[4:] <= HIGHEST).all(axis=0)]
    table = np.concatenate(layers, axis=1)
    sizes = [layer.shape[1] for layer in layers]
    starts = np.concatenate([[0], np.cumsum(sizes)])
    special = np.array([f is not None for f in fates], dtype=bool)
    resolved = table.copy()
    for i, f in enumerate(fates):
        if f is not None:
            rows = slice(starts[i], starts[i + 1])
            resolved[:, rows] = moved(table[:, rows], f, places[i])

    def work(pairs: Pairs) -> np.ndarray:
        bad = forbidden_steps(table, pairs, rules)
        if special.any():
            goes = (resolved[:, pairs.before] == table[:, pairs.after]).all(axis=0)
            bad = np.where(special[pairs.place], ~goes, bad)
        return np.where(bad, FORBIDDEN, 0)

    own = tuple(np.zeros(size, np.int64) for size in sizes)
    return count(Lattice(own, Steps(starts, work)))


def possibilities(place: Place, rules: Music21Rules, complete: bool) -> np.ndarray:
    """Rows: heights of soprano, alto, tenor, bass, then their MIDI numbers; one column each."""
    bass = place.bass
    pitches = sorted(
        (12 * (octave + 1) + SEMITONES[n.step] + n.alter, 7 * octave + n.step, which)
        for which, n in enumerate(place.names)
        for octave in range(6)
        if bass.midi <= 12 * (octave + 1) + SEMITONES[n.step] + n.alter <= HIGHEST
    )
    keys, heights, which = (np.array(column) for column in zip(*pitches, strict=True))
    ways = uncrossed(len(pitches), 3)
    upper = keys[ways]
    good = np.ones(ways.shape[1], bool)
    if rules.upper_parts_within is not None:
        good &= upper[0] - upper[2] <= rules.upper_parts_within
    if complete:
        present = np.bitwise_or.reduce(1 << which[ways], axis=0) | 1 << place.names.index(bass.name)
        good &= present == (1 << len(place.names)) - 1
    ways = ways[:, good]
    size = ways.shape[1]
    return np.concatenate(
        [heights[ways], np.full((1, size), bass.height), keys[ways], np.full((1, size), bass.midi)]
    )


def forbidden_steps(table: np.ndarray, pairs: Pairs, rules: Music21Rules) -> np.ndarray:
    a, b = table[:, pairs.before], table[:, pairs.after]
    letters_a, a, letters_b, b = a[:4], a[4:], b[:4], b[4:]
    way = np.sign(b - a)
    bad = np.zeros(a.shape[1], bool)
    for part, most in rules.part_movement:
        bad |= np.abs(b[part - 1] - a[part - 1]) > most
    for high, low in VOICE_PAIRS:
        if not rules.overlap:
            bad |= (b[low] > a[high]) | (b[high] < a[low])
        before, after = a[high] - a[low], b[high] - b[low]
        spelled_a = (letters_a[high] - letters_a[low]) % 7
        spelled_b = (letters_b[high] - letters_b[low]) % 7
        both = (way[high] != 0) & (way[low] != 0)
        similar, contrary = both & (way[high] == way[low]), both & (way[high] != way[low])
        fifths = (before % 12 == 7) & (spelled_a == 4), (after % 12 == 7) & (spelled_b == 4)
        octaves = (before % 12 == 0) & (spelled_a == 0), (after % 12 == 0) & (spelled_b == 0)
        if not rules.parallel_fifths:
            bad |= fifths[0] & fifths[1] & both
        wide = (before != 0) & (after != 0)  # a unison is not an octave, except by contrary motion
        bad |= octaves[0] & octaves[1] & ((similar & wide) | contrary)
        if (high, low) == (0, 3):
            unison_a = letters_a[high] == letters_a[low]
            unison_b = letters_b[high] == letters_b[low]
            generic = (spelled_a == spelled_b) & (unison_a == unison_b)
            bad |= similar & ~generic & (fifths[1] | octaves[1])
    return bad


@dataclass(frozen=True)
class Kind:
    """What a sonority spells: the name of its kind, its root, its inversion (0 = root below)."""

    quality: str
    root: PitchName
    inversion: int


def chord_kind(place: Place) -> Kind | None:
    for root in place.names:
        above = {from_to(root, name) for name in place.names} - {(0, 0)}
        for quality, members in QUALITIES.items():
            if above == members:
                letters = (place.bass.step - root.step) % 7
                return Kind(quality, root, letters // 2)
        if quality_of_sixth(above):
            raise NotImplementedError("an augmented sixth: not among music21's examples A to D")
    return None


def quality_of_sixth(above: set[tuple[int, int]]) -> bool:
    """Whether one note lies an augmented sixth over another."""
    return (5, 10) in above


def from_to(lower: PitchName, upper: PitchName) -> tuple[int, int]:
    """Letters and semitones up from one name to the next place of the other."""
    return (upper.step - lower.step) % 7, (upper.pitch_class - lower.pitch_class) % 12


@dataclass(frozen=True)
class Fate:
    """How a seventh chord moves on: `moves` by member over the root."""

    root: PitchName
    moves: dict[int | str, tuple[int, int]]
    incomplete_after: bool


def fate(kind: Kind | None, after: Kind | None, place: Place) -> Fate | None:
    """What music21's resolution module does with a chord before another; None: the usual rules."""
    if kind is None or after is None:
        return None
    if kind.quality == "dominant":
        tonic = below(kind.root, (4, 7))
        for at, quality, upright, moves in DOMINANT:
            if from_to(tonic, after.root) != at or after.quality != quality:
                continue
            if upright and kind.inversion == 2:
                continue
            if at == (0, 0) and kind.inversion == 2 and after.inversion == 1:
                rising = UP_TONE if quality == "major" else UP_SEMITONE
                moves = {**moves, 5: rising, 7: UP_TONE}
            return Fate(kind.root, moves, at == (0, 0) and kind.inversion == 0)
    if kind.quality == "diminished seventh":
        tonic = below(kind.root, (6, 11))
        doubled_root = kind.inversion == 1 and after.inversion == 0
        for at, quality, moves in DIMINISHED:
            if from_to(tonic, after.root) != at or after.quality != quality:
                continue
            if at == (0, 0) and doubled_root:
                moves = {**moves, 3: DOWN_TONE}
            return Fate(kind.root, moves, False)
    return None


def below(name: PitchName, interval: tuple[int, int]) -> PitchName:
    step = (name.step - interval[0]) % 7
    alter = (name.pitch_class - interval[1] - SEMITONES[step] + 6) % 12 - 6
    return PitchName(step, alter)


def moved(layer: np.ndarray, to: Fate, place: Place) -> np.ndarray:
    """The layer with every pitch moved as its fate has it."""
    heights, keys = layer[:4].copy(), layer[4:].copy()
    member = (heights - to.root.step) % 7 + 1
    is_bass = (layer[:4] == place.bass.height) & (layer[4:] == place.bass.midi)
    for which, (letters, semitones) in to.moves.items():
        chosen = (member == 1) & is_bass if which == "bass root" else member == which
        heights[chosen] += letters
        keys[chosen] += semitones
    return np.concatenate([heights, keys])
