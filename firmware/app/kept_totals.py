"""Totals, and the rate of their job, as plain numbers for the store; back: totals_taken_over.py."""

TYPE_CHECKING = False  # the type checker takes it for true; a board gets none of it
if TYPE_CHECKING:
    from rate_control.totals import Register, Totals

REGISTERS = ("volume", "area", "distance", "time", "bench_volume")
RATE = "rate_ml_ha"
SECTION_REGISTERS = ("section_volume", "section_area")
FIRST_WITH_SHARES = 2  # the version from which on parts of a section's volume are as they are now


def pack(totals: "Totals") -> dict[str, list[int]]:
    """Return totals as a dict of lists of ints: whole and part of each register in turn.

    The rate is there where it is known.

    A tick may fall in between, so they are taken until two readings agree.
    """
    values = _take(totals)
    while True:
        again = _take(totals)
        if again == values:
            return values
        values = again


def _take(totals: "Totals") -> dict[str, list[int]]:
    values = {}
    for name, registers in registers_of(totals):
        numbers = []
        for register in registers:
            numbers.append(register.whole)
            numbers.append(register.part)
        values[name] = numbers
    if totals.rate_ml_ha:
        values[RATE] = [totals.rate_ml_ha]
    return values


def registers_of(totals: "Totals") -> "list[tuple[str, list[Register]]]":
    """Return (name, list of registers) for everything that is kept."""
    single = [(name, [getattr(totals, name)]) for name in REGISTERS]
    return single + [(name, getattr(totals, name)) for name in SECTION_REGISTERS]
