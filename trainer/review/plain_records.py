"""What the log holds as plain objects for `--json`: names as in the values, times in ISO 8601."""

from __future__ import annotations

from dataclasses import asdict

from trainer.journal.plain_verdicts import Plain, verdict_plain
from trainer.journal.store import Journal, TakeSummary
from trainer.listening.events import KeyDown, KeyEvent, KeyUp, Pedal
from trainer.listening.manuals import manual_plain
from trainer.review.advice import Advice
from trainer.review.named import title_of
from trainer.review.queries import Totals
from trainer.review.statistics import Share


def take_plain(journal: Journal, summary: TakeSummary) -> Plain:
    """A take whole: conditions, raw events, the exercise as played, everything said of it."""
    take = journal.take(summary.id)
    verdict = journal.verdict(summary.id)
    return {
        **summary_plain(summary),
        "port": take.port,
        "origin": take.origin,
        "pauses": [list(pause) for pause in take.pauses],
        "exercise_text": take.exercise,
        "events": [event_plain(event) for event in take.events],
        "verdict": None if verdict is None else verdict_plain(verdict),
    }


def summary_plain(summary: TakeSummary) -> Plain:
    """One line of the log."""
    return {
        "id": summary.id,
        "player": summary.player,
        "exercise": summary.exercise_id,
        "started": summary.started.isoformat(),
        "state": summary.state,
        "seconds": round(summary.seconds, 3),
        "conditions": asdict(summary.conditions),
        "rules": summary.rules,
    }


def event_plain(event: KeyEvent) -> Plain:
    """A raw event, named by its kind."""
    match event:
        case KeyDown(time, key, velocity, manual):
            return {"down": key, "velocity": velocity, "time": time} | manual_plain(manual)
        case KeyUp(time, key, manual):
            return {"up": key, "time": time} | manual_plain(manual)
        case Pedal(time, down):
            return {"pedal": down, "time": time}
    return {"onward": True, "time": event.time}


def totals_plain(totals: Totals) -> Plain:
    """Sums over takes, shares with their intervals."""
    return {
        "takes": totals.takes,
        "finished": totals.finished,
        "seconds": round(totals.seconds, 3),
        "harmony": share_plain(totals.harmony),
        "timing": share_plain(totals.timing),
        "movement": share_plain(totals.movement),
        "faults": {"gross": totals.gross, "weak": totals.weak, "remark": totals.remark},
        "bias_ms": totals.bias_ms,
        "deviation_ms": totals.deviation_ms,
    }


def share_plain(share: Share) -> Plain:
    """A share: counts, and the 95 % interval where there are cases."""
    if not share.cases:
        return {"hits": 0, "cases": 0}
    return {
        "hits": share.hits,
        "cases": share.cases,
        "low": round(share.low, 4),
        "high": round(share.high, 4),
    }


def advice_plain(advice: Advice) -> Plain:
    """One thing to work on."""
    return {
        "kind": advice.kind,
        "name": advice.name,
        "title": title_of(advice.name) if advice.has_title else None,
        "key": advice.key,
        "missed": None if advice.missed is None else share_plain(advice.missed),
        "usual": round(advice.usual, 4),
        "reason": advice.reason,
    }
