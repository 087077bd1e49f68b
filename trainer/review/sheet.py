"""One engraved, commented piece: a take or a written realization as a teacher hands it back."""

from __future__ import annotations

import math
import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from fractions import Fraction

from markupsafe import Markup

from trainer.engraving.boxes import Occupied
from trainer.engraving.geometry import Geometry
from trainer.engraving.ink import Drawing, Ink, Words
from trainer.engraving.marks import drawn_marks, drawn_on, played
from trainer.engraving.page import Page
from trainer.judging.causes import cause_in_words
from trainer.judging.take import Conditions, Take
from trainer.judging.verdict import Cause, PassVerdict
from trainer.practice.touch_words import late_in_words, touch_words
from trainer.review.hear import heard
from trainer.review.kept_pages import engraved
from trainer.review.named import title_of
from trainer.score.exercise import Exercise
from trainer.sound.track import ToneNote
from trainer.theory.listed import listed

_MOST_EVENTS = 40_000  # in a take that can be played: an hour at the keyboard
# what a page of HTML says of its own inks
INKS: dict[Ink, str] = {
    "print": "var(--ink)",
    "player": "var(--player)",
    "mark": "var(--mark)",
    "remark": "var(--remark)",
    "pencil": "var(--pencil)",
}


@dataclass(frozen=True, slots=True)
class Comment:
    """One sentence in the margin. `number` stands on the page too, at `moment`, where it is heard
    (0: on none), at score time `onset`; `rule` is the identifier of a rule or a cause, empty where
    there is neither."""

    number: int
    weight: str
    title: str
    text: str
    rule: str
    instead: str
    moment: int = -1
    onset: Fraction | None = None


@dataclass(frozen=True, slots=True)
class Sheet:
    """`systems` are SVG documents in order. `notes` and `times` are what can be heard (empty if
    nothing); `cursors` says for each moment (system, share of its width), to follow by eye."""

    id: str
    title: str
    facts: tuple[tuple[str, str], ...]
    systems: tuple[Markup, ...]
    comments: tuple[Comment, ...]
    notes: tuple[ToneNote, ...] = ()
    times: tuple[float, ...] = ()
    cursors: tuple[tuple[int, float], ...] = ()


def take_sheet(id: str, take: Take, exercise: Exercise, verdict: PassVerdict) -> Sheet:
    """A take as it was played, with its marks."""
    reached = {one.index for one in verdict.moments}
    notes, times = heard(take, exercise, verdict) if len(take.events) <= _MOST_EVENTS else ((), ())
    said = (*comments(exercise, verdict), *_new_beginnings(exercise, take))
    return _sheet(id, exercise, verdict, said, reached, take.conditions, (notes, times))


def written_sheet(id: str, exercise: Exercise, verdict: PassVerdict) -> Sheet:
    """A written realization, its own middle voices printed, with its marks."""
    everything = {moment.index for moment in exercise.moments}
    said = comments(exercise, verdict)
    return _sheet(id, exercise, verdict, said, everything, None, ((), ()))


def _sheet(
    id: str,
    exercise: Exercise,
    verdict: PassVerdict,
    said: tuple[Comment, ...],
    reached: set[int],
    conditions: Conditions | None,
    sound: tuple[tuple[ToneNote, ...], tuple[float, ...]],
) -> Sheet:
    """With the conditions of a take its notes are written in; without, they are the piece's."""
    pages = engraved(exercise, "suggested" if conditions is None else None)
    systems: list[Markup] = []
    cursors: dict[int, tuple[int, float]] = {}
    for page in pages:
        if not reached & set(page.geometry.moments):
            continue
        for index, x in page.geometry.moments.items():
            cursors[index] = (len(systems), round(x / page.geometry.width, 4))
        svg = _marked(page, exercise, verdict, said, conditions)
        systems.append(
            Markup(_apart(svg, f"{id}-{page.number}-"))
        )  # our own drawing, no text in it
    notes, times = sound
    return Sheet(
        id,
        exercise.title or exercise.id,
        facts(verdict),
        tuple(systems),
        said,
        notes,
        times,
        tuple(cursors.get(m.index, (-1, 0.0)) for m in exercise.moments),
    )


def _marked(
    page: Page,
    exercise: Exercise,
    verdict: PassVerdict,
    said: Sequence[Comment],
    conditions: Conditions | None,
) -> str:
    """With the numbers of the comments; in a written realization the notes are printed."""
    geometry = page.geometry
    own = conditions is not None
    columns = played(exercise, geometry, verdict.moments) if own else {}
    notes = [drawing for column in columns.values() for drawing in column.drawings]
    tolerance = (conditions or Conditions()).tolerance
    marks = drawn_marks(exercise, geometry, verdict, columns, tolerance)
    taken = Occupied.by(geometry.printed, (*notes, *marks))
    return drawn_on(page, [*notes, *marks, *_numbers(geometry, said, taken)], INKS)


def _numbers(geometry: Geometry, said: Sequence[Comment], taken: Occupied) -> Iterator[Drawing]:
    """The numbers of the comments, above the moment each is heard at, where there is room."""
    at: dict[int, list[int]] = {}
    for one in said:
        if one.number and one.moment in geometry.moments:
            at.setdefault(one.moment, []).append(one.number)
    for moment, numbers in sorted(at.items()):
        system = geometry.system_of(moment)
        space = system.space
        x = geometry.moments[moment] + 0.6 * space
        words = " ".join(map(str, numbers))
        options = (
            (
                Words(
                    words,
                    x,
                    system.treble - (1.2 + 0.4 * level) * space,
                    1.7 * space,
                    "small-italic",
                    "mark",
                    True,
                ),
            )
            for level in range(40)
        )
        yield from taken.first_free(options, 0.15 * space)


_ID = re.compile(r'\bid="')
_HREF = re.compile(r'href="#')


def _apart(svg: str, prefix: str) -> str:
    """The drawing with ids of its own, so that several can stand in one document."""
    return _HREF.sub(f'href="#{prefix}', _ID.sub(f'id="{prefix}', svg))


def facts(verdict: PassVerdict) -> tuple[tuple[str, str], ...]:
    """The three figures of a pass, in words."""
    harmony, timing, movement = verdict.harmony, verdict.timing, verdict.movement
    found = [("Harmony", f"{harmony.complete} of {harmony.judged} chords complete")]
    if timing is not None:
        found.append(
            (
                "Time",
                f"{timing.in_time} of {timing.judged} in time, {late_in_words(timing.bias_ms)}"
                f" in the middle, ± {timing.deviation_ms:.0f} ms",
            )
        )
        if timing.touch is not None:
            found.append(("Hands", touch_words(timing.touch)))
    remarks = f"{movement.remark} remark{'' if movement.remark == 1 else 's'}"
    counts = f"{movement.gross} gross, {movement.weak} weak, {remarks}"
    clean = f"{movement.clean} of {movement.successions} successions clean"
    found.append(("Movement", f"{clean}; {counts}"))
    thought = [m.think_s for m in verdict.moments if m.think_s is not None]
    if thought:
        typical = math.exp(math.fsum(math.log(max(t, 0.001)) for t in thought) / len(thought))
        found.append(("Think time", f"{typical:.1f} s a chord"))
    return tuple(found)


def comments(exercise: Exercise, verdict: PassVerdict) -> tuple[Comment, ...]:
    """The margin: what is wrong and why, numbered as on the page, then the chords nobody played."""
    found = [_comment(number, one, verdict) for number, one in enumerate(verdict.told, 1)]
    silent = [m for m in verdict.moments if m.outcome == "not-played"]
    if silent:
        places = ", ".join(_place(exercise, m.index) for m in silent)
        found.append(Comment(0, "gross", "Not played", f"Nothing was struck at {places}.", "", ""))
    return tuple(found)


def _new_beginnings(exercise: Exercise, take: Take) -> tuple[Comment, ...]:
    """Where the player began again unasked."""
    if not take.begun_again:
        return ()
    places = listed([_place(exercise, index) for index in take.begun_again])
    said = f"Begun again from {places} while the beat went on; what was played last is shown."
    return (Comment(0, "remark", "Begun again", said, "", ""),)


def _comment(number: int, cause: Cause, verdict: PassVerdict) -> Comment:
    fault = verdict.weightiest(cause)
    text = cause_in_words(cause, verdict)
    told = fault.instead is None or "From your hand" in text
    instead = "" if told else str(fault.instead)
    rule = fault.rule if cause.kind == "fault" else cause.kind
    title, weight, onset = title_of(rule), fault.weight, fault.onset
    return Comment(number, weight, title, text, rule, instead, cause.moment, onset)


def _place(exercise: Exercise, index: int) -> str:
    if index >= len(exercise.moments):
        return ""
    moment = exercise.moments[index]
    return f"bar {moment.bar} beat {float(moment.beat):g}"
