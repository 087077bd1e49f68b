"""The process that opens foreign files: `python -m trainer.score.interchange.child`.

One JSON request a line on stdin, `{"path": …, "repeats": …, "seconds": …}`, one JSON answer a line
on what was stdout. Memory and time are limited, so that a file made to harm can only end this
process.
"""

from __future__ import annotations

import json
import os
import sys
from pathlib import Path
from typing import Any

from trainer.errors import ExerciseError, TrainerError

MEMORY = 1_500_000_000  # bytes of address space


def main() -> None:
    """Answer requests until stdin ends."""
    answers = os.fdopen(os.dup(1), "w", encoding="utf-8")
    os.dup2(2, 1)  # whatever a library prints must not look like an answer
    _limit_memory()
    import verovio

    verovio.enableLog(verovio.LOG_OFF)
    print(json.dumps({"ready": True}), file=answers, flush=True)
    for line in sys.stdin:
        request = json.loads(line)
        _limit_time(request["seconds"])
        answer = _answer(verovio, Path(request["path"]), request["repeats"])
        print(json.dumps(answer), file=answers, flush=True)


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


if __name__ == "__main__":
    main()
