"""What happens to the machine during a drive: hands that move switches, and faults."""

from __future__ import annotations

from dataclasses import dataclass, field

from rate_control.units import SWITCH_SECTION_SHIFT

HANDS, FAULT = "hands", "fault"


@dataclass(frozen=True)
class Event:
    """One thing that happens. Exactly one of at_s and at_m is given.

    The switches in `on` are closed and those in `off` opened (bits as in rate_control.units);
    rate_ml_ha is the application rate entered, None where it stays. `faults` are attributes of
    the plant's Faults by name, `orifices` factors by section (0 is the first), `valves` what is
    the matter with a section's valve (see disturbances.py), `stalled` holds the program up.
    `turn_deg` turns the machine by so much, + to the right, along an arc of `radius_m`.
    `keys` are what is done at the front panel. `plot_ml_ha` is what the ground is to get from there
    on, for runs whose board sets the rate itself. `power_cut` takes the power away for a moment.
    Amounts come within `over_s`, evenly. `words` says it all, `note` is the scenario's remark.
    """

    words: str
    note: str = ""
    at_s: float | None = None
    at_m: float | None = None
    on: int = 0
    off: int = 0
    rate_ml_ha: int | None = None
    faults: dict[str, float] = field(default_factory=dict)
    orifices: dict[int, float] = field(default_factory=dict)
    valves: dict[int, str] = field(default_factory=dict)
    over_s: float = 0.0
    stalled: bool | None = None
    turn_deg: float = 0.0
    radius_m: float = 0.0
    keys: tuple[tuple[str, int], ...] = ()
    plot_ml_ha: int | None = None
    power_cut: bool = False

    @property
    def when(self) -> float:
        """Seconds or metres from the start."""
        when = self.at_m if self.at_s is None else self.at_s
        assert when is not None
        return when

    @property
    def who(self) -> str:
        faulty = self.faults or self.orifices or self.valves or self.stalled is not None
        return FAULT if faulty else HANDS


@dataclass(frozen=True)
class Happened:
    """An event and where it took place."""

    time_s: float
    distance_m: float
    who: str
    words: str
    note: str


class Hands:
    """Plays events. `switches` holds the levels now, `happened` what was done so far.

    It starts with the master off, the implement up and every section switch on.
    """

    def __init__(self, events: list[Event], section_count: int, rate_ml_ha: int) -> None:
        self.switches = ((1 << section_count) - 1) << SWITCH_SECTION_SHIFT
        self.rate_ml_ha = rate_ml_ha
        self.plot_ml_ha: int | None = None
        self.happened: list[Happened] = []
        ordered = sorted(events, key=lambda event: event.when)
        self._by_time = [event for event in reversed(ordered) if event.at_s is not None]
        self._by_way = [event for event in reversed(ordered) if event.at_m is not None]

    @property
    def missed(self) -> list[str]:
        """What never happened because the drive ended before."""
        return [event.words for event in reversed(self._by_time + self._by_way)]

    def act(self, time_s: float, distance_m: float) -> list[Event]:
        """Move the switches that are due by now; returns the events that have come."""
        due = []
        for queue, now in ((self._by_time, time_s), (self._by_way, distance_m)):
            while queue and queue[-1].when <= now:
                due.append(queue.pop())
        for event in due:
            self.switches = self.switches & ~event.off | event.on
            if event.rate_ml_ha is not None:
                self.rate_ml_ha = event.rate_ml_ha
            if event.plot_ml_ha is not None:
                self.plot_ml_ha = event.plot_ml_ha
            self.happened.append(
                Happened(time_s, distance_m, event.who, event.words, event.note))
        return due
