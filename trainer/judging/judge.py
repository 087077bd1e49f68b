"""The judge: from keys and an exercise to verdicts and faults.

`Judge` works out what a moment asks once, so that a chord is judged within a tenth of a
millisecond of its last key. The live judge knows only what has been played so far; judging a whole
pass again, when it is over, may divide the keys among the voices better and knows how every
dissonance went on.

Keys under the fingers are told by their places (`trainer.listening.manuals`): MIDI note numbers,
where no manual is told what it plays.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import partial

from trainer.judging.chord_faults import AskedChord
from trainer.judging.harmony import ChordHeard, HarmonyTable, sonorities_of
from trainer.judging.movement_faults import faults, findings
from trainer.judging.ornaments import unadorned
from trainer.judging.take import Conditions
from trainer.judging.tally import movement, successions
from trainer.judging.timing import played
from trainer.judging.timing import timing as timing_of
from trainer.judging.verdict import Harmony, MomentVerdict, PassVerdict
from trainer.judging.voices import Line, divisions, extend, upper_divisions
from trainer.listening.manuals import as_bass, as_soprano, key_at, keys_at
from trainer.score.exercise import Exercise
from trainer.theory.dissonance import Passage
from trainer.theory.fault import Fault
from trainer.theory.moment import Moment
from trainer.theory.movement import Given
from trainer.theory.pitch import Pitch
from trainer.theory.rules import weight
from trainer.theory.voicing import VOICES, Sounding, Voicing

_COSTS = {"gross": 100, "weak": 10, "remark": 1}
# what is too low in one key is not in another; what could have been kept may lie too low
_OF_HEIGHT = ("too-low", "too-high", "needless-motion")


@dataclass(frozen=True, slots=True)
class Progress:
    """How far the judge has come in a pass: the last moment with a chord, and the divisions of
    its keys that are still possible."""

    index: int | None = None
    line: Line = field(default_factory=Line)


class Judge:
    """Judges chords of one exercise under the conditions of a pass.

    `given` are the voices that are not the player's doing: by default the bass, and the soprano
    where the exercise has a melody. Raises FigureError, with file, bar and beat, for a figuring
    that contradicts itself.
    """

    def __init__(
        self, exercise: Exercise, conditions: Conditions, given: Given | None = None
    ) -> None:
        self.exercise = exercise
        self.conditions = conditions
        self.moments = exercise.moments
        usual: Given = frozenset(("bass", "soprano") if exercise.melody else ("bass",))
        self.given: Given = usual if given is None else given
        self.chords = frozenset(moment.index for moment in self.moments if moment.chord)
        melody_is_given = "soprano" in self.given
        self.sonorities = sonorities_of(exercise, melody_is_given)
        self._tables = tuple(
            HarmonyTable(moment, sonority, melody_is_given)
            for moment, sonority in zip(self.moments, self.sonorities, strict=True)
        )
        self._asked = tuple(
            AskedChord(moment, sonority, conditions, self.given)
            for moment, sonority in zip(self.moments, self.sonorities, strict=True)
        )
        self._supplied = tuple(
            tuple(
                pitch.midi
                for part, pitch in (("bass", moment.bass), ("melody", moment.melody))
                if pitch is not None and part in conditions.supply
            )
            for moment in self.moments
        )

    def harmony(self, index: int, keys: Sequence[int]) -> MomentVerdict:
        """What these keys, any order, are at a moment; the supplied voices sound with them."""
        return self._verdict(index, keys, self._heard(index, keys), None)

    def complete(self, index: int, keys: Sequence[int]) -> bool:
        """Whether nothing is missing and nothing foreign."""
        return self._heard(index, keys).outcome == "complete"

    def chord(
        self,
        progress: Progress,
        index: int,
        keys: Sequence[int],
        pedalled: Sequence[int] = (),
        overheld: Sequence[int] = (),
    ) -> tuple[Progress, MomentVerdict, tuple[Fault, ...]]:
        """Judge the chord of a moment with respect to the one before it.

        `keys` are under the fingers; those only the pedal keeps belong to the harmony, not to a
        voice; those overheld from before belong to neither. A moment left out breaks the thread:
        there is no movement from before it.
        """
        heard = self._heard(index, (*keys, *pedalled))
        before = progress if self._continues(progress, index) else Progress()
        choices = self._divisions(index, keys, before)
        line = extend(before.line, choices, partial(self.cost, before.index, index))
        chain = line.best
        voicing = None if chain is None else chain.voicing
        found = self._asked[index].harmony(heard, keys, overheld)
        if chain is not None:
            earlier = None if chain.before is None else chain.before.voicing
            passage = self._pair(before.index, earlier, index, chain.voicing)
            found += self._faults(passage, only_last=True)
            found += self._asked[index].further_doublings(keys, chain.voicing)
        verdict = self._verdict(index, keys, heard, voicing)
        return Progress(index, line), verdict, tuple(found)

    def cost(self, first: int | None, second: int, before: Voicing | None, after: Voicing) -> int:
        """The weight of all faults from one voicing to the next, and in the next, by which ways to
        divide keys among the voices are compared: 100 for a gross one, 10 weak, 1 a remark.

        Who sings what does not depend on how high the music lies."""
        passage = self._pair(first, before, second, after)
        total = 0
        for finding in findings(passage, self.given, self.conditions.hands):
            if finding.rule in _OF_HEIGHT:
                continue
            heavy = weight(finding.rule, self.conditions.school)
            total += 0 if heavy is None else _COSTS[heavy]
        return total

    def soundings(self, voicings: Mapping[int, Voicing]) -> tuple[Sounding, ...]:
        """One sounding a moment, in order; a voice is struck where its pitch changes or the
        written bass or melody begins anew."""
        found: list[Sounding] = []
        for index in sorted(voicings):
            moment, voicing = self.moments[index], voicings[index]
            before = tuple(found[-1].voicing) if found else (None,) * 4
            struck = {v for v, a, b in zip(VOICES, before, voicing, strict=True) if a != b}
            struck |= {"bass"} if moment.bass_struck else set()
            struck |= {"soprano"} if moment.melody_struck else set()
            found.append(Sounding(moment.onset, index, voicing, frozenset(struck)))
        return tuple(found)

    def judge_chords(
        self,
        chords: Mapping[int, Sequence[int]],
        pedalled: Mapping[int, Sequence[int]] | None = None,
        overheld: Mapping[int, Sequence[int]] | None = None,
    ) -> PassVerdict:
        """A whole pass: the keys under the fingers at each moment that was played; `pedalled` and
        `overheld` as in `chord`.

        Voices are divided by the fewest faults from beginning to end. Timing is left out.
        """
        pedal, over = pedalled or {}, overheld or {}
        verdicts: dict[int, MomentVerdict] = {}
        harmony_faults: list[Fault] = []
        stretches: list[tuple[list[int], Line]] = []
        for moment in played(self.exercise, self.conditions):
            index = moment.index
            keys = chords.get(index, ())
            if not keys and (moment.chord or not stretches or not self._carries(moment)):
                if moment.chord:
                    verdicts[index] = MomentVerdict(index, "not-played")
                stretches.append(([], Line()))
                continue
            heard = self._heard(index, (*keys, *pedal.get(index, ())))
            if moment.chord:
                harmony_faults += self._asked[index].harmony(heard, keys, over.get(index, ()))
            if moment.chord or moment.melody_struck:
                verdicts[index] = self._verdict(index, keys, heard, None)
            if not stretches:
                stretches.append(([], Line()))
            indices, line = stretches[-1]
            before = Progress(indices[-1] if indices else None, line)
            choices = self._divisions(index, keys, before)
            line = extend(line, choices, partial(self.cost, before.index, index))
            stretches[-1] = ([*indices, index] if choices else [], line)
        movement_faults: list[Fault] = []
        voiced: dict[int, Voicing] = {}
        for indices, line in stretches:
            chain = line.best
            if chain is None:
                continue
            voicings = dict(zip(indices, chain.voicings(), strict=True))
            voiced |= voicings
            movement_faults += self._faults(self._passage(self.soundings(voicings)))
            for index, voicing in voicings.items():
                movement_faults += self._asked[index].further_doublings(
                    chords.get(index, ()), voicing
                )
        moments = tuple(replace(verdicts[i], voicing=voiced.get(i)) for i in sorted(verdicts))
        return self.pass_verdict(moments, (*harmony_faults, *movement_faults))

    def judge_realization(self, soundings: Sequence[Sounding]) -> PassVerdict:
        """Four given voices, from onset to onset, passing notes and all.

        Harmony is judged at the first sounding of each moment that begins a chord; an ornament on
        that onset, entered and left by step within the chord, stands for the note it goes to.
        """
        passage = self._passage(soundings)
        verdicts = []
        found: list[Fault] = []
        for start in passage.chord_starts():
            sounding = soundings[start]
            keys = sorted({pitch.midi for pitch in sounding.voicing if pitch is not None})
            heard = self._tables[sounding.moment].judge_voices(unadorned(passage, start))
            found += self._asked[sounding.moment].harmony(heard, keys)
            verdicts.append(self._verdict(sounding.moment, keys, heard, sounding.voicing))
        found += self._faults(passage)
        return self.pass_verdict(tuple(verdicts), found)

    def pass_verdict(
        self, moments: tuple[MomentVerdict, ...], found: Iterable[Fault]
    ) -> PassVerdict:
        """Three figures from the verdicts and faults."""
        ordered = tuple(sorted(found, key=lambda f: (f.moments[-1], f.moments)))
        chords = [m for m in moments if m.index in self.chords]
        complete = sum(m.outcome == "complete" for m in chords)
        time = (
            None if self.conditions.tempo is None else timing_of(moments, self.conditions.tolerance)
        )
        return PassVerdict(
            moments,
            ordered,
            Harmony(complete, len(chords)),
            time,
            movement(ordered, successions(self.chords, moments)),
        )

    def _heard(self, index: int, keys: Sequence[int]) -> ChordHeard:
        table = self._tables[index]
        if not keys:
            return table.not_played(self._supplied[index])
        return table.judge(self.sounding(index, keys), "melody" in self.conditions.supply)

    def sounding(self, index: int, keys: Sequence[int]) -> list[int]:
        """MIDI note numbers from the bass up: keys under the fingers, at least one, with what the
        program supplies. A bass or melody note that is held on from before still counts where the
        finger has left it."""
        moment = self.moments[index]
        sounding, low, high = {*keys}, min(keys), max(keys)
        bass = None if moment.bass is None else as_bass(moment.bass.midi, low)
        melody = None if moment.melody is None else as_soprano(moment.melody.midi, high)
        if bass is not None and "bass" in self.conditions.supply:
            sounding.add(bass)
        if melody is not None and "melody" in self.conditions.supply:
            sounding.add(melody)
        if bass is not None and not moment.bass_struck and bass < min(sounding):
            sounding.add(bass)
        if melody is not None and not moment.melody_struck and melody > max(sounding):
            sounding.add(melody)
        return [key_at(place) for place in sorted(sounding)]

    def _verdict(
        self, index: int, keys: Sequence[int], heard: ChordHeard, voicing: Voicing | None
    ) -> MomentVerdict:
        label = self.sonorities[index].label
        return MomentVerdict(
            index,
            heard.outcome,
            keys_at(keys),
            voicing,
            tuple(label(pitch) for pitch in heard.missing),
            tuple(dict.fromkeys(label(pitch) for pitch in heard.foreign)),
            tuple(dict.fromkeys(label(pitch) for pitch in heard.additions)),
        )

    def _carries(self, moment: Moment) -> bool:
        """Whether the inner voices simply lie while a given voice the program plays moves on."""
        return not moment.chord

    def _continues(self, progress: Progress, index: int) -> bool:
        """Whether no chord was left out since."""
        return progress.index is not None and not any(
            moment.chord for moment in self.moments[progress.index + 1 : index]
        )

    def _divisions(self, index: int, keys: Sequence[int], before: Progress) -> tuple[Voicing, ...]:
        moment = self.moments[index]
        sounding = self.sounding(index, keys) if keys else list(self._supplied[index])
        if not moment.chord and len(sounding) < 4 and before.line.best is not None:
            # the melody goes on over voices that lie, or have been let go: either is no motion
            last = before.line.best.voicing
            top = moment.melody if moment.melody is not None else last.soprano
            low = moment.bass if moment.bass is not None else last.bass
            return (Voicing(top, last.alto, last.tenor, low),)
        low = moment.bass if "bass" in self.conditions.supply else None
        high = moment.melody if "melody" in self.conditions.supply else None
        pitches = [self._spelled(index, key) for key in sounding]
        if moment.bass is None:
            return upper_divisions(pitches, high)
        return divisions(pitches, low, high)

    def _spelled(self, index: int, key: int) -> Pitch:
        """A given note as it is written, any other as the sonority spells it."""
        moment = self.moments[index]
        for given in (moment.bass, moment.melody):
            if given is not None and given.midi == key:
                return given
        return self.sonorities[index].spell(key)

    def _pair(
        self, first: int | None, before: Voicing | None, second: int, after: Voicing
    ) -> Passage:
        soundings = [Sounding(self.moments[second].onset, second, after, frozenset(VOICES))]
        if first is not None and before is not None:
            onset = self.moments[first].onset
            soundings.insert(0, Sounding(onset, first, before, frozenset(VOICES)))
        return self._passage(soundings)

    def _passage(self, soundings: Sequence[Sounding]) -> Passage:
        return Passage(self.moments, self.sonorities, tuple(soundings))

    def _faults(self, passage: Passage, only_last: bool = False) -> list[Fault]:
        found = findings(passage, self.given, self.conditions.hands)
        last = len(passage.soundings) - 1
        if only_last:
            found = (finding for finding in found if finding.soundings[-1] == last)
        return list(faults(found, passage, self.conditions.school, self.exercise.place))


def judge_chords(
    exercise: Exercise, conditions: Conditions, chords: Mapping[int, Sequence[int]]
) -> PassVerdict:
    """See `Judge.judge_chords`."""
    return Judge(exercise, conditions).judge_chords(chords)


def judge_realization(
    exercise: Exercise, soundings: Sequence[Sounding], conditions: Conditions
) -> PassVerdict:
    """See `Judge.judge_realization`."""
    return Judge(exercise, conditions).judge_realization(soundings)
