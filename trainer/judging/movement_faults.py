"""From findings in four voices to faults as a student reads them: weighed, placed, worded."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from fractions import Fraction
from itertools import pairwise

from trainer.theory.common_tones import needless_motion
from trainer.theory.dissonance import Passage, treatment
from trainer.theory.doubling import doubling
from trainer.theory.fault import Fault, Finding
from trainer.theory.figures import Way
from trainer.theory.hands import Hands
from trainer.theory.listed import listed
from trainer.theory.movement import Given, position, succession
from trainer.theory.pitch import Pitch
from trainer.theory.rules import School, rule, weight
from trainer.theory.sonority import Sonority

Place = Callable[[Fraction], tuple[int, Fraction]]  # score time -> bar and beat


def findings(passage: Passage, given: Given, hands: Hands) -> Iterator[Finding]:
    """Every broken rule of movement, position, doubling and treatment in a passage.

    Movement from sounding to sounding; doubling and position where a chord begins. Where the
    bass plays alone or all voices in octaves, nothing is asked.
    """
    starts = [
        start
        for start in passage.chord_starts()
        if _sonority(passage, start).way in (Way.FIGURES, Way.EXTENDED)
    ]
    final = _final_chord(passage)
    for index, (a, b) in enumerate(pairwise(passage.soundings)):
        ways = {_sonority(passage, index).way, _sonority(passage, index + 1).way}
        if Way.UNISON in ways or Way.TASTO_SOLO in ways:
            continue
        closing = b.moment == final and index + 1 in starts
        at = (index, index + 1)
        yield from succession(a.voicing, b.voicing, at, given, closing=closing, hands=hands)
    for start in starts:
        voicing = passage.soundings[start].voicing
        free_top = passage.moments[passage.soundings[start].moment].melody is None
        theirs = given - {"soprano"} if free_top else given
        yield from doubling(_sonority(passage, start), voicing, start, theirs)
        yield from position(voicing, start, hands, given)
    for first, second in pairwise(starts):
        pair = (_sonority(passage, first), _sonority(passage, second))
        voicings = (passage.soundings[first].voicing, passage.soundings[second].voicing)
        yield from needless_motion(*voicings, pair, (first, second), given)
    yield from treatment(passage, given)


def _final_chord(passage: Passage) -> int | None:
    """The moment of the piece's last chord: whatever has been played yet, no other one closes."""
    return next((m.index for m in reversed(passage.moments) if m.chord), None)


def _sonority(passage: Passage, index: int) -> Sonority:
    return passage.sonorities[passage.soundings[index].moment]


def faults(
    found: Iterable[Finding], passage: Passage, school: School, place: Place
) -> tuple[Fault, ...]:
    """The findings the school minds, in time order, each with weight and words."""
    made = [
        fault
        for finding in found
        if (fault := fault_of(finding, passage, school, place)) is not None
    ]
    return tuple(sorted(made, key=lambda fault: (fault.moments[-1], fault.moments)))


def fault_of(finding: Finding, passage: Passage, school: School, place: Place) -> Fault | None:
    soundings = [passage.soundings[index] for index in finding.soundings]
    indices = tuple(dict.fromkeys(sounding.moment for sounding in soundings))
    fermata = any(moment.fermata for moment in passage.moments[indices[0] : indices[-1]])
    heavy = weight(finding.rule, school, across_fermata=fermata)
    if heavy is None:
        return None
    text = words(finding.rule, finding.voices, finding.pitches, place(soundings[-1].onset))
    return Fault(
        finding.rule,
        heavy,
        indices,
        finding.voices,
        finding.pitches,
        text,
        onset=soundings[-1].onset,
    )


def words(
    rule_id: str,
    voices: Sequence[str],
    pitches: Sequence[Pitch],
    at: tuple[int, Fraction],
) -> str:
    """The rule's sentence with its place: `Bar 3, beat 2: alto and bass move in …`."""
    names = list(dict.fromkeys(pitch.name.spoken for pitch in pitches))
    joined = " to ".join(names) if len(voices) == 1 else listed(names)
    said = rule(rule_id).sentence.format(voices=listed(voices), notes=joined)
    return f"{place_in_words(*at)}: {said}."


def place_in_words(bar: int, beat: Fraction) -> str:
    """`Bar 3, beat 2.5`."""
    return f"{f'Bar {bar}' if bar else 'Pick-up'}, beat {float(beat):g}"
