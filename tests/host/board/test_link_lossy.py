"""Client and board over a line that loses and spoils things: done once, or known to be unsure."""

import random

from hypothesis import settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, initialize, invariant, rule

from host_sim.board.link_client import LinkLost, Refused
from tests.support.link_pair import Pair

RATES = st.integers(min_value=900, max_value=200000)


class Noise:
    """Spoils pieces with a probability: cut, flipped, lost, doubled, or with rubbish before."""

    def __init__(self, seed, probability):
        self._chance = random.Random(seed)
        self._probability = probability

    def __call__(self, data):
        chance = self._chance
        if not data or chance.random() >= self._probability:
            return data
        place = chance.randrange(len(data))
        return chance.choice((
            b"",
            data[:place],
            data[place:],
            data[:place] + bytes([data[place] ^ 1 << chance.randrange(8)]) + data[place + 1 :],
            data + data,
            chance.randbytes(5) + data,
            data[:place] + b"\n" + data[place:],
        ))


class LossyLink(RuleBasedStateMachine):
    """Each value is known, or one of two after a request that got no answer."""

    @initialize()
    def start(self):
        self.pair = Pair(timeout_s=0.2, attempts=3)
        self.rates = {self.application.controller.request.rate_ml_ha}
        self.settling = {self.application.controller.settings.settling_time_ms}
        self.clears = 0
        self.lost = self.answered = 0
        clear = self.application.clear_totals

        def count_and_clear():
            self.clears += 1
            return clear()

        self.application.clear_totals = count_and_clear

    @property
    def application(self):
        return self.pair.rig.application

    def ask(self, request, **arguments):
        """The answer, "refused", or None where none came."""
        try:
            answer = self.pair.client.ask(request, **arguments)
        except LinkLost:
            self.lost += 1
            return None
        except Refused as refused:
            assert refused.word == "refused", refused
            return "refused"
        assert answer["answer"] == request
        self.answered += 1
        return answer

    @rule(seed=st.integers(0, 2**32), probability=st.sampled_from((0.0, 0.2, 0.5, 0.8)))
    def change_the_noise(self, seed, probability):
        self.pair.port.spoil = Noise(seed, probability)

    @rule()
    def pull_and_plug(self):
        self.pair.port.broken = True
        assert self.ask("status") is None
        self.pair.port.broken = False

    @rule(rate=RATES)
    def set_rate(self, rate):
        answer = self.ask("rate.set", rate_ml_ha=rate)
        if answer == "refused":
            assert rate < 1000
        elif answer:
            self.rates = {rate}
        elif rate >= 1000:
            self.rates = self.rates | {rate}

    @rule(settling_ms=st.integers(300, 30000))
    def set_settings(self, settling_ms):
        answer = self.ask("settings.set", values={"settling_time_ms": settling_ms})
        self.settling = {settling_ms} if answer else self.settling | {settling_ms}

    @rule()
    def clear_totals_once(self):
        before = self.clears
        answer = self.ask("totals.clear")
        done = self.clears - before
        assert done == 1 if answer else done <= 1

    @rule()
    def read_settings(self):
        answer = self.ask("settings.get", names=["settling_time_ms"])
        if answer:
            assert answer["values"]["settling_time_ms"] in self.settling
            self.settling = {answer["values"]["settling_time_ms"]}

    @rule()
    def read_status(self):
        answer = self.ask("status")
        if answer:
            assert answer["rate_ml_ha"] in self.rates
            self.rates = {answer["rate_ml_ha"]}

    @rule()
    def stream(self):
        self.ask("telemetry.set", every_ticks=1)
        try:
            self.pair.client.take()
        except LinkLost:
            raise AssertionError("the line is there") from None

    @invariant()
    def board_is_in_one_of_the_states_we_know(self):
        if not hasattr(self, "pair"):
            return
        controller = self.application.controller
        assert controller.request.rate_ml_ha in self.rates
        assert controller.settings.settling_time_ms in self.settling
        assert self.pair.rig.link.failures == 0
        assert self.application.failure == ""


# Derandomised: a 16-bit checksum lets one spoiled record in 65536 through, so that a long run
# with ever new noise would fail some day, and rightly so.
TestLossyLink = LossyLink.TestCase
TestLossyLink.settings = settings(
    max_examples=150, stateful_step_count=40, deadline=None, derandomize=True
)
