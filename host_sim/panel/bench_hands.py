"""What hands do to let the machine of the panel learn its pump: stand, to the bench, start, yes.

A page could do all of it by its keys. The procedure is prepared over the link, as `tune --port`
does for a real board, and confirmed at the display, where alone it can be.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from typing import Any

from app.quantity_text import in_words
from host_sim.board.link_client import Refused
from host_sim.common import units
from host_sim.common.errors import InputError, plain
from host_sim.panel.live_twin import LiveTwin
from rate_control.interlock import BENCH_ASKED, BENCH_PERMITS
from rate_control.procedures import catalogue
from rate_control.procedures.catalogue import NAME, NEEDS_BENCH, P_HIGH, P_LOW, P_NAME, P_QUANTITY

PROCEDURES = tuple(entry[NAME] for entry in catalogue.CATALOGUE if entry[NEEDS_BENCH])
SCREENS = 8  # deeper no menu is
OFF_S = 1.0  # with the master seen off
KEY_S = 0.3  # until the display has followed
STANDS_S = 60.0  # at the longest, until the controller has proof of it
Do = Callable[[str, list[Any]], None]
Steps = Iterator[float]  # each how long to wait for the next


def parameters(name: str, text: str, us: bool) -> dict[str, int]:
    """The parameters of a procedure from a text such as "speed = 8 km/h, settling time = 1 s".

    What is left out has its default. Raises InputError naming the parameter.
    """
    known = {in_words(param[P_NAME]): param for param in catalogue.row(name)[catalogue.PARAMS]}
    given: dict[str, int] = {}
    for part in filter(None, map(str.strip, text.split(","))):
        words, _, value = (piece.strip() for piece in part.partition("="))
        param = known.get(words)
        if param is None:
            raise InputError(f"{in_words(name)}: '{plain(words)}' is none of {', '.join(known)}")
        try:
            given[param[P_NAME]] = units.whole(param[P_QUANTITY], value, us, param[P_LOW],
                                               param[P_HIGH])
        except ValueError as error:
            raise InputError(f"{words}: {error}") from None
    return given


class BenchHands:
    """Hands on one machine. `told` says what they do, None where they have done nothing yet.

    `do` does a command of the page (commands.py).
    """

    def __init__(self, twin: LiveTwin, do: Do) -> None:
        self.told: dict[str, str] | None = None
        self._twin = twin
        self._do = do
        self._steps: Steps = iter(())
        self._due_s = 0.0

    def learn(self, name: str, text: str, us: bool) -> None:
        """Begin a procedure with these parameters. Raises InputError."""
        self._start(self._bench(name, parameters(name, text, us)))

    def keep(self, yes: bool) -> None:
        """Let the machine work by what was found, or leave it as it was."""
        self._start(self._end(yes))

    def act(self) -> None:
        """Do what has become due."""
        while self._due_s <= self._twin.now_s:
            self._due_s = self._twin.now_s + next(self._steps, STANDS_S)

    def _start(self, steps: Steps) -> None:
        self._steps = steps
        self._due_s = self._twin.now_s

    def _tell(self, state: str, why: str = "") -> None:
        self.told = {"state": state, "why": why}

    def _bench(self, name: str, given: dict[str, int]) -> Steps:
        twin, do = self._twin, self._do
        self._tell("preparing")
        do("speed", [0.0])
        for section in range(twin.cells.section_count):
            do("section", [section, True])
        do("master", [False])
        yield OFF_S
        yield from self._home()
        do("master", [True])
        until_s = twin.now_s + STANDS_S
        while missing := twin.application.missing(BENCH_PERMITS & ~BENCH_ASKED):
            if twin.now_s > until_s:
                self._tell("refused", f"the bench cannot begin: {', '.join(missing)}")
                return
            yield KEY_S
        try:
            twin.link.ask("procedure.begin", procedure=name, parameters=given)
        except Refused as refused:
            self._tell("refused", str(refused))
            return
        yield KEY_S  # the display shows it
        do("key", ["push"])  # start
        yield KEY_S
        do("key", ["push"])  # yes, the outlets are clear
        self._tell("begun")

    def _end(self, yes: bool) -> Steps:
        self._do("master", [False])
        yield OFF_S
        yield from self._home()
        if not yes:
            self._tell("left")
            return
        try:
            self._twin.link.ask("procedure.keep")
        except Refused as refused:
            self._tell("refused", str(refused))
        else:
            self._tell("kept")

    def _home(self) -> Steps:
        for _ in range(SCREENS):
            self._do("key", ["back"])
            yield KEY_S
