"""The shared tests on mutants, each in a copy of this process that imports the firmware anew.

Which tests run a function is measured once; the likeliest to fail come first, and the first
that fails ends it. What goes on for ever is ended by the time that it takes of a core, so a
busy machine kills nothing.
"""

from __future__ import annotations

import importlib
import importlib.abc
import importlib.machinery
import importlib.util
import json
import os
import resource
import selectors
import signal
import sys
import time
from collections import Counter
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from types import CodeType, FrameType, ModuleType
from typing import Any

from host_sim import FIRMWARE_DIR, REPO_ROOT
from host_sim.trials.trust.mutate import Mutant

SHARED = REPO_ROOT / "tests" / "shared"
ANEW = ("rate_control", "app", "boards", "tests")
HANGING = 20  # times as long as the test takes
HANGING_S = 2.0  # and this; time of a core
MEMORY_MORE = 1 << 31  # bytes that a mutant may ask for


@dataclass(frozen=True)
class SharedTest:
    """One test function, what it costs, and the functions of the firmware that it runs."""

    module: str
    name: str
    cost_s: float = 0.1
    places: frozenset[str] = frozenset()

    def __str__(self) -> str:
        return f"{self.module}.{self.name}"


class Hangs(BaseException):
    """A test takes far too long; no handler of the firmware may catch this."""


class _Anew(importlib.abc.MetaPathFinder, importlib.abc.InspectLoader):
    """Finds the firmware and its tests, compiled once for all copies; one module mutated.

    It stands before all other finders: pytest's would rewrite a test module in every copy.
    """

    def __init__(self, mutant: Mutant | None) -> None:
        self._mutant = mutant

    def find_spec(self, name: str, path: Any, target: ModuleType | None = None
                  ) -> importlib.machinery.ModuleSpec | None:
        """A module of the firmware or of its tests."""
        return importlib.util.spec_from_loader(name, self) if name in _compiled() else None

    def is_package(self, fullname: str) -> bool:
        """Whether other modules are in it."""
        return _compiled()[fullname].co_filename.endswith("__init__.py")

    def get_source(self, fullname: str) -> str | None:
        """The mutated text."""
        mutant = self._mutant
        return mutant.source if mutant is not None and fullname == mutant.module else None

    def get_code(self, fullname: str) -> CodeType:
        """The module, the mutated one under a name that no other file has."""
        source = self.get_source(fullname)
        if source is None:
            return _compiled()[fullname]
        return compile(source, f"<mutant of {fullname}>", "exec")


@cache
def _compiled() -> dict[str, CodeType]:
    """Every module of the firmware and of its tests by name."""
    found = {}
    for top, directory in ((FIRMWARE_DIR, FIRMWARE_DIR), (REPO_ROOT, SHARED)):
        for path in directory.rglob("*.py"):
            parts = path.relative_to(top).with_suffix("").parts
            name = ".".join(parts[:-1] if parts[-1] == "__init__" else parts)
            found[name] = compile(path.read_text(), str(path), "exec")
    return found


def run_mutants(
    mutants: Sequence[Mutant],
    tests: Sequence[SharedTest],
    workers: int,
    tell: Callable[[float], None] = lambda share: None,
) -> list[str]:
    """For each mutant the test that killed it, or "" where it survived."""
    killers: list[str] = [""] * len(mutants)
    kills: Counter[tuple[str, str]] = Counter()
    waiting = iter(range(len(mutants)))

    def start(index: int) -> tuple[int, int]:
        order = _order(mutants[index], tests, kills)
        return _forked(lambda: _first_killer(mutants[index], order))

    for done, (index, answer) in enumerate(_several(waiting, start, workers), start=1):
        killer = killers[index] = "its process ended" if answer is None else str(answer)
        mutant = mutants[index]
        kills[mutant.module, killer] += 1
        kills[mutant.key[0], killer] += 10
        tell(done / len(mutants))
    return killers


def measured_tests() -> list[SharedTest]:
    """Every shared test, with what it costs and what it runs; raises RuntimeError if one fails."""
    pid, reader = _forked(_measure)
    answer = _answer(pid, reader)
    if answer is None or isinstance(answer, str):
        raise RuntimeError(f"the tests do not even pass without a mutant: {answer}")
    return [SharedTest(module, name, cost_s, frozenset(places))
            for module, name, cost_s, places in answer]


def _order(mutant: Mutant, tests: Sequence[SharedTest], kills: Counter[tuple[str, str]]
           ) -> list[SharedTest]:
    """The tests that can tell, the likeliest and cheapest first."""
    place, module = mutant.key[0], mutant.module

    def promise(test: SharedTest) -> float:
        touches = any(each.startswith(module + ".") for each in test.places)
        likely = kills[place, str(test)] + kills[module, str(test)] + (0.5 if touches else 0.02)
        return -likely / (test.cost_s + 0.01)

    in_function = any(place in test.places for test in tests)
    return sorted((test for test in tests if not in_function or place in test.places),
                  key=promise)


def _several(
    indices: Iterator[int], start: Callable[[int], tuple[int, int]], workers: int
) -> Iterator[tuple[int, Any]]:
    """Start one after the other, so many at a time; yield index and answer as they end."""
    with selectors.DefaultSelector() as running:
        while True:
            while len(running.get_map()) < workers and (index := next(indices, None)) is not None:
                pid, reader = start(index)
                running.register(reader, selectors.EVENT_READ, (index, pid))
            if not running.get_map():
                return
            for event, _ in running.select():
                running.unregister(event.fd)
                index, pid = event.data
                yield index, _answer(pid, event.fd)


def _forked(work: Callable[[], Any]) -> tuple[int, int]:
    """Do it in a copy of this process; return its number and where its answer can be read."""
    _compiled()  # before there are copies
    reader, writer = os.pipe()
    pid = os.fork()
    if pid:
        os.close(writer)
        return pid, reader
    try:
        os.close(reader)
        _be_alone()
        with os.fdopen(writer, "w") as pipe:
            json.dump(work(), pipe)
    finally:
        os._exit(0)


def _answer(pid: int, reader: int) -> Any:
    """What a copy has to say; None where it ended without a word."""
    with os.fdopen(reader) as pipe:
        text = pipe.read()
    os.waitpid(pid, 0)
    return json.loads(text) if text else None


def _be_alone() -> None:
    """Make the copy quiet and bounded, and let it forget the firmware."""
    sys.settrace(None)
    silence = os.open(os.devnull, os.O_RDWR)
    for stream in (0, 1, 2):
        os.dup2(silence, stream)
    used = int(Path("/proc/self/statm").read_text().split()[0]) * resource.getpagesize()
    _, hard = resource.getrlimit(resource.RLIMIT_AS)
    resource.setrlimit(resource.RLIMIT_AS, (used + MEMORY_MORE, hard))
    for name in [name for name in sys.modules if name.split(".")[0] in ANEW]:
        del sys.modules[name]
    for directory in (REPO_ROOT, FIRMWARE_DIR):
        sys.path.insert(0, str(directory))
    signal.signal(signal.SIGPROF, _end)


def _end(number: int, frame: FrameType | None) -> None:
    raise Hangs


def _first_killer(mutant: Mutant, tests: Sequence[SharedTest]) -> str:
    """The first test that fails, or ""."""
    sys.meta_path.insert(0, _Anew(mutant))
    for test in tests:
        try:
            signal.setitimer(signal.ITIMER_PROF, HANGING_S + HANGING * test.cost_s)
            getattr(importlib.import_module(test.module), test.name)()
        except BaseException:
            return str(test)
        finally:
            signal.setitimer(signal.ITIMER_PROF, 0)
    return ""


def _measure() -> list[tuple[str, str, float, list[str]]] | str:
    """Run every test; say which functions of the core each of them enters."""
    entered: set[str] = set()
    modules = {str(path): ".".join(path.relative_to(FIRMWARE_DIR).with_suffix("").parts)
               for path in FIRMWARE_DIR.rglob("*.py")}

    def on_call(frame: FrameType, event: str, argument: Any) -> None:
        code = frame.f_code
        module = modules.get(code.co_filename)
        if module is not None:
            entered.add(f"{module}.{code.co_qualname}")

    found: list[tuple[str, str, float, list[str]]] = []
    sys.meta_path.insert(0, _Anew(None))
    sys.settrace(on_call)
    for path in sorted(SHARED.glob("test_*.py")):
        name = f"tests.shared.{path.stem}"
        entered.clear()
        module = importlib.import_module(name)
        at_import = frozenset(entered)
        for test in (name for name in sorted(dir(module)) if name.startswith("test_")):
            entered.clear()
            start = time.process_time()
            try:
                getattr(module, test)()
            except Exception as error:
                return f"{module.__name__}.{test}: {error!r}"
            cost_s = time.process_time() - start
            found.append((module.__name__, test, cost_s, sorted(entered | at_import)))
    return found
