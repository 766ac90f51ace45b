"""What the answers of a board must hold, so that nobody behind the client has to ask again.

A board with another firmware, or a line on which somebody else speaks, may answer anything.
"""

from __future__ import annotations

from typing import Any

Kind = type | tuple[type]  # (kind,): a list of that kind

COUNT, TEXT, LIST, TABLE = int, str, list, dict
ANSWERS: dict[str, dict[str, Kind]] = {
    "hello": {"firmware": TEXT, "board": TEXT, "reset": TEXT, "telemetry": (TEXT,)},
    "settings.get": {"values": TABLE},
    "settings.aside": {"values": TABLE},
    "status": {"state": TEXT, "missing": (TEXT,), "faults": (TEXT,), "rate_ml_ha": COUNT,
               "applied_ml_ha": COUNT, "speed_mm_s": COUNT, "flow_ul_s": COUNT,
               "duty_u16": COUNT, "section_mask": COUNT},
    "faults.get": {"faults": (TABLE,)},
    "display.get": {"rows": (TEXT,)},
    "procedure.facts": {"facts": (LIST,)},
    "log.read": {"runs": (TABLE,)},
}
TELEMETRY_LEAST = 2  # numbers: the tick, and how many records were left out


def answer_problem(request: str, answer: dict[str, Any]) -> str:
    """What is wrong with the answer to a request, an empty text for nothing."""
    for name, kind in ANSWERS.get(request, {}).items():
        if name not in answer:
            return f"the answer has no {name}"
        if not _is(answer[name], kind):
            return f"the answer has a {name} of another kind"
    return ""


def is_telemetry(numbers: Any) -> bool:
    """Whether this is what a telemetry record holds."""
    return _is(numbers, (COUNT,)) and len(numbers) >= TELEMETRY_LEAST


def _is(value: Any, kind: Kind) -> bool:
    if isinstance(kind, tuple):
        return isinstance(value, list) and all(_is(item, kind[0]) for item in value)
    return isinstance(value, kind) and not isinstance(value, bool)
