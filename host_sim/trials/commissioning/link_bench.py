"""A machine at the other end of the link: the procedures run on its board, started by hand there.

The link can only prepare a procedure that drives, and everything that moves or is kept takes a
person at the machine. This waits for that person, says what is next, and listens to every tick.
"""

from __future__ import annotations

from array import array
from collections.abc import Callable, Iterator
from typing import Any

from host_sim.board.link_client import LinkClient, Refused
from host_sim.trials.commissioning.performed import BenchError, Performed, Tell
from rate_control.interlock import BENCH
from rate_control.settings import Settings, build, row
from rate_control.units import TICK_MS

POLL_S = 0.5
MISSING_TICKS_MAX = 60_000 // TICK_MS  # a longer hole is no hole: the board began anew

Say = Callable[[str], None]


class Listener:
    """Demand and flow of every tick on the bench, out of telemetry. A new bench begins anew.

    A tick that the line lost is shown like the one before it; `missing` counts them.
    """

    def __init__(self, names: list[str]) -> None:
        self.demand_u16, self.flow_ul_s = array("i"), array("i")
        self.missing = 0
        self._index = {name: names.index(name)
                       for name in ("tick", "state", "demand_u16", "flow_ul_s")}
        self._tick: int | None = None  # the last one on the bench

    def take(self, numbers: list[int]) -> None:
        """One record of telemetry."""
        tick, state, demand, flow = (numbers[place] for place in self._index.values())
        if state != BENCH:
            self._tick = None
            return
        hole = 0 if self._tick is None else tick - self._tick - 1
        if self._tick is None or not 0 <= hole <= MISSING_TICKS_MAX:
            del self.demand_u16[:], self.flow_ul_s[:]
            self.missing = hole = 0
        for _ in range(hole):
            self.demand_u16.append(self.demand_u16[-1])
            self.flow_ul_s.append(self.flow_ul_s[-1])
        self.missing += hole
        self.demand_u16.append(demand)
        self.flow_ul_s.append(flow)
        self._tick = tick


class LinkBench:
    """The board's procedures, asked for over a link. `say` is given what a person should do."""

    def __init__(self, client: LinkClient, say: Say) -> None:
        self._client = client
        self._say = say
        self._names: list[str] = client.ask("hello")["telemetry"]

    @property
    def settings(self) -> Settings:
        """The settings as they are now. Raises BenchError where they mean nothing here."""
        values = self._client.ask("settings.get")["values"]
        settings, problems = build({name: values[name] for name in values if row(name)})
        if settings is None:
            raise BenchError("the board's settings are not valid here: " + "; ".join(problems))
        return settings

    def change(self, values: dict[str, Any]) -> None:
        """Take settings. Raises BenchError with every problem."""
        self._ask("settings.set", values=values)

    def perform(self, name: str, parameters: dict[str, int], tell: Tell) -> Performed:
        """Prepare a procedure, wait until it was run and its result kept at the machine.

        Raises BenchError with the reason where it is refused, not confirmed or fails.
        """
        words = name.replace("_", " ")
        listener = Listener(self._names)
        self._client.ask("telemetry.set", every_ticks=1)
        try:
            self._ask("procedure.begin", procedure=name, parameters=parameters)
            self._say(f"{words}: at the machine: all sections on, master off, then on. Go back to "
                      "the first screen; it asks. Push start, and confirm.")
            ended = self._ended(name, words, listener, tell)
        finally:
            self._client.ask("procedure.stop")
            self._client.ask("telemetry.set", every_ticks=0)
        if ended["state"] != "done":
            raise BenchError(f"{name}: {ended['reason']}")
        facts = self._facts(ended["facts"])
        if listener.missing:
            self._say(f"{words}: {listener.missing} ticks were lost on the line")
        self._say(f"{words}: done. At the machine: push, look at it, push to keep.")
        self._kept(ended["proposal"])
        return Performed(name, ended["proposal"], facts, listener.demand_u16, listener.flow_ul_s)

    def _ended(self, name: str, words: str, listener: Listener, tell: Tell) -> dict[str, Any]:
        """What procedure.get says when the procedure has ended. Raises BenchError."""
        running = False
        for answer in self._answers("procedure.get", listener):
            if answer["asked"] == name:
                continue
            if answer["procedure"] == name and answer["state"] == "running":
                if not running:
                    self._say(f"{words}: it runs. Master off ends it.")
                running = True
                tell(answer["progress_permille"] / 1000)
            elif listener.demand_u16:  # there was a bench
                return answer
            else:
                raise BenchError(f"{name}: was not confirmed at the machine")
        raise AssertionError("it asks for ever")

    def _kept(self, proposal: dict[str, Any]) -> None:
        """Wait until the settings are those of the proposal."""
        for answer in self._answers("settings.get", None, names=list(proposal)):
            if answer["values"] == proposal:
                return

    def _answers(self, request: str, listener: Listener | None,
                 **arguments: Any) -> Iterator[dict[str, Any]]:
        """Ask again and again, and listen meanwhile."""
        client = self._client
        while True:
            answer = client.ask(request, **arguments)
            due_s = client.now_s() + POLL_S
            while client.now_s() < due_s:
                for record in client.take():
                    if listener and "telemetry" in record.body:
                        listener.take(record.body["telemetry"])
            yield answer

    def _facts(self, count: int) -> list[list[Any]]:
        facts: list[list[Any]] = []
        while len(facts) < count:
            facts += self._client.ask("procedure.facts", **{"from": len(facts)})["facts"]
        return facts

    def _ask(self, request: str, **arguments: Any) -> None:
        try:
            self._client.ask(request, **arguments)
        except Refused as refused:
            raise BenchError(str(refused)) from refused
