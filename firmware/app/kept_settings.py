"""Settings that another firmware kept, fitted to this one: a board loads it only for that.

Nothing that was learned is lost for it. A setting that is new has its default, or what was put
aside of it when an older firmware did not know it. One that this firmware does not know, or whose
value it refuses, is put aside; the rest stays as it is.

Whoever renames a setting, or lets its number mean something else, raises its version in store.py
and converts what older documents hold here, before it is fitted, as totals_taken_over.py does.
"""

from app.quantity_text import in_words
from rate_control.settings import COUNT, DEFAULT, NAME, TABLE, build, row, value_problem

TYPE_CHECKING = False  # the type checker takes it for true; a board gets none of it
if TYPE_CHECKING:
    from app.store import Store
    from rate_control.settings import Settings

RATE = "rate_ml_ha"
HIGHEST = "highest_rate_ml_ha"
COUNT_OF_SECTIONS = "section_count"


def take_over(values: dict, store: "Store") -> "tuple[Settings, list[str]]":
    """Return (settings, lost): checked settings, and the names of those whose values do not fit.

    Those have their defaults, which are not this machine. What was done is told in store.notes.
    """
    taken = {}
    lost = []
    for name in values:
        entry = row(name)
        if entry is None:
            store.notes.append("unknown, put aside: " + in_words(name))
            store.put_settings_aside()
            continue
        value = _fitted(entry, values[name], values)
        if value_problem(entry, value):
            lost.append(name)
        else:
            taken[name] = value
            if value != values[name]:
                store.notes.append("list fitted: " + in_words(name))
                if len(values[name]) > entry[COUNT]:
                    store.put_settings_aside()
    _add_new(taken, lost, store)
    settings = _checked(taken, lost, store.notes)
    if lost:
        store.put_settings_aside()
    return settings, lost


def tell_rate(rate_ml_ha: int, settings: "Settings", notes: list[str]) -> None:
    """Tell that a kept rate is beyond the highest, and which one is set."""
    from app.units_text import with_unit
    told = (with_unit("rate_ml_ha", rate_ml_ha, settings.us_units),
            with_unit("rate_ml_ha", settings.rate_ml_ha, settings.us_units))
    notes.append("kept rate %s is too high: it is %s now" % told)


def _fitted(entry: tuple, value: object, values: dict) -> object:
    """Return the list of a setting of the sections as long as it is here, others as they are.

    A longer one is cut only where the sections that are fitted are all in the rest.
    """
    count = entry[COUNT]
    if not entry[NAME].startswith("section_") or not isinstance(value, list):
        return value
    if len(value) < count:
        return value + [entry[DEFAULT]] * (count - len(value))
    fitted = values.get(COUNT_OF_SECTIONS)
    return value[:count] if isinstance(fitted, int) and fitted <= count else value


def _add_new(taken: dict, lost: list[str], store: "Store") -> None:
    """Add what was put aside of the settings that are missing, and tell of all of them."""
    aside = store.load_aside()
    for entry in TABLE:
        name = entry[NAME]
        if name in taken or name in lost:
            continue
        if name in aside and not value_problem(entry, aside[name]):
            taken[name] = aside[name]
            store.notes.append("taken back: " + in_words(name))
        else:
            store.notes.append("new, at its default: " + in_words(name))


def _checked(taken: dict, lost: list[str], notes: list[str]) -> "Settings":
    """Return settings made of what was taken, without what contradicts the rest."""
    if isinstance(taken.get(RATE), int) and taken[RATE] > taken.get(HIGHEST, taken[RATE]):
        notes.append("rate above the highest: set to that")
        taken[RATE] = taken[HIGHEST]
    while True:
        settings, problems = build(taken)
        if settings:
            return settings
        name = problems[0].split(":")[0]
        if name not in taken:  # a default contradicts: better none than a mixture
            lost.extend([other for other in taken if other not in lost])
            return build({})[0]  # type: ignore[return-value]  # the defaults fit
        del taken[name]
        lost.append(name)
