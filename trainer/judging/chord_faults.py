"""What is wrong with one chord by itself: its notes against the figuring, and what is doubled by
more keys than there are voices."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from trainer.judging.harmony import ChordHeard
from trainer.judging.movement_faults import words
from trainer.judging.take import Conditions, Part
from trainer.listening.manuals import keys_at
from trainer.theory.fault import Fault
from trainer.theory.figures import Way
from trainer.theory.moment import Moment
from trainer.theory.movement import Given
from trainer.theory.pitch import Pitch, pitch_on
from trainer.theory.rules import weight
from trainer.theory.sonority import Sonority
from trainer.theory.voicing import VOICES, VoiceName, Voicing

# what a sign without numbers asks for, where something else was played
_REMINDERS = {
    Way.TASTO_SOLO: "The bass plays alone here.",
    Way.UNISON: "All play the bass in octaves here.",
    Way.EXTENDED: "The line keeps the chord before it.",
}


@dataclass(frozen=True, slots=True)
class AskedChord:
    """The chord of one moment as it is asked for; `given` are the voices that are not the player's
    doing."""

    moment: Moment
    sonority: Sonority
    conditions: Conditions
    given: Given

    def harmony(
        self, heard: ChordHeard, keys: Sequence[int], overheld: Sequence[int] = ()
    ) -> list[Fault]:
        """What is heard of it against what is asked; `keys` are under the fingers, `overheld` those
        that stay down beside them from the chord before. All keys are places."""
        if heard.outcome == "not-played":
            return []
        moment, sonority = self.moment, self.sonority
        named: list[tuple[str, tuple[VoiceName, ...], tuple[Pitch, ...]]] = []
        if heard.outcome == "wrong-bass" and moment.bass is not None:
            named.append(("wrong-bass", ("bass",), (moment.bass,)))
        if heard.outcome == "wrong-melody" and moment.melody is not None:
            named.append(("wrong-melody", ("soprano",), (moment.melody,)))
        for pitch in heard.missing:
            number = sonority.number(pitch.name)
            member = sonority.by_number.get(number)
            plain = number == 3 and (member is None or not member.written)
            named.append(("missing-third" if plain else "missing-figure", (), (pitch,)))
        named += [("foreign-note", (), (pitch,)) for pitch in heard.foreign]
        named += [("held-too-long", (), (sonority.spell(key),)) for key in keys_at(overheld)]
        # told once, however often it sounds
        added = {pitch.name: pitch for pitch in heard.additions}
        named += [("addition", (), (pitch,)) for pitch in added.values()]
        named += self._in_another_octave(heard, keys)
        faults = (self._fault(name, voices, pitches, voices) for name, voices, pitches in named)
        return [fault for fault in faults if fault is not None]

    def further_doublings(self, keys: Sequence[int], voicing: Voicing) -> Iterator[Fault]:
        """Of more keys than voices, those that double what must not be doubled."""
        moment = self.moment
        if len(keys) <= len(VOICES) or not moment.chord:
            return
        for member in self.sonority.members:
            having = [v for v in VOICES if (p := voicing[v]) is not None and p.name == member.name]
            sounding = [k for k in keys_at(keys) if k % 12 == member.name.pitch_class]
            if member.doublable or len(having) > 1 or len(sounding) < 2:
                continue
            name = "doubled-leading-tone" if member.leading else "doubled-dissonance"
            pitches = tuple(pitch_on(member.name, key) for key in sounding)
            fault = self._fault(name, having, pitches, [*having, "a further key"])
            if fault is not None:
                yield fault

    def _fault(
        self,
        name: str,
        voices: Sequence[VoiceName],
        pitches: tuple[Pitch, ...],
        named: Sequence[str],
    ) -> Fault | None:
        """With its weight and its words, in which `named` stand for the voices; None where the
        school does not mind it."""
        moment, way = self.moment, self.sonority.way
        heavy = weight(name, self.conditions.school)
        if heavy is None:
            return None
        text = words(name, named, pitches, (moment.bar, moment.beat))
        if name in ("foreign-note", "missing-figure") and way in _REMINDERS:
            text = f"{text} {_REMINDERS[way]}"
        at = (moment.index,)
        return Fault(name, heavy, at, tuple(voices), pitches, text, onset=moment.onset)

    def _in_another_octave(
        self, heard: ChordHeard, keys: Sequence[int]
    ) -> Iterator[tuple[str, tuple[VoiceName, ...], tuple[Pitch, ...]]]:
        """The given notes the player plays right but for the octave."""
        bass = None if heard.outcome == "wrong-bass" else self.moment.bass
        melody = None if heard.outcome == "wrong-melody" else self.moment.melody
        given: tuple[tuple[VoiceName, Part, Pitch | None], ...] = (
            ("bass", "bass", bass),
            ("soprano", "melody", melody),
        )
        for voice, part, pitch in given:
            if pitch is None or voice not in self.given or part in self.conditions.supply:
                continue
            pressed = keys_at(keys)
            if pitch.midi not in pressed and any((k - pitch.midi) % 12 == 0 for k in pressed):
                yield "another-octave", (voice,), (pitch,)
