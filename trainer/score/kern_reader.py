"""The reader of the native file: line by line, strict, so that authors learn the line to mend."""

from __future__ import annotations

import difflib
import re
from dataclasses import dataclass, field
from fractions import Fraction
from pathlib import Path

from trainer.errors import ExerciseError
from trainer.score.exercise import Exercise, Note
from trainer.score.kern_tokens import (
    read_figuring,
    read_key,
    read_metre,
    read_note,
    read_signature,
    shown,
)
from trainer.theory.figures import Figuring
from trainer.theory.key import Key
from trainer.theory.moment import Metre

_ORDERS = {
    1: ("bass",),
    2: ("bass", "melody"),
    3: ("bass", "tenor", "alto"),
    4: ("bass", "tenor", "alto", "melody"),
}
_CODES = {"*Ibass": "bass", "*Itenor": "tenor", "*Ialto": "alto", "*Isoprn": "melody"}
_RECORDS = ("OTL", "id", "tune", "level", "tags", "struck-5", "commentary")
_STANDARD = re.compile(r"[A-Z]{3}\d*(@+[A-Z]+)?")  # Humdrum's own reference records
_RECORD = re.compile(r"!!!([^:\s]+):(.*)")
_BAR = re.compile(r"=(\d{1,4})(-|\|\|)?")
_TEMPO = re.compile(r"\*MM(\d{1,4}(?:\.\d+)?)")


@dataclass
class _Voice:
    name: str
    notes: list[Note] = field(default_factory=list)
    end: Fraction = Fraction(0)
    tie: bool = False  # the last note is tied on


class LineReader:
    """Takes the lines in turn, then gives the exercise; errors carry no place of their own."""

    def __init__(self, file: str) -> None:
        self._file = file
        self._records: dict[str, list[str]] = {}
        self._voices: list[_Voice] = []
        self._figures: list[tuple[Fraction, Figuring]] = []
        self._keys: dict[Fraction, Key] = {}
        self._metres: dict[Fraction, Metre] = {}
        self._signature: int | None = None
        self._tempo: Fraction | None = None
        self._waiting: list[Figuring | None] = []  # figures of lines on which no voice begins
        self._begun = Fraction(0)  # where a voice last began
        self._bar: int | None = None  # the number of the bar we are in, None in a pick-up
        self._bar_start = Fraction(0)
        self._short: ExerciseError | None = None  # a bar too short, unless a metre change follows
        self._pickup = Fraction(0)
        self._closed = False  # final barline seen
        self._ended = False  # `*-` seen

    def read_line(self, number: int, line: str) -> None:
        """One line of the file, without its line end; raises ExerciseError."""
        if not line.strip():
            return
        if line.startswith("!!!"):
            self._record(line)
        elif not line.startswith("!"):
            self._row(line.split("\t"), number)

    def exercise(self, identity: str) -> Exercise:
        """What was read; raises ExerciseError if something is missing at the end."""
        if not self._voices:
            raise self._incomplete("there are no spines", "begin with **kern and **fb")
        if not self._closed:
            raise self._incomplete("the final barline is missing", "write == in every spine")
        if not self._ended:
            raise self._incomplete("the spines are not ended", "write *- in every spine")
        if self._tempo is None:
            raise self._incomplete("there is no tempo", "write a line of *MM72 or the like")
        if self._voices[0].end == 0:
            raise self._incomplete("there are no notes", "write at least one bar")
        voices = {voice.name: tuple(voice.notes) for voice in self._voices}
        metre = self._metres[Fraction(0)]
        return Exercise(
            id=identity or self._one("id") or Path(self._file).stem,
            title=self._one("OTL"),
            bass=voices["bass"],
            figures=tuple(self._figures),
            keys=tuple(sorted(self._keys.items(), key=lambda item: item[0])),
            metres=tuple(sorted(self._metres.items(), key=lambda item: item[0])),
            tempo=float(self._tempo / metre.beat_length),
            melody=voices.get("melody", ()),
            alto=voices.get("alto", ()),
            tenor=voices.get("tenor", ()),
            pickup=self._pickup,
            level=int(self._one("level") or 0),
            tags=tuple(tag.strip() for tag in self._one("tags").split(",") if tag.strip()),
            tune=self._one("tune"),
            commentary=tuple(self._records.get("commentary", ())),
            struck_five_is_diminished=bool(self._one("struck-5")),
            source=self._file,
        )

    def _incomplete(self, what: str, remedy: str) -> ExerciseError:
        return ExerciseError(what, file=self._file, remedy=remedy)

    def _one(self, name: str) -> str:
        return self._records.get(name, [""])[0]

    def _record(self, line: str) -> None:
        match = _RECORD.fullmatch(line)
        if match is None:
            raise ExerciseError(
                f"{shown(line)} is not a reference record", remedy="write !!!NAME: text"
            )
        name, text = match[1], match[2].strip()
        if name not in _RECORDS:
            if _STANDARD.fullmatch(name):
                return
            near = difflib.get_close_matches(name, _RECORDS, 1)
            raise ExerciseError(
                f"there is no record {shown(name)}",
                remedy=f"did you mean !!!{near[0]}" if near else f"use {', '.join(_RECORDS)}",
            )
        if not text or not text.isprintable():
            raise ExerciseError(f"the record !!!{name} is {'no plain text' if text else 'empty'}")
        if name in self._records and name != "commentary":
            raise ExerciseError(f"the record !!!{name} stands twice")
        if name == "level" and not (text.isdecimal() and text.isascii() and 0 <= int(text) <= 24):
            raise ExerciseError(f"{shown(text)} is not a level", remedy="levels go from 1 to 24")
        if name == "struck-5" and text != "diminished":
            raise ExerciseError(
                f"{shown(text)} is not a reading of the struck 5", remedy="write diminished"
            )
        self._records.setdefault(name, []).append(text)

    def _row(self, words: list[str], number: int) -> None:
        if self._ended:
            raise ExerciseError("there is something after the end of the spines")
        if not self._voices:
            self._begin(words)
            return
        if len(words) != len(self._voices) + 1:
            raise ExerciseError(
                f"{len(words)} spines where there are {len(self._voices) + 1}",
                remedy="separate them by one tab each",
            )
        kinds = {word[:1] if word[:1] in ("*", "=") else "" for word in words}
        if "" in words:
            raise ExerciseError("a spine is empty", remedy="write . for nothing")
        if len(kinds) > 1:
            raise ExerciseError("notes, barlines and interpretations are mixed on one line")
        voices, figures = [words[0], *words[2:]], words[1]
        kind = kinds.pop()
        if kind == "*":
            self._interpretation(voices, figures)
        elif self._closed:
            raise ExerciseError("there is something after the final barline")
        elif kind == "=":
            self._barline(words)
        else:
            self._data(voices, figures)

    def _begin(self, words: list[str]) -> None:
        count = len(words) - 1
        if words != ["**kern", "**fb", *["**kern"] * (count - 1)] or count not in _ORDERS:
            raise ExerciseError(
                "the spines are not those of an exercise",
                remedy="write **kern (bass), **fb, then **kern for melody, or tenor, alto, melody",
            )
        self._voices = [_Voice(name) for name in _ORDERS[count]]

    def _interpretation(self, voices: list[str], figures: str) -> None:
        if "*-" in (*voices, figures):
            if {*voices, figures} != {"*-"}:
                raise ExerciseError("the spines must all end on one line")
            self._ended = True
            return
        if self._closed:
            raise ExerciseError("there is something after the final barline")
        for voice, word in zip(self._voices, voices, strict=True):
            if word in _CODES and _CODES[word] != voice.name:
                raise ExerciseError(
                    f"{word} stands over the spine of the {voice.name}",
                    remedy="order the spines bass, **fb, tenor, alto, melody",
                )
        said = sorted({word for word in (*voices, figures) if not _only_for_the_eye(word)})
        for word in said:
            self._change(word, said)

    def _change(self, word: str, said: list[str]) -> None:
        if len(said) > 1:
            raise ExerciseError(
                f"{' and '.join(map(shown, said[:2]))} contradict each other on one line"
            )
        now = self._next()
        if word.startswith("*k["):
            self._signature = read_signature(word)
            if self._keys:
                key = self._keys.get(now) or self._keys[max(self._keys)]
                self._keys[now] = Key(key.final, key.mode, self._signature)
        elif word.startswith("*MM"):
            self._set_tempo(word, now)
        elif word.startswith("*M"):
            if now != self._bar_start:
                raise ExerciseError("the metre changes inside a bar", remedy="put it at a barline")
            self._metres[now] = read_metre(word)
            self._short = None
        elif ":" in word:
            if self._signature is None:
                raise ExerciseError(f"{word} stands before the key signature, *k[]")
            self._keys[now] = read_key(word, self._signature)
        else:
            raise ExerciseError(
                f"{shown(word)} is not an interpretation of the native file",
                remedy="use *k[], *G:, *M4/4, *MM72, *clef… and *I…",
            )

    def _set_tempo(self, word: str, now: Fraction) -> None:
        match = _TEMPO.fullmatch(word)
        if match is None or not 10 <= Fraction(match[1]) <= 1000:
            raise ExerciseError(f"{shown(word)} is not a tempo", remedy="write one like *MM72")
        if now or self._tempo is not None:
            raise ExerciseError("there can be only one tempo", remedy="give it at the beginning")
        self._tempo = Fraction(match[1])

    def _next(self) -> Fraction:
        """Where the next voice has to begin."""
        return min(voice.end for voice in self._voices)

    def _barline(self, words: list[str]) -> None:
        if len({word.rstrip("-|") for word in words}) > 1:
            raise ExerciseError("the spines have different barlines")
        self._place_figures()
        now = self._next()
        for voice in self._voices:
            if voice.end != now:
                raise ExerciseError(
                    f"the {voice.name} sounds on over the barline",
                    remedy="split the note and tie it",
                )
        self._check_bar(now, words[0])
        if set(words[0]) <= {"=", "|", "!"} and words[0].startswith("=="):
            self._closed = True
            if any(voice.tie for voice in self._voices):
                raise ExerciseError("a tie is left open at the end")
            return
        match = _BAR.fullmatch(words[0])
        if match is None:
            raise ExerciseError(
                f"{shown(words[0])} is not a barline of the native file",
                remedy="write = and the bar's number; repeats are written out",
            )
        expected = 1 if self._bar is None else self._bar + 1
        if int(match[1]) != expected:
            raise ExerciseError(f"this is bar {expected}, not bar {match[1]}")
        if self._bar is None:
            self._pickup = now
        self._bar, self._bar_start = expected, now

    def _check_bar(self, now: Fraction, word: str) -> None:
        length = now - self._bar_start
        if self._bar is not None and length == 0:
            raise ExerciseError(f"bar {self._bar} is empty")
        metre = self._metres[max(self._metres)] if self._metres else None
        if metre is None or not length:
            return
        full = metre.bar_length
        if length > full or (self._bar is None and length == full and not word.startswith("==")):
            what = "the pick-up" if self._bar is None else f"bar {self._bar}"
            raise ExerciseError(
                f"{what} lasts {length} quarter notes, a bar of {metre} {full}",
                remedy="number a full first bar =1" if length == full else "",
            )
        if self._bar is not None and length < full and not word.startswith("=="):
            self._short = ExerciseError(
                f"bar {self._bar} lasts {length} quarter notes, a bar of {metre} {full}"
            )

    def _data(self, words: list[str], figures: str) -> None:
        if self._short is not None:
            raise self._short
        if not self._keys or not self._metres or Fraction(0) not in self._keys:
            missing = "metre, *M4/4 or the like" if self._keys else "key, *k[] and *C: or the like"
            raise ExerciseError(f"the notes begin before the {missing}")
        now = self._next()
        figuring = None if figures == "." else read_figuring(figures)
        if all(word == "." for word in words):
            if now == self._bar_start:
                raise ExerciseError("every voice has ended here", remedy="write a note or a rest")
            self._waiting.append(figuring)
            return
        self._place_figures()
        for voice, word in zip(self._voices, words, strict=True):
            begins = voice.end == now
            if word == "." and begins:
                raise ExerciseError(
                    f"the {voice.name} has ended here", remedy="write a note or a rest"
                )
            if word != "." and not begins:
                raise ExerciseError(
                    f"the {voice.name} begins while its note before still lasts "
                    f"{voice.end - now} quarter notes",
                    remedy="correct a length in this bar",
                )
            if word != ".":
                _add(voice, word)
        self._begun = now
        if figuring is not None:
            self._figures.append((now, figuring))

    def _place_figures(self) -> None:
        """Spread the lines on which no voice begins evenly up to the next beginning."""
        if self._waiting:
            step = (self._next() - self._begun) / (len(self._waiting) + 1)
            for index, figuring in enumerate(self._waiting, 1):
                if figuring is not None:
                    self._figures.append((self._begun + index * step, figuring))
        self._waiting = []


def _only_for_the_eye(word: str) -> bool:
    return word == "*" or word in _CODES or word.startswith(("*clef", "*staff", "*part", '*I"'))


def _add(voice: _Voice, word: str) -> None:
    token = read_note(word)
    before = voice.notes[-1] if voice.notes else None
    if voice.tie and not token.tied_in:
        raise ExerciseError(
            f"the tie of the {voice.name} leads to {word}", remedy="close the tie with ] or _"
        )
    if token.tied_in and (not voice.tie or before is None or before.pitch != token.pitch):
        raise ExerciseError(
            f"{word} closes a tie that no equal note opens", remedy="open it with [ on that note"
        )
    voice.notes.append(Note(voice.end, token.duration, token.pitch, token.tied_in, token.fermata))
    voice.end += token.duration
    voice.tie = token.tied_out
