"""The notes of a bar as they stand on paper: which staff, which stem, which accidentals shown."""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from itertools import groupby

from trainer.engraving.note_values import Bar
from trainer.score.exercise import Exercise, Note, Phrase
from trainer.theory.key import Key
from trainer.theory.moment import Moment
from trainer.theory.pitch import Pitch
from trainer.theory.voicing import MIDDLE, UPPER, VOICES, VoiceName

# the outer lines of the two staves and the note between, counted in letters above c0: e4 to f5,
# g2 to a3, c4
TREBLE, BASS, MIDDLE_C = (30, 38), (18, 26), 28


def free_voices(moment: Moment) -> tuple[VoiceName, ...]:
    """The voices that are not given at a moment, highest first: the top too where no melody is, or
    where it rests."""
    return UPPER if moment.melody is None else MIDDLE


@dataclass(frozen=True, slots=True)
class Line:
    """The notes of one voice as they stand on paper, and on which staff each stands."""

    voice: VoiceName
    notes: tuple[Note, ...]
    upper: tuple[bool, ...]


@dataclass(frozen=True, slots=True)
class Piece:
    """The part of a note that falls into one bar."""

    voice: VoiceName
    index: int
    onset: Fraction
    duration: Fraction
    pitch: Pitch | None
    tied_in: bool
    tied_out: bool
    first: bool
    upper: bool
    under: Piece | None = None  # the tenor on the alto's stem

    @property
    def id(self) -> str:
        name = f"{'melody' if self.voice == 'soprano' else self.voice}-{self.index}"
        return (
            name if self.first else f"{name}-from-{self.onset.numerator}-{self.onset.denominator}"
        )


def line_of(voice: VoiceName, notes: tuple[Note, ...], exercise: Exercise) -> Line:
    """Soprano and alto stand on the upper staff, the bass on the lower, the tenor by phrase."""
    if voice != "tenor":
        return Line(voice, notes, (voice != "bass",) * len(notes))
    phrases: list[list[Note]] = []
    begun = 0
    for phrase in exercise.phrases:
        end = exercise.moments[phrase.last].onset + exercise.moments[phrase.last].duration
        phrases.append([note for note in notes[begun:] if note.onset < end])
        begun += len(phrases[-1])
    heights = ([n.pitch.height for n in here if n.pitch is not None] for here in phrases)
    by_phrase = list(_tenor_by_phrase(heights))
    staves = [
        upper for upper, here in zip(by_phrase, phrases, strict=True) for _ in range(len(here))
    ]
    staves += [by_phrase[-1]] * (len(notes) - len(staves))
    return Line(voice, notes, tuple(staves))


def tenor_staves(exercise: Exercise, tenor: Mapping[int, Pitch]) -> tuple[bool, ...]:
    """For each moment whether a tenor that is played stands on the upper staff.

    `tenor` are its notes by now, by moment. Print knows a phrase to its end (`line_of`); of what is
    played the first note of each phrase decides, while it goes on and ever after, so that nothing
    moves that was once written.
    """
    firsts = ([tenor[i].height for i in _within(phrase, tenor)][:1] for phrase in exercise.phrases)
    return tuple(
        upper
        for phrase, upper in zip(exercise.phrases, _tenor_by_phrase(firsts), strict=True)
        for _ in range(phrase.first, phrase.last + 1)
    )


def _within(phrase: Phrase, tenor: Mapping[int, Pitch]) -> Iterator[int]:
    return (index for index in range(phrase.first, phrase.last + 1) if index in tenor)


def _tenor_by_phrase(phrases: Iterable[Sequence[int]]) -> Iterator[bool]:
    """For each phrase, given the heights in its tenor, whether it stands on the upper staff.

    The tenor stands, a whole phrase long, where it needs fewer ledger lines; where it needs as
    many on either, it stays where it was, and begins below. So no voice hops at middle c.
    (Common practice, no source.)
    """
    upper = False
    for heights in phrases:
        above, below = _ledgers(heights, TREBLE), _ledgers(heights, BASS)
        upper = above < below if above != below else upper
        yield upper


def _ledgers(heights: Iterable[int], staff: tuple[int, int]) -> int:
    bottom, top = staff
    return sum(max(0, (bottom - height) // 2, (height - top) // 2) for height in heights)


def pieces_of(line: Line, bar: Bar) -> Iterable[Piece]:
    """What of a voice falls into a bar, tied over the barline where a note is longer."""
    first = bisect_right(line.notes, bar.start, key=lambda note: note.end)
    after = bisect_left(line.notes, bar.end, key=lambda note: note.onset)
    for index, note in enumerate(line.notes[first:after], first):
        start, end = max(note.onset, bar.start), min(note.end, bar.end)
        following = line.notes[index + 1] if index + 1 < len(line.notes) else None
        goes_on = note.end > end or (following is not None and following.tied)
        yield Piece(
            line.voice,
            index,
            start,
            end - start,
            note.pitch,
            tied_in=note.pitch is not None and (note.tied or start > note.onset),
            tied_out=note.pitch is not None and goes_on,
            first=start == note.onset,
            upper=line.upper[index],
        )


def layers_of(pieces: list[Piece]) -> list[list[Piece]]:
    """The pieces of one staff by voice, highest first, alto and tenor on one stem if they can."""
    order: dict[VoiceName, list[Piece]] = {}
    for piece in pieces:
        order.setdefault(piece.voice, []).append(piece)
    order["alto"], order["tenor"] = _on_one_stem(order.get("alto", []), order.get("tenor", []))
    return [order[v] for v in VOICES if order.get(v)]


def _on_one_stem(altos: list[Piece], tenors: list[Piece]) -> tuple[list[Piece], list[Piece]]:
    """Middle voices of one staff that move together share a stem; the rest stand by themselves."""
    waiting = {(piece.onset, piece.duration): piece for piece in tenors if piece.pitch is not None}
    joined = [
        piece
        if piece.pitch is None
        else replace(piece, under=waiting.pop((piece.onset, piece.duration), None))
        for piece in altos
    ]
    alone = [p for p in tenors if p.pitch is None or (p.onset, p.duration) in waiting]
    return joined, alone if any(p.pitch is not None for p in alone) else []


def shown_accidentals(pieces: list[Piece], key: Key) -> frozenset[str]:
    """Ids of the notes of one staff in one bar that need their accidental printed."""
    in_force: dict[int, int] = {}
    shown: set[str] = set()
    for _, group in groupby(sorted(pieces, key=lambda p: p.onset), key=lambda p: p.onset):
        here: dict[int, int] = {}
        for piece in group:
            pitch = piece.pitch
            if pitch is None or piece.tied_in:
                continue
            if in_force.get(pitch.height, key.alter(pitch.step)) != pitch.alter:
                if here.get(pitch.height) != pitch.alter:
                    shown.add(piece.id)
                here[pitch.height] = pitch.alter
        in_force.update(here)
    return frozenset(shown)


def stem_up(piece: Piece) -> bool:
    """Outward for the given voices; alto and tenor turn their backs on the voice they stand by."""
    if piece.voice == "tenor":
        return not piece.upper
    return piece.voice == "soprano"
