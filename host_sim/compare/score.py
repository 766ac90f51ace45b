"""Our core and a variant, each in processes of its own, and what came of both."""

from __future__ import annotations

import importlib.util
import json
import re
import tempfile
from collections.abc import Callable, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from host_sim.common.errors import InputError, plain
from host_sim.compare.isolated import Ended, run_isolated
from host_sim.compare.variant import Variant, lay_over

OURS_JSON = "ours.json"
DRIVES = "host_sim.compare.drives"
# The firmware's own tests, the house rules of the core, and that a tick allocates nothing.
TESTS = ("tests/shared", "tests/repo/test_core_rules.py",
         "tests/host/firmware/test_heap_lock.py")
STARTED = re.compile(r"^(tests/\S+::.+?)(?: (PASSED|FAILED|ERROR|SKIPPED|XFAIL|XPASS).*)?$")
SUMMARY = re.compile(r"^(FAILED|ERROR) (\S+(?: \S+)*?)(?: - (.*))?$")

Tell = Callable[[float], None]


@dataclass
class Tests:
    """What the tests said: how many passed, those that failed with why, and what ended them."""

    passed: int = 0
    failed: dict[str, str] = field(default_factory=dict)
    problem: str = ""


@dataclass
class Score:
    """`ours` and `theirs` are what drives.py left, empty where it left nothing; see `problem`."""

    variant: Variant
    ours: dict[str, Any]
    theirs: dict[str, Any]
    problem: str
    tests: Tests

    @property
    def broken(self) -> list[str]:
        """Claims that hold with our core and not with theirs."""
        held = {claim["words"] for claim in self.ours["claims"] if claim["holds"]}
        return [claim["words"] for claim in self.theirs.get("claims", [])
                if claim["words"] in held and not claim["holds"]]

    @property
    def as_good(self) -> bool:
        """Whether nothing broke: no crash, no failing test, no claim that held before."""
        failed = self.problem or self.theirs.get("failed") or self.broken
        return not (failed or self.tests.failed or self.tests.problem)


def score(variant: Variant, machines: Sequence[str], repeats: int, patience_s: float,
          tell: Tell = lambda share: None, tests: Sequence[str] = TESTS,
          ours: dict[str, Any] | None = None) -> Score:
    """Run everything; `ours` is what drive_ours gave, where that is at hand.

    Raises InputError where our own core cannot be driven.
    """
    progress = _Progress(tell, len(machines))
    with tempfile.TemporaryDirectory() as place, ThreadPoolExecutor(1) as thread:
        tree = lay_over(variant, Path(place))
        tested = thread.submit(run_tests, tree, tests, patience_s)
        if ours is None:
            ours = drive_ours(machines, repeats, patience_s, progress)
        (tree / OURS_JSON).write_text(json.dumps(ours), encoding="utf-8")
        theirs, problem = _drive(tree, OURS_JSON, machines, repeats, patience_s, progress)
        return Score(variant, ours, theirs, problem, tested.result())


def drive_ours(machines: Sequence[str], repeats: int, patience_s: float,
               tell: Callable[[str], None] = lambda line: None) -> dict[str, Any]:
    """Our core, the baselines and the oracle. Raises InputError where they cannot be driven."""
    with tempfile.TemporaryDirectory() as place:
        ours, problem = _drive(lay_over(None, Path(place)), "-", machines, repeats, patience_s,
                               tell)
    if problem or ours["failed"]:
        raise InputError(f"our own core cannot be driven here: {problem or ours['failed']}")
    return ours


class _Progress:
    def __init__(self, tell: Tell, machines: int) -> None:
        self._tell, self._most, self._done = tell, 6 * machines + 4, 0

    def __call__(self, line: str) -> None:
        self._done += 1
        self._tell(min(self._done / self._most, 0.99))


def _drive(tree: Path, beside: str, machines: Sequence[str], repeats: int, patience_s: float,
           tell: Callable[[str], None]) -> tuple[dict[str, Any], str]:
    """What drives.py left, and what is wrong where it left nothing."""
    out = tree / "driven.json"
    ended = run_isolated(["-m", DRIVES, str(out), beside, str(repeats), *machines], tree,
                         patience_s, tell)
    if ended.status == 0 and not ended.stopped and out.exists():
        return json.loads(out.read_text(encoding="utf-8")), ""
    return {}, _why(ended, tree)


def _why(ended: Ended, tree: Path) -> str:
    """In one line, why a command did not come to its end."""
    last = next((line for line in reversed(ended.lines) if line.strip(". ")), "")
    end = ended.stopped or ended.killed
    if not end and not any(line.startswith("Traceback") for line in ended.lines):
        end = f"ended with status {ended.status}"
    if end:
        return plain(f"{end}, after: {last}" if last else end)
    place = next((found for line in reversed(ended.lines)
                  if (found := re.search(r'File ".*/(firmware/.*)", line (\d+)', line))), None)
    at = f" ({place[1]}:{place[2]})" if place else ""
    return plain(f"{last}{at}".replace(f"{tree}/", ""))


def run_tests(tree: Path, tests: Sequence[str], patience_s: float) -> Tests:
    """Run tests in a tree."""
    if not tests:
        return Tests()
    if importlib.util.find_spec("pytest") is None:
        return Tests(problem="not run: they need the package pytest, pip install \".[dev]\"")
    ended = run_isolated(
        ["-m", "pytest", "-v", "--tb=no", "-rfE", "-p", "no:cacheprovider", "-p", "no:randomly",
         "-o", "addopts=", "-o", "console_output_style=classic", "--import-mode=importlib",
         *tests], tree, patience_s)
    return read_tests(ended, tree)


def read_tests(ended: Ended, tree: Path) -> Tests:
    """What pytest printed with -v and -rfE."""
    tests = Tests()
    running = ""
    for line in ended.lines:
        if found := SUMMARY.match(line):
            tests.failed[found[2]] = found[3] or ""
        elif found := STARTED.match(line):
            running = "" if found[2] else found[1]
            tests.passed += found[2] == "PASSED"
    if ended.stopped:
        tests.problem = f"{ended.stopped} in {running}" if running else ended.stopped
    elif ended.status not in (0, 1):
        tests.problem = _why(ended, tree)
    return tests
