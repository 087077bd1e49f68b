"""From the engraver's MEI to plain lines of events: durations, ties, accidentals, bars, figures.

Source: MEI 5 (measure, staff, layer, note, chord, tuplet, harm, fb, f), as verovio 6 writes it.
"""

from __future__ import annotations

import re
from collections import Counter
from dataclasses import dataclass
from fractions import Fraction
from typing import Any

from lxml import etree

from trainer.errors import ExerciseError, FigureError
from trainer.score.interchange import mei_elements as read
from trainer.score.interchange.bar_order import Bar, counted, ending_numbers, played
from trainer.score.interchange.figure_places import Reach, placed
from trainer.score.interchange.foreign import (
    Event,
    ForeignScore,
    Line,
    WrittenFigure,
    WrittenKey,
)
from trainer.score.interchange.humdrum_source import MARK
from trainer.score.interchange.suspicion import Source
from trainer.theory.figures import NOTHING, Figuring, Way
from trainer.theory.figures_text import from_kern, from_mei
from trainer.theory.key import Key
from trainer.theory.pitch import LETTERS, Interval, Pitch, PitchName, transposed

_ID = "{http://www.w3.org/XML/1998/namespace}id"
_ALTERS = {"s": 1, "f": -1, "n": 0, "ss": 2, "x": 2, "ff": -2, "ns": 1, "nf": -1, "ts": 3, "tf": -3}
_CONTAINERS = ("beam", "tuplet", "ligature", "bTrem", "fTrem", "choice", "app", "rdg", "lem")
_SILENT = ("rest", "space", "mRest", "mSpace", "multiRest")
_C_MAJOR = Key(PitchName(0), "major", 0)


@dataclass
class _Note:
    event: Event
    ids: tuple[str, ...]  # of each pitch in turn


@dataclass
class _Staff:
    name: str = ""
    interval: Interval | None = None  # from written to sounding pitch
    key: Key = _C_MAJOR
    sung: bool = False


def engraved(mei: str, source: Source, *, repeats: bool = True) -> ForeignScore:
    """Read verovio's MEI; `repeats` writes repeated bars out. Raises ExerciseError."""
    parser = etree.XMLParser(resolve_entities=False, no_network=True, huge_tree=True)
    try:
        root = etree.fromstring(mei.encode(), parser)
    except etree.XMLSyntaxError:
        raise ExerciseError("the engraver could make nothing of the score") from None
    for element in root.iter("{*}*"):
        if isinstance(element.tag, str):
            element.tag = etree.QName(element).localname
    score = next(root.iter("score"), None)
    if score is None:
        raise ExerciseError("there is no score in the file")
    return _Reading(score, source).score(repeats)


class _Reading:
    def __init__(self, root: Any, source: Source) -> None:
        self._root = root
        self._source = source
        self._remarks: Counter[str] = Counter()
        self._staves: dict[int, _Staff] = {}
        self._tempo: float | None = None
        self._lines: dict[tuple[int, int], list[_Note]] = {}
        self._figures: list[WrittenFigure] = []
        self._reaches: list[Reach] = []
        self._tied = {read.reference(tie, "endid") for tie in root.iter("tie", "lv")}
        self._fermatas = {read.reference(sign, "startid") for sign in root.iter("fermata")}

    def score(self, repeats: bool) -> ForeignScore:
        """Read all bars in turn."""
        bars = self._bars()
        if not bars:
            raise ExerciseError("there is not one bar in the file")
        order, remark = played(bars, repeats)
        if remark:
            self._remarks[remark] = 1
        keys: list[WrittenKey] = []
        spans: list[tuple[Fraction, Fraction, tuple[int, int]]] = []
        metre = (4, 4)
        mode = ""
        at = Fraction(0)
        for bar in order:
            for staff, (fifths, said) in bar.signatures.items():
                mode = said
                for number, one in self._staves.items():
                    if staff in (0, number):
                        one.key = Key(PitchName(0), "major", fifths)
            metre = bar.metre or metre
            fifths = self._signature()
            if not keys or keys[-1].signature != fifths:
                keys.append(WrittenKey(at, fifths, mode))
            length = self._bar(bar.element, at, metre)
            spans.append((at, length, metre))
            at += length
        metres, pickup = counted(spans)
        lines = self._finished(at)
        if not any(line.pitches for line in lines):
            raise ExerciseError("there is not one note in the score")
        return ForeignScore(
            title=self._source.title,
            lines=lines,
            figures=tuple(placed(self._figures, self._reaches, lines, at)),
            keys=tuple(keys),
            metres=metres,
            tempo=self._tempo,
            pickup=pickup,
            length=at,
            facts=self._source.facts,
            remarks=(
                *self._source.remarks,
                *(f"{text} ({n} times)" if n > 1 else text for text, n in self._remarks.items()),
            ),
        )

    def _signature(self) -> int:
        """The signature of the lowest staff that sounds as written."""
        staves = [staff for _, staff in sorted(self._staves.items()) if staff.interval is None]
        staves = staves or list(self._staves.values())
        return staves[-1].key.signature if staves else 0

    # ── what stands before and between the bars ──────────────────────────────────────────────

    def _bars(self) -> list[Bar]:
        found: list[Bar] = []
        pending = Bar()
        wanted = ("scoreDef", "staffDef", "measure", "tempo", "keySig", "meterSig")
        for element in self._root.iter(*wanted):
            if element.tag == "tempo":
                self._set_tempo(element)
            elif element.tag == "measure":
                above = next(element.iterancestors("ending"), None)
                if above is not None:
                    pending.endings = ending_numbers(above.get("n") or "1")
                pending.element = element
                found.append(pending)
                pending = Bar()
            elif element.tag in ("scoreDef", "staffDef"):
                self._definition(element, pending)
            elif found and next(element.iterancestors("layer"), None) is not None:
                self._inside(element, found[-1])
        return found

    def _definition(self, element: Any, pending: Bar) -> None:
        number = int(element.get("n") or "1") if element.tag == "staffDef" else 0
        if number:
            staff = self._staves.setdefault(number, _Staff())
            staff.name = staff.name or read.label(element)
            diatonic, chromatic = element.get("trans.diat"), element.get("trans.semi")
            if diatonic or chromatic:
                staff.interval = Interval(
                    int(read.number(diatonic) or 0), int(read.number(chromatic) or 0)
                )
        bpm = read.number(element.get("midi.bpm"))
        if bpm is not None and self._tempo is None and 10 <= bpm <= 1000:
            self._tempo = bpm
        signature = read.signature(element)
        if signature is not None:
            if number == 0:
                pending.signatures.clear()
            pending.signatures[number] = signature
        pending.metre = read.metre(element) or pending.metre

    def _inside(self, element: Any, bar: Bar) -> None:
        """A signature written inside a bar: it is taken as standing at the bar's beginning."""
        staff = next(element.iterancestors("staff"), None)
        if element.tag == "keySig" and staff is not None:
            signature = read.signature(element)
            if signature is not None:
                bar.signatures[int(staff.get("n") or "1")] = signature
        elif element.tag == "meterSig":
            bar.metre = read.metre(element) or bar.metre

    def _set_tempo(self, element: Any) -> None:
        bpm = read.number(element.get("midi.bpm"))
        unit = element.get("mm.unit", "4")
        if bpm is None and unit.isdecimal() and int(unit):
            dots = int(read.number(element.get("mm.dots")) or 0)
            length = Fraction(4, int(unit)) * (2 - Fraction(1, 2**dots))
            bpm = (read.number(element.get("mm")) or 0) * float(length)
        if bpm is not None and self._tempo is None and 10 <= bpm <= 1000:
            self._tempo = bpm

    # ── one bar ──────────────────────────────────────────────────────────────────────────────

    def _bar(self, measure: Any, at: Fraction, metre: tuple[int, int]) -> Fraction:
        """Append the bar's events at score time `at`; its length in quarter notes."""
        full = Fraction(4 * metre[0], metre[1])
        length = Fraction(0)
        for staff in measure.iter("staff"):
            number = int(staff.get("n") or "1")
            self._staves.setdefault(number, _Staff())
            accidentals: dict[tuple[int, int], int] = {}
            for place, layer in enumerate(staff.iter("layer"), 1):
                line = self._lines.setdefault((number, int(layer.get("n") or place)), [])
                begins = len(line)
                end = self._walk(layer, number, line, at, full, Fraction(1), accidentals)
                sounding = any(note.event.pitches for note in line[begins:])
                if sounding or end - at != full:
                    length = max(length, end - at)
        length = length or full
        for line in self._lines.values():  # a whole-bar rest in a shorter bar is as short as it
            while line and line[-1].event.end > at + length:
                rest = line.pop().event
                if rest.onset < at + length:
                    line.append(_Note(Event(rest.onset, at + length - rest.onset), ()))
        self._harmonies(measure, at, length, Fraction(4, metre[1]))
        return length

    def _walk(
        self,
        element: Any,
        staff: int,
        line: list[_Note],
        at: Fraction,
        full: Fraction,
        ratio: Fraction,
        accidentals: dict[tuple[int, int], int],
    ) -> Fraction:
        """Append what an element holds, from score time `at`; where it ends."""
        for child in element:
            tag = child.tag
            if tag in _CONTAINERS:
                inside = child[:1] if tag in ("choice", "app") else child
                inner = ratio
                if tag == "tuplet":
                    number = int(read.number(child.get("num")) or 3)
                    inner = ratio * Fraction(int(read.number(child.get("numbase")) or 2), number)
                at = self._walk(inside, staff, line, at, full, inner, accidentals)
            elif tag == "graceGrp" or child.get("grace"):
                self._remarks["grace notes were left out"] += 1
            elif tag in ("note", "chord"):
                at = self._note(child, staff, line, at, ratio, accidentals)
            elif tag in _SILENT:
                length = (
                    full * int(read.number(child.get("num")) or 1) if tag == "multiRest" else full
                )
                length = self._duration(child, ratio) if tag in ("rest", "space") else length
                if length:
                    fermata = child.get(_ID, "") in self._fermatas
                    line.append(_Note(Event(at, length, fermata=fermata), ()))
                at += length
            elif tag == "mRpt":
                self._remarks["a sign that repeats a bar was read as a rest"] += 1
        return at

    def _note(
        self,
        element: Any,
        staff: int,
        line: list[_Note],
        at: Fraction,
        ratio: Fraction,
        accidentals: dict[tuple[int, int], int],
    ) -> Fraction:
        notes = [element] if element.tag == "note" else list(element.iter("note"))
        pitched = [one for one in notes if one.get("pname")]
        duration = self._duration(element, ratio)
        if not duration and notes:
            duration = self._duration(notes[0], ratio)
        if not duration:
            return at
        sounding = [(self._pitch(one, staff, accidentals), one.get(_ID, "")) for one in pitched]
        if len(pitched) < len(notes):
            self._remarks["notes without a pitch were read as rests"] += 1
        sounding.sort(key=lambda pair: pair[0].midi)
        ids = tuple(name for _, name in sounding)
        self._staves[staff].sung |= any(True for _ in element.iter("verse", "syl"))
        line.append(
            _Note(
                Event(
                    at,
                    duration,
                    tuple(pitch for pitch, _ in sounding),
                    tuple(name in self._tied for name in ids),
                    bool(self._fermatas & {*ids, element.get(_ID, "")}),
                ),
                ids,
            )
        )
        return at + duration

    def _duration(self, element: Any, ratio: Fraction) -> Fraction:
        """In quarter notes: from MusicXML's own duration where there is one, else the sign."""
        units = read.number(element.get("dur.ppq"))
        if units and self._source.divisions:
            return Fraction(int(units), self._source.divisions)
        return read.duration(element, ratio)

    def _pitch(self, note: Any, staff: int, accidentals: dict[tuple[int, int], int]) -> Pitch:
        """The sounding pitch; without an accidental the bar's and the signature's hold."""
        name, octave = note.get("pname") or "?", note.get("oct") or ""
        if name not in LETTERS or not re.fullmatch(r"-?\d", octave):
            raise ExerciseError("the score has a note without a pitch")
        step = LETTERS.index(name)
        place = (step, int(octave))
        child = note.find("accid")
        said = [] if child is None else [child.get("accid"), child.get("accid.ges")]
        said += [note.get("accid"), note.get("accid.ges")]
        alters = [_ALTERS[one] for one in said if one in _ALTERS]
        if alters:
            accidentals[place] = alters[0]
        if self._source.kind == "MusicXML":  # there every alteration is written out
            alter = alters[0] if alters else 0
        else:
            alter = accidentals.get(place, self._staves[staff].key.alter(step))
        pitch = Pitch(step, alter, int(octave))
        interval = self._staves[staff].interval
        pitch = pitch if interval is None else transposed(pitch, interval)
        if not 0 <= pitch.midi <= 127:
            raise ExerciseError(f"the note {pitch} lies beyond every keyboard")
        return pitch

    # ── figures ──────────────────────────────────────────────────────────────────────────────

    def _harmonies(self, measure: Any, at: Fraction, length: Fraction, beat: Fraction) -> None:
        for harm in measure.iter("harm"):
            staff = int(read.number((harm.get("staff") or "0").split()[0]) or 0)
            onset = at + min(max(self._offset(harm, at, beat), Fraction(0)), length)
            try:
                figuring, reach = self._figuring(harm, staff)
            except FigureError as error:
                bar = measure.get("n") or "?"
                chord_symbol = harm.find("fb") is None and harm.get("type") != "fb"
                what = f"bar {bar}: a figure was not taken ({error.what})"
                self._remarks["chord symbols were left out" if chord_symbol else what] += 1
                continue
            if figuring == NOTHING:
                continue
            self._figures.append(WrittenFigure(onset, staff, str(figuring)))
            if not reach and any(f.get("extender") == "true" for f in harm.iter("f")):
                reach = read.reach(harm, onset - at, length, beat)
            if reach:
                self._reaches.append((onset, onset + reach, staff))

    def _figuring(self, harm: Any, staff: int) -> tuple[Figuring, Fraction]:
        """What a `harm` element says, and how far its line is drawn; raises FigureError."""
        before = self._before(staff)
        whole = " ".join("".join(harm.itertext()).split())
        if harm.get("type") == "fb" and whole.startswith(MARK):
            number = whole.removeprefix(MARK)
            known = number.isdecimal() and int(number) < len(self._source.tokens)
            return from_kern(self._source.tokens[int(number)] if known else "", before), Fraction(0)
        texts = [whole]
        if harm.find("fb") is not None:
            texts = [" ".join("".join(figure.itertext()).split()) for figure in harm.iter("f")]
        texts, reach = read.without_line([text for text in texts if text and text != "."])
        return from_mei(texts, before), reach

    def _offset(self, harm: Any, at: Fraction, beat: Fraction) -> Fraction:
        """Quarter notes from the bar's beginning."""
        stamp = read.number(harm.get("tstamp"))
        if stamp is not None:
            return Fraction(stamp - 1).limit_denominator(96) * beat
        name = read.reference(harm, "startid")
        for line in self._lines.values():
            for note in reversed(line):
                if note.event.onset < at:
                    break
                if name and name in note.ids:
                    return note.event.onset - at
        return Fraction(0)

    def _before(self, staff: int) -> Figuring:
        """The last figures of that staff, which an extender line may stand for."""
        for written in reversed(self._figures):
            if written.staff == staff:
                figuring = Figuring.parse(written.text)
                if figuring.way is not Way.EXTENDED:
                    return figuring
        return NOTHING

    # ── the end ──────────────────────────────────────────────────────────────────────────────

    def _finished(self, length: Fraction) -> tuple[Line, ...]:
        """Lines from top to bottom, their gaps filled with rests."""
        lines = []
        for (staff, layer), notes in sorted(self._lines.items()):
            events: list[Event] = []
            at = Fraction(0)
            for event in (note.event for note in notes):
                if event.onset > at:
                    events.append(Event(at, event.onset - at))
                events.append(event)
                at = event.end
            if at < length:
                events.append(Event(at, length - at))
            one = self._staves[staff]
            lines.append(Line(staff, layer, one.name, tuple(events), one.sung))
        return tuple(lines)
