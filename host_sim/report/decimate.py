"""Fewer points for a line without losing its peaks."""

from __future__ import annotations

import numpy as np

from host_sim.runs.record import Column


def min_max(x: Column, y: Column, buckets: int) -> tuple[Column, Column]:
    """The lowest and highest point of each of `buckets` equal pieces of x, in their order.

    x does not fall. Where y is not a number a gap stays: a bucket without any number gives one
    such point.
    """
    if len(x) <= 2 * buckets:
        return x, y
    edges = np.linspace(x[0], x[-1], buckets + 1)[1:-1]
    groups = np.split(np.arange(len(x)), np.searchsorted(x, edges))
    keep: list[int] = []
    for group in groups:
        if not len(group):
            continue
        numbers = group[~np.isnan(y[group])]
        if not len(numbers):
            keep.append(int(group[0]))
            continue
        extremes = {int(numbers[np.argmin(y[numbers])]), int(numbers[np.argmax(y[numbers])])}
        keep.extend(sorted(extremes))
    return x[keep], y[keep]


def worst_of(ratios: Column, buckets: int) -> tuple[Column, int]:
    """Of each group of rows, the number of each column that is farthest from 1.

    Returns at most `buckets` rows and how many rows went into each; the last group may be filled
    up with rows that are not numbers.
    """
    size = -(-len(ratios) // buckets)
    missing = -len(ratios) % size
    filled = np.pad(ratios, ((0, missing), (0, 0)), constant_values=np.nan)
    groups = filled.reshape(-1, size, ratios.shape[1])
    miss = np.where(np.isnan(groups), -1.0, np.abs(groups - 1.0))
    worst = np.take_along_axis(groups, np.argmax(miss, axis=1)[:, None, :], axis=1)
    return worst[:, 0, :], size
