"""How the record of a drive tells what people did: a row for each command that moves something.

The asked rate is not here: it can be set at the machine too, so drive_record.py looks at it.
"""

from __future__ import annotations

from collections.abc import Callable

from host_sim.panel.trouble import OUTLETS, TROUBLES
from host_sim.twin.hands import FAULT, HANDS
from host_sim.twin.scenario_events import SWITCH_WORDS

_TROUBLES = {trouble.name: trouble.words for trouble in TROUBLES}
_OUTLETS = dict(OUTLETS)


def _trouble(name: str, on: bool) -> str:
    return _TROUBLES[name] if on else f"mended: {_TROUBLES[name]}"


SAID: dict[str, tuple[str, Callable[..., str]]] = {
    "master": (HANDS, lambda on: SWITCH_WORDS["master", "on" if on else "off"]),
    "implement": (HANDS, lambda down: SWITCH_WORDS["implement", "down" if down else "up"]),
    "section": (HANDS, lambda i, on: SWITCH_WORDS["switch", "on" if on else "off"].format(i + 1)),
    "throttle": (HANDS, lambda share: f"throttle {100 * share:.0f} %"),
    "nudge": (HANDS, lambda by: f"{'more' if by > 0 else 'less'} throttle"),
    "speed": (HANDS, lambda m_s: f"speed set to {m_s * 3.6:.1f} km/h at once"),
    "recorded": (HANDS, lambda: "the recorded drive is followed"),
    "spacing": (HANDS, lambda metres: f"the next pass {metres:.2f} m beside the last"),
    "tank": (HANDS, lambda litres: f"tank at {litres:.0f} L"),
    "trouble": (FAULT, _trouble),
    "outlets": (FAULT, lambda i, factor: f"outlets of section {i + 1}: {_OUTLETS[factor]}"),
    "field": (FAULT, lambda name: f"the field became {name}"),
    "learn": (HANDS, lambda name, *_: f"on the bench: {name.replace('_', ' ')}"),
    "keep": (HANDS, lambda yes: f"what was learned was {'kept' if yes else 'left'}"),
    "hang": (FAULT, lambda: "the program hangs"),
}
