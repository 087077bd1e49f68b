"""The evening organ class of Lindenbrück, a small town that is on no map: a season in the log.

Three players, one of them of the same name as another; pieces in tempo and without, with the
slips of people who learn. Everything is played by the demo player and judged by the judge.
"""

from __future__ import annotations

from datetime import datetime, timedelta, timezone
from random import Random

from trainer.errors import InputError
from trainer.journal.writer import Writer
from trainer.judging.passes import judge
from trainer.judging.take import Conditions, Part, Take
from trainer.judging.task import task
from trainer.practice.demo import Manner, perform, realization
from trainer.practice.slips import SlipKind, slips_spread
from trainer.score.exercise import Exercise
from trainer.score.kern import write_exercise
from trainer.score.library import Library
from trainer.score.transpose import transposed

ZONE = timezone(timedelta(hours=1))
FIRST_DAY = datetime(2026, 2, 2, 18, 30, tzinfo=ZONE)
ADA = "1ada0000-0000-4000-8000-000000000000"
BEN = "2ben0000-0000-4000-8000-000000000000"
OTHER_ADA = "3ada0000-0000-4000-8000-000000000000"
NAMES = {ADA: "Ada Lehner", BEN: "Ben & <Söhne>", OTHER_ADA: "Ada Lehner"}
PIECES = ("bellows", "all-souls-lane", "candle-ends", "falling-fifths")


def played(
    exercise: Exercise,
    tempo: float | None,
    player: str,
    started: datetime,
    seed: int,
    slips: tuple[SlipKind, ...] = (),
    supply: tuple[Part, ...] = (),
) -> Take:
    """One pass by the demo player."""
    conditions = Conditions(tempo=tempo, supply=supply)
    mistakes = slips_spread(task(exercise, conditions), slips, seed)
    manner = Manner(beat=0.03, bias=0.01, think=1.2)
    origin = 1000.0 + seed
    voicings = realization(exercise, conditions)
    try:
        events = perform(
            exercise, conditions, voicings, origin, manner=manner, slips=mistakes, seed=seed
        )
    except InputError:  # not every slip can be made everywhere
        if not slips:
            raise
        return played(exercise, tempo, player, started, seed, slips[1:], supply)
    return Take(
        exercise.id,
        write_exercise(exercise),
        conditions,
        events,
        origin,
        started,
        player=player,
        port="demo",
    )


def season(location: str, *, weeks: int = 6, seed: int = 4) -> list[str]:
    """Play a season into a log; the ids of the takes."""
    chance = Random(seed)
    library = Library()
    pieces = [library.find(name) for name in PIECES]
    ids: list[str] = []
    with Writer(location) as writer:
        for id, name in NAMES.items():
            writer.player(id, name)
        for week in range(weeks):
            for player, evenings in ((ADA, (0, 1, 3, 4)), (BEN, (0, 3)), (OTHER_ADA, (2,))):
                for evening in evenings:
                    begin = FIRST_DAY + timedelta(days=7 * week + evening)
                    for number in range(chance.randint(1, 3)):
                        piece = chance.choice(pieces)
                        if chance.random() < 0.3:
                            piece = transposed(piece, chance.choice(("G", "D", "F")))
                        untimed = chance.random() < 0.25
                        tempo = None if untimed else 48.0 + 4 * week + 2 * number
                        kinds: tuple[SlipKind, ...] = (
                            "wrong",
                            "fifths",
                            "late",
                            "skipped",
                            "doubled",
                        )
                        slips = tuple(chance.sample(kinds, chance.randint(0, 2)))
                        if untimed:
                            slips = tuple(one for one in slips if one in ("wrong", "fifths"))
                        take = played(
                            piece,
                            tempo,
                            player,
                            begin + timedelta(minutes=7 * number),
                            chance.randrange(1000),
                            slips,
                            ("bass", "melody") if chance.random() < 0.2 and piece.melody else (),
                        )
                        id = writer.begin(take)
                        writer.end(id, take, judge(take), finished=chance.random() < 0.9)
                        ids.append(id)
    return ids
