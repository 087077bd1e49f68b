"""Whatever happens in whatever order, a pass goes on or ends, and is judged again alike."""

from __future__ import annotations

from hypothesis import given, settings
from hypothesis import strategies as st

from tests.judging.lessons import lesson
from tests.practice.playing import Pass
from trainer.judging.passes import judge
from trainer.judging.take import Conditions
from trainer.listening.events import KeyDown, KeyUp, Onward, Pedal, PortFound, PortLost
from trainer.practice.effects import Begin, Hold, Jumped, PassEnded, SessionEvent, Stop, Tick
from trainer.practice.lens import lens

PIECES = (
    lesson("C", "c3 f3 g3 c3 a2 f3 g3 c3", ",,,,6,,4,", "e4 f4 d4 e4 f4 a4 c5 c5", (3,)),
    lesson("g", "g3 g3 d3 - g3", ",7 4 2,#,,"),
    lesson("C", "c3", "t.s."),
)
CONDITIONS = (
    Conditions(tempo=60.0),
    Conditions(tempo=200.0, supply=("bass", "melody"), latency=0.02),
    Conditions(tempo=90.0, first=0, last=0, shift_left=1, shift_right=-1),
    Conditions(tempo=90.0, slower=((0, 0, 0.5),)),
    Conditions(),
    Conditions(supply=("bass",)),
    Conditions(supply=("bass", "melody"), latency=0.3),
)

keys = st.integers(40, 76)
happenings = st.one_of(
    st.tuples(st.just("down"), keys),
    st.tuples(st.just("down"), keys),
    st.tuples(st.just("down"), keys),
    st.tuples(st.just("up"), keys),
    st.tuples(st.just("up"), keys),
    st.tuples(st.just("pedal"), st.integers(0, 1)),
    st.tuples(st.sampled_from(["onward", "lost", "found", "begin", "hold"]), st.just(0)),
    st.tuples(st.just("jump"), st.sampled_from([-9000, 1, 9000])),
    st.tuples(st.just("away"), st.integers(1, 4000)),
)


def event(kind: str, number: int, now: float) -> SessionEvent:
    table: dict[str, SessionEvent] = {
        "down": KeyDown(now, number, 64),
        "up": KeyUp(now, number),
        "pedal": Pedal(now, bool(number)),
        "onward": Onward(now),
        "lost": PortLost(now, "organ"),
        "found": PortFound(now, "organ"),
        "begin": Begin(),
        "hold": Hold(),
        "jump": Jumped(float(number)),
        "away": Tick(),
    }
    return table[kind]


@given(
    st.sampled_from(PIECES),
    st.sampled_from(CONDITIONS),
    st.lists(st.tuples(st.floats(0.0, 0.8), happenings), max_size=60),
)
@settings(max_examples=150, deadline=None)
def test_any_order_of_events_is_survived(
    piece: object, conditions: Conditions, happened: list[tuple[float, tuple[str, int]]]
) -> None:
    made = Pass(piece, conditions)  # type: ignore[arg-type]
    made.feed(Begin())
    for wait, (kind, number) in happened:
        made.until(made.now + wait, every=0.1)
        if kind == "away":
            made.now += number
        made.feed(event(kind, number, made.now))
        session = made.session
        first, last = session.task.first, session.task.last
        assert first <= session.current <= last
        lens(session)
        session.position(made.now)
        beat = session.beat(made.now)
        assert beat is None or 1.0 <= beat < 5.0
        live = [m.index for m in session.moments]
        assert live == sorted(set(live))
    made.feed(Stop())
    (ended,) = made.of(PassEnded)
    assert isinstance(ended, PassEnded) and made.session.stage == "ended"
    assert ended.take.events == made.session.events
    assert judge(ended.take) == ended.verdict
    assert {m.index for m in ended.verdict.moments} <= set(
        range(made.session.task.first, made.session.task.last + 1)
    )
