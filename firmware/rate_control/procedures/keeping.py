"""Before a proposal is kept: what it would change, and by how much."""

from rate_control.intmath import divide_rounded

TYPE_CHECKING = False  # the type checker takes it for true; a board gets none of it
if TYPE_CHECKING:
    from rate_control.settings import Settings


def changes(settings: "Settings", proposal: dict) -> list[tuple]:
    """Return what a proposal changes as a list of (name, old, new, difference in permille).

    The difference is rounded to nearest; it is None for lists and where the old value is 0.
    """
    rows = []
    for name in sorted(proposal):
        old = getattr(settings, name)
        new = proposal[name]
        difference = None
        if isinstance(new, int) and old:
            difference = divide_rounded((new - old) * 1000, old)
        rows.append((name, old, new, difference))
    return rows
