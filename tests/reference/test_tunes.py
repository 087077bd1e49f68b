"""The traditional tunes of the library, note by note against the corpus that music21 carries.

Source: the sopranos of the four-part chorales in `music21.corpus`, named by their work numbers.
Ours is the tune as a congregation sings it, one note a beat: every note of ours must be among the
notes the corpus sounds in that time, phrase by phrase, transposed by one and the same spelled
interval, and the last note of every phrase must be the corpus's last. Passing notes and ornaments
of the corpus fall away, holds at phrase ends may be longer or shorter.
"""

from __future__ import annotations

from fractions import Fraction
from functools import cache

import pytest

from trainer.resources import exercises_folder
from trainer.score.exercise import Exercise
from trainer.score.kern import read_exercise
from trainer.theory.pitch import Interval, Pitch, transposed

Sung = list[tuple[Fraction, Fraction, Pitch]]  # onset in the phrase, duration, pitch

# tune -> (work in the corpus, pieces of ours)
TUNES: dict[str, tuple[str, str]] = {
    "Old Hundredth": ("bwv326", "old-hundredth old-hundredth-2 old-hundredth-3"),
    "Christus, der ist mein Leben": (
        "bwv281",
        "christus-der-ist-mein-leben christus-der-ist-mein-leben-2",
    ),
    "Freu dich sehr": ("bwv32.6", "freu-dich-sehr freu-dich-sehr-2 freu-dich-sehr-3"),
    "Liebster Jesu": ("bwv373", "liebster-jesu liebster-jesu-2"),
    "Mach's mit mir": ("bwv377", "machs-mit-mir machs-mit-mir-2"),
    "Allein Gott": ("bwv104.6", "allein-gott allein-gott-2"),
    "Vom Himmel hoch": ("bwv248.9-1", "vom-himmel-hoch vom-himmel-hoch-2"),
    "Werde munter": ("bwv154.3", "werde-munter werde-munter-2"),
    "In dulci jubilo": ("bwv368", "in-dulci-jubilo"),
    "Meinen Jesum": ("bwv154.8", "meinen-jesum"),
    "Nun freut euch": ("bwv307", "nun-freut-euch"),
    "Was Gott tut": ("bwv250", "was-gott-tut was-gott-tut-2"),
    "Alle Menschen": ("bwv262", "alle-menschen"),
    "Wie schön leuchtet": ("bwv36.4-2", "wie-schoen-leuchtet"),
    "Lobe den Herren": ("bwv137.5", "lobe-den-herren"),
    "Wachet auf": ("bwv140.7", "wachet-auf"),
    "Wer nur den lieben Gott": ("bwv434", "wer-nur-den-lieben-gott wer-nur-den-lieben-gott-2"),
    "Schmücke dich": ("bwv180.7", "schmuecke-dich"),
    "Gott des Himmels": ("bwv248.53-5", "gott-des-himmels"),
    "Jesus, meine Zuversicht": ("bwv365", "jesus-meine-zuversicht"),
    "Nun ruhen alle Wälder": ("bwv392", "innsbruck innsbruck-2"),
    "Herzliebster Jesu": ("bwv244.3", "herzliebster-jesu"),
    "Ach wie flüchtig": ("bwv26.6", "ach-wie-fluechtig"),
    "Herr Jesu Christ": ("bwv332", "herr-jesu-christ-dich"),
    "Jesu, meine Freude": ("bwv358", "jesu-meine-freude jesu-meine-freude-2"),
    "Nun komm": ("bwv62.6", "nun-komm nun-komm-2"),
    "Nun danket": ("bwv252", "nun-danket nun-danket-2"),
    "Lobt Gott": ("bwv375", "lobt-gott"),
    "Straf mich nicht": ("bwv115.6", "straf-mich-nicht"),
    "Herzlich tut mich verlangen": ("bwv153.5", "herzlich-tut herzlich-tut-phrygian"),
    "Vater unser": ("bwv416", "vater-unser vater-unser-2"),
    "Ein feste Burg": ("bwv302", "ein-feste-burg"),
    "O Gott, du frommer Gott": ("bwv399", "o-gott-du-frommer"),
    "Wo Gott der Herr": ("bwv256", "wo-gott-der-herr"),
    "Christ lag": ("bwv278", "christ-lag"),
    "Psalm 68": ("bwv402", "genevan-68"),
    "Aus tiefer Not": ("bwv38.6", "aus-tiefer-not"),
    "Erhalt uns": ("bwv6.6", "erhalt-uns"),
    "Jesus Christus, unser Heiland": ("bwv363", "jesus-christus-unser-heiland"),
    "Mit Fried und Freud": ("bwv382", "mit-fried-und-freud"),
    "Ach Gott und Herr": ("bwv255", "ach-gott-und-herr"),
    "Uns ist ein Kindlein": ("bwv414", "uns-ist-ein-kindlein"),
    "Das walt Gott": ("bwv290", "das-walt-gott"),
    "Nun lasst uns Gott": ("bwv194.12", "nun-lasst-uns-gott"),
    "Gottes Sohn ist kommen": ("bwv318", "gottes-sohn-ist-kommen"),
    "Wo soll ich fliehen": ("bwv148.6", "wo-soll-ich-fliehen"),
    "Ich dank dir": ("bwv347", "ich-dank-dir-lieber-herre"),
}
PIECES = [(tune, work, piece) for tune, (work, ids) in TUNES.items() for piece in ids.split()]

# where our phrases begin in the corpus's line, in quarter notes, if not at its fermatas: two
# calls that we write as one phrase; strains without a fermata between them
STARTS: dict[str, tuple[int, ...]] = {
    "wie-schoen-leuchtet": (0, 8, 16, 25, 33, 47),
    "lobe-den-herren": (0, 30, 45),
}
# a phrase taken from another setting of the tune in the corpus, in the same key
OTHER = {("herzlich-tut-phrygian", 6): "bwv248.5"}
# written from memory, with nothing to compare them with
FROM_MEMORY = {"dundee", "dundee-2", "es-ist-ein-ros", "es-ist-ein-ros-2"}


@cache
def corpus_line(work: str) -> tuple[Sung, tuple[Fraction, ...]]:
    """The soprano from its first note on, and where its phrases begin."""
    music21 = pytest.importorskip("music21")
    score = music21.corpus.parse(work)
    named = [p for p in score.parts if "opran" in f"{p.partName} {p.id}".lower()]
    line: Sung = []
    starts = [Fraction(0)]
    first: Fraction | None = None
    breathed = False
    for note in (named or list(score.parts))[0].flatten().notes:
        if note.isChord:
            note = note.notes[-1]
        if not note.quarterLength:
            continue
        onset = Fraction(note.offset)
        first = onset if first is None else first
        if breathed and not (note.tie and note.tie.type != "start"):
            starts.append(onset - first)
        pitch = Pitch.parse(note.pitch.nameWithOctave.replace("-", "b").lower())
        line.append((onset - first, Fraction(note.quarterLength), pitch))
        breathed = any("Fermata" in type(e).__name__ for e in note.expressions)
    return line, tuple(starts)


def our_phrases(exercise: Exercise) -> list[Sung]:
    phrases: list[Sung] = [[]]
    start = Fraction(0)
    for note in exercise.melody:
        assert note.pitch is not None
        if note.tied:
            onset, duration, pitch = phrases[-1][-1]
            phrases[-1][-1] = (onset, duration + note.duration, pitch)
        else:
            phrases[-1].append((note.onset - start, note.duration, note.pitch))
        if note.fermata:
            phrases.append([])
            start = note.end
    return [phrase for phrase in phrases if phrase]


def sounding(line: Sung, start: Fraction, end: Fraction) -> list[Pitch]:
    return [pitch for onset, length, pitch in line if onset < end and onset + length > start]


@pytest.mark.parametrize(("tune", "work", "piece"), PIECES, ids=[p for _, _, p in PIECES])
def test_the_tune_is_the_traditional_one(tune: str, work: str, piece: str) -> None:
    exercise = read_exercise(exercises_folder() / f"{piece}.krn")
    line, starts = corpus_line(work)
    starts = tuple(map(Fraction, STARTS.get(piece, ()))) or starts
    phrases = our_phrases(exercise)
    assert len(phrases) == len(starts), f"{tune}: {len(phrases)} phrases, corpus {len(starts)}"
    interval = Interval.between(line[0][2], phrases[0][0][2])
    ends = [*starts[1:], line[-1][0] + line[-1][1]]
    for number, (phrase, start, end) in enumerate(zip(phrases, starts, ends, strict=True), 1):
        source = line
        if (piece, number) in OTHER:
            source, other_starts = corpus_line(OTHER[piece, number])
            start = other_starts[number - 1]
            end = other_starts[number] if number < len(other_starts) else Fraction(10_000)
        there = [(o, d, transposed(p, interval)) for o, d, p in source if start <= o < end]
        for onset, duration, pitch in phrase[:-1]:
            heard = sounding(there, start + onset, start + onset + duration)
            assert pitch in heard, (
                f"{tune}, phrase {number}: {pitch} where {' '.join(map(str, heard))} is sung"
            )
        assert phrase[-1][2] == there[-1][2], f"{tune}, phrase {number} ends on another note"


def test_every_traditional_tune_is_compared_or_said_to_be_from_memory() -> None:
    compared = {piece for _, _, piece in PIECES}
    for path in sorted(exercises_folder().glob("*.krn")):
        if "traditional tune" in read_exercise(path).tags:
            assert path.stem in compared | FROM_MEMORY, path.stem
