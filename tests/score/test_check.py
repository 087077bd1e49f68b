"""What `exercises check` finds, one musical fact a test."""

from __future__ import annotations

import pytest

from trainer.resources import exercises_folder
from trainer.score.check import Remark, check
from trainer.score.exercise import Exercise
from trainer.score.kern import parse_exercise, read_exercise


def piece(rows: str, *, key: str = "C", signature: str = "", head: str = "") -> Exercise:
    """Bars of `bass figures melody` triples: `2C . 2e, 2F 6 2d | …`; `-` for no melody line."""
    first = rows.split("|")[0].split(",")[0].split()
    melody = first[-1] != "-"
    lines = ["!!!OTL: Trial", "!!!level: 20", "!!!tags: trial", *filter(None, head.split("\n"))]
    wide = "\t**kern" if melody else ""

    def alike(word: str, figures: str = "*") -> str:
        return "\t".join([word, figures, *([word] if melody else [])])

    lines.append("**kern\t**fb" + wide)
    lines += [alike(word) for word in (f"*k[{signature}]", f"*{key}:", "*M4/4", "*MM60")]
    for number, bar in enumerate(rows.split("|"), 1):
        lines.append(alike(f"={number}", f"={number}"))
        for row in bar.split(","):
            words = row.split()
            bass, top = words[0], words[-1]
            figures = " ".join(words[1:-1])
            lines.append("\t".join([bass, figures, *([top] if melody else [])]))
    lines += [alike("==", "=="), alike("*-", "*-"), ""]
    return parse_exercise("\n".join(lines))


def said(exercise: Exercise, subject: str) -> list[str]:
    return [str(remark) for remark in check(exercise) if remark.subject == subject]


def gross(exercise: Exercise) -> list[Remark]:
    return [remark for remark in check(exercise) if remark.weight == "gross"]


@pytest.mark.parametrize("path", sorted(exercises_folder().glob("*.krn")), ids=lambda p: p.stem)
def test_shipped_pieces_have_nothing_gross(path: object) -> None:
    assert gross(read_exercise(str(path))) == []


def test_a_melody_note_the_figures_forbid_is_gross() -> None:
    exercise = piece("2C . 2cc, 2F . 2b | 1C . 1g")
    assert said(exercise, "figures") == [
        "bar 1 beat 3: gross: the melody has b4 (4), which no figures over f3 forbids"
    ]


def test_a_passing_note_between_chords_is_none() -> None:
    exercise = piece("2C . 4g, . . 4a, 2C 6 2cc | 1C . 1cc".replace("2C 6", "2AA 6"))
    assert said(exercise, "figures") == []


def test_a_leaning_note_that_goes_by_step_is_weak() -> None:
    told = said(piece("2C . 2cc, 2G . 4cc, . . 4b | 1C . 1cc"), "figures")
    assert told == ["bar 1 beat 3: weak: the melody leans on c5 (4) against no figures over g3"]


def test_a_melody_with_the_figures_own_dissonance_is_right() -> None:
    assert said(piece("2C . 2cc, 2G 4 4cc, . 3 4b | 1C . 1cc"), "figures") == []


def test_fifths_and_octaves_between_the_given_voices_are_gross() -> None:
    fifths = said(piece("2C . 2g, 2D . 2a | 1C . 1g"), "outer voices")
    assert any("bar 1 beat 3: gross" in one and "fifths" in one for one in fifths)
    octaves = said(piece("2C . 2cc, 2D . 2dd | 1C . 1cc"), "outer voices")
    assert any("bar 1 beat 3: gross" in one and "octaves" in one for one in octaves)


def test_across_a_fermata_they_weigh_one_step_less() -> None:
    across = said(piece("2C; . 2g;, 2D . 2a | 1C . 1ee"), "outer voices")
    assert any("bar 1 beat 3: weak" in one and "fifths" in one for one in across)


def test_a_hidden_octave_is_weak() -> None:
    hidden = said(piece("2C . 2ee, 2F . 2ff".replace("2ee", "2g") + " | 1C . 1ee"), "outer voices")
    assert any("weak" in one and "hidden" in one for one in hidden)


def test_a_dissonant_bass_must_step_down() -> None:
    wrong = piece("2C . 2ee, 2F 4 2 2dd | 2G . 2dd, 2C . 2cc")
    assert any("must step down, but goes to g3" in one for one in said(wrong, "bass"))
    right = piece("2G . 2dd, 2F 4 2 2dd | 2E 6 2cc, 2F . 2cc")
    assert said(right, "bass") == []


def test_a_bass_leap_beyond_an_octave_is_told() -> None:
    assert any("leaps" in one for one in said(piece("2CC . 2ee, 2F . 2ff | 1C . 1ee"), "bass"))


def test_a_moment_without_a_voicing_names_its_place() -> None:
    low = piece("2c . 2e, 2c 9 7 2e | 1c . 1e")  # no room between bass and melody
    assert [str(one) for one in gross(low) if one.subject == "voicing"]


def test_contradicting_figures_are_gross_with_bar_and_beat() -> None:
    broken = piece("2C . 2cc, 2F 5 5n 2cc | 1C . 1cc".replace("5 5n", "#5 -5"))
    found = [one for one in check(broken) if one.subject in ("figures", "voicing")]
    assert found and found[0].weight == "gross" and found[0].bar == 1


def test_a_melody_below_the_bass_is_gross() -> None:
    assert any("below the bass" in one for one in said(piece("1c . 1G | 1C . 1cc"), "compass"))


def test_missing_title_and_step_are_told() -> None:
    bare = parse_exercise(
        "**kern\t**fb\n*k[]\t*\n*C:\t*\n*M4/4\t*\n*MM60\t*\n=1\t=1\n1C\t.\n==\t==\n*-\t*-\n"
    )
    told = said(bare, "metadata")
    assert any("!!!OTL" in one for one in told) and any("!!!level" in one for one in told)


SOLVED = """\
!!!OTL: Trial
!!!level: 5
!!!tags: trial
**kern\t**fb\t**kern\t**kern\t**kern
*k[]\t*\t*k[]\t*k[]\t*k[]
*C:\t*\t*C:\t*C:\t*C:
*M4/4\t*\t*M4/4\t*M4/4\t*M4/4
*MM60\t*\t*MM60\t*MM60\t*MM60
=1\t=1\t=1\t=1\t=1
2C\t.\t2c\t2g\t2ee
2GG\t.\t2B\t2g\t2dd
=2\t=2\t=2\t=2\t=2
1C;\t.\t1c;\t1g;\t1ee;
==\t==\t==\t==\t==
*-\t*-\t*-\t*-\t*-
!!!commentary: Nothing moves far.
"""


def test_a_good_solution_has_nothing_gross() -> None:
    assert gross(parse_exercise(SOLVED)) == []


@pytest.mark.parametrize(
    ("old", "new", "says"),
    [
        ("2B\t2g", "2B\t2a", "foreign a4"),
        ("2B\t2g", "2D\t2g", "lacks 3"),
        ("2c\t2g\t2ee\n2GG\t.\t2B\t2g", "2c\t2g\t2ee\n2GG\t.\t2G\t2b", "consecutive"),
    ],
)
def test_a_faulty_solution_is_found_out(old: str, new: str, says: str) -> None:
    assert old in SOLVED
    told = said(parse_exercise(SOLVED.replace(old, new)), "solution")
    assert any(says in one for one in told), told
