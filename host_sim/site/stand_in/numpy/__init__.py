"""The part of numpy that the figures and the report of a run use, in plain Python.

It is slow and it is small. Every function does what numpy's does for the arguments that the
project gives it: tests/host/site/test_stand_in.py asks both.
"""

from __future__ import annotations

import math
import operator
from bisect import bisect_left
from collections.abc import Callable, Sequence
from itertools import accumulate, pairwise
from typing import Any

from host_sim.common.straight_lines import value_at

from .array import both, common_shape, divided, ndarray, of, spread

__version__ = "0 (stand-in)"

nan, inf = math.nan, math.inf
float64, int64, bool_ = float, int, bool


def array(values: Any, dtype: Callable[[Any], Any] | None = None) -> ndarray:
    made = of(values).copy()
    if dtype:
        return made.astype(dtype)
    some_float = any(isinstance(value, float) for value in made.data)
    return made.astype(float) if some_float else made


def asarray(values: Any, dtype: Callable[[Any], Any] | None = None) -> ndarray:
    return values if isinstance(values, ndarray) else array(values, dtype)


def arange(start: float, stop: float | None = None, step: float = 1,
           dtype: Callable[[Any], Any] | None = None) -> ndarray:
    if stop is None:
        start, stop = type(start)(0), start
    count = max(math.ceil((stop - start) / step), 0)
    made = ndarray([start + step * index for index in range(count)])
    return made.astype(dtype) if dtype else made


def linspace(start: float, stop: float, count: int) -> ndarray:
    step = (stop - start) / (count - 1)
    return ndarray([*(start + step * index for index in range(count - 1)), float(stop)])


def full(shape: int | tuple[int, ...], value: Any) -> ndarray:
    sizes = shape if isinstance(shape, tuple) else (shape,)
    return ndarray([value] * math.prod(sizes), sizes)


def full_like(like: ndarray, value: Any) -> ndarray:
    return full(like.shape, value)


# Element by element.

def _each(do: Callable[[Any], Any]) -> Callable[[Any], Any]:
    def function(values: Any) -> Any:
        if not isinstance(values, ndarray | list | tuple):
            return do(values)
        made = of(values)
        return ndarray([do(value) for value in made.data], made.shape)

    return function


def _sign(value: float) -> float:
    return value if value != value else float((value > 0) - (value < 0))


abs = _each(abs)
sqrt, sign = _each(math.sqrt), _each(_sign)
ceil = _each(lambda value: float(math.ceil(value)))
floor = _each(lambda value: float(math.floor(value)))
isnan, isfinite = _each(math.isnan), _each(math.isfinite)


def nan_to_num(values: ndarray) -> ndarray:
    return ndarray([0.0 if value != value else value for value in values.data], values.shape)


def where(condition: ndarray, one: Any, other: Any) -> ndarray:
    one, other = of(one), of(other)
    shape = common_shape(condition.shape, one.shape, other.shape)
    picked = zip(*(spread(part, shape) for part in (condition, one, other)), strict=True)
    return ndarray([yes if on else no for on, yes, no in picked], shape)


def divide(one: ndarray, other: ndarray, where: ndarray, out: ndarray) -> ndarray:
    picked = zip(one.data, spread(other, one.shape), spread(where, one.shape), strict=True)
    for index, (above, below, on) in enumerate(picked):
        if on:
            out.data[index] = divided(above, below)
    return out


# Along an axis, or over all.

def diff(values: Any, axis: int = -1) -> ndarray:
    made = of(values)
    if made.ndim == 1:
        return ndarray([after - before for before, after in pairwise(made.data)])
    assert axis == 0, "of a table row from row is all that is needed"
    return made[1:] - made[:-1]


def cumsum(values: Any) -> ndarray:
    return ndarray(list(accumulate(of(values).data)))


def concatenate(parts: Sequence[Any]) -> ndarray:
    return ndarray([value for part in parts for value in of(part).data])


def append(values: ndarray, value: float) -> ndarray:
    return ndarray([*values.data, value])


def column_stack(columns: Sequence[ndarray]) -> ndarray:
    return of([column.data for column in columns]).T


def repeat(values: ndarray, count: int, axis: int) -> ndarray:
    assert axis == 1 and values.shape[1] == 1
    return ndarray(spread(values, (len(values), count)), (len(values), count))


def split(values: ndarray, places: ndarray) -> list[ndarray]:
    return [values[start:stop] for start, stop in pairwise([0, *places.data, len(values)])]


def pad(values: ndarray, widths: tuple[tuple[int, int], ...], constant_values: float) -> ndarray:
    (_, below), _ = widths
    return ndarray(values.data + [constant_values] * (below * values.shape[1]),
                   (len(values) + below, values.shape[1]))


def take_along_axis(values: ndarray, places: ndarray, axis: int) -> ndarray:
    assert axis == 1
    rows, length, columns = values.shape
    return ndarray([values.data[(row * length + places.data[row * columns + column]) * columns
                                + column]
                    for row in range(rows) for column in range(columns)], (rows, 1, columns))


def argmax(values: ndarray, axis: int | None = None) -> Any:
    return values.argmax(axis)


def argmin(values: ndarray) -> int:
    return min(range(values.size), key=values.data.__getitem__)


def nanargmax(values: ndarray) -> int:
    return max((i for i, value in enumerate(values.data) if value == value),
               key=values.data.__getitem__)


def nanmin(values: ndarray) -> float:
    return min(value for value in values.data if value == value)


def nanmax(values: ndarray) -> float:
    return max(value for value in values.data if value == value)


def argsort(values: ndarray) -> ndarray:
    return ndarray(sorted(range(values.size), key=values.data.__getitem__))


def flatnonzero(values: ndarray) -> ndarray:
    return ndarray([index for index, value in enumerate(values.data) if value])


def count_nonzero(values: ndarray) -> int:
    return flatnonzero(values).size


def median(values: ndarray) -> float:
    ordered, middle = sorted(values.data), values.size // 2
    return ordered[middle] if values.size % 2 else (ordered[middle - 1] + ordered[middle]) / 2


def average(values: ndarray, weights: ndarray) -> float:
    return both(operator.mul, values, weights).sum() / weights.sum()


def searchsorted(values: ndarray, wanted: Any) -> Any:
    if isinstance(wanted, ndarray):
        return ndarray([bisect_left(values.data, value) for value in wanted.data])
    return bisect_left(values.data, wanted)


def interp(wanted: Any, places: Any, values: Any) -> ndarray:
    xs, ys = of(places).data, of(values).data
    return ndarray([value_at(value, xs, ys) for value in of(wanted).data])


class maximum:
    """The larger of two, element by element; `accumulate` the largest so far."""

    def __new__(cls, one: Any, other: Any) -> Any:
        return both(max, one, other)

    @staticmethod
    def accumulate(values: ndarray) -> ndarray:
        return ndarray(list(accumulate(values.data, max)))


class bitwise_or:
    """Only its `reduce`: every bit that is set in some element."""

    @staticmethod
    def reduce(values: ndarray) -> int:
        found = 0
        for value in values.data:
            found |= value
        return found
