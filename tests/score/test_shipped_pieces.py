"""The library: counted, checked, and ordered as hard as the course says."""

from __future__ import annotations

import re
from collections import Counter

import pytest
from scipy.stats import spearmanr

from trainer.resources import exercises_folder
from trainer.score.check import check
from trainer.score.difficulty import WEIGHTS, difficulty
from trainer.score.exercise import Exercise
from trainer.score.kern import parse_exercise, read_exercise
from trainer.score.syllabus import load_steps
from trainer.score.transpose import transposed
from trainer.theory.realize import Solver
from trainer.theory.rules import rule

PIECES = {path.stem: read_exercise(path) for path in sorted(exercises_folder().glob("*.krn"))}


# their lesson is the row of sixths, the 5 6, the bass that stays: it runs with the melody, or rests
RUNNING = {"stairs-down", "candle-ends", "walking-home", "the-weathercock"}


def settings() -> list[Exercise]:
    """The complete chorale settings: a whole tune, our own or a traditional one."""
    return [p for p in PIECES.values() if {"own tune", "traditional tune"} & set(p.tags)]


def test_there_are_at_least_sixty_settings() -> None:
    assert len(settings()) >= 60


def test_at_least_ten_melodies_have_two_basses_or_more() -> None:
    tunes = Counter(piece.tune for piece in settings() if piece.tune)
    assert sum(number >= 2 for number in tunes.values()) >= 10


def test_two_basses_under_one_melody_are_different_basses() -> None:
    by_tune: dict[str, list[Exercise]] = {}
    for piece in settings():
        if piece.tune:
            by_tune.setdefault(piece.tune, []).append(piece)
    for tune, pieces in by_tune.items():
        for number, one in enumerate(pieces):
            for other in pieces[number + 1 :]:
                degrees = [
                    {n.onset: p.key.degree(n.pitch.step) for n in p.bass if n.pitch is not None}
                    for p in (one, other)
                ]
                onsets = set(degrees[0]) | set(degrees[1])
                same = sum(degrees[0].get(o) == degrees[1].get(o) for o in onsets)
                assert same / len(onsets) < 0.8, f"{tune}: {one.id} and {other.id}"


def test_dorian_and_phrygian_are_among_them() -> None:
    modes = Counter(piece.key.mode for piece in PIECES.values())
    assert modes["dorian"] >= 2
    assert modes["phrygian"] >= 2


def test_at_least_twelve_have_a_solution_with_a_remark_on_every_phrase() -> None:
    solved = [piece for piece in settings() if piece.alto and piece.tenor]
    assert len(solved) >= 12
    for piece in solved:
        assert len(piece.commentary) >= len(piece.phrases), piece.id


@pytest.mark.parametrize("piece", PIECES.values(), ids=list(PIECES))
def test_a_shipped_piece_passes_the_check(piece: Exercise) -> None:
    """Nothing gross or weak, but for one thing in the suggestions: where the melody leaps, the
    voices close beneath it pass where their neighbours just were. Common practice lets them."""
    found = [one for one in check(piece) if one.weight != "remark"]
    assert [str(one) for one in found if one.subject != "solution"] == []
    overlap = rule("overlap").title.lower()
    assert [str(one) for one in found if not one.text.startswith(overlap)] == []


@pytest.mark.parametrize("piece", settings(), ids=lambda p: p.id)
def test_the_bass_goes_against_the_melody_at_least_half_the_time(piece: Exercise) -> None:
    """Where both move; from phrase to phrase they may breathe as they like."""
    against = along = 0
    for before, after in zip(piece.moments, piece.moments[1:], strict=False):
        if before.fermata or None in (before.bass, after.bass, before.melody, after.melody):
            continue
        bass = after.bass.midi - before.bass.midi  # type: ignore[union-attr]
        melody = after.melody.midi - before.melody.midi  # type: ignore[union-attr]
        if bass and melody:
            against += (bass > 0) != (melody > 0)
            along += (bass > 0) == (melody > 0)
    assert against >= along or piece.id in RUNNING, f"{against} against, {along} along"


def test_difficulty_agrees_with_the_order_of_the_course() -> None:
    """Spearman's rank correlation (scipy) between the measure and the course step."""
    measured = [difficulty(piece).value for piece in settings()]
    steps = [piece.level for piece in settings()]
    assert spearmanr(measured, steps).statistic >= 0.7


def test_within_a_step_the_easier_pieces_come_first() -> None:
    for step in load_steps():
        values = [difficulty(PIECES[piece]).value for piece in step.pieces]
        assert values == sorted(values), f"step {step.number}: {step.pieces}"


def test_each_measure_of_difficulty_is_weighed() -> None:
    measured = difficulty(PIECES["old-hundredth"])
    parts = {name: getattr(measured, name) for name in WEIGHTS}
    assert measured.value == pytest.approx(sum(WEIGHTS[n] * v for n, v in parts.items()))
    assert all(value >= 0 for value in parts.values())


def test_more_accidentals_in_the_signature_make_a_piece_harder() -> None:
    piece = PIECES["old-hundredth"]
    assert difficulty(transposed(piece, "B")).value > difficulty(piece).value


def test_a_faster_piece_is_harder() -> None:
    text = (exercises_folder() / "old-hundredth.krn").read_text(encoding="utf-8")
    faster = parse_exercise(text.replace("*MM60", "*MM120"))
    assert difficulty(faster).pace == pytest.approx(2 * difficulty(PIECES["old-hundredth"]).pace)


def test_a_chromatic_chorale_is_harder_than_a_phrase_in_triads() -> None:
    assert difficulty(PIECES["christ-lag"]).value > difficulty(PIECES["bellows"]).value


def test_pieces_leave_many_realizations_open() -> None:
    for piece in settings():
        assert Solver(piece.moments).count() >= 100, piece.id


def test_a_commentary_names_notes_so_that_they_can_be_transposed() -> None:
    bare = re.compile(r"(?<![{\w])[A-Ga-g] (sharp|flat|natural)\b|(?<![{\w'’])[b-gB-G](?![\w'’}])")
    for piece in PIECES.values():
        for paragraph in piece.commentary:
            assert not bare.search(paragraph), (piece.id, paragraph)
