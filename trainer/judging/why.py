"""Why one chord is not what was asked: what would have made it right, the plainest first.

Which causes there are, and their order, is common practice; no source.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property

from trainer.errors import FigureError
from trainer.judging.harmony import HarmonyTable
from trainer.judging.judge import Judge
from trainer.judging.movement_faults import place_in_words
from trainer.judging.verdict import MomentVerdict, Why
from trainer.theory.fault import Fault
from trainer.theory.figures import NOTHING, Way
from trainer.theory.hands import DIVISIONS
from trainer.theory.listed import listed
from trainer.theory.moment import Moment
from trainer.theory.pitch import Pitch, PitchName, pitch_on
from trainer.theory.sonority import Sonority, sonority
from trainer.theory.voicing import VOICES, VoiceName

_STEPS = {1: "a step", 2: "a third"}


@dataclass(frozen=True, slots=True)
class Reason:
    """The sentence with its place, what to do about it (may be empty), the voices that went wrong
    by it."""

    kind: Why
    text: str
    remedy: str
    voices: frozenset[VoiceName]

    def brings(self, fault: Fault) -> bool:
        """Whether a fault of movement, position or doubling at that moment follows from it."""
        return not fault.voices or not self.voices.isdisjoint(fault.voices)


@dataclass(frozen=True)
class WrongChord:
    """A chord that is not what was asked, and the one played before it."""

    judge: Judge
    heard: MomentVerdict
    before: MomentVerdict | None

    @cached_property
    def moment(self) -> Moment:
        return self.judge.moments[self.heard.index]

    @cached_property
    def sonority(self) -> Sonority:
        return self.judge.sonorities[self.heard.index]

    @cached_property
    def keys(self) -> tuple[int, ...]:
        """MIDI note numbers from the bass up, what the program played and what is held from before
        included."""
        return tuple(self.judge.sounding(self.heard.index, self._own))

    def why(self) -> Reason | None:
        """The plainest cause, if there is one."""
        if not self.heard.keys or self.sonority.bass is None:
            return None
        ways = (
            self._alone,
            self._held_on,
            self._accidental_forgotten,
            self._figure_not_read,
            self._finger_beside,
            self._bass_misread,
            self._shifted,
        )
        return next((why for way in ways if (why := way()) is not None), None)

    # ---- what each cause would have looked like ----------------------------------------------

    def _alone(self) -> Reason | None:
        """Only what is written was played: no chord."""
        if self.heard.outcome == "wrong-bass" or self.sonority.way is not Way.FIGURES:
            return None
        sounding = {key % 12 for key in self.keys}
        if self.moment.bass is None:
            return None
        bass = {self.moment.bass.midi % 12}
        melody = set() if self.moment.melody is None else {self.moment.melody.midi % 12}
        if sounding not in (bass, bass | melody):
            return None
        said = "only the bass was played"
        if sounding != bass:
            said = "only bass and melody were played, nothing between them"
        return self._said("bass-alone", said, self._asked())

    def _held_on(self) -> Reason | None:
        """The fingers lay on the chord before, none struck."""
        before = self.before
        if before is None or before.outcome == "not-played" or self.heard.attack is not None:
            return None
        if not set(self.heard.keys) <= set(before.keys) or len(self.heard.keys) < 2:
            return None
        return self._said("held-on", "the chord before was not left", self._asked())

    def _accidental_forgotten(self) -> Reason | None:
        """One key as the signature has it, where another is asked; everything else right."""
        for key, wanted in self._put_right:
            plain = PitchName(wanted.name.step, self.moment.key.alter(wanted.name.step))
            if plain != wanted.name and plain.pitch_class == key % 12:
                said = f"{wanted.name.spoken} is asked, not {plain.spoken}"
                remedy = self._accidental(wanted.name)
                return self._said("accidental-forgotten", said, remedy, key)
        return None

    def _finger_beside(self) -> Reason | None:
        """One key beside the right one, everything else right."""
        for key, wanted in self._put_right:
            name = self.sonority.spell(key).name
            same = name.step == wanted.name.step and name.alter == 0
            played = f"{name.spoken} natural" if same else name.spoken
            far = "a semitone" if abs(wanted.midi - key) == 1 else "a step"
            side = "above" if key > wanted.midi else "below"
            said = f"one finger {far} {side} its key, {played} for {wanted.name.spoken}"
            return self._said("finger-beside", said, "", key)
        return None

    @cached_property
    def _put_right(self) -> tuple[tuple[int, Pitch], ...]:
        """Keys that were struck, each with the note beside it that would have made the chord right;
        from the highest down, the nearest first."""
        return tuple(
            (key, wanted)
            for key in reversed(self._own)
            for wanted in (self._named(key + away) for away in (-1, 1, -2, 2, -3, 3))
            if (wanted.name.step - self.sonority.spell(key).name.step) % 7 in (0, 1, 6)
            and self._right(sorted(k if k != key else wanted.midi for k in self.keys))
        )

    def _figure_not_read(self) -> Reason | None:
        """A plain triad under a figure."""
        moment, bass = self.moment, self.moment.bass
        if bass is None or moment.figuring == NOTHING or self.heard.outcome == "wrong-bass":
            return None
        plain = sonority(bass, NOTHING, moment.key, self._melody)
        if not self._whole(self._table(replace(moment, figuring=NOTHING), plain), self.keys):
            return None
        said = f"a plain triad, where {moment.figuring} stands"
        return self._said("figure-not-read", said, self._asked())

    def _bass_misread(self) -> Reason | None:
        """The figures realized over another bass note, a line or two away."""
        moment, written = self.moment, self.moment.bass
        if self.heard.outcome != "wrong-bass" or written is None or len(self.keys) < 3:
            return None
        for step in (1, -1, 2, -2):
            height = (written.name.step + step) % 7
            name = PitchName(height, moment.key.alter(height))
            if name.pitch_class != self.keys[0] % 12:
                continue
            bass = pitch_on(name, self.keys[0])
            try:
                over = sonority(bass, moment.figuring, moment.key)
            except FigureError:
                continue
            table = self._table(replace(moment, bass=bass, melody=None), over)
            if not self._whole(table, self.keys):
                continue
            side = "high" if step > 0 else "low"
            said = (
                f"the bass was read {_STEPS[abs(step)]} too {side}: "
                f"{name.spoken} for {written.name.spoken}, and the chord is right over it"
            )
            return self._said("bass-misread", said, "")
        return None

    def _shifted(self) -> Reason | None:
        """A hand, or all of it that the player has, a step or a third beside its place."""
        for hand, keys in self._hands:
            if len(keys) < 2:
                continue
            for step in (-1, 1, -2, 2):
                moved = {self._along(key, step) for key in keys}
                rest = [key for key in self.keys if key not in keys]
                if not self._right(sorted({*rest, *moved})):
                    continue
                side = "high" if step < 0 else "low"
                said = f"the {hand} hand lay {_STEPS[abs(step)]} too {side}"
                return self._said("hand-shifted", said, "")
        return None

    # ---- helps --------------------------------------------------------------------------------

    @cached_property
    def _own(self) -> tuple[int, ...]:
        """The keys under the fingers, from the bass up."""
        return tuple(sorted(self.heard.keys))

    @cached_property
    def _hands(self) -> tuple[tuple[str, tuple[int, ...]], ...]:
        """The keys of each hand, as the voices are divided. The bass is read, not shifted."""
        division = DIVISIONS[self.judge.conditions.hands]
        voicing = self.heard.voicing
        if voicing is None:
            return ()
        by_voice = {v: p.midi for v, p in zip(VOICES, voicing, strict=True) if p is not None}

        def of(voices: Sequence[str]) -> tuple[int, ...]:
            mine = {key for voice, key in by_voice.items() if voice in voices}
            return tuple(key for key in self._own if key in mine)

        return (("right", of(division.right)), ("left", of(division.left)))

    @property
    def _melody(self) -> Pitch | None:
        return self.moment.melody if "soprano" in self.judge.given else None

    @cached_property
    def _asked_table(self) -> HarmonyTable:
        return self._table(self.moment, self.sonority)

    def _table(self, moment: Moment, sounds: Sonority) -> HarmonyTable:
        return HarmonyTable(moment, sounds, "soprano" in self.judge.given)

    def _right(self, keys: Sequence[int]) -> bool:
        return self._whole(self._asked_table, keys)

    def _whole(self, table: HarmonyTable, keys: Sequence[int]) -> bool:
        """Whether the chord would be whole, nothing added to what is written."""
        found = table.judge(keys, "melody" in self.judge.conditions.supply)
        return found.outcome == "complete" and not found.additions

    def _named(self, key: int) -> Pitch:
        for given in (self.moment.bass, self._melody):
            if given is not None and given.midi % 12 == key % 12:
                return pitch_on(given.name, key)
        return self.sonority.spell(key)

    def _accidental(self, name: PitchName) -> str:
        """Where it stands written that a note is not as the signature has it."""
        bass = self.sonority.bass
        over = None if bass is None else (name.step - bass.name.step) % 7
        if any(f.sign is not None and f.letters == over for f in self.moment.figuring.figures):
            return "Read the accidental in the figures."
        given = (("bass", self.moment.bass), ("melody", self._melody))
        voices = [voice for voice, pitch in given if pitch is not None and pitch.name == name]
        return f"What stands in the {voices[0]} holds for it too." if voices else ""

    def _along(self, key: int, step: int) -> int:
        """The key so many steps of the scale from one, as the chord that is asked has it."""
        letter = (self.sonority.spell(key).name.step + step) % 7
        members = {m.name.step: m.name for m in self.sonority.members}
        name = members.get(letter, PitchName(letter, self.moment.key.alter(letter)))
        near = key + (2 if abs(step) == 1 else 4) * (1 if step > 0 else -1)
        return near + (name.pitch_class - near + 6) % 12 - 6

    def _asked(self) -> str:
        """`Over e stand g and c.`"""
        bass, whole = self.sonority.bass, self.sonority.completions
        if bass is None or not whole:
            return ""
        by_number = self.sonority.by_number
        names = [
            by_number[n].name.spoken
            for n in dict.fromkeys(whole[0])
            if n in by_number and by_number[n].name != bass.name
        ]
        if not names:
            return ""
        return (
            f"Over {bass.name.spoken} {'stands' if len(names) == 1 else 'stand'} {listed(names)}."
        )

    def _said(self, kind: Why, said: str, remedy: str, wrong: int | None = None) -> Reason:
        """`wrong` is the key that is, where not the whole chord is."""
        place = place_in_words(self.moment.bar, self.moment.beat)
        voicing = self.heard.voicing
        voices = frozenset(
            voice
            for voice, pitch in zip(VOICES, voicing or (None,) * 4, strict=True)
            if wrong is None or (pitch is not None and pitch.midi == wrong)
        )
        return Reason(kind, f"{place}: {said}.", remedy, voices)
