"""The store: documents that survive a power cut at any byte, and are written only in safety.

A document lives in two slots. Each is a record as on the link (see link_frame.py) whose
sequence number counts the generations. Writing goes to the older slot and is read back; reading
takes the newest slot that is whole. So a cut leaves the old document or the new one.

An erase of the flash holds up every interrupt for tens of milliseconds, so nothing is written
while outputs may be on, nor before attach() has said whom to ask. Pump curves are settings and
are kept with them.
"""

import json

from app.kept_totals import pack, unpack
from app.link_frame import MAX_BODY, SEQUENCE_MASK, FrameError, parse, record
from rate_control.interlock import APPLYING, BENCH
from rate_control.settings import row

SETTINGS = "settings"
TOTALS = "totals"
FAILURE = "failure"
SETTINGS_STATE = "settings_state"  # kept with the settings
FAILURE_LENGTH = 200
SLOTS = (".0", ".1")
TOTALS_SLOTS = (TOTALS + SLOTS[0], TOTALS + SLOTS[1])
UNWRITTEN = (b"", b"\0", b"\xff")  # first byte of a slot that never held a whole document

ONE_DAMAGED = "one copy is damaged, the other is used: check them"
NOT_ATTACHED = "nobody says that outputs are off"
OUTPUTS_ON = "outputs are on"


class Store:
    """Keeps settings, totals and the text of the last failure.

    files is an object with read(name) and write(name, data).

    retained, where the board has it, is the same over a memory that may be written at any time,
    with TOTALS_SLOTS in it (see files.py); totals then live there. problems says in words, by
    the name of a document, what is wrong with it.
    """

    def __init__(self, files, retained=None):
        self.problems = {}
        self._files = files
        self._retained = retained
        self._controller = None
        self._kept = {}  # what the newest slot holds, by the name of the document

    def attach(self, controller):
        """From now on writing is permitted whenever this controller can be held at rest."""
        self._controller = controller

    def load_settings(self):
        """Return the kept settings by name, without those that this firmware does not know.

        Among them is SETTINGS_STATE where they were not taken on (see Application).
        """
        values = self._load(self._files, SETTINGS)
        return {name: values[name] for name in values
                if row(name) is not None or name == SETTINGS_STATE}

    def save_settings(self, values):
        """Keep settings, a dict by name; return "" or why they are not kept."""
        return self.at_rest(self._save, self._files, SETTINGS, values)

    def load_totals(self, totals):
        """Set totals, fresh ones, to what was kept; they stay at zero where nothing sound was."""
        values = self._load(self._retained, TOTALS) if self._retained else {}
        values = values or self._load(self._files, TOTALS)
        if values and not unpack(values, totals):
            self.problems[TOTALS] = "kept totals do not fit, begun at zero"

    def save_totals(self, totals):
        """Keep totals; return "" or why they are not kept."""
        values = pack(totals)
        if self._retained:
            return self._save(self._retained, TOTALS, values)
        return self.at_rest(self._save, self._files, TOTALS, values)

    def load_failure(self):
        """Return the kept text of the last failure, or ""."""
        text = self._load(self._files, FAILURE).get("text")
        return text if isinstance(text, str) else ""

    def save_failure(self, text):
        """Keep the text of the last failure; return "" or why it is not kept."""
        plain = "".join(char if " " <= char <= "~" else "?" for char in text[:FAILURE_LENGTH])
        return self.at_rest(self._save, self._files, FAILURE, {"text": plain})

    def at_rest(self, write, *args):
        """Return write(*args) with the controller held at rest, or why it cannot be.

        Every write to the flash goes through here. The state is looked at again after the hold,
        for a tick may have come in between; and before it, for a hold while outputs are on
        would switch them off.
        """
        controller = self._controller
        if controller is None:
            return NOT_ATTACHED
        if _outputs_on(controller):
            return OUTPUTS_ON
        controller.request.saving = 1
        try:
            return OUTPUTS_ON if _outputs_on(controller) else write(*args)
        finally:
            controller.request.saving = 0

    def _load(self, files, name):
        """Return the newest whole document of that name, or {}."""
        slots = _read_slots(files, name)
        newest = _newest(slots)
        damaged = [slots[index] is None and files.read(name + suffix)[:1] not in UNWRITTEN
                   for index, suffix in enumerate(SLOTS)]
        if slots[newest] is None:
            if damaged[0] or damaged[1]:
                self.problems[name] = "both copies are damaged"
            return {}
        values = json.loads(slots[newest][1])
        if name == SETTINGS and damaged[1 - newest]:
            self.problems[name] = ONE_DAMAGED  # the next save writes the other one anew
        else:
            self._kept[name] = values
        return values

    def _save(self, files, name, values):
        """Write a document to its older slot, unless the newer one holds the same already."""
        if self._kept.get(name) == values:
            return ""
        problem = _write_older(files, name, json.dumps(values).encode())
        if problem:
            self.problems[name] = problem
        else:
            self._kept[name] = values
            self.problems.pop(name, None)
        return problem


def _outputs_on(controller):
    return controller.interlock.state in (APPLYING, BENCH)


def _write_older(files, name, body):
    """Write a body as the next generation over the older slot; return "" or a problem."""
    if len(body) > MAX_BODY:
        return "too long to keep"
    slots = _read_slots(files, name)
    newest = _newest(slots)
    generation = 0
    if slots[newest] is not None:
        generation = (slots[newest][0] + 1) & SEQUENCE_MASK
    target = name + SLOTS[1 - newest]
    try:
        files.write(target, record(generation, body))
    except OSError as error:
        return "cannot be written: %s" % error
    if _read_slot(files, target) != (generation, body):
        return "reads back differently"
    return ""


def _read_slots(files, name):
    return [_read_slot(files, name + suffix) for suffix in SLOTS]


def _read_slot(files, name):
    """Return (generation, body) of a slot, or None where it holds no whole document."""
    data = files.read(name)
    end = data.find(b"\n")
    if end < 0:
        return None
    try:
        generation, body = parse(data[:end])
        return (generation, body) if isinstance(json.loads(body), dict) else None
    except (FrameError, ValueError):
        return None


def _newest(slots):
    """Return the index of the newer slot; generations wrap, and a missing slot is the older."""
    if slots[0] is None or slots[1] is None:
        return 1 if slots[0] is None else 0
    return 1 if (slots[1][0] - slots[0][0]) & SEQUENCE_MASK <= SEQUENCE_MASK // 2 else 0
