"""What arrives at the board of a sensor's pulses: all of them, or some twice and some not."""

from __future__ import annotations

from random import Random

from host_sim.plant.pulses import PulseTrain

BOUNCE_US = 200, 2000  # from an edge to the one that should not be


class SensorInput:
    """Follows a pulse train as `count` and `last_edge_us`. Clean it is the train itself."""

    __slots__ = ("_rng", "_seen", "_seen_us", "_train", "count", "last_edge_us")

    def __init__(self, train: PulseTrain, name: str, seed: int) -> None:
        self._train = train
        self._rng = Random(f"{name} {seed}")
        self._seen, self._seen_us = train.count, train.last_edge_us
        self.count, self.last_edge_us = train.count, train.last_edge_us

    def follow(self, now_us: int, bounce_share: float, missed_share: float) -> SensorInput:
        """Take over what the train has done since; of its edges these shares come twice, or not.

        Between two looks the edges are taken to be evenly spaced.
        """
        train = self._train
        edges = train.count - self._seen
        if edges:
            if bounce_share > 0.0 or missed_share > 0.0:
                self._one_by_one(edges, now_us, bounce_share, missed_share)
            else:
                self.count += edges
                self.last_edge_us = train.last_edge_us
            self._seen, self._seen_us = train.count, train.last_edge_us
        return self

    def _one_by_one(self, edges: int, now_us: int, bounce_share: float,
                    missed_share: float) -> None:
        rng, train = self._rng, self._train
        for left in range(edges - 1, -1, -1):
            if rng.random() < missed_share:
                continue
            edge_us = train.last_edge_us - left * (train.last_edge_us - self._seen_us) // edges
            self.count += 1
            if rng.random() < bounce_share:
                self.count += 1
                edge_us = min(edge_us + rng.randint(*BOUNCE_US), now_us)
            self.last_edge_us = max(self.last_edge_us, edge_us)
