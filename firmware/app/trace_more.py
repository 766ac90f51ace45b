"""What parts of the application add to the trace."""

TYPE_CHECKING = False  # the type checker takes it for true; a board gets none of it
if TYPE_CHECKING:
    from app.trace_ring import TraceRing


def widen(ring: "TraceRing", names: tuple[str, ...]) -> int:
    """Give every line room for more numbers, before anyone follows the ring.

    Returns where in a line the first of them stands.
    """
    first = len(ring.filling)
    ring.more += names
    for line in ring.lines:
        line.extend([0] * len(names))
    return first
