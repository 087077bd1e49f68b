"""What each moment makes of its members: which must be prepared, which resolve, which rise.

The questions a rule asks of a moment, its neighbours and a member are answered here once for all
voicings, as tables by moment and number; they are the questions of `trainer.theory.dissonance`.
A table looked up at (i, number) concerns the chord in force at moment i, or, where its name says
so, the step from it to the chord that begins at moment i + 1.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from trainer.theory.dissonance import is_suspended_seventh
from trainer.theory.figures import Way
from trainer.theory.hands import Hands, lines
from trainer.theory.moment import Moment
from trainer.theory.sonority import Member, Sonority

Flags = NDArray[np.bool_]

_ONWARD = ("resolves", "closes", "opens", "sixfour", "rises")
_DOUBLED = ("leading", "dissonant", "raised")
_BY_NUMBER = ("prepared", "entered", *_ONWARD, *_DOUBLED)


@dataclass(frozen=True)
class Context:
    """Tables of shape (moments, 8), by number over the bass; column 0 is a voice that rests.

    `prepared`: must have been in its voice. `entered`: had better be, or come by step.
    `resolves`: must step down into the next chord. `closes`: had better. `opens`: had better step
    up. `sixfour`: must step
    down in one voice at least. `rises`: the leading tone, the final following. `leading`,
    `dissonant`, `raised`: not to be doubled.
    Of shape (moments,): `chord`; `placed`, a chord whose doublings and position are looked at;
    `mute`, where the inner voices rest with the bass (`mute_top`: a free top voice too);
    `octaves`, all' unisono; `same`, the next
    chord has the same notes; `closing`, the next begins the final chord; `breath`, a fermata
    stands here; `resolution_breath`, one stands between this chord and the next.
    `sounding`, of shape (moments, 12): the pitch classes of the members. `melody_given` tells
    whether the exercise has a melody, `free_top`, of shape (moments,), where none sounds;
    `listed`, of that shape, how many completions are the table's own. `lines` are the neighbouring
    voices that are both heard as lines.
    """

    prepared: Flags
    entered: Flags
    resolves: Flags
    closes: Flags
    opens: Flags
    sixfour: Flags
    rises: Flags
    leading: Flags
    dissonant: Flags
    raised: Flags
    chord: Flags
    placed: Flags
    mute: Flags
    mute_top: Flags
    octaves: Flags
    same: Flags
    closing: Flags
    breath: Flags
    resolution_breath: Flags
    sounding: Flags
    melody_given: bool
    free_top: Flags
    listed: NDArray[np.int64]
    lines: tuple[tuple[int, int], ...]


def context(moments: Sequence[Moment], sonorities: Sequence[Sonority], hands: Hands) -> Context:
    size = len(moments)
    tables = {name: np.zeros((size, 8), bool) for name in _BY_NUMBER}
    chords = [i for i, moment in enumerate(moments) if moment.chord]
    in_force = np.maximum.accumulate(
        np.where([moment.chord for moment in moments], np.arange(size), 0)
    )
    breath = np.array([moment.fermata for moment in moments], bool)
    resolution_breath = np.zeros(size, bool)
    same = np.zeros(size, bool)
    for number, at in enumerate(chords):
        following = chords[number + 1] if number + 1 < len(chords) else None
        _own(tables, at, moments, sonorities)
        if following is None:
            continue
        resolution_breath[at:following] = breath[at:following].any()
        here, then = sonorities[at], sonorities[following]
        same[at] = here.names == then.names
        if here.way is Way.FIGURES and then.way not in (Way.TASTO_SOLO, Way.UNISON):
            _onward(tables, at, moments[at], moments[following], here, then)
    for name in (*_ONWARD, *_DOUBLED):
        tables[name] = tables[name][in_force]
    chord = np.array([moment.chord for moment in moments], bool)
    ways = [sonority.way for sonority in sonorities]
    placed = chord & np.array([way in (Way.FIGURES, Way.EXTENDED) for way in ways], bool)
    closing = np.zeros(size, bool)
    if placed.any():
        last = int(np.flatnonzero(placed)[-1])
        closing[last - 1 : last] = True
    sounding = np.zeros((size, 12), bool)
    for at, sonority in enumerate(sonorities):
        sounding[at, list(sonority.allowed_pitch_classes)] = True
    free_top = np.array([moment.melody is None for moment in moments], bool)
    silent = np.array([sonority.bass is None for sonority in sonorities], bool)
    return Context(
        **tables,
        chord=chord,
        placed=placed,
        mute=silent & ~chord,
        mute_top=silent & ~chord & free_top,
        octaves=np.array([way is Way.UNISON for way in ways], bool),
        same=same[in_force],
        closing=closing,
        breath=breath,
        resolution_breath=resolution_breath,
        sounding=sounding,
        melody_given=not free_top.all(),
        free_top=free_top,
        lines=lines(hands),
        listed=np.array([sonority.preferred for sonority in sonorities], np.int64),
    )


def _own(
    tables: dict[str, Flags], at: int, moments: Sequence[Moment], sonorities: Sequence[Sonority]
) -> None:
    sonority = sonorities[at]
    earlier = sonorities[at - 1] if at else None
    late = bool(sonority.dissonances) and is_suspended_seventh(moments, at)
    for member in sonority.members:
        tables["leading"][at, member.number] = member.leading
        tables["dissonant"][at, member.number] = member.dissonant and not member.leading
        tables["raised"][at, member.number] = (
            member.raised and not member.leading and not member.dissonant
        )
        if sonority.way is not Way.FIGURES or earlier is None or member.treatment is None:
            continue
        if member.treatment == "suspension" or (member.number == 7 and late):
            tables["prepared"][at, member.number] = _could_prepare(earlier, member)
        elif member.treatment == "chord":
            tables["entered"][at, member.number] = (
                not sonority.dominant_like and member.name not in earlier.names
            )


def _could_prepare(earlier: Sonority, member: Member) -> bool:
    return member.name in earlier.names or any(a.name == member.name for a in earlier.additions)


def _melody_resolves(here: Moment, then: Moment, member: Member) -> bool:
    """Whether the given melody has the member and steps down from it."""
    was, now = here.melody, then.melody
    return (
        was is not None
        and now is not None
        and was.name == member.name
        and now.height == was.height - 1
    )


def _onward(
    tables: dict[str, Flags],
    at: int,
    here: Moment,
    then: Moment,
    sonority: Sonority,
    following: Sonority,
) -> None:
    letters = {member.name.step for member in following.members}
    same_bass = here.bass is not None and then.bass is not None and here.bass.name == then.bass.name
    final = sonority.key.final in following.names
    for member in sonority.members:
        goes_down = (member.name.step - 1) % 7 in letters
        if member.treatment in ("suspension", "chord"):
            tables["resolves"][at, member.number] = goes_down
        elif member.treatment == "free" and member.number == 4:
            tables["opens"][at, 4] = (member.name.step + 1) % 7 in letters
        elif member.treatment == "free":
            tables["closes"][at, member.number] = goes_down
        elif member.treatment == "cadential":
            tables["sixfour"][at, member.number] = (
                same_bass
                and not _melody_resolves(here, then, member)
                and member.number not in following.by_number
                and member.number - 1 in following.by_number
            )
        tables["rises"][at, member.number] = final and member.leading and not member.dissonant
