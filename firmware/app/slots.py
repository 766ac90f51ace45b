"""Two slots for a document, so that a power cut at any byte leaves the old one or the new one.

Each slot is a record as on the link (see link_frame.py) whose sequence number counts the
generations. Writing goes to the older slot and is read back; reading takes the newest slot that
is whole. What a firmware cannot make use of goes aside, into a file of its own, before the slots
are written anew.
"""

import json

from app.link_frame import MAX_BODY, SEQUENCE_MASK, FrameError, parse, record

TYPE_CHECKING = False  # the type checker takes it for true; a board gets none of it
if TYPE_CHECKING:
    from app.files import Slots

SLOTS = (".0", ".1")
ASIDE = ".aside"
UNWRITTEN = (b"", b"\0", b"\xff")  # first byte of a slot that never held a whole document


def load(files: "Slots", name: str) -> tuple[dict | None, int]:
    """Return (the newest whole document of that name or None, how many slots are damaged)."""
    slots = _read_slots(files, name)
    damaged = sum([slots[index] is None and files.read(name + suffix)[:1] not in UNWRITTEN
                   for index, suffix in enumerate(SLOTS)])
    newest = slots[_newest(slots)]
    return (json.loads(newest[1]) if newest else None), damaged


def save(files: "Slots", name: str, values: dict) -> str:
    """Write a document as the next generation over the older slot; return "" or a problem."""
    body = json.dumps(values).encode()
    if len(body) > MAX_BODY:
        return "too long to keep"
    slots = _read_slots(files, name)
    newest = _newest(slots)
    generation = 0
    if slots[newest] is not None:
        generation = (slots[newest][0] + 1) & SEQUENCE_MASK
    target = name + SLOTS[1 - newest]
    problem = _write(files, target, record(generation, body))
    if not problem and _read_slot(files, target) != (generation, body):
        problem = "reads back differently"
    return problem


def put_aside(files: "Slots", name: str, target: "Slots") -> str:
    """Copy both slots, as they are, into one file of target; return "" or a problem."""
    data = b""
    for suffix in SLOTS:
        data += files.read(name + suffix).split(b"\n")[0] + b"\n"
    if target.read(name + ASIDE) == data:
        return ""
    problem = _write(target, name + ASIDE, data)
    if not problem and target.read(name + ASIDE) != data:
        problem = "reads back differently"
    return problem


def load_aside(files: "Slots", name: str) -> dict:
    """Return the newest whole document that was put aside, {} where there is none."""
    lines = files.read(name + ASIDE).split(b"\n") + [b"", b""]
    slots = [_parsed(lines[0]), _parsed(lines[1])]
    newest = slots[_newest(slots)]
    return json.loads(newest[1]) if newest else {}


def _write(files: "Slots", target: str, data: bytes) -> str:
    try:
        files.write(target, data)
    except OSError as error:
        return "cannot be written: %s" % error
    return ""


def _read_slots(files: "Slots", name: str) -> list:
    return [_read_slot(files, name + suffix) for suffix in SLOTS]


def _read_slot(files: "Slots", name: str) -> tuple[int, bytes] | None:
    data = files.read(name)
    end = data.find(b"\n")
    return None if end < 0 else _parsed(data[:end])


def _parsed(line: bytes) -> tuple[int, bytes] | None:
    """Return (generation, body) of a line, or None where it holds no whole document."""
    try:
        generation, body = parse(line)
        return (generation, body) if isinstance(json.loads(body), dict) else None
    except (FrameError, ValueError):
        return None


def _newest(slots: list) -> int:
    """Return the index of the newer slot; generations wrap, and a missing slot is the older."""
    if slots[0] is None or slots[1] is None:
        return 1 if slots[0] is None else 0
    return 1 if (slots[1][0] - slots[0][0]) & SEQUENCE_MASK <= SEQUENCE_MASK // 2 else 0
