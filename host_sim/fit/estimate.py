"""Finds the parameters with which the plant gives the recorded pulses, and their intervals.

Least squares of what the meter read and of what was known beforehand, by the trust-region method
of scipy.optimize.least_squares (Branch, Coleman and Li 1999). The covariance is the inverse of the
normal matrix at the end: of a normal distribution that is the posterior, otherwise its Laplace
approximation. Residuals that are no noise, being alike from reading to reading, count for as many
fewer as their autocorrelation says.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import least_squares

from host_sim.fit.episode import Episode
from host_sim.fit.replay import replayed
from host_sim.fit.unknowns import Unknown, Vector, unknowns_of, with_values
from host_sim.plant.spec import MachineSpec

STEP = 0.02  # deviations, of a difference quotient
WIDE_STEP = 0.1  # the same for the intervals
ROUNDS = 7  # at most: between two of them the weight of the readings is found anew
EVALUATIONS = 8  # in a round
SETTLED = 1.15  # factor on the noise from round to round
LIVES = 100  # of the plant, about, in the whole search
KEPT = 16
MOVED_V = 0.2
STOOD = 0.0, 0.2, 0.4, 0.6, 0.8, 1.0  # where a valve may have been left
EDGE = 1e-9  # the search wants to begin inside its bounds
FELT = 0.1  # of its deviation beforehand: what less than this tells of a parameter is left out
LATE_LAGS = 200
TOLD = 0.5  # of the deviation beforehand; what is known no better, the run cannot tell

Tell = Callable[[float], None]
Matrix = Vector
Numbers = NDArray[np.int64]  # of unknowns


@dataclass(frozen=True)
class Estimate:
    """What was found. `covariance` and `z` are in deviations of what was known beforehand.

    `noise` is by how much the readings scatter over what was reckoned with; `misfit_share` is the
    root mean square of what is left of the rate, over the mean rate.
    """

    spec: MachineSpec
    unknowns: list[Unknown]
    z: Vector
    covariance: Matrix
    noise: float
    misfit_share: float
    follows_supply: bool
    episode: Episode

    @property
    def machine(self) -> MachineSpec:
        """The machine that was found."""
        return with_values(self.spec, self.unknowns, self.z)

    @property
    def deviations(self) -> Vector:
        """Of each unknown, over that beforehand: 1 where the run told nothing."""
        return np.sqrt(np.diag(self.covariance))


def estimate(spec: MachineSpec, episode: Episode, tell: Tell = lambda share: None) -> Estimate:
    """The machine behind an episode, looked for about a spec of its kind.

    The constant of the meter is the one that the controller reckoned with. A valve's motor may
    follow the supply or not: where the supply moved, both are tried.
    """
    spec = spec.override(meter={"pulses_per_m3": 10.0 * episode.settings["meter_pulses_hl"]})
    unknowns = unknowns_of(spec, episode.settings)
    moved = episode.valve and float(np.std(episode.supply_v)) > MOVED_V
    found = _Search(spec, episode, unknowns, False, tell).run()
    if not moved:
        return found
    other = _Search(spec, episode, unknowns, True, tell).run()
    return min(found, other, key=lambda one: one.misfit_share)


@dataclass
class _Lived:
    """What the readings are off with some values, and the derivatives that were asked for."""

    left: Vector
    slopes: dict[int, Vector] = field(default_factory=dict)


class _Slopes:
    """Derivatives that are put right by every step that is made, after Broyden (1965).

    A difference quotient costs a life of the plant for every unknown; a step tells one direction
    for nothing.
    """

    def __init__(self, slopes: Matrix, at: Vector, left: Vector) -> None:
        self._slopes, self._at, self._left = slopes, at, left

    def at(self, at: Vector, left: Vector) -> Matrix:
        """The derivatives at the next place of a search."""
        step = at - self._at
        square = float(step @ step)
        if square > 0.0:
            missed = left - self._left - self._slopes @ step
            self._slopes = self._slopes + np.outer(missed, step) / square
            self._at, self._left = at.copy(), left
        return self._slopes


class _Search:
    def __init__(self, spec: MachineSpec, episode: Episode, unknowns: list[Unknown],
                 follows_supply: bool, tell: Tell) -> None:
        self._spec, self._episode, self._unknowns, self._tell = spec, episode, unknowns, tell
        self._low, self._high = (np.array(ends) for ends in zip(
            *(unknown.limits() for unknown in unknowns), strict=True))
        self._follows = follows_supply
        self._known: dict[bytes, _Lived] = {}  # by the last values that were looked at
        self._lives = 0  # of the plant, so far

    def run(self) -> Estimate:
        z = self._begin()
        every: Numbers = np.arange(len(z))
        slopes, noise = self._slopes(z, every), self._noise(self._left(z))
        for _ in range(ROUNDS):
            felt: Numbers = np.flatnonzero(np.linalg.norm(slopes, axis=0) / noise > FELT)
            z = self._search(z, felt, noise)
            before, noise = noise, self._noise(self._left(z))
            slopes = self._slopes(z, every)
            if max(noise / before, before / noise) < SETTLED:
                break
        slopes = self._careful_slopes(z)
        normal = slopes.T @ slopes / noise**2 + np.eye(len(z))
        covariance = np.asarray(np.linalg.inv(normal), np.float64)
        return Estimate(self._spec, self._unknowns, z, covariance, noise, self._misfit_share(z),
                        self._follows, self._episode)

    def _begin(self) -> Vector:
        """Where the search begins: a valve, where the controller took it to be or anywhere else.
        """
        z = np.array([unknown.begin for unknown in self._unknowns])
        valve = [unknown.name == "start_share" for unknown in self._unknowns]
        if not any(valve):
            return z
        row = valve.index(True)
        stood = [self._episode.opening, *STOOD]
        tried = [np.where(valve, self._unknowns[row].z_of(opening), z) for opening in stood]
        return min(tried, key=lambda one: float(np.sum(np.abs(self._left(one)))))

    def _search(self, start: Vector, felt: Numbers, noise: float) -> Vector:
        """The best values of those that the run feels; the others stay."""
        def full(part: Vector) -> Vector:
            whole = start.copy()
            whole[felt] = part
            return whole

        def residuals(part: Vector) -> Vector:
            return np.concatenate([self._left(full(part)) / noise, part])

        slopes = _Slopes(self._slopes(start, felt), start[felt], self._left(start))

        def jacobian(part: Vector) -> Matrix:
            return np.vstack([slopes.at(part, self._left(full(part))) / noise,
                              np.eye(len(felt))])

        found = least_squares(residuals, start[felt], jacobian, max_nfev=EVALUATIONS, ftol=1e-4,
                              xtol=1e-3, bounds=(self._low[felt] - EDGE, self._high[felt] + EDGE))
        return full(found.x)

    def _left(self, z: Vector) -> Vector:
        """What the readings are off, in their deviations."""
        return self._at(z).left

    def _at(self, z: Vector) -> _Lived:
        key = z.tobytes()
        if key not in self._known:
            while len(self._known) >= KEPT:
                del self._known[next(iter(self._known))]
            self._known[key] = _Lived(self._live(z))
        return self._known[key]

    def _live(self, z: Vector) -> Vector:
        episode = self._episode
        self._lives += 1
        self._tell(1.0 - math.exp(-self._lives / LIVES))
        would = replayed(with_values(self._spec, self._unknowns, z), episode, self._follows)
        left: Vector = (would - episode.pulses) / episode.deviation
        return left

    def _slopes(self, z: Vector, which: Numbers) -> Matrix:
        """Derivatives of what is left, a column for each of those that are asked for."""
        lived = self._at(z)
        for number in which.tolist():
            if number not in lived.slopes:
                step = STEP if z[number] + STEP < self._high[number] else -STEP
                moved = z.copy()
                moved[number] += step
                lived.slopes[number] = (self._live(moved) - lived.left) / step
        return np.column_stack([lived.slopes[number] for number in which.tolist()])

    def _careful_slopes(self, z: Vector) -> Matrix:
        """The weaker of the derivatives to both sides, over a wider step: for the intervals.

        A pulse that just moves the valve, or just does not, makes a jump that tells far less than
        its slope seems to say.
        """
        left = self._left(z)
        slopes = np.empty((len(left), len(z)))
        for number in range(len(z)):
            sides = []
            for step in (WIDE_STEP, -WIDE_STEP):
                moved = z.copy()
                moved[number] = min(max(z[number] + step, self._low[number]), self._high[number])
                if moved[number] != z[number]:
                    sides.append((self._live(moved) - left) / (moved[number] - z[number]))
            slopes[:, number] = min(sides, key=lambda side: float(side @ side))
        return slopes

    def _noise(self, left: Vector) -> float:
        """The factor on the deviations of the readings with which they are as good as they are."""
        scatter = float(np.mean(left**2))
        return float(np.sqrt(max(scatter * repeats(left), 1.0)))

    def _misfit_share(self, z: Vector) -> float:
        episode = self._episode
        if not episode.rated.any():
            return 1.0
        off = (self._left(z) * episode.deviation)[episode.rated]
        return float(np.sqrt(np.mean(off**2)) / episode.pulses[episode.rated].mean())


def repeats(left: Vector) -> float:
    """How many readings say the same: 1 + 2 sum of the autocorrelation, up to where it ends.

    Summed in pairs of lags until a pair is not positive (Geyer's initial positive sequence).
    """
    about = left - left.mean()
    power = float(np.mean(about**2))
    if power == 0.0:
        return 1.0
    total = 1.0
    for lag in range(1, min(LATE_LAGS, len(left) // 4), 2):
        pair = (float(np.mean(about[lag:] * about[:-lag]))
                + float(np.mean(about[lag + 1:] * about[:-lag - 1]))) / power
        if pair <= 0.0:
            break
        total += 2.0 * pair
    return total
