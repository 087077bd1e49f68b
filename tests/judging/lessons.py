"""Short exercises written as one writes them on a slate: a key, figurings, chords bass first."""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction

from trainer.judging.judge import Judge
from trainer.judging.take import Conditions
from trainer.judging.verdict import PassVerdict
from trainer.score.exercise import Exercise, Note
from trainer.theory.figures import NOTHING, Figuring
from trainer.theory.hands import Hands
from trainer.theory.key import Key
from trainer.theory.moment import Metre
from trainer.theory.pitch import Pitch
from trainer.theory.rules import School
from trainer.theory.voicing import Voicing


def lesson(
    key: str,
    bass: str,
    figures: str | Sequence[str],
    melody: str = "",
    fermatas: tuple[int, ...] = (),
) -> Exercise:
    """Quarter notes in 4/4; figurings separated by commas, `-` in a voice is a rest."""

    def voice(words: str) -> tuple[Note, ...]:
        return tuple(
            Note(
                Fraction(i),
                Fraction(1),
                None if word == "-" else Pitch.parse(word),
                fermata=i in fermatas,
            )
            for i, word in enumerate(words.split())
        )

    figurings = figures.split(",") if isinstance(figures, str) else figures
    written = [(Fraction(i), Figuring.parse(text)) for i, text in enumerate(figurings)]
    return Exercise(
        "slate",
        "On the slate",
        voice(bass),
        tuple((at, figuring) for at, figuring in written if figuring != NOTHING),
        ((Fraction(0), Key.parse(key)),),
        ((Fraction(0), Metre(4, 4)),),
        60.0,
        voice(melody),
    )


def marked(
    key: str,
    figures: str,
    *chords: str,
    melody: bool = False,
    school: School = "strict",
    hands: Hands = "1+3",
    fermatas: tuple[int, ...] = (),
) -> PassVerdict:
    """Judge chords, each bass first, as four written voices."""
    voicings = [Voicing.parse(chord) for chord in chords]
    exercise = lesson(
        key,
        " ".join(chord.split()[0] for chord in chords),
        figures,
        " ".join(chord.split()[-1] for chord in chords) if melody else "",
        fermatas,
    )
    judge = Judge(exercise, Conditions(school=school, hands=hands))
    return judge.judge_realization(judge.soundings(dict(enumerate(voicings))))


def rules_broken(verdict: PassVerdict) -> list[str]:
    return [fault.rule for fault in verdict.faults]
