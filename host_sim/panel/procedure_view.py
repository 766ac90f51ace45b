"""A procedure that drives the pump, as a page shows it: how far it is, what it found.

It is asked for over the link, so it does not matter who began it: hands at the display, a page of
the twin, or a person at a real machine.
"""

from __future__ import annotations

from types import SimpleNamespace
from typing import Any, cast

from app.quantity_text import in_words, show
from host_sim.board.link_client import LinkClient
from host_sim.machine_file.homes import LEARNED, key_of
from host_sim.machine_file.values import show as shown_setting
from rate_control.procedures.keeping import changes
from rate_control.settings import Settings, row

RUNNING, DONE = "running", "done"
Told = dict[str, Any]


class ProcedureView:
    """Follows what the bench runs. Nothing is asked that could begin, end or keep anything."""

    def __init__(self, client: LinkClient) -> None:
        self._client = client
        self._told: Told | None = None

    def look(self) -> Told | None:
        """What there is to tell, None for nothing. Raises LinkLost."""
        answer = self._client.ask("procedure.get")
        if answer["procedure"] is None or "progress_permille" not in answer:
            self._told = None
        elif answer["state"] == RUNNING or not self._is_told(answer):
            self._told = {
                "name": answer["procedure"],
                "words": in_words(answer["procedure"]),
                "state": answer["state"],
                "doing": answer["prompt"],
                "reason": answer["reason"],
                "permille": answer["progress_permille"],
                "found": self._facts(answer["facts"]) if answer["state"] == DONE else [],
                "changes": self._changes(answer["proposal"]),
            }
        return self._told

    def _is_told(self, answer: dict[str, Any]) -> bool:
        told = self._told
        return bool(told and (told["name"], told["state"]) == (answer["procedure"],
                                                               answer["state"]))

    def _facts(self, count: int) -> list[tuple[str, list[str]]]:
        """What was measured, each with its value in metric and in US units."""
        facts: list[Any] = []
        while len(facts) < count:
            facts += self._client.ask("procedure.facts", **{"from": len(facts)})["facts"]
        return [(name, [show(quantity, value, us) for us in (False, True)])
                for name, value, quantity in facts]

    def _changes(self, proposal: dict[str, Any]) -> list[tuple[str, list[str], list[str]]]:
        """What keeping it would change: a setting, its value now and then, each in both units."""
        if not proposal:
            return []
        values = self._client.ask("settings.get", names=list(proposal))["values"]
        found = []
        for name, old, new, _ in changes(cast(Settings, SimpleNamespace(**values)), proposal):
            words = key_of(name).removeprefix(f"{LEARNED}.").replace(".", ": ").replace("_", " ")
            now, then = ([shown_setting(row(name), value, us) for us in (False, True)]
                         for value in (old, new))
            found.append((words, now, then))
        return found
