"""Before a proposal is kept: what it would change, and by how much."""


def changes(settings, proposal):
    """Return what a proposal changes as a list of (name, old, new, difference in permille).

    The difference is rounded to nearest; it is None for lists and where the old value is 0.
    """
    rows = []
    for name in sorted(proposal):
        old = getattr(settings, name)
        new = proposal[name]
        difference = None
        if isinstance(new, int) and old:
            difference = ratio_rounded((new - old) * 1000, old)
        rows.append((name, old, new, difference))
    return rows


def ratio_rounded(numerator, denominator):
    """Return the nearest int to a fraction (denominator > 0), halves away from zero."""
    if numerator < 0:
        return -ratio_rounded(-numerator, denominator)
    return (2 * numerator + denominator) // (2 * denominator)
