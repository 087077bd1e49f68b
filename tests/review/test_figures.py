"""Every figure on the page against a computation of its own from the raw events.

The takes are read back with their events, judged again, and counted here with plain loops: no sum
table, no query of the review.
"""

from __future__ import annotations

import json
import math
from collections import defaultdict
from collections.abc import Iterable, Iterator
from datetime import datetime
from pathlib import Path

from lxml import html

from tests.postgresql import Databases
from tests.review.scenario import ADA, BEN, season
from trainer.journal.store import Journal
from trainer.judging.passes import judge
from trainer.judging.take import Take
from trainer.judging.verdict import PassVerdict
from trainer.review.review_page import review_page
from trainer.score.kern import parse_exercise
from trainer.score.syllabus import relative
from trainer.theory.figures import Way

NOW = datetime.fromisoformat("2026-03-20T12:00:00+01:00")
Figures = dict[str, str]


def test_every_figure_of_the_page_follows_from_the_raw_events(journal: Journal) -> None:
    page = html.document_fromstring(review_page(journal, journal.player(ADA), 1, NOW))
    shown = {one.get("data-figure"): one.text_content() for one in page.xpath("//*[@data-figure]")}
    expected = figures(played_by(journal, ADA))
    kinds = {name.split(":")[0] for name in expected}
    assert kinds == {"day", "piece", "figuring", "cell", "fault"}
    assert len(shown) > 300
    assert shown == expected


def test_a_server_shows_the_same_page(season_log: Path, databases: Databases) -> None:
    from trainer.journal.merge import merge

    url = databases.new()
    with Journal.open(url) as there, Journal.open(season_log, write=False) as here:
        merge(there, season_log)
        pages = [review_page(one, one.player(BEN), 2, NOW) for one in (here, there)]
    assert pages[0] == pages[1]


def test_the_summary_says_what_the_raw_events_say(journal: Journal) -> None:
    page = html.document_fromstring(review_page(journal, journal.player(ADA), 1, NOW))
    words = page.get_element_by_id("summary").text_content()
    takes = played_by(journal, ADA)
    verdicts = [verdict for _, verdict, _ in takes]
    days = {take.started.date() for take, _, _ in takes}
    minutes = sum(seconds(take) for take, _, _ in takes) / 60
    chords = sum(one.harmony.judged for one in verdicts)
    gross = sum(one.movement.gross for one in verdicts)
    assert f"On {len(days)} days {len(takes)} passes were played, {minutes:.0f} minutes" in words
    assert f"Of {chords} chords" in words
    assert f"there were {gross} gross" in words


# ---- the other computation ------------------------------------------------------------------


def played_by(journal: Journal, player: str) -> list[tuple[Take, PassVerdict, bool]]:
    """Takes with their events, judged anew, and whether they were finished."""
    found = []
    for one in journal.takes(player):
        take = journal.take(one.id)
        found.append((take, judge(take), one.state == "finished"))
    return found


def seconds(take: Take) -> float:
    begin = min(take.origin, take.events[0].time)
    return take.events[-1].time - begin - sum(b - a for a, b in take.pauses)


def percent(hits: int, cases: int) -> str:
    return f"{100 * hits / cases:.0f} %" if cases else "–"


def figures(takes: Iterable[tuple[Take, PassVerdict, bool]]) -> Figures:
    groups: dict[str, list[tuple[Take, PassVerdict, bool]]] = defaultdict(list)
    chords: dict[str, list[tuple[str, float | None, float | None, float]]] = defaultdict(list)
    faults: dict[str, dict[str, int]] = defaultdict(lambda: defaultdict(int))
    judged: dict[str, int] = defaultdict(int)
    for take, verdict, finished in takes:
        exercise = parse_exercise(take.exercise)
        groups[f"day:{take.started.date()}"].append((take, verdict, finished))
        groups[f"piece:{take.exercise_id}:{exercise.key}"].append((take, verdict, finished))
        judged[""] += verdict.harmony.judged
        judged[take.exercise_id] += verdict.harmony.judged
        for rule, weight in _wrong(verdict):
            faults[f"fault:{rule}"][weight] += 1
            faults[f"fault:{take.exercise_id}:{rule}"][weight] += 1
        for said in verdict.moments:
            moment = exercise.moments[said.index]
            if not moment.chord or moment.bass is None:
                continue
            figuring = str(moment.figuring)
            if moment.figuring.way is Way.FIGURES:
                figuring = relative(moment.figuring, moment.bass, moment.key)
            top = None if said.voicing is None else said.voicing.soprano
            bass = None if said.voicing is None else said.voicing.bass
            if said.voicing is not None and top is None:
                top = said.voicing.alto or said.voicing.tenor
            if top is None or bass is None:
                top, bass = moment.melody, moment.bass
            letters = 0 if top is None else (top.height - bass.height) % 7 + 1
            position = 8 if letters == 1 else letters
            cause = next((c.kind for c in verdict.causes if c.moment == said.index), None)
            slipped = ("bass-misread", "finger-beside", "hand-shifted")
            if said.outcome != "complete" and cause in slipped[: 3 if take.conditions.tempo else 1]:
                continue  # another reason than the figuring
            case = (said.outcome, said.late_beats, said.think_s, take.conditions.tolerance)
            chords[f"figuring:{figuring}"].append(case)
            chords[f"cell:{figuring}:{moment.key}:{position}"].append(case)
    found: Figures = {}
    for name, group in groups.items():
        found |= _group(name, group)
    for name, cases in chords.items():
        found |= _chords(name, cases)
    for name, counts in faults.items():
        piece = name.split(":")[1] if name.count(":") == 2 else ""
        found[f"{name}:chords"] = str(judged[piece])
        for weight in ("gross", "weak", "remark"):
            found[f"{name}:{weight}"] = str(counts[weight])
    return found


def _wrong(verdict: PassVerdict) -> Iterator[tuple[str, str]]:
    """What was wrong, once: causes as heavy as the heaviest they explain, and what has none."""
    caused: set[int] = set()
    for cause in verdict.causes:
        weights = {verdict.faults[number].weight for number in cause.explains}
        yield cause.kind, next(one for one in ("gross", "weak", "remark") if one in weights)
        caused |= {*cause.explains, *cause.follow}
    for number, fault in enumerate(verdict.faults):
        if number not in caused:
            yield fault.rule, fault.weight


def _group(name: str, group: list[tuple[Take, PassVerdict, bool]]) -> Figures:
    harmony = [one.harmony for _, one, _ in group]
    timing = [one.timing for _, one, _ in group if one.timing is not None]
    movement = [one.movement for _, one, _ in group]
    found = {
        "takes": str(len(group)),
        "minutes": f"{sum(round(1000 * seconds(take)) for take, _, _ in group) / 60000:.1f}",
        "complete": percent(sum(h.complete for h in harmony), sum(h.judged for h in harmony)),
        "in-time": percent(sum(t.in_time for t in timing), sum(t.judged for t in timing)),
        "clean": percent(sum(m.clean for m in movement), sum(m.successions for m in movement)),
    }
    if name.startswith("day"):
        found["chords"] = str(sum(h.judged for h in harmony))
    else:
        through = [t.conditions.tempo for t, _, finished in group if finished]
        in_tempo = [tempo for tempo in through if tempo is not None]
        found["slowest"] = f"{min(in_tempo):g}" if in_tempo else "–"
        found["fastest"] = f"{max(in_tempo):g}" if in_tempo else "–"
    return {f"{name}:{what}": value for what, value in found.items()}


def _chords(name: str, cases: list[tuple[str, float | None, float | None, float]]) -> Figures:
    thoughts = [math.log(think) for _, _, think, _ in cases if think is not None]
    late = [(abs(beats), tolerance) for _, beats, _, tolerance in cases if beats is not None]
    typical = math.exp(math.fsum(thoughts) / len(thoughts)) if thoughts else None
    found = {
        "chords": str(len(cases)),
        "complete": percent(sum(outcome == "complete" for outcome, *_ in cases), len(cases)),
        "think": "–" if typical is None else f"{typical:.2f} s",
    }
    if name.startswith("figuring"):
        found["in-time"] = percent(sum(b <= tolerance for b, tolerance in late), len(late))
    return {f"{name}:{what}": value for what, value in found.items()}


def test_the_terminal_and_json_agree_with_the_page(season_log: Path) -> None:
    from click.testing import CliRunner

    from trainer.commands.review import command

    named = ["--log", str(season_log), "--player", ADA]
    done = CliRunner().invoke(command, [*named, "--json", "--last", "3"])
    assert done.exit_code == 0
    told = json.loads(done.stdout)
    with Journal.open(season_log, write=False) as journal:
        takes = played_by(journal, ADA)
        assert told["totals"]["takes"] == len(takes)
        assert told["totals"]["harmony"]["cases"] == sum(v.harmony.judged for _, v, _ in takes)
        assert [one["id"] for one in told["takes"]] == [t.id for t in journal.takes(ADA, 3)]
    table = CliRunner().invoke(command, named)
    assert table.exit_code == 0 and told["takes"][0]["id"][:7] in table.stdout


def test_a_season_is_the_same_every_time(tmp_path: Path, season_log: Path) -> None:
    season(str(tmp_path / "again.sqlite"))
    with (
        Journal.open(tmp_path / "again.sqlite") as again,
        Journal.open(season_log, write=False) as journal,
    ):
        pages = [figures(played_by(one, BEN)) for one in (again, journal)]
        assert pages[0] == pages[1]
