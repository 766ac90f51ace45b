"""Tuning a board over the link: prepared from here, confirmed and kept by a person there."""

from __future__ import annotations

import pytest

from host_sim.trials.commissioning.commission import Wish
from host_sim.trials.commissioning.performed import BenchError
from host_sim.trials.tuning.loop import GAIN_MARGIN_LEAST
from host_sim.trials.tuning.session import tune_board
from tests.host.twin.test_main_run import MASTER, Day, outputs


class Operator:
    """Does at the machine what is said, and nothing else."""

    def __init__(self, day: Day, confirms: bool = True) -> None:
        self.day = day
        self.confirms = confirms
        self.said: list[str] = []

    def __call__(self, text: str) -> None:
        self.said.append(text)
        day = self.day
        if "master off, then on" in text:
            day.arm()
            if not self.confirms:
                day.keys("back", "back")
                day.link.ask("procedure.stop")
                return
            assert day.keys()[1].startswith(">start")
            assert outputs(day) == (0.0, 0)
            day.keys("push")
            assert outputs(day) == (0.0, 0), "a question is no answer"
            day.keys("push")
        elif "push to keep" in text:
            day.switch(off=MASTER)
            day.keys("push", "push")
            day.keys("back", "back", "back")


def test_both_procedures_are_confirmed_and_kept_at_the_machine() -> None:
    with Day() as day:
        day.live(1.0)
        day.give_settings()
        operator = Operator(day)
        tuned = tune_board("board", day.link, Wish(settling_s=1.2), operator, lambda share: None)
        values = day.link.ask("settings.get")["values"]
        assert tuned.settings.as_dict() == values
        assert values["settling_time_ms"] == 1200
        assert tuned.margins.gain >= GAIN_MARGIN_LEAST
        assert abs(tuned.response.mean[-1] - 1.0) < 0.02
        assert not tuned.plant
        assert sum("it runs" in text for text in operator.said) == 2
        assert outputs(day) == (0.0, 0)


def test_what_nobody_confirms_does_not_run() -> None:
    with Day() as day:
        day.live(1.0)
        day.give_settings()
        before = day.link.ask("settings.get")["values"]
        with pytest.raises(BenchError, match="not confirmed"):
            tune_board("board", day.link, Wish(), Operator(day, confirms=False),
                       lambda share: None)
        assert outputs(day) == (0.0, 0)
        assert day.link.ask("settings.get")["values"] == before
