"""The store: documents that survive a power cut at any byte, and are written only in safety.

Each lives in two slots (see slots.py). An erase of the flash holds up every interrupt for tens of
milliseconds, so nothing is written while outputs may be on, nor before attach() has said whom to
ask. Pump curves are settings and are kept with them.

A document carries the version of its form. What this firmware cannot make use of, because a newer
one wrote it or because it does not fit, is put aside before it would be written over.
"""

from app import slots
from app.kept_totals import FIRST_WITH_SHARES, pack

TYPE_CHECKING = False  # the type checker takes it for true; a board gets none of it
if TYPE_CHECKING:
    from collections.abc import Callable

    from app.files import Slots
    from rate_control.controller import Controller
    from rate_control.totals import Totals

SETTINGS = "settings"
TOTALS = "totals"
FAILURE = "failure"
SETTINGS_STATE = "settings_state"  # kept with the settings
FAILURE_LENGTH = 200
TOTALS_SLOTS = (TOTALS + slots.SLOTS[0], TOTALS + slots.SLOTS[1])

# The version of each document that is written. It rises where a number comes to mean something
# else; another setting more or less does not raise it. A document without one is of version 1.
VERSION = "version"
VERSIONS = {SETTINGS: 1, TOTALS: FIRST_WITH_SHARES, FAILURE: 1}

ONE_DAMAGED = "one copy is damaged, the other is used: check them"
BOTH_DAMAGED = "both copies are damaged"
NEWER = "of a newer firmware: flash that one"
UNFIT = "do not fit, begun at zero"
NOT_ATTACHED = "not attached"
OUTPUTS_ON = "outputs are on"


class Store:
    """Keeps settings, totals and the text of the last failure.

    files is an object with read(name) and write(name, data).

    retained, where the board has it, is the same over a memory that may be written at any time,
    with TOTALS_SLOTS in it (see files.py); totals then live there. problems says in words, by
    the name of a document, what is wrong with it; notes lists what was done to take documents of
    another firmware over.
    """

    def __init__(self, files: "Slots", retained: "Slots | None" = None) -> None:
        self.problems: dict[str, str] = {}
        self.notes: list[str] = []
        self._files = files
        self._retained = retained
        self._controller: "Controller | None" = None
        self._kept: dict[str, dict] = {}  # what the newest slot holds, by the document's name
        # where documents lie that have to be put aside before the next save
        self._unread: "dict[str, Slots]" = {}

    def attach(self, controller: "Controller") -> None:
        """From now on writing is permitted whenever this controller can be held at rest."""
        self._controller = controller

    def load_settings(self) -> dict:
        """Return the kept settings by name, as they were kept: kept_settings.py fits them.

        Among them is SETTINGS_STATE where they were not taken on (see Application).
        """
        values = dict(self._load(self._files, SETTINGS))
        values.pop(VERSION, None)
        return values

    def load_aside(self) -> dict:
        """Return the settings that were put aside, by name, {} where none were."""
        values = slots.load_aside(self._files, SETTINGS)
        known = _version(values) <= VERSIONS[SETTINGS]
        values.pop(VERSION, None)
        return values if known else {}

    def put_settings_aside(self) -> None:
        """Put the settings that were found aside before others are written over them."""
        self._unread[SETTINGS] = self._files

    def save_settings(self, values: dict) -> str:
        """Keep settings, a dict by name; return "" or why they are not kept."""
        return self.at_rest(self._save, self._files, SETTINGS, values)

    def load_totals(self, totals: "Totals") -> None:
        """Set totals, fresh ones, to what was kept; what does not fit stays at zero."""
        files = self._retained or self._files
        values = self._load(files, TOTALS)
        if not values and files is not self._files:
            files = self._files
            values = self._load(files, TOTALS)
        if not values:
            return
        version = _version(values)
        if version < VERSIONS[TOTALS]:
            self.notes.append("totals of an older firmware taken over")
        from app.totals_taken_over import unpack
        unfit = unpack(values, totals, version)
        if unfit:
            self.problems[TOTALS] = UNFIT + ": " + ", ".join(unfit)
            self._unread[TOTALS] = files

    def save_totals(self, totals: "Totals") -> str:
        """Keep totals; return "" or why they are not kept."""
        values = pack(totals)
        if not self._retained:
            return self.at_rest(self._save, self._files, TOTALS, values)
        if TOTALS in self._unread:
            problem = self.at_rest(self._put_aside, TOTALS)
            if problem:
                return problem
        return self._save(self._retained, TOTALS, values)

    def load_failure(self) -> str:
        """Return the kept text of the last failure, or ""."""
        text = self._load(self._files, FAILURE).get("text")
        return text if isinstance(text, str) else ""

    def save_failure(self, text: str) -> str:
        """Keep the text of the last failure; return "" or why it is not kept."""
        plain = "".join(char if " " <= char <= "~" else "?" for char in text[:FAILURE_LENGTH])
        return self.at_rest(self._save, self._files, FAILURE, {"text": plain})

    def at_rest(self, write: "Callable[..., str]", *args: object) -> str:
        """Return write(*args) with the controller held at rest, or why it cannot be.

        Every write to the flash goes through here. The state is looked at again after the hold,
        for a tick may have come in between; and before it, for a hold while outputs are on
        would switch them off.
        """
        controller = self._controller
        if controller is None:
            return NOT_ATTACHED
        if controller.interlock.outputs_on():
            return OUTPUTS_ON
        controller.request.saving = 1
        try:
            return OUTPUTS_ON if controller.interlock.outputs_on() else write(*args)
        finally:
            controller.request.saving = 0

    def _load(self, files: "Slots", name: str) -> dict:
        """Return the newest whole document of that name that this firmware can read, or {}."""
        values, damaged = slots.load(files, name)
        if values is None:
            if damaged:
                self.problems[name] = BOTH_DAMAGED
                self._unread[name] = files
            return {}
        if _version(values) > VERSIONS[name]:
            self.problems[name] = NEWER
            self._unread[name] = files
            return {}
        if name == SETTINGS and damaged:
            self.problems[name] = ONE_DAMAGED  # the next save writes the other one anew
        else:
            self._kept[name] = values
        return values

    def _save(self, files: "Slots", name: str, values: dict) -> str:
        """Write a document to its older slot, unless the newer one holds the same already."""
        values = dict(values)
        values[VERSION] = VERSIONS[name]
        if self._kept.get(name) == values:
            return ""
        problem = self._put_aside(name) or slots.save(files, name, values)
        if problem:
            self.problems[name] = problem
        else:
            self._kept[name] = values
            self.problems.pop(name, None)
        return problem

    def _put_aside(self, name: str) -> str:
        """Put a document aside where it has to be; return "" or a problem."""
        if name not in self._unread:
            return ""
        problem = slots.put_aside(self._unread[name], name, self._files)
        if not problem:
            del self._unread[name]
        return problem


def _version(values: dict) -> int:
    """Return the version of a document; one that makes no sense is taken for a newer one's."""
    version = values.get(VERSION, 1)
    return version if isinstance(version, int) else 1 << 29
