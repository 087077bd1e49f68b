"""What stands in an engraved exercise, read with other eyes, beside what was written.

music21 (its own MEI reader, nothing of the engraver) says when each note sounds and which pitch it
has; verovio's drawing says where its head stands, and the head must stand in the column of its
onset, on the line or space of its pitch. A note longer than a bar comes as several, tied.
"""

from __future__ import annotations

import warnings
from bisect import bisect_right
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass
from fractions import Fraction

import music21

from trainer.engraving.mei import Middle, to_mei, voices
from trainer.engraving.page import engrave
from trainer.score.exercise import Exercise, Note

COLUMN = 3.2  # staff spaces a head may lie beside its column: seconds and unisons stand apart


@dataclass(frozen=True, slots=True)
class Written:
    """One sounding note: when it begins (quarter notes), which key, in which voice's name."""

    voice: str
    onset: Fraction
    pitch: str


def expected(exercise: Exercise, middle: Middle) -> Counter[Written]:
    """Every note that begins, as the source has it; a tied one goes on and does not begin."""
    lines: dict[str, tuple[Note, ...]] = {"melody": exercise.melody, "bass": exercise.bass}
    if middle == "suggested":
        lines |= {"alto": exercise.alto, "tenor": exercise.tenor}
    found = Counter(
        Written(voice, note.onset, str(note.pitch))
        for voice, notes in lines.items()
        for note in notes
        if note.pitch is not None and not note.tied
    )
    if middle is not None and middle != "suggested":
        for moment, voicing in zip(exercise.moments, middle, strict=True):
            heard = {} if voicing is None else {"alto": voicing.alto, "tenor": voicing.tenor}
            if voicing is not None and moment.melody is None:  # the top is the player's
                heard["melody"] = voicing.soprano
            found.update(Written(v, moment.onset, str(p)) for v, p in heard.items() if p)
    return found


def read_by_music21(exercise: Exercise, mei: str) -> Counter[Written]:
    """The notes that begin, as music21 finds them in the MEI; its offsets, its pitches, our ids.

    Bars are laid end to end by the length of the exercise's own bars, as music21 does not know
    that a bar divided between two systems is one.
    """
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        score = music21.mei.MeiToM21Converter(mei).run()
    starts = _bar_starts(exercise, score)
    found: Counter[Written] = Counter()
    for part in score.parts:
        for start, measure in zip(starts, part.getElementsByClass("Measure"), strict=True):
            for element in measure.recurse().notes:
                at = start + Fraction(element.getOffsetInHierarchy(measure)).limit_denominator(5040)
                for note in getattr(element, "notes", (element,)):
                    if note.tie is not None and note.tie.type in ("stop", "continue"):
                        continue
                    pitch = note.pitch.nameWithOctave.replace("-", "b").lower()
                    found[Written(str(note.id).partition("-")[0], at, pitch)] += 1
    return found


def _bar_starts(exercise: Exercise, score: music21.stream.Score) -> list[Fraction]:
    """Where each measure of the MEI begins: they follow one another without gaps."""
    starts = [Fraction(0)]
    for measures in zip(*(part.getElementsByClass("Measure") for part in score.parts), strict=True):
        longest = max(Fraction(m.duration.quarterLength).limit_denominator(5040) for m in measures)
        starts.append(starts[-1] + longest)
    assert starts.pop() == exercise.length
    return starts


def misplaced(exercise: Exercise, middle: Middle, width: float = 1600) -> Iterator[str]:
    """Heads that do not stand in the column of their onset or not on the place of their pitch."""
    onsets = [moment.onset for moment in exercise.moments]
    lines = {
        "melody" if line.voice == "soprano" else line.voice: line.notes
        for line in voices(exercise, middle)
    }
    seen: set[str] = set()
    for page in engrave(exercise, width, None, space_px=8, middle=middle):
        space = page.geometry.space
        for name, head in page.geometry.notes.items():
            voice, index, *rest = name.split("-")
            note = lines[voice][int(index)]
            if rest or note.pitch is None:
                continue  # what is tied over a barline begins nothing
            seen.add(name)
            moment = bisect_right(onsets, note.onset) - 1
            if onsets[moment] == note.onset:
                away = (head.x - page.geometry.moments[moment]) / space
                if abs(away) > COLUMN:
                    yield f"{name} stands {away:+.1f} spaces beside its column"
            system = page.geometry.system_of(moment)
            places = (system.treble_y(note.pitch.height), system.bass_y(note.pitch.height))
            if min(abs(head.y - y) for y in places) > 0.1 * space:
                yield f"{name} does not stand on the place of {note.pitch}"
    for voice, notes in lines.items():
        for index, note in enumerate(notes):
            if note.pitch is not None and f"{voice}-{index}" not in seen:
                yield f"{voice}-{index} is missing from the page"


def differences(exercise: Exercise, middle: Middle) -> tuple[int, list[str]]:
    """How many notes were compared, and each that is displaced, missing, extra or misspelled."""
    wanted = expected(exercise, middle)
    found = read_by_music21(exercise, to_mei(exercise, middle=middle))
    told = [f"missing {note}" for note in (wanted - found).elements()]
    told += [f"extra {note}" for note in (found - wanted).elements()]
    return wanted.total(), told


def read_by_verovio(exercise: Exercise, middle: Middle) -> tuple[int, list[str]]:
    """The same comparison with verovio's time map, which reads any tuplet.

    (music21 10 cannot read a tuplet that has no note with a flag and ends with a space.)
    """
    import verovio

    toolkit = verovio.toolkit()
    toolkit.loadData(to_mei(exercise, middle=middle))
    found: Counter[Written] = Counter()
    for event in toolkit.renderToTimemap():
        for name in event.get("on", ()):
            sounding = toolkit.getMIDIValuesForElement(name)["pitch"]
            at = Fraction(event["qstamp"]).limit_denominator(5040)
            found[Written(name.partition("-")[0], at, str(sounding))] += 1
    wanted = Counter(
        Written("melody" if line.voice == "soprano" else line.voice, n.onset, str(n.pitch.midi))
        for line in voices(exercise, middle)
        for n in line.notes
        if n.pitch is not None and not n.tied
    )
    told = [f"missing {note}" for note in (wanted - found).elements()]
    told += [f"extra {note}" for note in (found - wanted).elements()]
    return wanted.total(), told
