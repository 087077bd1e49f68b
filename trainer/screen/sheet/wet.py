"""Notes that are down and not judged yet: written at once, before the ink is dry."""

from __future__ import annotations

from collections.abc import Sequence

from trainer.listening.manuals import keys_at
from trainer.practice.session import Session
from trainer.screen.sheet.board import Written
from trainer.screen.sheet.inked import Inked


def wet_notes(inked: Inked, session: Session) -> tuple[Written, ...]:
    """What has been struck for moments that are still open, and what is being struck now."""
    if session.stage != "playing":
        return ()
    pending = (one for one in session.open if one.index not in inked.verdicts)
    found = (_column(inked, session, one.index, (*one.keys, *one.overheld)) for one in pending)
    return tuple(written for written in found if written is not None)


def _column(inked: Inked, session: Session, index: int, keys: Sequence[int]) -> Written | None:
    sonority = session.judge.sonorities[index]
    moment = session.exercise.moments[index]
    left = list(keys_at(keys))
    for given in (moment.bass, moment.melody):
        if given is not None and given.midi in left:
            left.remove(given.midi)
    if not left:
        return None
    pitches = tuple(sonority.spell(key) for key in left)
    foreign = frozenset(
        pitch
        for pitch in pitches
        if sonority.bass is not None and pitch.midi % 12 not in sonority.belonging_pitch_classes
    )
    return inked.wet(index, pitches, foreign)
