"""The process that opens foreign files.

It is asked `{"path": …, "repeats": …, "seconds": …}` and gives one answer to each. Memory and time
are limited, so that a file made to harm can only end this process.
"""

from __future__ import annotations

from pathlib import Path
from typing import Any

from trainer.apart import Line
from trainer.errors import ExerciseError, TrainerError

MEMORY = 1_500_000_000  # bytes of address space


def serve(line: Line) -> None:
    """Answer requests until there are no more."""
    _limit_memory()
    import verovio

    verovio.enableLog(verovio.LOG_OFF)
    line.tell({"ready": True})
    for request in line:
        _limit_time(request["seconds"])
        line.tell(_answer(verovio, Path(request["path"]), request["repeats"]))


def _answer(verovio: Any, path: Path, repeats: bool) -> dict[str, Any]:
    from trainer.score.interchange.engraved import engraved
    from trainer.score.interchange.suspicion import open_source

    try:
        source = open_source(path)
        toolkit = verovio.toolkit()
        toolkit.setOptions({"inputFrom": {"MusicXML": "xml"}.get(source.kind, source.kind.lower())})
        if not toolkit.loadData(source.text):
            raise ExerciseError(f"the engraver cannot read this {source.kind}")
        mei = toolkit.getMEI({"pageNo": 0, "scoreBased": True})
        return {"score": engraved(mei, source, repeats=repeats).to_json()}
    except TrainerError as error:
        return {
            "error": {"what": error.what, "line": error.line, "remedy": error.remedy},
        }
    except MemoryError:
        return {"error": {"what": "reading it takes too much memory", "line": None, "remedy": ""}}
    except RecursionError:
        return {"error": {"what": "its parts are nested too deeply", "line": None, "remedy": ""}}


def _limit_memory() -> None:
    try:
        import resource
    except ImportError:  # Windows: the parent's clock is the only limit
        return
    resource.setrlimit(resource.RLIMIT_AS, (MEMORY, MEMORY))
    resource.setrlimit(resource.RLIMIT_CORE, (0, 0))


def _limit_time(seconds: float) -> None:
    try:
        import resource
    except ImportError:
        return
    used = resource.getrusage(resource.RUSAGE_SELF)
    soft = int(used.ru_utime + used.ru_stime + seconds) + 1
    resource.setrlimit(resource.RLIMIT_CPU, (soft, resource.getrlimit(resource.RLIMIT_CPU)[1]))
