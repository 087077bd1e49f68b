"""What a program holds at one moment: memory, handles, threads, processes, files, objects, caches.

Read from Linux's own accounts under /proc.
"""

from __future__ import annotations

import functools
import gc
import os
import sys
import threading
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np

MANY = 200
PAGE_MB = os.sysconf("SC_PAGE_SIZE") / 2**20 if hasattr(os, "sysconf") else 0.0


@dataclass(frozen=True)
class Sample:
    """What was held when so many hours had been practised."""

    hours: float
    memory_mb: float
    apart_mb: dict[str, float]  # of each process of the program's own, by its entry
    handles: int
    handles_apart: int
    threads: int
    processes: int
    files: int  # that lie in the folder for temporary ones
    kept: int  # results in `lru_cache`s
    objects: int  # that Python's collector looks after
    kinds: Counter[str]  # how many of a kind: of our own kinds, and of those there are many of

    @property
    def figures(self) -> dict[str, float]:
        """Those that have to stay as they are, by name."""
        return {
            "memory, MB": self.memory_mb,
            **{f"memory of {name}, MB": mb for name, mb in sorted(self.apart_mb.items())},
            "handles": self.handles,
            "handles of its processes": self.handles_apart,
            "threads": self.threads,
            "processes": self.processes,
            "temporary files": self.files,
        }


def sample(hours: float, temporary: Path) -> Sample:
    """What this process and its children hold now, what nobody needs any more thrown away."""
    gc.collect()
    objects = gc.get_objects()
    kinds = Counter(map(type, objects))
    caches = [one for one in objects if isinstance(one, functools._lru_cache_wrapper)]
    kept = sum(one.cache_info().currsize for one in caches)
    number = len(objects)
    del objects, caches
    children = _children()
    return Sample(
        hours,
        _memory(os.getpid()),
        {_entry(pid): _memory(pid) for pid in children},
        _handles(os.getpid()),
        sum(map(_handles, children)),
        threading.active_count(),
        len(children),
        sum(1 for _ in temporary.rglob("*")),
        kept,
        number,
        _told(kinds),
    )


def _told(kinds: Counter[type]) -> Counter[str]:
    """By name; what is measured must not grow by measuring it."""
    told: Counter[str] = Counter()
    for kind, count in kinds.items():
        name = f"{kind.__module__}.{kind.__qualname__}"
        if count > MANY or name.startswith("trainer."):
            told[sys.intern(name)] += count
    return told


def _memory(pid: int) -> float:
    """Resident memory in MB, without pages of files that are mapped."""
    fields = Path(f"/proc/{pid}/statm").read_text().split()
    return (int(fields[1]) - int(fields[2])) * PAGE_MB


def _handles(pid: int) -> int:
    return len(os.listdir(f"/proc/{pid}/fd"))  # noqa: PTH208


def _children() -> list[int]:
    found = []
    for task in Path("/proc/self/task").iterdir():
        found += [int(pid) for pid in (task / "children").read_text().split()]
    return sorted(set(found))


def _entry(pid: int) -> str:
    """What a process of the program's own does, `package.module:function`."""
    words = Path(f"/proc/{pid}/cmdline").read_bytes().decode(errors="replace").split("'")
    return next((word for word in words if word.startswith("trainer.")), words[0])


@dataclass(frozen=True)
class Course:
    """How one figure went in the second half of the time: from what to what, and the line through
    it, per hour, with that line's standard error."""

    name: str
    first: float
    last: float
    per_hour: float
    error: float

    @property
    def holds(self) -> bool:
        """Memory may waver, and grow by 5 MB an hour beyond what wavering explains; of everything
        else not one more is held at the end than there was in the third quarter."""
        if self.name.endswith("MB"):
            return self.per_hour - self.error < MEMORY_PER_HOUR
        return self.last <= self.first


MEMORY_PER_HOUR = 5.0  # MB


def courses(samples: Sequence[Sample]) -> list[Course]:
    """How every figure went: memory from the beginning to the end of the second half, of all other
    figures the most in the third quarter and the most in the last."""
    second = samples[len(samples) // 2 :]
    names = [name for name in second[0].figures if all(name in one.figures for one in second)]
    hours = np.array([one.hours for one in second])
    middle = len(second) // 2
    found = []
    for name in names:
        values = np.array([one.figures[name] for one in second], float)
        slope, error = _line(hours, values)
        if name.endswith("MB"):
            first, last = values[0], values[-1]
        else:
            first, last = values[:middle].max(), values[middle:].max()
        found.append(Course(name, float(first), float(last), slope, error))
    return found


def _line(hours: np.ndarray, values: np.ndarray) -> tuple[float, float]:
    """The slope of the line that fits best, and its standard error."""
    away = hours - hours.mean()
    slope = float((away * values).sum() / (away**2).sum())
    rest = values - values.mean() - slope * away
    free = max(1, len(hours) - 2)
    return slope, float(np.sqrt((rest**2).sum() / free / (away**2).sum()))


def grown(samples: Sequence[Sample], most: int = 12) -> list[tuple[str, int, int]]:
    """The kinds of objects of which there are most more at the end than in the middle."""
    before, after = samples[len(samples) // 2].kinds, samples[-1].kinds
    more = sorted(((n - before[kind], kind) for kind, n in after.items()), reverse=True)
    return [(kind, before[kind], after[kind]) for by, kind in more[:most] if by > 0]
