"""Totals, and the rate of their job, as plain numbers for the store, and back, all checked."""

from rate_control.settings import number_problem, row

REGISTERS = ("volume", "area", "distance", "time", "bench_volume")
RATE = "rate_ml_ha"
SECTION_REGISTERS = ("section_volume", "section_area")
WHOLE_LIMIT = 1 << 30


def pack(totals):
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


def unpack(values, totals):
    """Set totals from what pack() returned; return False, with totals untouched, if it is not.

    An older firmware kept no rate.
    """
    rate = values.get(RATE, [0])
    if not isinstance(rate, list) or len(rate) != 1:
        return False
    if RATE in values and number_problem(row(RATE), rate[0]):
        return False
    found = []
    for name, registers in _registers(totals):
        numbers = values.get(name)
        if not isinstance(numbers, list) or len(numbers) != 2 * len(registers):
            return False
        for index, register in enumerate(registers):
            whole, part = numbers[2 * index], numbers[2 * index + 1]
            if not (_is_count(whole, WHOLE_LIMIT) and _is_count(part, register.base)):
                return False
            found.append((register, whole, part))
    for register, whole, part in found:
        register.whole = whole
        register.part = part
    totals.rate_ml_ha = rate[0]
    return True


def _take(totals):
    values = {}
    for name, registers in _registers(totals):
        numbers = []
        for register in registers:
            numbers.append(register.whole)
            numbers.append(register.part)
        values[name] = numbers
    if totals.rate_ml_ha:
        values[RATE] = [totals.rate_ml_ha]
    return values


def _registers(totals):
    """Return (name, list of registers) for everything that is kept."""
    single = [(name, [getattr(totals, name)]) for name in REGISTERS]
    return single + [(name, getattr(totals, name)) for name in SECTION_REGISTERS]


def _is_count(number, limit):
    return isinstance(number, int) and not isinstance(number, bool) and 0 <= number < limit
