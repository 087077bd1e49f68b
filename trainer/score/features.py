"""What an exercise practises: figurings, cadences and sequences by name, and the tune's outline.

The names are those every school uses for the patterns of the bass; common practice, no source.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from itertools import pairwise

from trainer.score.exercise import Exercise
from trainer.score.syllabus import UNFIGURED, bare
from trainer.theory.figures import NOTHING, Figuring, Way
from trainer.theory.key import Key
from trainer.theory.pitch import Pitch


@dataclass(frozen=True, slots=True)
class Station:
    """One struck bass note with all that is figured over it, signs left out; `-` is a triad.

    `major_third` says whether the third above it, as signed or in the signature, is major.
    """

    bass: Pitch
    figurings: tuple[str, ...]
    major_third: bool
    key: Key
    fermata: bool

    @property
    def degree(self) -> int:
        return self.key.degree(self.bass.step)


def stations(exercise: Exercise) -> tuple[Station, ...]:
    """The bass notes in order with their figurings; rests and tied notes make none."""
    notes = [note for note in exercise.bass if note.pitch is not None and not note.tied]
    ends = [*(note.onset for note in notes[1:]), exercise.length]
    fermatas = {n.onset for n in (*exercise.bass, *exercise.melody) if n.fermata}
    found = []
    at = 0
    for note, end in zip(notes, ends, strict=True):
        assert note.pitch is not None
        start = note.onset
        over: list[Figuring] = []
        while at < len(exercise.figures) and exercise.figures[at][0] < end:
            onset, figuring = exercise.figures[at]
            at += 1
            if onset > start and not over:
                over.append(NOTHING)
            if onset >= start and figuring.way is not Way.EXTENDED:
                over.append(figuring)
        key = exercise.key_at(start)
        found.append(
            Station(
                note.pitch,
                tuple(bare(str(figuring)) for figuring in over) or (UNFIGURED,),
                _has_major_third(note.pitch, over, key),
                key,
                note.fermata or any(start <= fermata < end for fermata in fermatas),
            )
        )
    return tuple(found)


def _has_major_third(bass: Pitch, over: list[Figuring], key: Key) -> bool:
    step = (bass.step + 2) % 7
    alter = key.alter(step)
    for figuring in over:
        for figure in figuring.figures:
            if figure.letters == 2 and figure.sign is not None:
                signed = figure.sign.alter
                alter = key.alter(step) + 1 if signed is None else signed
    return (Pitch(step, alter, 4).midi - bass.midi) % 12 == 4


def figurings(stops: tuple[Station, ...]) -> tuple[str, ...]:
    """Every figuring and succession (`4, -`) that occurs, signs left out, sorted."""
    single = {figuring for stop in stops for figuring in stop.figurings}
    pairs = {f"{first}, {second}" for stop in stops for first, second in pairwise(stop.figurings)}
    return tuple(sorted(single | pairs))


def cadences(stops: tuple[Station, ...]) -> tuple[str, ...]:
    """The names of the cadences at fermatas and at the end, sorted, each once."""
    held = _joined(stops)
    found = {
        _cadence(before, last)
        for index, (before, last) in enumerate(pairwise(held), 2)
        if last.fermata or index == len(held)
    }
    return tuple(sorted(found - {""}))


def _joined(stops: tuple[Station, ...]) -> list[Station]:
    """A bass note struck again over the same name counts as held, unless a phrase ends between."""
    joined: list[Station] = []
    for stop in stops:
        last = joined[-1] if joined else None
        if last is not None and last.bass.name == stop.bass.name and not last.fermata:
            both = (*last.figurings, *stop.figurings)
            joined[-1] = replace(stop, figurings=both)
        else:
            joined.append(stop)
    return joined


def _cadence(before: Station, last: Station) -> str:
    fall = (before.bass.height - last.bass.height) % 7
    semitones = (before.bass.midi - last.bass.midi) % 12
    over = set(before.figurings)
    triad = last.figurings[-1] == UNFIGURED
    if fall == 4 and semitones == 7 and before.major_third and triad:
        return _authentic(over)
    if last.degree == 5 and triad:
        phrygian = fall == 1 and semitones == 1 and over & {"6", "7"}
        return "Phrygian" if phrygian else "half"
    if before.degree == 5 and last.degree == 6 and triad:
        return "deceptive"
    if last.degree == 1 and triad:
        return {4: "plagal", 2: "tenor", 7: "soprano"}.get(before.degree, "")
    if last.degree == 3 and before.degree == 4 and over & {"2", "4 2", "6 4 2"}:
        return "alto"
    return ""


def _authentic(over: set[str]) -> str:
    six_four = over & {"6 4", "8 6 4"}
    four = over & {"4", "5 4", "8 5 4"}
    if six_four and four:
        return "long"
    if six_four:
        return "6 4"
    if four:
        return "4 3"
    return "8 7" if "7" in {word for figuring in over for word in figuring.split()} else "simple"


def sequences(stops: tuple[Station, ...]) -> tuple[str, ...]:
    """The names of the sequences that run for at least three links, sorted."""
    steps = [(b.bass.height - a.bass.height, b.bass.midi - a.bass.midi) for a, b in pairwise(stops)]

    def chain(fits: Callable[[Station], bool], moves: set[int], links: int = 3) -> bool:
        run = 0
        for index, stop in enumerate(stops):
            joined = run and index and steps[index - 1][0] % 7 in moves
            run = (run + 1 if joined else 1) if fits(stop) else 0
            if run >= links:
                return True
        return False

    def over(*wanted: str) -> Callable[[Station], bool]:
        return lambda stop: all(word in stop.figurings for word in wanted)

    def sixth(stop: Station) -> bool:
        return stop.figurings == ("6",)

    up, down = {1}, {6}
    any_way = set(range(7))
    found = {
        "rising 5 6": chain(lambda stop: stop.figurings == (UNFIGURED, "6"), up),
        "falling 7 6": chain(over("7", "6"), down),
        "parallel sixths": chain(sixth, up, 4) or chain(sixth, down, 4),
        "falling fifths": _cells(steps, (3, 3), 4),
        "falling thirds": _cells(steps, (4, 1), 4) or _triads_and_sixths(stops),
        "rising fourths, falling thirds": _cells(steps, (3, 5), 4),
        "4 3 chain": chain(_succeed("4", "3"), any_way),
        "9 8 chain": chain(_succeed("9", "8"), any_way),
        "tied bass": _tied(stops, steps),
        "chromatic descent": _run([move[1] == -1 for move in steps]) >= 4,
        "pedal": _pedal(stops),
    }
    return tuple(sorted(name for name, there in found.items() if there))


def _succeed(first: str, second: str) -> Callable[[Station], bool]:
    def fits(stop: Station) -> bool:
        pairs = pairwise(stop.figurings)
        return any(first in a.split() and (second in b.split() or b == UNFIGURED) for a, b in pairs)

    return fits


def _cells(steps: list[tuple[int, int]], cell: tuple[int, ...], links: int) -> bool:
    """Whether the bass moves by `cell`, repeated, for at least `links` moves on end."""
    moves = [letters % 7 for letters, _ in steps]
    for start in range(len(moves) - links + 1):
        if all(moves[start + i] == cell[i % len(cell)] for i in range(links)):
            return True
    return False


def _triads_and_sixths(stops: tuple[Station, ...]) -> bool:
    """Triads and sixths in turn over a bass falling by step: thirds by step."""
    run = 0
    for a, b in pairwise(stops):
        alike = {a.figurings[0], b.figurings[0]} == {UNFIGURED, "6"}
        run = run + 1 if alike and (b.bass.height - a.bass.height) % 7 == 6 else 0
        if run >= 5:
            return True
    return False


def _run(flags: list[bool]) -> int:
    longest = run = 0
    for flag in flags:
        run = run + 1 if flag else 0
        longest = max(longest, run)
    return longest


def _tied(stops: tuple[Station, ...], steps: list[tuple[int, int]]) -> bool:
    seconds = {"2", "5 2", "4 2", "6 4 2"}
    leans = [
        bool(seconds & set(stop.figurings)) and step[0] % 7 == 6
        for stop, step in zip(stops, steps, strict=False)
    ]
    return sum(leans) >= 2


def _pedal(stops: tuple[Station, ...]) -> bool:
    run: list[str] = []
    last: Pitch | None = None
    for stop in stops:
        if last is None or stop.bass.name != last.name:
            run = []
        run = [*run, *stop.figurings]
        last = stop.bass
        if len(set(run)) >= 3 and len(run) >= 4:
            return True
    return False


def outline(exercise: Exercise) -> tuple[int, ...]:
    """The struck notes of the melody as letters above the final, repeated notes once.

    In any key, octave, metre and rhythm the same tune has the same outline.
    """
    key = exercise.key
    heights: list[int] = []
    for note in exercise.melody:
        if note.pitch is None or note.tied:
            continue
        height = note.pitch.height - key.final.step
        if not heights or heights[-1] != height:
            heights.append(height)
    if not heights:
        return ()
    octave = 7 * (round(sum(heights) / len(heights)) // 7)
    return tuple(height - octave for height in heights)
