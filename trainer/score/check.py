"""Is an exercise fit to be practised? Figures, outer voices, dissonant basses, hands, metadata.

The two given voices are not the player's doing, so their faults are found here, once, and not in
a pass. Rules and weights are those of `trainer.theory.rules` in the strict school; a fault across
a fermata weighs one step less.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from fractions import Fraction

from trainer.errors import FigureError, NoVoicingError
from trainer.score.commentary import strange_braces
from trainer.score.exercise import Exercise, Note, note_at
from trainer.score.transpose import COMPASS
from trainer.theory.dissonance import Passage, treatment
from trainer.theory.fault import WEIGHTS, Finding, Weight
from trainer.theory.figures import Way
from trainer.theory.hands import SPAN, Hands
from trainer.theory.moment import Moment
from trainer.theory.movement import Given, movement_faults
from trainer.theory.pitch import Pitch
from trainer.theory.realize import Solver
from trainer.theory.rules import rule, weight
from trainer.theory.sonority import Sonority, sonorities
from trainer.theory.voicing import VOICES, Sounding, VoiceName, Voicing

_OUTER_RULES = (
    "consecutive-octaves",
    "consecutive-unisons",
    "consecutive-fifths",
    "consecutives-by-contrary-motion",
    "hidden-octave",
    "hidden-fifth",
    "unequal-fifths",
)
_FEW_VOICINGS = 3  # a beginner's moment has at least so many (steps 1 to 12)
_BEGINNER = 12
_TEMPI = (20, 208)  # beats a minute outside of which no hand-beat can be followed


@dataclass(frozen=True, slots=True)
class Remark:
    """One thing found. `subject` groups them: figures, outer voices, bass, voicing, compass,
    solution, metadata. `bar` and `beat` are None for what concerns the whole piece."""

    weight: Weight
    subject: str
    text: str
    bar: int | None = None
    beat: float | None = None

    def __str__(self) -> str:
        place = "" if self.bar is None else f"bar {self.bar} beat {self.beat:g}: "
        return f"{place}{self.weight}: {self.text}"


def check(exercise: Exercise) -> tuple[Remark, ...]:
    """Everything found, gross first, then by place."""
    found = [*_metadata(exercise), *_compass(exercise), *_outer(exercise)]
    try:
        sounds = sonorities(exercise.moments, exercise.struck_five_is_diminished)
    except FigureError as error:
        found.append(Remark("gross", "figures", error.what, error.bar, error.beat))
    else:
        found += _melody(exercise, sounds)
        found += _dissonant_bass(exercise, sounds)
        found += _voicings(exercise)
        found += _solution(exercise, sounds)
    order = {name: number for number, name in enumerate(WEIGHTS)}
    return tuple(
        sorted(found, key=lambda one: (order[one.weight], one.bar or 0, one.beat or 0, one.text))
    )


def _at(moment: Moment, weight: Weight, subject: str, text: str) -> Remark:
    return Remark(weight, subject, text, moment.bar, float(moment.beat))


def _metadata(exercise: Exercise) -> Iterator[Remark]:
    if not exercise.title or exercise.title == exercise.id:
        yield Remark("weak", "metadata", "there is no title (!!!OTL)")
    if not exercise.level:
        yield Remark("weak", "metadata", "there is no step of the course (!!!level)")
    if not exercise.tags:
        yield Remark("remark", "metadata", "there are no tags (!!!tags)")
    if not _TEMPI[0] <= exercise.tempo <= _TEMPI[1]:
        yield Remark("weak", "metadata", f"the tempo {exercise.tempo:g} cannot be followed")
    if not any(note.fermata for note in (*exercise.bass, *exercise.melody)):
        yield Remark("remark", "metadata", "no phrase ends with a fermata")
    if exercise.alto and not exercise.commentary:
        yield Remark("remark", "metadata", "there is a solution but no commentary")
    for paragraph in exercise.commentary:
        for braces in strange_braces(paragraph):
            yield Remark(
                "weak", "metadata", f"{braces} in the commentary is no note such as {{f#}}"
            )


def _compass(exercise: Exercise) -> Iterator[Remark]:
    for name, (low, high) in COMPASS.items():
        voice: tuple[Note, ...] = getattr(exercise, name)
        outside = [n for n in voice if n.pitch is not None and not low <= n.pitch.midi <= high]
        if outside:
            bar, beat = exercise.place(outside[0].onset)
            pitches = ", ".join(dict.fromkeys(str(note.pitch) for note in outside))
            text = f"the {name} leaves its compass: {pitches}"
            yield Remark("weak", "compass", text, bar, float(beat))
    for moment in exercise.moments:
        both = moment.bass is not None and moment.melody is not None
        if both and moment.melody.midi < moment.bass.midi:  # type: ignore[union-attr]
            yield _at(moment, "gross", "compass", "the melody lies below the bass")
    previous: Moment | None = None
    for moment in exercise.moments:
        if moment.bass is None or not moment.bass_struck:
            continue
        if previous is not None and previous.bass is not None and not previous.fermata:
            leap = abs(moment.bass.midi - previous.bass.midi)
            if leap > 12:
                text = f"the bass leaps from {previous.bass} to {moment.bass}"
                yield _at(moment, "weak", "bass", text)
        previous = moment


def _hands(soundings: Sequence[Sounding]) -> Hands:
    """How a written solution lies: in one hand of three voices as long as its upper voices are
    within its reach."""
    upper = [[p.midi for p in tuple(one.voicing)[:3] if p is not None] for one in soundings]
    close = all(max(keys) - min(keys) <= SPAN for keys in upper if keys)
    return "1+3" if close else "2+2"


def _outer(exercise: Exercise) -> Iterator[Remark]:
    """Fifths, octaves and hidden ones between bass and melody, from onset to onset."""
    soundings = _soundings(exercise, {"soprano": exercise.melody, "bass": exercise.bass})
    for finding in movement_faults(soundings, last_chord=len(soundings) - 1):
        if finding.rule in _OUTER_RULES:
            yield from _moved(exercise, soundings, finding, "outer voices")


def _moved(
    exercise: Exercise, soundings: Sequence[Sounding], finding: Finding, subject: str
) -> Iterator[Remark]:
    first, last = (soundings[index] for index in (finding.soundings[0], finding.soundings[-1]))
    breath = first.moment != last.moment and exercise.moments[first.moment].fermata
    heavy = weight(finding.rule, "strict", across_fermata=breath)
    if heavy is None:
        return
    bar, beat = exercise.place(last.onset)
    voices = " and ".join(finding.voices)
    pitches = " ".join(map(str, finding.pitches))
    text = f"{rule(finding.rule).title.lower()}, {voices} ({pitches})"
    yield Remark(heavy, subject, text, bar, float(beat))


def _soundings(
    exercise: Exercise, voices: dict[VoiceName, tuple[Note, ...]]
) -> tuple[Sounding, ...]:
    onsets = sorted({n.onset for v in voices.values() for n in v if not n.tied})
    starts = [moment.onset for moment in exercise.moments]
    found: list[Sounding] = []
    index = 0
    for onset in onsets:
        while index + 1 < len(starts) and starts[index + 1] <= onset:
            index += 1
        pitches: dict[VoiceName, Pitch | None] = {}
        struck: set[VoiceName] = set()
        for name, voice in voices.items():
            note = note_at(voice, onset)
            pitches[name] = None if note is None else note.pitch
            if note is not None and note.onset == onset and not note.tied:
                struck.add(name)
        voicing = Voicing(*(pitches.get(voice) for voice in VOICES))
        found.append(Sounding(onset, index, voicing, frozenset(struck)))
    return tuple(found)


def _melody(exercise: Exercise, sounds: Sequence[Sonority]) -> Iterator[Remark]:
    """Notes of the melody that are neither in the chord nor passing."""
    moments = exercise.moments
    for moment, sonority in zip(moments, sounds, strict=True):
        pitch = moment.melody
        if pitch is None or sonority.bass is None or sonority.way is not Way.FIGURES:
            continue
        names = {*sonority.names, *(member.name for member in sonority.additions)}
        if pitch.name in names:
            continue
        label = f"{pitch} ({sonority.label(pitch)})"
        figures = str(sonority.figuring) or "no figures"
        before, after = _neighbours(exercise, moment.onset)
        in_step = before is None or before.pitch is None or _step(before.pitch, pitch)
        out_step = after is not None and after.pitch is not None and _step(pitch, after.pitch)
        held = not moment.melody_struck or (before is not None and before.pitch == pitch)
        if moment.chord and not moment.melody_struck and out_step:
            text = f"the melody holds {label}, which {figures} over {sonority.bass} does not show"
            yield _at(moment, "weak", "figures", text)
        elif moment.chord and (in_step or held) and out_step:
            text = f"the melody leans on {label} against {figures} over {sonority.bass}"
            yield _at(moment, "weak", "figures", text)
        elif moment.chord:
            text = f"the melody has {label}, which {figures} over {sonority.bass} forbids"
            yield _at(moment, "gross", "figures", text)
        elif not _ornament(before, pitch, after):
            text = f"the melody's {label} is outside the chord and no passing note"
            yield _at(moment, "weak", "figures", text)


def _neighbours(exercise: Exercise, onset: Fraction) -> tuple[Note | None, Note | None]:
    """The struck notes of the melody before and after the one that sounds at `onset`."""
    struck = [note for note in exercise.melody if not note.tied]
    at = max((i for i, note in enumerate(struck) if note.onset <= onset), default=0)
    before = struck[at - 1] if at else None
    after = struck[at + 1] if at + 1 < len(struck) else None
    return before, after


def _step(one: Pitch, other: Pitch) -> bool:
    return abs(one.height - other.height) <= 1


def _ornament(before: Note | None, pitch: Pitch, after: Note | None) -> bool:
    """Passing, neighbouring, anticipating or escaping: one side at least goes by step."""
    sides = [note.pitch for note in (before, after) if note is not None and note.pitch is not None]
    return any(_step(pitch, side) for side in sides)


def _dissonant_bass(exercise: Exercise, sounds: Sequence[Sonority]) -> Iterator[Remark]:
    """Where the bass itself is the dissonance (4 2, 2, 5 2) it is held in or steps, and falls."""
    moments = exercise.moments
    for moment, sonority in zip(moments, sounds, strict=True):
        here = sonority.by_number.get(1)
        if not moment.chord or moment.bass is None or here is None or not here.dissonant:
            continue
        later = [m for m in moments[moment.index + 1 :] if m.bass != moment.bass]
        goal = later[0].bass if later else None
        if goal is None or goal.height != moment.bass.height - 1:
            where = "stops" if goal is None else f"goes to {goal}"
            text = f"the bass {moment.bass} is the dissonance ({moment.figuring}) and must step "
            yield _at(moment, "gross", "bass", f"{text}down, but {where}")
        earlier = [m.bass for m in moments[: moment.index] if m.bass is not None]
        if earlier and not _step(earlier[-1], moment.bass):
            text = f"the dissonant bass {moment.bass} ({moment.figuring}) is reached by leap"
            yield _at(moment, "weak", "bass", text)


def _voicings(exercise: Exercise) -> Iterator[Remark]:
    """Moments without a legal voicing, and for beginners those with hardly any."""
    try:
        solver = Solver(
            exercise.moments, struck_five_is_diminished=exercise.struck_five_is_diminished
        )
        counts = [len(solver.voicings(moment.index)) for moment in exercise.moments]
        solver.best(1)
    except NoVoicingError as error:
        if _playable_in_two_and_two(exercise):
            text = "only two voices in each hand can play this: " + error.what
            yield Remark("weak", "voicing", text, error.bar, error.beat)
        else:
            yield Remark("gross", "voicing", error.what, error.bar, error.beat)
        return
    if 1 <= exercise.level <= _BEGINNER:
        for moment, count in zip(exercise.moments, counts, strict=True):
            if moment.chord and count < _FEW_VOICINGS:
                text = f"only {count} legal voicing{'s' if count > 1 else ''} for a beginner"
                yield _at(moment, "remark", "voicing", text)


def _playable_in_two_and_two(exercise: Exercise) -> bool:
    try:
        solver = Solver(
            exercise.moments,
            hands="2+2",
            struck_five_is_diminished=exercise.struck_five_is_diminished,
        )
        solver.best(1)
    except NoVoicingError:
        return False
    return True


def _solution(exercise: Exercise, sounds: Sequence[Sonority]) -> Iterator[Remark]:
    """The suggested solution is judged as a player's would be, given voices left out."""
    if not (exercise.alto and exercise.tenor and exercise.melody):
        return
    voices: dict[VoiceName, tuple[Note, ...]] = {
        "soprano": exercise.melody,
        "alto": exercise.alto,
        "tenor": exercise.tenor,
        "bass": exercise.bass,
    }
    soundings = _soundings(exercise, voices)
    given: Given = frozenset(("soprano", "bass"))
    passage = Passage(exercise.moments, sounds, soundings)
    for start in passage.chord_starts():
        sounding = soundings[start]
        moment, sonority = exercise.moments[sounding.moment], sounds[sounding.moment]
        yield from _chord(moment, sonority, sounding.voicing)
    findings = (
        *movement_faults(soundings, given, len(soundings) - 1, _hands(soundings)),
        *treatment(passage, given),
    )
    for finding in findings:
        yield from _moved(exercise, soundings, finding, "solution")


def _chord(moment: Moment, sonority: Sonority, voicing: Voicing) -> Iterator[Remark]:
    if sonority.bass is None or sonority.way is not Way.FIGURES:
        return
    names = {pitch.name for pitch in voicing if pitch is not None}
    legal = {*sonority.names, *(member.name for member in sonority.additions)}
    legal |= {moment.melody.name} if moment.melody is not None else set()
    foreign = [pitch for pitch in voicing if pitch is not None and pitch.name not in legal]
    for pitch in foreign:
        text = f"the solution has a foreign {pitch} ({sonority.label(pitch)})"
        yield _at(moment, "gross", "solution", text)
    numbers = {member.number for member in sonority.members if member.name in names}
    if not foreign and not any(reading.bold <= numbers for reading in sonority.readings):
        lacking = min((reading.bold - numbers for reading in sonority.readings), key=len)
        text = f"the solution lacks {' and '.join(map(str, sorted(lacking)))} over the bass"
        yield _at(moment, "gross", "solution", text)
    right = [p.midi for p in (voicing.soprano, voicing.alto, voicing.tenor) if p is not None]
    if right and max(right) - min(right) > 12:
        text = "the solution stretches the right hand beyond an octave"
        yield _at(moment, "weak", "solution", text)
