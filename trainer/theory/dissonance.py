"""How dissonances are prepared and resolved, and leading tones led.

Soundings follow the voices from onset to onset; a dissonance is looked for where a chord begins
and followed in its voice until it goes somewhere.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from trainer.theory import motion
from trainer.theory.fault import Finding
from trainer.theory.figures import Way
from trainer.theory.moment import Moment
from trainer.theory.movement import NOTHING_GIVEN, Given
from trainer.theory.pitch import Pitch
from trainer.theory.sonority import Member, Sonority
from trainer.theory.voicing import VOICES, Sounding, VoiceName, Voicing


@dataclass(frozen=True, slots=True)
class Pending:
    """A note whose way on is bound, before it has gone it: up a step, or down."""

    voice: VoiceName
    pitch: Pitch
    rises: bool


@dataclass(frozen=True, slots=True)
class Passage:
    """Soundings with the moments and sonorities they belong to, by `Sounding.moment`."""

    moments: Sequence[Moment]
    sonorities: Sequence[Sonority]
    soundings: Sequence[Sounding]

    def chord_starts(self) -> Iterator[int]:
        """Indices of the first sounding of each moment that begins a chord."""
        last = -1
        for index, sounding in enumerate(self.soundings):
            if sounding.moment != last:
                last = sounding.moment
                if self.moments[last].chord:
                    yield index


def treatment(passage: Passage, given: Given = NOTHING_GIVEN) -> tuple[Finding, ...]:
    """Faults of preparation and resolution over a whole passage.

    What the exercise itself forbids (no note to prepare from, no note to resolve to) is not the
    player's doing and is not reported; nor is what a given voice does.
    """
    starts = list(passage.chord_starts())
    found: list[Finding] = []
    for number, start in enumerate(starts):
        after = starts[number + 1] if number + 1 < len(starts) else None
        found += preparation(passage, start, given)
        if after is not None:
            found += resolution(passage, start, after, given)
    return tuple(found)


def is_suspended_seventh(moments: Sequence[Moment], index: int) -> bool:
    """Whether a 7 goes on to 6 over its bass: then it is a suspension, not a chord's seventh."""
    here = moments[index]
    numbers = {figure.number for figure in here.figuring.figures}
    if 7 not in numbers or 6 in numbers:
        return False
    for later in moments[index + 1 :]:
        if later.chord:
            following = {figure.number for figure in later.figuring.figures}
            return later.bass == here.bass and 6 in following and 7 not in following
    return False


def preparation(passage: Passage, start: int, given: Given) -> Iterator[Finding]:
    """Suspensions must have been in their voice already; other dissonances better so, or by
    step, unless the chord is like a dominant."""
    sounding = passage.soundings[start]
    sonority = passage.sonorities[sounding.moment]
    if sonority.way is not Way.FIGURES:
        return
    seventh_is_late = is_suspended_seventh(passage.moments, sounding.moment)
    before = passage.soundings[start - 1] if start else None
    earlier = None if before is None else passage.sonorities[before.moment]
    for voice, pitch, member in _dissonant(sonority, sounding.voicing, given):
        suspended = member.treatment == "suspension" or (member.number == 7 and seventh_is_late)
        was = None if before is None else tuple(before.voicing)[voice]
        if suspended:
            if earlier is None or before is None or not _could_prepare(earlier, member):
                continue
            if was is None or was.midi != pitch.midi:
                yield Finding(
                    "unprepared-suspension", (start - 1, start), (VOICES[voice],), (pitch,)
                )
        elif (
            member.treatment == "chord"
            and was is not None
            and abs(was.height - pitch.height) > 1
            and not sonority.dominant_like
            and earlier is not None
            and member.name not in earlier.names
        ):
            yield Finding("dissonance-by-leap", (start - 1, start), (VOICES[voice],), (was, pitch))


def resolution(passage: Passage, start: int, after: int, given: Given) -> Iterator[Finding]:
    """Where the dissonances and the leading tone of the chord at `start` go; `after` is the
    sounding in which the next chord begins."""
    sounding = passage.soundings[start]
    sonority = passage.sonorities[sounding.moment]
    following = passage.sonorities[passage.soundings[after].moment]
    if sonority.way is not Way.FIGURES or following.way in (Way.TASTO_SOLO, Way.UNISON):
        return
    goal = passage.soundings[after]
    for voice, pitch, member in _dissonant(sonority, sounding.voicing, given):
        if member.treatment in ("suspension", "chord"):
            name = _resolved(passage, start, after, voice, pitch)
        elif member.treatment == "free" and member.number == 4:
            name = _opens(goal, following, voice, pitch)
        elif member.treatment == "free":
            name = _closes(sounding, goal, following, voice, pitch)
        else:
            name = _sixfour(passage, sounding, goal, following, member)
        if name:
            yield Finding(name, (start, after), (VOICES[voice],), (pitch,))
            if member.treatment == "cadential":
                break
    yield from _leading_tones(sonority, following, sounding, goal, (start, after), given)


def pending(
    sonority: Sonority, following: Sonority, voicing: Voicing, given: Given = NOTHING_GIVEN
) -> tuple[Pending, ...]:
    """What a chord leaves to be resolved in the next one: of what `resolution` looks at, all that
    the next chord gives a note to go to."""
    if sonority.way is not Way.FIGURES or following.way in (Way.TASTO_SOLO, Way.UNISON):
        return ()
    letters = _letters(following)
    found = []
    for voice, pitch, member in _dissonant(sonority, voicing, given):
        rises = member.treatment == "free" and member.number == 4
        if (pitch.step + (1 if rises else -1)) % 7 in letters:
            found.append(Pending(VOICES[voice], pitch, rises))
    leading = _leading(sonority, following, voicing, given)
    return (*found, *(Pending(VOICES[voice], pitch, rises=True) for voice, pitch in leading))


def _dissonant(
    sonority: Sonority, voicing: Voicing, given: Given
) -> Iterator[tuple[int, Pitch, Member]]:
    """Upper voices not given that have a member with a treatment."""
    for member in sonority.dissonances:
        for voice, pitch in enumerate(tuple(voicing)[:3]):
            if (
                pitch is not None
                and VOICES[voice] not in given
                and pitch.step == member.name.step
                and pitch.alter == member.name.alter
            ):
                yield voice, pitch, member


def _could_prepare(earlier: Sonority, member: Member) -> bool:
    return member.name in earlier.names or any(a.name == member.name for a in earlier.additions)


def _letters(sonority: Sonority) -> set[int]:
    return {member.name.step for member in sonority.members}


def _resolved(passage: Passage, start: int, after: int, voice: int, pitch: Pitch) -> str:
    """The rule a dissonance breaks on its way, or the empty text."""
    fared, voice = _until(passage, start, after, voice, pitch)
    if fared is not None:
        return fared
    goal = passage.soundings[after]
    following = passage.sonorities[goal.moment]
    here = passage.sonorities[passage.soundings[start].moment]
    below = (pitch.step - 1) % 7
    if tuple(goal.voicing)[voice] == pitch or below not in _letters(following):
        return ""  # still there, so that chord's affair; or nowhere to resolve to
    sounding_again = any(n is not None and n.name == pitch.name for n in goal.voicing)
    if sounding_again and here.names == following.names:
        return ""  # a change of position: the dissonance goes on in another voice
    if _taken(passage, after, pitch) or _falls_later(passage, after, voice, pitch):
        return "delayed-resolution"
    return "unresolved-dissonance"


def _taken(passage: Passage, after: int, pitch: Pitch) -> bool:
    """Whether the bass goes where the dissonance should have gone. Under a 9 it is there already:
    that excuses nothing."""
    was, now = (passage.soundings[index].voicing.bass for index in (after - 1, after))
    below = (pitch.step - 1) % 7
    return now is not None and now.step == below and (was is None or was.step != below)


def _until(
    passage: Passage, start: int, after: int, voice: int, pitch: Pitch
) -> tuple[str | None, int]:
    """How a dissonance fared until the next chord began: the rule it broke ("" for none) where it
    has fallen by step, None where it has not; and the voice that has it in the end."""
    late = ""
    for index in range(start + 1, after + 1):
        voices = tuple(passage.soundings[index].voicing)
        now = voices[voice]
        if now is not None and now.height == pitch.height - 1:
            return late, voice
        if now != pitch and index < after:
            voice = next((v for v in range(3) if voices[v] == pitch), voice)
            late = "delayed-resolution"
    return None, voice


def _falls_later(passage: Passage, after: int, voice: int, pitch: Pitch) -> bool:
    """One chord's grace: what comes by the note after that comes by it by chance."""
    goal = passage.soundings[after]
    for later in passage.soundings[after + 1 :]:
        if later.moment != goal.moment and passage.moments[later.moment].chord:
            return False
        note = tuple(later.voicing)[voice]
        if note is not None and note.height == pitch.height - 1:
            return True
    return False


def _closes(
    sounding: Sounding, goal: Sounding, following: Sonority, voice: int, pitch: Pitch
) -> str:
    """A diminished fifth over the bass closes. Going to a perfect one is a fault of its own."""
    now = tuple(goal.voicing)[voice]
    if now is None or now.height in (pitch.height, pitch.height - 1):
        return ""
    bass, bass_after = sounding.voicing.bass, goal.voicing.bass
    if bass is not None and bass_after is not None:
        notes = tuple(map(motion.note, (bass, pitch, bass_after, now)))
        if motion.unequal_fifths(*notes):
            return ""
    return "tritone-astray" if (pitch.step - 1) % 7 in _letters(following) else ""


def _opens(goal: Sounding, following: Sonority, voice: int, pitch: Pitch) -> str:
    """An augmented fourth over the bass opens; an inner one may fall a third, as a leading tone
    may. The leading tone of the key itself has a rule of its own."""
    now = tuple(goal.voicing)[voice]
    way = 0 if now is None else now.height - pitch.height
    if way in (0, 1) or (voice > 0 and way == -2):
        return ""
    return "tritone-astray" if (pitch.step + 1) % 7 in _letters(following) else ""


def _sixfour(
    passage: Passage, sounding: Sounding, goal: Sounding, following: Sonority, member: Member
) -> str:
    """Over the same bass 6 4 goes on to 5 3: 6 to 5 and 4 to 3, in one voice of each at least."""
    numbers = following.by_number
    same_bass = (
        sounding.voicing.bass is not None
        and goal.voicing.bass is not None
        and sounding.voicing.bass.name == goal.voicing.bass.name
    )
    if not same_bass or member.number in numbers or member.number - 1 not in numbers:
        return ""
    for before, after in zip(tuple(sounding.voicing)[:3], tuple(goal.voicing)[:3], strict=True):
        stepped = before and after and after.height == before.height - 1
        if before is not None and before.name == member.name and stepped:
            return ""
    return "unresolved-dissonance"


def _leading_tones(
    sonority: Sonority,
    following: Sonority,
    sounding: Sounding,
    goal: Sounding,
    at: tuple[int, int],
    given: Given,
) -> Iterator[Finding]:
    for voice, pitch in _leading(sonority, following, sounding.voicing, given):
        now = tuple(goal.voicing)[voice]
        if now is None:
            continue
        way = now.height - pitch.height
        inner = voice > 0
        if way in (0, 1) or (inner and way == -2):
            continue
        yield Finding("leading-tone-astray", at, (VOICES[voice],), (pitch, now))


def _leading(
    sonority: Sonority, following: Sonority, voicing: Voicing, given: Given
) -> Iterator[tuple[int, Pitch]]:
    """Upper voices not given that have a leading tone where the final follows."""
    if sonority.key.final not in following.names:
        return
    for member in sonority.members:
        if not member.leading or member.dissonant:
            continue
        for voice, pitch in enumerate(tuple(voicing)[:3]):
            if pitch is not None and VOICES[voice] not in given and pitch.name == member.name:
                yield voice, pitch
