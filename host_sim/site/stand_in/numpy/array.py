"""An array of numbers: a flat list and a shape, with the operators of numpy's."""

from __future__ import annotations

import math
import operator
from collections.abc import Callable, Iterable, Iterator, Sequence
from math import prod
from typing import Any

Shape = tuple[int, ...]


class ndarray:
    """Elements in row-major order; all are bool, all int, or all float."""

    __slots__ = ("data", "shape")
    __hash__ = None  # type: ignore[assignment]

    def __init__(self, data: list[Any], shape: Shape | None = None) -> None:
        self.data = data
        self.shape = (len(data),) if shape is None else shape

    # What it is.

    @property
    def ndim(self) -> int:
        return len(self.shape)

    @property
    def size(self) -> int:
        return len(self.data)

    @property
    def T(self) -> ndarray:
        rows, columns = self.shape
        return ndarray([self.data[row * columns + column] for column in range(columns)
                        for row in range(rows)], (columns, rows))

    def __len__(self) -> int:
        return self.shape[0]

    def __iter__(self) -> Iterator[Any]:
        return iter(self.data) if self.ndim == 1 else (self[row] for row in range(len(self)))

    def __bool__(self) -> bool:
        if self.size != 1:
            raise ValueError("the truth of an array of several elements is ambiguous")
        return bool(self.data[0])

    def __repr__(self) -> str:
        return f"array({self.tolist()})"

    def tolist(self) -> list[Any]:
        return list(self.data) if self.ndim == 1 else [row.tolist() for row in self]

    def copy(self) -> ndarray:
        return ndarray(list(self.data), self.shape)

    def reshape(self, *shape: int) -> ndarray:
        known = -prod(shape)
        return ndarray(self.data, tuple(self.size // known if size < 0 else size
                                        for size in shape))

    def astype(self, kind: Callable[[Any], Any]) -> ndarray:
        return ndarray([kind(value) for value in self.data], self.shape)

    @property
    def is_mask(self) -> bool:
        return bool(self.data) and isinstance(self.data[0], bool)

    # Elements.

    def __getitem__(self, key: Any) -> Any:
        if isinstance(key, ndarray) and key.is_mask:
            return self._masked(key)
        keys = key if isinstance(key, tuple) else (key,)
        shape: list[int] = []
        places = [0]
        axis, step = 0, self.size
        for one in keys:
            if one is None:
                shape.append(1)
                continue
            length = self.shape[axis]
            axis, step = axis + 1, step // length if length else 0
            if isinstance(one, int):
                places = [place + _in_range(one, length) * step for place in places]
                continue
            chosen = (range(length)[one] if isinstance(one, slice)
                      else [_in_range(index, length) for index in one])
            places = [place + index * step for place in places for index in chosen]
            shape.append(len(chosen))
        rest = self.shape[axis:]
        shape.extend(rest)
        block = prod(rest)
        data = self.data
        if block != 1:
            found = [value for place in places for value in data[place : place + block]]
        elif isinstance(key, slice):
            found = data[key]
        else:
            found = [data[place] for place in places]
        return ndarray(found, tuple(shape)) if shape else found[0]

    def _masked(self, mask: ndarray) -> ndarray:
        block = prod(self.shape[mask.ndim:])
        chosen = [index for index, on in enumerate(mask.data) if on]
        if block == 1 and mask.ndim == self.ndim:
            return ndarray([self.data[index] for index in chosen])
        data = [value for index in chosen
                for value in self.data[index * block : (index + 1) * block]]
        return ndarray(data, (len(chosen), *self.shape[mask.ndim:]))

    def __setitem__(self, mask: ndarray, value: float) -> None:
        block = prod(self.shape[mask.ndim:])
        for index, on in enumerate(mask.data):
            if on:
                self.data[index * block : (index + 1) * block] = [value] * block

    # Sums and the like, over all or along an axis.

    def _reduce(self, do: Callable[[Sequence[Any]], Any], axis: int | None) -> Any:
        if axis is None:
            return do(self.data)
        outer, length, inner = (prod(self.shape[:axis]), self.shape[axis],
                                prod(self.shape[axis + 1:]))
        block = length * inner
        data = [do(self.data[number * block + place : (number + 1) * block : inner])
                for number in range(outer) for place in range(inner)]
        return ndarray(data, self.shape[:axis] + self.shape[axis + 1:])

    def sum(self, axis: int | None = None) -> Any:
        return self._reduce(_total, axis)

    def max(self, axis: int | None = None) -> Any:
        return self._reduce(max, axis)

    def argmax(self, axis: int | None = None) -> Any:
        return self._reduce(lambda values: max(range(len(values)), key=values.__getitem__), axis)

    def any(self) -> bool:
        return any(self.data)

    def all(self) -> bool:
        return all(self.data)

    def mean(self) -> float:
        return _total(self.data) / self.size if self.size else math.nan

    def std(self, ddof: int = 0) -> float:
        mean = self.mean()
        return math.sqrt(_total([(value - mean) ** 2 for value in self.data])
                         / (self.size - ddof))

    def clip(self, low: float) -> ndarray:
        return ndarray([max(value, low) for value in self.data], self.shape)

    # Operators, element by element.

    def __neg__(self) -> ndarray:
        return ndarray([-value for value in self.data], self.shape)

    def __invert__(self) -> ndarray:
        do = operator.not_ if self.is_mask else operator.invert
        return ndarray([do(value) for value in self.data], self.shape)

    def __eq__(self, other: object) -> ndarray:  # type: ignore[override]
        return both(operator.eq, self, other)

    def __ne__(self, other: object) -> ndarray:  # type: ignore[override]
        return both(operator.ne, self, other)


def _total(values: Sequence[Any]) -> Any:
    """A sum that is right to the last digit where there are floats."""
    return math.fsum(values) if values and isinstance(values[0], float) else sum(values)


def _in_range(index: int, length: int) -> int:
    if not -length <= index < length:
        raise IndexError(f"{index} is not within {length} elements")
    return index % length


def divided(one: Any, other: Any) -> float:
    """A quotient that is infinite, or no number, where numpy's is."""
    try:
        return float(one / other)
    except ZeroDivisionError:
        return math.copysign(math.inf, one) if one and one == one else math.nan


def both(do: Callable[[Any, Any], Any], one: Any, other: Any) -> ndarray:
    """Element by element; a number, or an axis of length 1, goes with every element."""
    if isinstance(one, ndarray) and not isinstance(other, ndarray | list | tuple):
        return ndarray([do(value, other) for value in one.data], one.shape)
    if isinstance(other, ndarray) and not isinstance(one, ndarray | list | tuple):
        return ndarray([do(one, value) for value in other.data], other.shape)
    one, other = of(one), of(other)
    shape = common_shape(one.shape, other.shape)
    return ndarray(list(map(do, spread(one, shape), spread(other, shape))), shape)


def common_shape(*shapes: Shape) -> Shape:
    """The shape to which all of these can be spread. Raises ValueError."""
    most = max(map(len, shapes))
    padded = [(1,) * (most - len(shape)) + shape for shape in shapes]
    found = tuple(next((size for size in sizes if size != 1), 1)
                  for sizes in zip(*padded, strict=True))
    if any(size not in (1, wanted) for shape in padded
           for size, wanted in zip(shape, found, strict=True)):
        raise ValueError(f"shapes {shapes} do not go together")
    return found


def spread(array: ndarray, shape: Shape) -> list[Any]:
    """The elements of an array, repeated to fill a shape."""
    data = array.data
    if array.shape == shape:
        return data
    have = (1,) * (len(shape) - array.ndim) + array.shape
    block = 1
    for size, wanted in zip(reversed(have), reversed(shape), strict=True):
        block *= size
        if size != wanted:
            data = [value for start in range(0, len(data), block)
                    for value in data[start : start + block] * wanted]
            block *= wanted
    return data


def of(values: Any) -> ndarray:
    """An array of what may be one already, a number, or a list of numbers or of lists."""
    if isinstance(values, ndarray):
        return values
    if not isinstance(values, Iterable):
        return ndarray([values], ())
    rows = list(values)
    if rows and isinstance(rows[0], list | tuple | ndarray):
        parts = [of(row) for row in rows]
        return ndarray([value for part in parts for value in part.data],
                       (len(parts), *parts[0].shape))
    return ndarray(rows)


def _add_operators() -> None:
    """Give the class every operator that is the same for all: one element with one other."""
    table: dict[str, Callable[[Any, Any], Any]] = {
        "add": operator.add, "sub": operator.sub, "mul": operator.mul, "truediv": divided,
        "pow": operator.pow, "and": operator.and_, "or": operator.or_, "xor": operator.xor,
        "rshift": operator.rshift, "lshift": operator.lshift,
    }
    for name, do in table.items():
        setattr(ndarray, f"__{name}__", lambda self, other, do=do: both(do, self, other))
        setattr(ndarray, f"__r{name}__", lambda self, other, do=do: both(do, other, self))
    for name in ("lt", "le", "gt", "ge"):
        compare = getattr(operator, name)
        setattr(ndarray, f"__{name}__", lambda self, other, do=compare: both(do, self, other))


_add_operators()
