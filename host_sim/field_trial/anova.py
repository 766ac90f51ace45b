"""Analysis of variance by least squares, in one or several error strata.

A sum of squares is what a term explains beyond the terms before it (sequential, type I); in a
balanced design the order does not matter. With strata each term is judged against the residual of
the stratum in which it varies: whole plots of a split plot against each other, sub-plots within.
"""

from __future__ import annotations

from collections.abc import Hashable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import stats

Vector = NDArray[np.float64]
Labels = Sequence[Hashable]
RESIDUAL = "residual"
TOLERANCE = 1e-9  # of a unit vector, below which it is no new direction
NOTHING = 1e-22  # of all squares, the mean's too: less is rounding


@dataclass(frozen=True)
class Line:
    """One line of the table; f and p are None for a residual, or where there is none."""

    stratum: str
    source: str
    df: int
    sum_sq: float
    mean_sq: float | None
    f: float | None
    p: float | None


def anova(values: Sequence[float], terms: Sequence[tuple[str, Labels]],
          strata: Sequence[tuple[str, Labels]] = (), units: str = "plots") -> list[Line]:
    """The table. A term is a name and a label for each value; so is a stratum, widest first.

    An interaction is a term whose labels are the pairs of two others, after both. `units` is the
    name of the last stratum, that of the single values.
    """
    y = np.asarray(values, dtype=np.float64)
    known = np.full((len(y), 1), 1 / np.sqrt(len(y)))  # the mean is in no stratum
    lines: list[Line] = []
    least = NOTHING * float((y**2).sum())
    for name, labels in (*strata, (units, range(len(y)))):
        basis = _new_directions(indicators(labels), known)
        known = np.hstack([known, basis])
        lines += _stratum(name, basis.T @ y, [(term, basis.T @ indicators(levels))
                                              for term, levels in terms], least)
    return lines


def indicators(labels: Labels) -> Vector:
    """A column of 0 and 1 for each label that there is."""
    names = list(dict.fromkeys(labels))
    return np.array([[float(label == name) for name in names] for label in labels])


def _stratum(name: str, y: Vector, terms: Sequence[tuple[str, Vector]], least: float
             ) -> list[Line]:
    """The lines of one stratum, whose values and terms are seen in its own directions.

    A residual that is no more than `least` is none.
    """
    found: list[tuple[str, int, float]] = []
    known = np.zeros((len(y), 0))
    for term, columns in terms:
        basis = _new_directions(columns, known)
        if basis.shape[1]:
            found.append((term, basis.shape[1], float(((basis.T @ y) ** 2).sum())))
            known = np.hstack([known, basis])
    left = y - known @ (known.T @ y)
    df, rest = len(y) - known.shape[1], float((left**2).sum())
    error = rest / df if df and rest > least else None
    lines = [_line(name, term, count, squares, error, df) for term, count, squares in found]
    return [*lines, Line(name, RESIDUAL, df, rest, rest / df if df else None, None, None)]


def _line(name: str, term: str, count: int, squares: float, error: float | None, df: int) -> Line:
    f = squares / count / error if error else None
    p = None if f is None else float(stats.f.sf(f, count, df))
    return Line(name, term, count, squares, squares / count, f, p)


def _new_directions(columns: Vector, known: Vector) -> Vector:
    """An orthonormal basis of what columns span beyond an orthonormal basis that is known."""
    beyond = columns - known @ (known.T @ columns)
    beyond -= known @ (known.T @ beyond)  # once more, against rounding
    if not beyond.size:
        return np.zeros((len(columns), 0))
    left, sizes, _ = np.linalg.svd(beyond, full_matrices=False)
    basis: Vector = left[:, sizes > TOLERANCE * max(1.0, float(np.linalg.norm(columns)))]
    return basis
