"""Between measured points. A module of its own: not all that look between them fit curves."""


def along(xs: list[int] | tuple[int, ...], ys: list[int] | tuple[int, ...], x: int) -> int:
    """Return y at x between the points of two lists, xs rising; the ends beyond them."""
    for index in range(1, len(xs)):
        if x < xs[index]:
            run = max(xs[index] - xs[index - 1], 1)
            return ys[index - 1] + (ys[index] - ys[index - 1]) * (x - xs[index - 1]) // run
    return ys[-1]
