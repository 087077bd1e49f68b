"""One change tried: the room's tests against it, in a forked process that imports it afresh."""

from __future__ import annotations

import ast
import contextlib
import gc
import importlib
import importlib.abc
import importlib.machinery
import importlib.util
import json
import multiprocessing
import os
import resource
import signal
import sys
import tempfile
import types
import warnings
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from multiprocessing import connection
from multiprocessing.process import BaseProcess
from pathlib import Path
from typing import Literal, TypeVar

import pytest

ROOT = Path(__file__).parents[2]
_ROOM = 8 << 30  # bytes of addresses a change may take
_HANGING = 20  # times the processor's seconds: a process that only waits is ended then

Outcome = Literal["killed", "survived", "too slow"]


@dataclass(frozen=True, slots=True)
class Trial:
    """Tests to be run against `module` (dotted) as `tree` has it; None for as it stands."""

    module: str
    tree: ast.Module | None
    tests: tuple[str, ...]


class _Changed(importlib.abc.MetaPathFinder, importlib.abc.Loader):
    """Imports one module from a tree instead of its file."""

    def __init__(self, module: str, tree: ast.Module) -> None:
        self.module, self.tree = module, tree
        self.file = str(ROOT / Path(*module.split(".")).with_suffix(".py"))

    def find_spec(
        self, name: str, path: object, target: object = None
    ) -> importlib.machinery.ModuleSpec | None:
        if name != self.module:
            return None
        return importlib.util.spec_from_loader(name, self, origin=self.file)

    def exec_module(self, module: types.ModuleType) -> None:
        module.__file__ = self.file
        exec(compile(self.tree, self.file, "exec", dont_inherit=True), module.__dict__)


def _status(trial: Trial, scratch: str, seconds: int) -> int:
    """In the child: 0 where every test passes, 1 where one does not.

    `seconds` are the processor's, so that a busy machine kills nothing.
    """
    os.setsid()  # what a test starts can be ended with it
    resource.setrlimit(resource.RLIMIT_CPU, (seconds, seconds + 5))
    resource.setrlimit(resource.RLIMIT_AS, (_ROOM, _ROOM))
    os.environ["CI"] = "1"  # the same examples every time, and none made smaller
    os.environ.pop("MITTELSTIMME_ALL_TESTS", None)
    with Path(os.devnull).open("w") as nowhere:
        os.dup2(nowhere.fileno(), 1)
        os.dup2(nowhere.fileno(), 2)
    if trial.tree is not None:
        sys.meta_path.insert(0, _Changed(trial.module, trial.tree))
    options = ["-x", "-q", "-o", "addopts=", "--import-mode=importlib", "-p", "no:cacheprovider"]
    options += ["-p", "no:benchmark", "--assert=plain", "--tb=no", f"--basetemp={scratch}/tests"]
    return 0 if pytest.main([*options, *trial.tests]) == pytest.ExitCode.OK else 1


def _try(trial: Trial, scratch: str, seconds: int) -> None:
    os._exit(_status(trial, scratch, seconds))


def _rehearse(trial: Trial, scratch: str, seconds: int) -> None:
    """Leaves the time it took and the names of the modules that were imported."""
    status = _status(trial, scratch, seconds)
    names = [name for name in sys.modules if name.partition(".")[0] != "tests"]
    spent = resource.getrusage(resource.RUSAGE_SELF)
    told = {"modules": names, "seconds": spent.ru_utime + spent.ru_stime}
    Path(scratch, "told").write_text(json.dumps(told), "utf-8")
    os._exit(status)


def rehearsed(modules: tuple[str, ...], tests: tuple[str, ...]) -> float | None:
    """The processor's seconds the tests take as things stand; None where they do not pass.

    What they import is imported here too, so that every fork has it: all but `modules`, which are
    to be changed, and whatever imports them.
    """
    with tempfile.TemporaryDirectory(prefix="mittelstimme-mutation-") as scratch:
        trial = Trial("", None, tests)
        process = multiprocessing.get_context("fork").Process(
            target=_rehearse, args=(trial, scratch, 600)
        )
        process.start()
        process.join(600 * _HANGING)
        if process.exitcode != 0:
            return None
        told = json.loads(Path(scratch, "told").read_text("utf-8"))
    for name in sys.modules.copy():
        if name.startswith("trainer."):  # from the room before
            del sys.modules[name]
    with warnings.catch_warnings(action="ignore"):
        for name in set(told["modules"]) - _changing(modules, told["modules"]):
            with contextlib.suppress(Exception):  # it only saves time
                importlib.import_module(name)
    gc.freeze()
    return float(told["seconds"])


def _changing(modules: tuple[str, ...], imported: list[str]) -> set[str]:
    """Those of the modules that import some of ours that is to be changed, near or far."""
    ours = {name for name in imported if name.startswith("trainer.")}
    needs = {name: _imports(name) & ours for name in ours}
    found = set(modules)
    while more := {name for name in ours - found if needs[name] & found}:
        found |= more
    return found


def _imports(module: str) -> set[str]:
    """What a module of ours imports, wherever in it: modules, and names that may be some."""
    names: set[str] = set()
    for node in ast.walk(ast.parse(source_of(module))):
        if isinstance(node, ast.Import):
            names |= {alias.name for alias in node.names}
        elif isinstance(node, ast.ImportFrom) and node.module:
            names |= {node.module, *(f"{node.module}.{alias.name}" for alias in node.names)}
    return names


T = TypeVar("T")


def tried(
    trials: Iterable[tuple[T, Trial]], seconds: int, jobs: int = 1
) -> Iterator[tuple[T, Outcome]]:
    """What becomes of each trial, in the order they end; `jobs` at a time.

    A trial that takes more than `seconds` of the processor counts as noticed: a person would.
    """
    fork = multiprocessing.get_context("fork")
    waiting = iter(trials)
    running: list[tuple[T, BaseProcess, tempfile.TemporaryDirectory[str]]] = []
    try:
        while True:
            while len(running) < jobs and (following := next(waiting, None)) is not None:
                scratch = tempfile.TemporaryDirectory(prefix="mittelstimme-mutation-")
                process = fork.Process(target=_try, args=(following[1], scratch.name, seconds))
                process.start()
                running.append((following[0], process, scratch))
            if not running:
                return
            by_sentinel = {one[1].sentinel: one for one in running}
            ready = connection.wait(list(by_sentinel), seconds * _HANGING)
            for one in [by_sentinel[sentinel] for sentinel in ready if isinstance(sentinel, int)]:
                running.remove(one)
                one[1].join()
                yield one[0], _ended(*one[1:])
            if not ready:
                yield running[0][0], _ended(*running.pop(0)[1:])
    finally:
        for _, process, scratch in running:
            _ended(process, scratch)


def _ended(process: BaseProcess, scratch: tempfile.TemporaryDirectory[str]) -> Outcome:
    assert process.pid is not None
    with contextlib.suppress(ProcessLookupError):  # its children, and itself if it hangs
        os.killpg(process.pid, signal.SIGKILL)
    process.join()
    scratch.cleanup()
    if process.exitcode in (-signal.SIGXCPU, -signal.SIGKILL):
        return "too slow"
    return "survived" if process.exitcode == 0 else "killed"


def source_of(module: str) -> str:
    """The source of one of our modules."""
    file = ROOT / file_of(module)
    return (file if file.exists() else file.with_suffix("") / "__init__.py").read_text("utf-8")


def file_of(module: str) -> str:
    """Where it stands, from the root of the checkout."""
    return Path(*module.split(".")).with_suffix(".py").as_posix()
