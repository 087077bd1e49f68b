"""Four-part chorales from music21's corpus as our values, with figures a continuo player would
write over their basses.

Source of the music: `music21.corpus.chorales.Iterator`. Its files are read here as what they are,
MusicXML, in a tenth of the time music21 takes over them; test_chorales.py holds some of them
against music21's own reading. The figures are derived here by hand-made rules that know nothing
of the completion table under test.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Iterator
from dataclasses import dataclass, replace
from fractions import Fraction
from pathlib import Path
from typing import Any
from zipfile import ZipFile

from lxml import etree
from music21 import converter, corpus

from trainer.score.exercise import Exercise, Note
from trainer.theory.figures import Figuring, Way
from trainer.theory.key import Key
from trainer.theory.moment import Metre
from trainer.theory.pitch import Pitch, PitchName
from trainer.theory.voicing import VOICES, Sounding, Voicing

SIGNS = {-2: "bb", -1: "b", 0: "n", 1: "#", 2: "##"}

# letters over the bass -> what is written; what is not here is written out whole
SHORT = {
    frozenset({3, 5, 1}): "",
    frozenset({3, 5}): "",
    frozenset({3, 1}): "",
    frozenset({3}): "",
    frozenset({3, 6, 1}): "6",
    frozenset({3, 6}): "6",
    frozenset({3, 5, 6}): "6 5",
    frozenset({3, 4, 6}): "4 3",
    frozenset({2, 4, 6}): "4 2",
    frozenset({4, 6, 1}): "6 4",
    frozenset({4, 6}): "6 4",
    frozenset({3, 5, 7}): "7",
    frozenset({3, 7, 1}): "7",
    frozenset({3, 7}): "7",
    frozenset({4, 5, 1}): "4",
    frozenset({4, 5}): "4",
    frozenset({2, 5}): "5 2",
    frozenset({2, 4, 7}): "7 4 2",
    frozenset({2, 5, 7}): "7 5 2",
    frozenset({4, 5, 7}): "7 5 4",
}
# the same with the second letter as a ninth, where an upper voice suspends it
NINTHS = {
    frozenset({2, 3, 5}): "9",
    frozenset({2, 3}): "9",
    frozenset({2, 3, 7}): "9 7",
    frozenset({2, 4, 5}): "9 4",
    frozenset({2, 3, 6}): "9 6",
}


@dataclass(frozen=True)
class Chorale:
    name: str
    exercise: Exercise
    soundings: tuple[Sounding, ...]


def chorales(count: int) -> Iterator[Chorale]:
    """The first `count` chorales that have four voices from beginning to end."""
    found = 0
    for path in chorale_files():
        chorale = chorale_in(path)
        if chorale is not None:
            yield chorale
            found += 1
        if found == count:
            return


def chorale_files() -> Iterator[Path]:
    """The chorales' files in music21's own order."""
    for name in corpus.chorales.Iterator(returnType="filename"):
        found = corpus.getWork(name)
        yield Path(found[0] if isinstance(found, list) else found)


def chorale_in(path: Path) -> Chorale | None:
    """The chorale in a file of the corpus; three of them are no MusicXML, and read by music21."""
    if path.suffix == ".krn":
        return chorale_of(converter.parse(path))
    parts = _musicxml(path).findall("part")
    sharps = next((part.findtext(".//key/fifths") for part in parts[:1]), None)
    return _chorale(path.stem, [_read(part) for part in parts], sharps and int(sharps))


def chorale_of(score: Any) -> Chorale | None:
    """The chorale as music21 reads it."""
    parts = list(score.parts)
    signature = next(iter(parts[0].recurse().getElementsByClass("KeySignature")), None)
    name = str(score.metadata.title or score.metadata.corpusFilePath or "")
    return _chorale(name, [_voice(part) for part in parts], signature and signature.sharps)


def _chorale(name: str, voices: list[tuple[Note, ...]], sharps: int | None) -> Chorale | None:
    if len(voices) != 4 or sharps is None or not all(voices):
        return None
    end = min(voice[-1].end for voice in voices)
    voices = [tuple(n for n in voice if n.end <= end) for voice in voices]
    if any(voice[-1].end != end for voice in voices):
        return None
    soprano, alto, tenor, bass = voices
    last = next(n.pitch for n in reversed(bass) if n.pitch is not None)
    assert last is not None
    key = _key(last.name, sharps)
    soundings = _soundings(tuple(voices))
    bare = Exercise(
        "chorale",
        name,
        bass,
        (),
        ((Fraction(0), key),),
        ((Fraction(0), Metre(4, 4)),),
        60.0,
        soprano,
        alto,
        tenor,
    )
    figures = _figures(bass, soundings, key)
    exercise = Exercise(
        "chorale", name, bass, figures, bare.keys, bare.metres, 60.0, soprano, alto, tenor
    )
    # soundings know their moment: the last one at or before them
    onsets = [moment.onset for moment in exercise.moments]
    placed = tuple(
        Sounding(s.onset, bisect_right(onsets, s.onset) - 1, s.voicing, s.struck) for s in soundings
    )
    return Chorale(name, exercise, placed)


def _key(final: PitchName, signature: int) -> Key:
    for mode in ("major", "minor", "dorian", "mixolydian", "phrygian", "lydian"):
        if Key.of(PitchName(0), "major").signature == 0 and _signature(final, mode) == signature:
            return Key(final, mode, signature)
    return Key(final, "major", signature)


def _signature(final: PitchName, mode: str) -> int:
    return (
        final.fifths
        + {
            "major": 0,
            "minor": -3,
            "dorian": -2,
            "mixolydian": -1,
            "phrygian": -4,
            "lydian": 1,
        }[mode]
    )


def _musicxml(path: Path) -> Any:
    """The root of a MusicXML file, packed (`container.xml` says where it is) or plain."""
    if path.suffix != ".mxl":
        return etree.parse(str(path)).getroot()
    with ZipFile(path) as packed:
        container = etree.fromstring(packed.read("META-INF/container.xml"))
        return etree.fromstring(packed.read(container.find(".//{*}rootfile").get("full-path")))


def _read(part: Any) -> tuple[Note, ...]:
    """The notes and rests of a MusicXML part; nothing where they are not one after the other."""
    notes: list[Note] = []
    at, divisions = Fraction(0), 1
    for element in part.iterfind("measure/*"):
        if element.tag == "attributes":
            divisions = int(element.findtext("divisions") or divisions)
        length = Fraction(int(element.findtext("duration") or 0), divisions)
        if element.tag in ("backup", "forward"):
            at += length if element.tag == "forward" else -length
        if element.tag != "note" or element.find("grace") is not None:
            continue
        pitch = None
        if (written := element.find("pitch")) is not None:
            step, octave = written.findtext("step"), int(written.findtext("octave"))
            pitch = Pitch("CDEFGAB".index(step), int(written.findtext("alter") or 0), octave)
        tied = any(tie.get("type") == "stop" for tie in element.iterfind("tie"))
        fermata = element.find("notations/fermata") is not None
        if element.find("chord") is not None:  # divided: the last one written is sung
            notes[-1] = replace(notes[-1], pitch=pitch)
            continue
        onset = at.limit_denominator(96)
        notes.append(
            Note(onset, length.limit_denominator(96), pitch, tied and bool(notes), fermata)
        )
        at += length
    notes.sort(key=lambda note: note.onset)
    ends = [Fraction(0), *(note.end for note in notes)]
    return () if any(n.onset != end for n, end in zip(notes, ends, strict=False)) else tuple(notes)


def _voice(part: Any) -> tuple[Note, ...]:
    """The same of a part as music21 reads it."""
    notes: list[Note] = []
    for element in part.flatten().notesAndRests:
        if element.duration.isGrace or not element.duration.quarterLength:
            continue
        onset = Fraction(element.offset).limit_denominator(96)
        length = Fraction(element.duration.quarterLength).limit_denominator(96)
        pitch = None
        if not element.isRest:
            sounding = element.pitch if element.isNote else element.pitches[-1]
            alter = int(sounding.accidental.alter) if sounding.accidental else 0
            pitch = Pitch("CDEFGAB".index(sounding.step), alter, sounding.octave)
        tied = element.tie is not None and element.tie.type in ("stop", "continue")
        fermata = any("Fermata" in e.classes for e in element.expressions)
        if notes and onset != notes[-1].end:
            return ()
        notes.append(Note(onset, length, pitch, tied and bool(notes), fermata))
    if notes and notes[0].onset != 0:
        return ()
    return tuple(notes)


def _soundings(voices: tuple[tuple[Note, ...], ...]) -> tuple[Sounding, ...]:
    onsets = sorted({n.onset for voice in voices for n in voice if not n.tied})
    starts = [[n.onset for n in voice] for voice in voices]
    found = []
    for onset in onsets:
        now = [v[bisect_right(s, onset) - 1] for v, s in zip(voices, starts, strict=True)]
        struck = frozenset(
            name for name, n in zip(VOICES, now, strict=True) if n.onset == onset and not n.tied
        )
        found.append(Sounding(onset, 0, Voicing(*(n.pitch for n in now)), struck))
    return tuple(found)


def _figures(
    bass: tuple[Note, ...], soundings: tuple[Sounding, ...], key: Key
) -> tuple[tuple[Fraction, Figuring], ...]:
    at = {s.onset: i for i, s in enumerate(soundings)}
    written = []
    struck = [n for n in bass if not n.tied and n.pitch is not None]
    for number, note in enumerate(struck):
        index = at[note.onset]
        here = soundings[index]
        before = struck[number - 1] if number else None
        if before is not None and index and _only_bass_moves(soundings, index):
            written.append((note.onset, Figuring((), Way.EXTENDED)))
            continue
        figuring = Figuring.parse(figures_for(here.voicing, soundings[index - 1].voicing, key))
        if figuring.figures:
            written.append((note.onset, figuring))
    return tuple(written)


def _only_bass_moves(soundings: tuple[Sounding, ...], index: int) -> bool:
    """A short bass note under voices that lie, reached by step: an extender line."""
    here, before = soundings[index], soundings[index - 1]
    bass, last = here.voicing.bass, before.voicing.bass
    return (
        here.struck == {"bass"}
        and here.onset % 1 != 0
        and bass is not None
        and last is not None
        and abs(bass.height - last.height) == 1
    )


def figures_for(voicing: Voicing, before: Voicing, key: Key) -> str:
    """What a player writes over this bass for these voices, highest figure first."""
    bass = voicing.bass
    assert bass is not None
    names = {p.name for p in tuple(voicing)[:3] if p is not None}
    numbers = {(name.step - bass.step) % 7 + 1: name for name in names}
    second = [p for p in tuple(voicing)[:3] if p is not None and numbers.get(2) == p.name]
    suspended = any(p in tuple(before)[:3] for p in second) and before.bass != bass
    letters = frozenset(numbers)
    table = NINTHS if suspended and letters in NINTHS else SHORT
    if letters - {1} in NINTHS and suspended:
        letters = letters - {1}
    whole = " ".join(str(8 if n == 1 else n) for n in sorted(letters, reverse=True))
    if letters not in table and 2 in letters and 3 in letters:
        whole = whole.replace("2", "9")
    words = dict.fromkeys(table.get(letters, whole).split())
    signed = {}
    for number, name in numbers.items():
        usual = bass.alter if number == 1 else key.alter(name.step)
        if name.alter != usual:
            signed[number] = SIGNS[name.alter]
    written = []
    for word in [*words]:
        number = (int(word) - 1) % 7 + 1
        written.append((int(word), signed.pop(number, "") + word))
    for number, sign in signed.items():
        written.append((number, sign if number == 3 else f"{sign}{number}"))
    return " ".join(text for _, text in sorted(written, key=lambda w: -w[0]))
