"""Scores of other programs: figures wherever and however they were written, one way a test.

Sources: MusicXML 4.0 (W3C) `figured-bass`, `prefix`, `suffix`, `extend`, `forward`, `backup`,
`repeat`; MEI 5 `harm`, `fb`, `f`; SMuFL's figured bass range; the Humdrum `**fb` representation;
the MusicXML test suite and the chorales in music21's package (read by music21 independently).
"""

from __future__ import annotations

from collections.abc import Iterator
from fractions import Fraction
from pathlib import Path

import music21
import pytest

from tests.reference.score_shorthand import (
    attributes,
    go,
    harm,
    mei,
    mei_bar,
    musicxml,
    note,
    notes,
    stack,
)
from trainer.score.exercise import Exercise
from trainer.score.interchange import Reader, Wishes, import_file, read_parts
from trainer.score.interchange.choosing import Imported
from trainer.score.kern import parse_exercise, write_exercise

TREBLE = notes("E5:4 D5:4 C5:8")
WHOLE = note("G2:16")
MUSIC21 = Path(music21.__file__).parent


@pytest.fixture(scope="module")
def reader() -> Iterator[Reader]:
    with Reader() as one:
        yield one


def take(
    text: str, reader: Reader, folder: Path, suffix: str = "musicxml", wishes: Wishes | None = None
) -> Imported:
    path = folder / f"score.{suffix}"
    path.write_text(text, encoding="utf-8")
    done = import_file(path, reader, wishes)
    assert parse_exercise(write_exercise(done.exercise)) == done.exercise
    return done


def figures(exercise: Exercise) -> str:
    return ", ".join(f"{onset}: {figuring}" for onset, figuring in exercise.figures)


# what is tried -> the bass part's bar in MusicXML, and the figures that must come out
MUSICXML_WAYS = {
    "a number": (stack("6") + WHOLE, "0: 6"),
    "a stack from the top down": (stack("6", "4", "2") + WHOLE, "0: 6 4 2"),
    "an accidental before": (stack("#6", "b5") + WHOLE, "0: #6 b5"),
    "an accidental after": (stack("6#", "5n") + WHOLE, "0: 6# 5n"),
    "an accidental alone": (stack("#") + WHOLE, "0: #"),
    "a slash": (stack("6/slash") + WHOLE, "0: 6/"),
    "a backslash": (stack("6/backslash") + WHOLE, "0: 6\\"),
    "a back-slash": (stack("6/back-slash") + WHOLE, "0: 6\\"),
    "a plus": (stack("4/plus", "2") + WHOLE, "0: 4+ 2"),
    "a vertical stroke": (stack("5/vertical") + WHOLE, "0: 5/"),
    "double accidentals": (
        stack("6/double-sharp", "5/flat-flat") + WHOLE,
        "0: 6## 5bb",
    ),
    "parentheses": (stack("6", attributes=' parentheses="yes"') + WHOLE, "0: 6"),
    "two stacks with durations": (
        stack("4", duration=12) + stack("3", duration=4) + WHOLE,
        "0: 4, 3: 3",
    ),
    "two stacks without durations": (stack("4") + stack("3") + WHOLE, "0: 4, 2: 3"),
    "two stacks over a dotted note": (
        stack("4") + stack("3") + note("G2:12") + note("C3:4"),
        "0: 4, 2: 3",
    ),
    "a duration only on the first": (stack("7", duration=8) + stack("6") + WHOLE, "0: 7, 2: 6"),
    "three stacks": (
        stack("5", "3", duration=4) + stack("6", "4", duration=4) + stack("5", "3") + WHOLE,
        "0: 5 3, 1: 6 4, 2: 5 3",
    ),
    "after the note, reached by backup": (
        WHOLE + go(-16) + stack("4") + go(8) + stack("3"),
        "0: 4, 2: 3",
    ),
    "before the note, placed by forward": (
        stack("4") + go(8) + stack("3") + go(-8) + WHOLE,
        "0: 4, 2: 3",
    ),
    "over the second of two tied notes": (
        note("G2:8", '<notations><tied type="start"/></notations>', "").replace(
            "<type>", '<tie type="start"/><type>'
        )
        + stack("3")
        + note("G2:8", '<notations><tied type="stop"/></notations>').replace(
            "<type>", '<tie type="stop"/><type>'
        ),
        "2: 3",
    ),
    "a line over the notes that follow": (
        stack("6>start", duration=12) + notes("G2:4 A2:4 B2:4") + stack("5") + note("C3:4"),
        "0: 6, 1: _, 2: _, 3: 5",
    ),
    "a line continued note by note": (
        stack("6>start") + note("G2:8") + stack(">continue") + note("A2:4") + stack(">stop")
        + note("B2:4"),
        "0: 6, 2: _, 3: _",
    ),
    "a line beside a new figure": (
        stack("6>start", "5") + note("G2:8") + stack("6>continue", "4") + note("G2:8"),
        "0: 6 5, 2: 6 4",
    ),
    "tasto solo": (stack("t.s.") + WHOLE, "0: t.s."),
    "a nought": (stack("0") + WHOLE, "0: t.s."),
}  # fmt: skip


@pytest.mark.parametrize("way", MUSICXML_WAYS)
def test_figures_are_taken_from_musicxml(way: str, reader: Reader, tmp_path: Path) -> None:
    bar, wanted = MUSICXML_WAYS[way]
    done = take(musicxml(("Melody", TREBLE), ("Bass", bar)), reader, tmp_path)
    assert figures(done.exercise) == wanted
    assert done.report.taken[:2] == ("bass: Bass", "melody: Melody")


MEI_WAYS = {
    "plain": (harm(1, "6"), "0: 6"),
    "a stack": (harm(1, "6", "4+", "2"), "0: 6 4+ 2"),
    "Unicode accidentals": (harm(1, "♯6", "5♭") + harm(3, "♮"), "0: #6 5b, 2: n"),
    "a combining stroke": (harm(1, "6\u0338", "4\u20e5"), "0: 6/ 4\\"),
    "SMuFL numerals": (harm(1, "\uea5b", "\uea5c") + harm(3, "\ue260\uea57"), "0: 6 6/, 2: b5"),
    "by beats": (harm(1, "7") + harm(2.5, "6"), "0: 7, 3/2: 6"),
    "without a staff": (harm(2, "6", staff=""), "1: 6"),
    "a dash for the line": (harm(1, "6") + harm(3, "_"), "0: 6, 2: _"),
    "a line to another beat": (
        '<harm staff="2" tstamp="1" tstamp2="0m+3.5"><fb><f extender="true">6</f></fb></harm>',
        "0: 6, 2: _",
    ),
    "text without fb": ('<harm staff="2" tstamp="1">t.s.</harm>', "0: t.s."),
    "at a note": ('<harm staff="2" startid="#n"><fb><f>6</f></fb></harm>', "2: 6"),
}


@pytest.mark.parametrize("way", MEI_WAYS)
def test_figures_are_taken_from_mei(way: str, reader: Reader, tmp_path: Path) -> None:
    beside, wanted = MEI_WAYS[way]
    bar = mei_bar("e5/2 d5/2", "g2/2 a2/2", beside).replace('pname="a"', 'xml:id="n" pname="a"')
    done = take(mei(bar), reader, tmp_path, "mei")
    assert figures(done.exercise) == wanted


HUMDRUM_WAYS = {
    "bass first": ("**kern\t**fb\t**kern", "2G\t6\t2b\n2A\t#\t2cc", "0: 6, 2: #"),
    "figures last": ("**kern\t**kern\t**fb", "2G\t2b\t6\n2A\t2cc\t#", "0: 6, 2: #"),
    "flats and naturals": ("**kern\t**fb\t**kern", "2G\t6-\t2b\n2A\tn\t2cc", "0: 6b, 2: n"),
    "on the half of a note": ("**kern\t**fb\t**kern", "1G\t4\t1b\n.\t3\t.", "0: 4, 2: 3"),
    "strokes and lines": ("**fb\t**kern", "6/ 4+\t2G\n_\t2A", "0: 6/ 4+, 2: _"),
    "another name of the spine": ("**kern\t**fba\t**kern", "1G\t7 5\t1b", "0: 7 5"),
}


@pytest.mark.parametrize("way", HUMDRUM_WAYS)
def test_figures_are_taken_from_humdrum(way: str, reader: Reader, tmp_path: Path) -> None:
    spines, rows, wanted = HUMDRUM_WAYS[way]
    width = spines.count("\t") + 1
    alike = ["=1", "==", "*-"]
    bar, end, stop = ("\t".join([word] * width) for word in alike)
    text = f"!!!OTL: Evening\n{spines}\n{bar}\n{rows}\n{end}\n{stop}\n"
    done = take(text, reader, tmp_path, "hum")
    assert figures(done.exercise) == wanted
    assert done.exercise.title == "Evening"


def test_figures_set_as_lyrics_are_figures_if_nothing_else_is(
    reader: Reader, tmp_path: Path
) -> None:
    def verses(*texts: str) -> str:
        return "".join(
            f'<lyric number="{n}"><text>{text}</text></lyric>' for n, text in enumerate(texts, 1)
        )

    bass = note("G2:8", verses("6", "4")) + note("A2:4", verses("♯")) + note("B2:4")
    sung = note("E5:8", verses("eve")) + note("D5:8", verses("ning"))
    done = take(musicxml(("Melody", sung), ("Bass", bass)), reader, tmp_path)
    assert figures(done.exercise) == "0: 6 4, 2: #"
    assert "2 figurings were taken from lyrics" in done.report.left
    mixed = musicxml(("Melody", sung), ("Bass", stack("6") + bass))
    assert figures(take(mixed, reader, tmp_path).exercise) == "0: 6"


def test_figures_set_as_words_are_figures_if_nothing_else_is(
    reader: Reader, tmp_path: Path
) -> None:
    def words(text: str, offset: int = 0) -> str:
        late = f"<offset>{offset}</offset>" if offset else ""
        inner = f"<direction-type><words>{text}</words></direction-type>"
        return f'<direction placement="below">{inner}{late}</direction>'

    bass = (
        words("Largo") + words("4") + words("3", 8) + note("G2:12") + words("7\n5") + note("C3:4")
    )
    done = take(musicxml(("Melody", TREBLE), ("Bass", bass)), reader, tmp_path)
    assert figures(done.exercise) == "0: 4, 2: 3, 3: 7 5"


def test_figures_on_a_part_of_their_own_go_to_the_lowest_part(
    reader: Reader, tmp_path: Path
) -> None:
    apart = stack("6", duration=8) + stack("5") + note("r:16")
    text = musicxml(("Melody", TREBLE), ("Bass", WHOLE), ("Figures", apart))
    done = take(text, reader, tmp_path)
    assert figures(done.exercise) == "0: 6, 2: 5"
    assert str(done.exercise.bass[0].pitch) == "g2"


def test_bass_and_melody_are_found_among_many_parts(reader: Reader, tmp_path: Path) -> None:
    text = musicxml(
        ("Violin", notes("G5:4 A5:4 B5:8")),
        ("Soprano", TREBLE),
        ("Alto", notes("G4:4 G4:4 E4:8")),
        ("Tenor", notes("C4:4 B3:4 C4:8")),
        ("Bass", notes("C3:4 G2:4 C3:8")),
        ("Continuo", stack("5") + note("C3:4") + stack("7") + note("G2:4") + note("C3:8")),
    )
    done = take(text, reader, tmp_path)
    assert done.report.taken[:3] == (
        "bass: Continuo",
        "melody: Soprano",
        "solution: Alto and Tenor",
    )
    assert any("Violin" in remark and "Bass" in remark for remark in done.report.left)
    other = take(text, reader, tmp_path, wishes=Wishes(melody="Violin", bass="5"))
    assert other.report.taken[:2] == ("bass: Bass", "melody: Violin")


def test_a_line_that_is_not_there_is_refused_with_those_that_are(
    reader: Reader, tmp_path: Path
) -> None:
    text = musicxml(("Melody", TREBLE), ("Bass", WHOLE))
    with pytest.raises(Exception, match="no line is called 'Flute'; there are 'Melody'"):
        take(text, reader, tmp_path, wishes=Wishes(melody="Flute"))


def test_two_staves_and_four_layers_of_one_part_are_four_voices(
    reader: Reader, tmp_path: Path
) -> None:
    def voice(text: str, number: int, staff: int) -> str:
        written = notes(text).replace("<type>", f"<voice>{number}</voice><type>")
        return written.replace("</note>", f"<staff>{staff}</staff></note>")

    more = (
        '<staves>2</staves><clef number="1"><sign>G</sign><line>2</line></clef>'
        '<clef number="2"><sign>F</sign><line>4</line></clef>'
    )
    bar = attributes(more=more) + go(-16).join(
        [
            voice("E5:4 D5:4 C5:8", 1, 1),
            voice("G4:4 G4:4 E4:8", 2, 1),
            voice("C4:4 B3:4 G3:8", 5, 2),
            stack("5") + voice("C3:4 G2:4 C3:8", 6, 2),
        ]
    )
    done = take(musicxml(("Organ", bar)), reader, tmp_path)
    names = ("melody", "alto", "tenor", "bass")
    last = [str(getattr(done.exercise, name)[-1].pitch) for name in names]
    assert last == ["c5", "e4", "g3", "c3"]


def test_pickup_fermatas_key_change_and_ties_are_kept(reader: Reader, tmp_path: Path) -> None:
    fermata = "<notations><fermata/></notations>"
    pickup = '<measure number="0" implicit="yes">' + attributes(1, "3/4")
    tie = note("B4:12", '<notations><tied type="start"/></notations>')
    tied = note("B4:12", '<notations><tied type="stop"/><fermata/></notations>')
    change = "<attributes><key><fifths>-1</fifths></key></attributes>"
    melody = [
        pickup + note("D5:4") + "</measure>",
        tie.replace("<type>", '<tie type="start"/><type>'),
        tied.replace("<type>", '<tie type="stop"/><type>'),
        change + note("F4:12", fermata),
    ]
    bass = [
        pickup + stack("6") + note("B2:4") + "</measure>",
        note("G2:12"),
        note("G2:12", fermata),
        change + note("F2:12", fermata),
    ]
    done = take(musicxml(("Melody", melody), ("Bass", bass)), reader, tmp_path).exercise
    assert done.pickup == 1
    assert [(at, key.signature) for at, key in done.keys] == [(0, 1), (7, -1)]
    assert [str(key) for _, key in done.keys] == ["G major", "F major"]
    assert [note.tied for note in done.melody] == [False, False, True, False]
    assert len(done.phrases) == 2
    assert [m.bar for m in done.moments if m.bass_struck] == [0, 1, 2, 3]


REPEATED = [
    '<barline location="left"><repeat direction="forward"/></barline>' + note("G2:16"),
    '<barline location="left"><ending number="1" type="start"/></barline>' + note("A2:16")
    + '<barline location="right"><ending number="1" type="stop"/>'
    + '<repeat direction="backward"/></barline>',
    '<barline location="left"><ending number="2" type="start"/></barline>' + note("B2:16")
    + '<barline location="right"><ending number="2" type="stop"/></barline>',
    note("C3:16"),
]  # fmt: skip


@pytest.mark.parametrize(
    ("repeats", "wanted"), [(True, "g2 a2 g2 b2 c3"), (False, "g2 b2 c3")], ids=["out", "once"]
)
def test_repeats_are_written_out_or_taken_once(
    repeats: bool, wanted: str, reader: Reader, tmp_path: Path
) -> None:
    done = take(musicxml(("Bass", REPEATED)), reader, tmp_path, wishes=Wishes(repeats=repeats))
    assert " ".join(str(note.pitch) for note in done.exercise.bass) == wanted
    assert any("repeat" in remark for remark in done.report.left)


def test_bars_divided_at_a_repeat_are_put_together(reader: Reader, tmp_path: Path) -> None:
    first = '<measure number="0" implicit="yes">' + attributes() + note("G2:4") + "</measure>"
    short = note("C3:12") + ('<barline location="right"><repeat direction="backward"/></barline>')
    done = take(musicxml(("Bass", [first, note("A2:16"), short])), reader, tmp_path).exercise
    assert done.pickup == 1
    assert len(done.metres) == 1
    assert done.length == 16


def test_passing_notes_are_taken_out_only_on_request(reader: Reader, tmp_path: Path) -> None:
    melody = note("E5:2") + note("D5:2") + notes("C5:4 C5:8")
    text = musicxml(("Melody", melody), ("Bass", stack("5") + WHOLE))
    kept = take(text, reader, tmp_path).exercise
    assert len(kept.melody) == 4
    done = take(text, reader, tmp_path, wishes=Wishes(strip_passing=True))
    assert [str(note.pitch) for note in done.exercise.melody] == ["e5", "c5", "c5"]
    assert done.exercise.melody[0].duration == 1
    assert "1 passing notes" in done.report.left


def test_a_transposing_part_sounds_where_it_sounds(reader: Reader, tmp_path: Path) -> None:
    more = "<transpose><diatonic>-1</diatonic><chromatic>-2</chromatic></transpose>"
    text = musicxml(("Melody", attributes(2, more=more) + note("D5:16")), ("Bass", WHOLE))
    done = take(text, reader, tmp_path).exercise
    assert str(done.melody[0].pitch) == "c5"
    assert done.key.signature == 0


def test_an_accidental_holds_for_its_bar_in_mei(reader: Reader, tmp_path: Path) -> None:
    bars = mei_bar("f#5/2 f5/2", "d3/1") + mei_bar("f5/1", "d3/1", head='n="2"')
    done = take(mei(bars), reader, tmp_path, "mei").exercise
    assert [str(note.pitch) for note in done.melody] == ["f#5", "f#5", "f5"]


def test_the_signature_holds_in_mei_without_sounding_accidentals(
    reader: Reader, tmp_path: Path
) -> None:
    definition = 'key.sig="2s" meter.count="4" meter.unit="4"'
    done = take(mei(mei_bar("f5/2 c5/2", "d3/1"), definition=definition), reader, tmp_path, "mei")
    assert [str(note.pitch) for note in done.exercise.melody] == ["f#5", "c#5"]
    assert str(done.exercise.key) == "D major"


def test_files_in_time_order_and_with_several_divisions_are_read(
    reader: Reader, tmp_path: Path
) -> None:
    bars = [stack("6", duration=8) + WHOLE, attributes(divisions=8) + note("C3:32")]
    partwise = musicxml(("Bass", bars))
    assert figures(take(partwise, reader, tmp_path).exercise) == "0: 6"
    assert take(partwise, reader, tmp_path).exercise.length == 8
    timewise = (
        '<score-timewise version="4.0"><part-list><score-part id="P1"><part-name>Bass</part-name>'
        f'</score-part></part-list><measure number="1"><part id="P1">{attributes()}'
        f"{stack('6')}{WHOLE}</part></measure></score-timewise>"
    )
    assert figures(take(timewise, reader, tmp_path).exercise) == "0: 6"


def test_triplets_last_what_their_durations_say(reader: Reader, tmp_path: Path) -> None:
    small = (
        "<time-modification><actual-notes>3</actual-notes>"
        "<normal-notes>2</normal-notes></time-modification>"
    )
    triplet = "".join(
        note(f"{name}:4", small).replace("quarter", "eighth") for name in ("C5", "D5", "E5")
    )
    bar = attributes(divisions=12) + triplet + note("F5:36").replace("quarter", "half")
    low = attributes(divisions=12) + note("C3:48").replace("quarter", "whole")
    done = take(musicxml(("Melody", bar), ("Bass", low)), reader, tmp_path).exercise
    assert [note.duration for note in done.melody] == [Fraction(1, 3)] * 3 + [Fraction(3)]


@pytest.mark.parametrize(
    ("name", "wanted"),
    [
        ("74a-FiguredBass.xml", "0: 3, 1: #1 b3 n5, 7/4: 6"),
        ("46g-PickupMeasure-Chordnames-FiguredBass.xml", None),
    ],
)
def test_the_figured_files_of_the_musicxml_test_suite_are_read(
    name: str, wanted: str | None, reader: Reader
) -> None:
    path = MUSIC21 / "musicxml" / "lilypondTestSuite" / name
    done = import_file(path, reader)
    assert done.exercise.figures
    if wanted is not None:
        assert figures(done.exercise) == wanted
        assert any("127" in remark for remark in done.report.left)


CHORALES = [
    path
    for path in sorted((MUSIC21 / "corpus").glob("*/bwv*.mxl"))
    if path.stem.split(".")[-1].isdecimal()
][::18][:20]


@pytest.mark.parametrize("path", CHORALES, ids=lambda path: path.stem)
def test_a_chorale_gives_the_outer_voices_that_music21_reads(path: Path, reader: Reader) -> None:
    done = import_file(path, reader, Wishes(repeats=False, melody="Soprano", bass="Bass"))
    score = music21.converter.parse(path)
    for name, voice in (("Soprano", done.exercise.melody), ("Bass", done.exercise.bass)):
        part = next(p for p in score.parts if name in str(p.partName))
        read = [
            (note.pitch.midi, Fraction(note.quarterLength).limit_denominator(96))
            for note in part.recurse().notes
        ]
        ours = [(note.pitch.midi, note.duration) for note in voice if note.pitch is not None]
        assert [midi for midi, _ in ours] == [midi for midi, _ in read]
        assert sum(d for _, d in ours) == sum(d for _, d in read)
    assert done.exercise.alto and done.exercise.tenor
    assert (
        done.exercise.key.signature == score.recurse().getElementsByClass("KeySignature")[0].sharps
    )


def test_written_parts_come_from_the_top_down_without_the_doubled_bass(tmp_path: Path) -> None:
    text = musicxml(
        ("Soprano", TREBLE),
        ("Alto", notes("G4:4 G4:4 E4:8")),
        ("Tenor", notes("C4:4 B3:4 C4:8")),
        ("Bass", notes("C3:4 G2:4 C3:8")),
        ("Organ", stack("5") + notes("C3:4 G2:4 C3:8")),
    )
    path = tmp_path / "five.musicxml"
    path.write_text(text)
    parts = read_parts(path)
    assert parts.labels == ("Soprano", "Alto", "Tenor", "Organ")
    assert [str(line[0].pitches[0]) for line in parts.lines] == ["e5", "g4", "c4", "c3"]


def test_written_parts_keep_the_chords_of_two_staves(tmp_path: Path) -> None:
    def chord(*names: str) -> str:
        first, *others = names
        return note(f"{first}:16") + "".join(
            note(f"{name}:16", inside="<chord/>") for name in others
        )

    text = musicxml(
        ("Right hand", chord("E4", "G4", "C5")), ("Left hand", stack("5") + note("C3:16"))
    )
    path = tmp_path / "two.musicxml"
    path.write_text(text)
    parts = read_parts(path)
    assert [[str(p) for p in line[0].pitches] for line in parts.lines] == [
        ["e4", "g4", "c5"],
        ["c3"],
    ]
    assert str(parts.exercise.melody[0].pitch) == "c5"
