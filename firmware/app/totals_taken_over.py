"""Totals that were kept, by this firmware or an older one, all checked; loaded at the start."""

from app.kept_totals import FIRST_WITH_SHARES, RATE, SECTION_REGISTERS, registers_of
from rate_control.ranges import out_of_range
from rate_control.settings import number_problem, row
from rate_control.totals import SHARES_UL

TYPE_CHECKING = False  # the type checker takes it for true; a board gets none of it
if TYPE_CHECKING:
    from rate_control.totals import Register, Totals

WHOLE_MAX = (1 << 30) - 1

# The parts of a section's volume were nanolitres in the first documents, and became 32nds of a
# microlitre without a word about it. Both fill up a millilitre.
SECTION_VOLUME = SECTION_REGISTERS[0]
PARTS_NL = 1000000
PARTS_SHARES = 1000 * SHARES_UL


def unpack(values: dict, totals: "Totals", version: int = FIRST_WITH_SHARES) -> list[str]:
    """Set totals from what pack() of any firmware returned; return the names that do not fit.

    What has such a name stays at zero, as far as it does not fit. An older firmware kept no rate,
    and one with fewer sections kept fewer numbers of them.
    """
    unfit = []
    for name, registers in registers_of(totals):
        numbers = values.get(name)
        if version < FIRST_WITH_SHARES and name == SECTION_VOLUME:
            numbers = _in_shares(numbers)
        if not _set(registers, numbers, name in SECTION_REGISTERS):
            unfit.append(name)
    rate = values.get(RATE)
    if isinstance(rate, list) and len(rate) == 1 and not number_problem(row(RATE), rate[0]):
        totals.rate_ml_ha = rate[0]
    elif RATE in values:
        unfit.append(RATE)
    return unfit


def _set(registers: "list[Register]", numbers: object, of_sections: bool) -> bool:
    """Set registers from wholes and parts; return whether all that was kept is in them."""
    if not isinstance(numbers, list) or len(numbers) % 2:
        return False
    if not of_sections and len(numbers) != 2 * len(registers):
        return False
    pairs = []
    for index in range(0, len(numbers), 2):
        whole, part = numbers[index], numbers[index + 1]
        base = registers[0].base
        if out_of_range(whole, 0, WHOLE_MAX) or out_of_range(part, 0, base - 1):
            return False
        pairs.append((whole, part))
    for register, pair in zip(registers, pairs):
        register.whole, register.part = pair
    return not any(whole or part for whole, part in pairs[len(registers) :])


def _in_shares(numbers: object) -> object:
    """Return the numbers of the sections' volumes with their parts in 32nds of a microlitre.

    Documents of version 1 do not say which parts they have. Parts too large for 32nds are
    nanolitres, and then all are; where all are small enough, a millilitre hangs on it at most.
    """
    if not isinstance(numbers, list):
        return numbers
    parts = numbers[1::2]
    if (any(out_of_range(part, 0, PARTS_NL - 1) for part in parts)
            or max(parts + [0]) < PARTS_SHARES):
        return numbers
    converted = list(numbers)
    for index in range(1, len(numbers), 2):
        converted[index] = numbers[index] * SHARES_UL // 1000
    return converted
