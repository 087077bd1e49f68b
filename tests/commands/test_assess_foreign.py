"""`assess` on scores of other programs: MusicXML 4.0 and MEI 5, in any arrangement of staves."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner

from tests.commands.sheets import attributes, backup, figured, note, sheet
from trainer.commands.assess import command


def assessed(path: Path) -> dict[str, Any]:
    result = CliRunner().invoke(command, [str(path), "--json"])
    if result.exception is not None and not isinstance(result.exception, SystemExit):
        raise result.exception
    report = json.loads(result.stdout)
    assert result.exit_code == (1 if report["summary"]["gross"] else 0)
    return report  # type: ignore[no-any-return]


def line(*notes: str) -> str:
    return "".join(note(one) for one in notes)


def rules(report: dict[str, Any], weight: str = "gross") -> list[str]:
    return [fault["rule"] for fault in report["faults"] if fault["weight"] == weight]


SOPRANO, ALTO, TENOR = (
    ("c5:4", "c5:4", "b4:4", "c5:4"),
    ("e4:4", "f4:4", "d4:4", "e4:4"),
    (
        "g3:4",
        "a3:4",
        "g3:4",
        "g3:4",
    ),
)


def bass(low: str = "F4") -> str:
    return (
        attributes(clef=low)
        + note("c3:4")
        + note("f3:4")
        + figured("7")
        + note("g3:4")
        + note("c3:4")
    )


def test_four_parts_are_four_voices(tmp_path: Path) -> None:
    """The 7 over the third bass note is written and not played: that and nothing else is said."""
    report = assessed(
        sheet(
            tmp_path / "four.musicxml",
            {
                "Soprano": [attributes() + line(*SOPRANO)],
                "Alto": [attributes() + line(*ALTO)],
                "Tenor": [attributes(clef="G2") + line(*TENOR)],
                "Bass": [bass()],
            },
        )
    )
    assert [m["verdict"] for m in report["moments"]] == [
        "complete",
        "complete",
        "incomplete",
        "complete",
    ]
    assert report["moments"][2]["missing"] == ["7"]
    assert rules(report) == ["missing-figure"]


def test_two_staves_with_chords(tmp_path: Path) -> None:
    right = line("g3+e4+c5:4", "a3+f4+c5:4", "f4+g4+b4:4", "g3+e4+c5:4")
    report = assessed(
        sheet(tmp_path / "two.musicxml", {"Right": [attributes() + right], "Left": [bass()]})
    )
    assert report["summary"]["complete"] == 4
    assert "consecutive-fifths" not in rules(report)


def test_one_part_of_two_staves_with_two_layers_each(tmp_path: Path) -> None:
    measure = attributes(clef="G2 F4", staves=2)
    for voice, (notes, staff) in enumerate(
        ((SOPRANO, 1), (ALTO, 1), (TENOR, 2), (("c3:4", "d3:4", "g2:4", "c3:4"), 2)), 1
    ):
        measure += backup(16) if voice > 1 else ""
        for index, one in enumerate(notes):
            measure += figured("6") if voice == 4 and index == 1 else ""
            measure += note(one, voice, staff)
    report = assessed(sheet(tmp_path / "organ.musicxml", {"Organ": [measure]}))
    assert [m["figuring"] for m in report["moments"]] == ["", "6", "", ""]
    assert report["moments"][1]["verdict"] == "foreign"  # a and c are not in d with 6
    assert [m["verdict"] for m in report["moments"]].count("complete") == 3


def test_a_fifth_part_doubling_the_bass_is_left_aside(tmp_path: Path) -> None:
    parts = {
        "Soprano": [attributes() + line(*SOPRANO)],
        "Alto": [attributes() + line(*ALTO)],
        "Tenor": [attributes() + line(*TENOR)],
        "Bass": [attributes(clef="F4") + line("c3:4", "f3:4", "g3:4", "c3:4")],
        "Violone": [attributes(clef="F4") + line("c2:4", "f2:4", "g2:4", "c2:4")],
    }
    report = assessed(sheet(tmp_path / "five.musicxml", parts))
    assert report["summary"]["moments"] == 4
    assert rules(report) == []


def test_pick_up_ties_grace_notes_and_passing_notes_confuse_nothing(tmp_path: Path) -> None:
    parts = {
        "Soprano": [
            attributes() + line("c5:4"),
            line("c5:4~", "~c5:4", "grace c5", "b4:4", "c5:4"),
        ],
        "Alto": [attributes() + line("e4:4"), line("f4:2", "g4:2", "a4:4", "g4:4", "g4:4")],
        "Tenor": [attributes() + line("g3:4"), line("a3:4", "c4:4", "d4:4", "e4:4")],
        "Bass": [
            attributes(clef="F4") + note("c3:4"),
            line("f3:4", "f3:2", "e3:2") + line("g2:4", "c3:4"),
        ],
    }
    report = assessed(sheet(tmp_path / "ornate.musicxml", parts, pickup=True))
    assert report["moments"][0]["bar"] == 0
    assert rules(report) == []
    assert report["summary"]["complete"] == report["summary"]["moments"]


def test_key_and_metre_may_change_in_the_middle(tmp_path: Path) -> None:
    """Figures count in the signature in force: f# over d in G, f over d in C."""
    second = attributes(fifths=1, beats=3, first=False)
    parts = {
        "Soprano": [attributes() + line("a4:16"), second + line("a4:4", "a4:4", "g4:4")],
        "Alto": [attributes() + line("f4:16"), second + line("f#4:4", "f#4:4", "d4:4")],
        "Tenor": [attributes() + line("a3:16"), second + line("a3:4", "a3:4", "b3:4")],
        "Bass": [
            attributes(clef="F4") + line("d3:16"),
            second.replace("G", "F") + line("d3:4", "d3:4", "g2:4"),
        ],
    }
    report = assessed(sheet(tmp_path / "change.musicxml", parts))
    assert [m["verdict"] for m in report["moments"]] == ["complete"] * 4
    assert (report["moments"][3]["bar"], report["moments"][3]["beat"]) == (2, 3.0)


def test_a_passing_bass_note_carries_no_chord(tmp_path: Path) -> None:
    parts = {
        "Soprano": [attributes() + line("c5:8", "c5:8")],
        "Alto": [attributes() + line("g4:8", "a4:8")],
        "Tenor": [attributes() + line("e4:8", "c4:8")],
        "Bass": [attributes(clef="F4") + line("c3:4", "d3:2", "e3:2", "f3:8")],
    }
    report = assessed(sheet(tmp_path / "passing.musicxml", parts))
    assert report["summary"]["complete"] == report["summary"]["moments"] == 4


MEI = """<?xml version="1.0" encoding="UTF-8"?>
<mei xmlns="http://www.music-encoding.org/ns/mei" meiversion="5.0"><meiHead><fileDesc><titleStmt>
<title>Two staves</title></titleStmt><pubStmt/></fileDesc></meiHead><music><body><mdiv><score>
<scoreDef meter.count="4" meter.unit="4" keysig="0"><staffGrp>
<staffDef n="1" lines="5" clef.shape="G" clef.line="2"/>
<staffDef n="2" lines="5" clef.shape="F" clef.line="4"/></staffGrp></scoreDef><section>
<measure n="1"><staff n="1"><layer n="1">
<chord dur="2"><note pname="g" oct="3"/><note pname="c" oct="4"/><note pname="e" oct="4"/></chord>
<chord dur="2"><note pname="a" oct="3"/><note pname="d" oct="4"/><note pname="f" oct="4"/></chord>
</layer></staff><staff n="2"><layer n="1"><note dur="2" pname="c" oct="3"/>
<note dur="2" pname="d" oct="3"/></layer></staff></measure>
<measure n="2"><staff n="1"><layer n="1">
<chord dur="1"><note pname="g" oct="3"/><note pname="d" oct="4"/><note pname="g" oct="4"/></chord>
</layer></staff><staff n="2"><layer n="1"><note dur="1" pname="b" oct="2"/></layer></staff>
<harm staff="2" tstamp="1"><fb><f>6</f></fb></harm></measure></section></score></mdiv></body>
</music></mei>
"""


def test_mei_with_chords_on_one_staff(tmp_path: Path) -> None:
    path = tmp_path / "two.mei"
    path.write_text(MEI, encoding="utf-8")
    report = assessed(path)
    assert [m["figuring"] for m in report["moments"]] == ["", "", "6"]
    assert {(f["rule"], tuple(f["voices"]), f["bar"], f["beat"]) for f in report["faults"]} == {
        ("consecutive-octaves", ("alto", "bass"), 1, 3.0),
        ("consecutive-fifths", ("tenor", "bass"), 1, 3.0),
    }


def test_bass_and_melody_alone_are_no_realization(tmp_path: Path) -> None:
    path = sheet(
        tmp_path / "outer.musicxml",
        {"Soprano": [attributes() + line(*SOPRANO)], "Bass": [bass()]},
    )
    result = CliRunner().invoke(command, [str(path)])
    assert "four voices" in str(result.exception)


@pytest.mark.parametrize("text", ["", "<score-partwise>", "**kern\n", "\0\0"])
def test_a_file_that_is_no_score_gives_one_line(tmp_path: Path, text: str) -> None:
    path = tmp_path / "broken.musicxml"
    path.write_text(text, encoding="utf-8")
    result = CliRunner().invoke(command, [str(path)])
    assert result.exception is not None
    assert "broken.musicxml" in str(result.exception)
    assert "\n" not in str(result.exception)
