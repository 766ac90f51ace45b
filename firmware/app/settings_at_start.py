"""The settings that a store has kept: a board loads this for its start, and lets it go."""

from app.store import SETTINGS, SETTINGS_STATE
from rate_control.records import Request
from rate_control.settings import TABLE, build

TYPE_CHECKING = False  # the type checker takes it for true; a board gets none of it
if TYPE_CHECKING:
    from typing import Any

    from app.store import Store
    from rate_control.settings import Settings


def kept(store: "Store | None") -> "tuple[Settings, int, str]":
    """Return (settings, state, failure): those of the store, their state, see Request, and why.

    Where it has none that are sound, they are the defaults. A document that says nothing of its
    state was taken on. Without a store the settings are those of whoever made the application. The
    settings of another firmware are taken over; where one of them does not fit, a person has to
    look before anything moves. failure is "" where nothing failed.
    """
    values = store.load_settings() if store else {}
    state = values.pop(SETTINGS_STATE, Request.TAKEN_ON if values or not store
                       else Request.NOT_SET_UP)
    failure = ""
    settings: "Any"  # sound in the end: None only until they are fitted
    settings, problems = build(values)
    if problems or values and len(values) < len(TABLE):
        from app.kept_settings import take_over
        settings, lost = take_over(values, store)  # type: ignore[arg-type]  # it kept them
        if lost:
            failure = "settings do not fit, defaults: " + ", ".join(lost)
            state = Request.LOST
    if not values and store and SETTINGS in store.problems:
        state = Request.LOST
    known = state in (Request.TAKEN_ON, Request.NOT_SET_UP)
    return settings, state if known else Request.LOST, failure
