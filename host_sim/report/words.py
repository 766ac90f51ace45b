"""A run in words, the first thing that a report shows."""

from __future__ import annotations

from typing import Any

from host_sim.common import units
from host_sim.machine_file.homes import key_of

L_M3 = 1e-3
HA_M2 = 1e4
L_HA_M = L_M3 / HA_M2  # a rate of 1 L/ha as a depth of liquid in metres

PLOT_HA = 1.0
FAILING_PCT = 50.0  # a section with less of its ground within 5 % is named first of all
APART_PCT = 1.0  # by which the errors of sections differ for one of them to be named the worst
GAPS = 8  # so many are named one by one

Figures = dict[str, Any]


class Teller:
    """Says the figures of a summary in the units that a person reads.

    `measured` says that they are the controller's own and that nobody knows the truth.
    """

    def __init__(self, figures: Figures, us: bool, measured: bool = False) -> None:
        self._figures = figures
        self._us = us
        self._measured = measured

    def length(self, metres: float) -> str:
        """Kilometres or miles for long ways, metres or feet for short ones."""
        quantity = "distance_m" if metres >= 1000 else "distance_mm"
        return units.text(quantity, metres, self._us)

    def area(self, hectares: float) -> str:
        """To a hundredth; to a square metre or so where it is a plot."""
        area_m2 = hectares * HA_M2
        if hectares >= PLOT_HA:
            return units.text("area_m2", area_m2, self._us)
        return f"{units.shown('area_m2', area_m2, self._us):.4f} {units.unit('area_m2', self._us)}"

    def volume(self, litres: float) -> str:
        return units.text("volume_ml", litres * L_M3, self._us)

    def rate(self, l_ha: float | None) -> str:
        return "none" if l_ha is None else units.text("rate_ml_ha", l_ha * L_HA_M, self._us)

    def width(self, metres: float) -> str:
        return units.text("width_mm", metres, self._us)

    def edge(self, metres: float | None) -> str:
        """Liquid missing (-) or too much (+) at the end of a pass, as metres of it."""
        if metres is None:
            return "none"
        text = units.text("distance_mm", abs(metres), self._us)
        if not text.strip("0. " + units.unit("distance_mm", self._us)):
            return text
        return ("-" if metres < 0 else "+") + text

    def story(self) -> list[str]:
        """The run in a few sentences."""
        figures = self._figures
        if not figures["distance_m"]:
            return [f"In {minutes(figures['sim_seconds'])} the controller was never permitted to "
                    "apply: see the events for what was missing.", self.conduct()]
        if figures["distance_within_5_pct"] is None or figures["mean_rate_l_ha"] is None:
            return [f"In {minutes(figures['sim_seconds'])} no ground was covered on which a rate "
                    "was wanted.", self.conduct()]
        known = self.caution() if self._measured else self.agreement()
        return [self.work(), self.quality(), self.by_metre(), self.worst(), known, self.pressure(),
                self.conduct()]

    def work(self) -> str:
        figures = self._figures
        off_pct = 100 * (figures["mean_rate_l_ha"] / figures["target_l_ha"] - 1)
        off_pct = round(off_pct, 1) + 0.0  # no minus zero
        lifts = figures["lifts"]
        lifted = {0: "without a lift", 1: "with one lift"}.get(lifts, f"with {lifts} lifts")
        by = "By the controller's own measure, in" if self._measured else "In"
        return (f"{by} {minutes(figures['sim_seconds'])} the machine worked "
                f"{self.length(figures['distance_m'])} and {self.area(figures['area_ha'])}, "
                f"{lifted} of the implement. It put down {self.volume(figures['volume_l'])}: "
                f"{self.rate(figures['mean_rate_l_ha'])} on average where "
                f"{self.rate(figures['target_l_ha'])} was wanted ({off_pct:+.1f} %).")

    def quality(self) -> str:
        figures = self._figures
        return (f"{figures['distance_within_5_pct']:.1f} % of the distance was within 5 % of the "
                f"rate wanted there and {figures['distance_within_10_pct']:.1f} % within 10 %. "
                f"The rms error is {figures['rate_error_rms_pct']:.2f} %; half of the distance "
                f"was within {figures['rate_error_p50_pct']:.1f} %.")

    def by_metre(self) -> str:
        """Where the plant stands: every metre of every section by itself."""
        figures = self._figures
        if self._measured:
            return ("What each section let out on each metre nobody measured: there are no figures "
                    "by section.")
        if figures["metre_within_5_pct"] is None:
            return ""
        words = (f"Every metre of every section by itself, from the moment the implement was down: "
                 f"{figures['metre_within_5_pct']:.1f} % of the ground was within 5 %, the rms "
                 f"error is {figures['metre_rms_pct']:.2f} %.")
        judged = sorted((row for row in figures["sections"] if row["rms_pct"] is not None),
                        key=lambda row: row["rms_pct"])
        best, row = judged[0], judged[-1]
        if row["rms_pct"] >= best["rms_pct"] + APART_PCT:
            words += (f" Section {row['section']} fared worst: {row['within_5_pct']:.1f} % of its "
                      f"ground, {self.rate(row['mean_rate_l_ha'])} on average.")
        return words

    def failing_sections(self) -> list[str]:
        """The sections that got the wrong rate on most of their ground, a sentence each."""
        return [f"Section {row['section']} was within 5 % of the rate on only "
                f"{row['within_5_pct']:.1f} % of its ground: it put down "
                f"{self.rate(row['mean_rate_l_ha'])} on average."
                for row in self._figures["sections"] if fails(row)]

    def worst(self) -> str:
        stretches = self._figures["worst_stretches"]
        if not stretches:
            return "Nowhere was the bar as a whole off by more than 5 %."
        return f"Worst: {self.stretch(stretches[0])}."

    def stretch(self, stretch: Figures) -> str:
        """A stretch that was off: how long, where, how much, why."""
        way = self.length(stretch["end_m"] - stretch["start_m"])
        off = stretch["mean_pct"]
        amount = f"{abs(off):.0f} % too {'much' if off > 0 else 'little'}"
        whose = f" in section {stretch['section']}" if stretch["section"] else ""
        return (f"{way} from {self.length(stretch['start_m'])} on, {amount}{whose} "
                f"(up to {abs(stretch['peak_pct']):.0f} %), {stretch['cause']}")

    def agreement(self) -> str:
        """Belief against truth."""
        figures = self._figures
        volume = figures["controller_volume_l"]
        area = figures["controller_area_ha"]
        return (f"The controller counted {self.volume(volume)}, "
                f"{versus(volume, figures['volume_l'])}, and {self.area(area)}, "
                f"{versus(area, figures['area_ha'])}.")

    def caution(self) -> str:
        """What a measured run cannot tell."""
        return ("All of this is what the controller measured itself. Whether its flow meter and "
                "its speed sensor were right cannot be seen here: catch the outlets, drive a "
                "measured course, check the tank.")

    def pressure(self) -> str:
        """What a pressure sensor told, where there is one."""
        sensed = self._figures.get("pressure")
        if not sensed:
            return ""
        low, high = (value if value is None else units.text("pressure_pa", value, self._us)
                     for value in (sensed["low_pa"], sensed["high_pa"]))
        words = ("The pressure sensor gave no reading at work." if low is None else
                 f"The pressure sensor read {low} to {high} at work.")
        if sensed["outlets_pct"] is not None:
            words += f" The outlets passed {sensed['outlets_pct']:.1f} % of what new ones pass."
        else:
            words += " It was too low to judge the outlets by."
        return words + "".join(f" It said: {said}." for said in sensed["said"])

    def conduct(self) -> str:
        """Faults, warnings and coasting."""
        figures = self._figures
        words = "No fault."
        if figures["faults"]:
            words = f"Faults: {spoken(figures['faults'])}."
        if figures["warnings"]:
            words += f" Warnings: {spoken(figures['warnings'])}."
        if figures["at_limit_pct"] >= 0.05:
            words += f" The pump was at its limit for {figures['at_limit_pct']:.1f} % of the time."
        if figures["coasting_pct"] >= 0.5:
            words += (f" For {figures['coasting_pct']:.1f} % of the time the meter could not be "
                      "read and the pump followed its curve alone.")
        return words


def percent(value: float | None, signed: bool = False) -> str:
    """A percentage with one digit."""
    if value is None:
        return "none"
    value = round(value, 1) + 0.0  # no minus zero
    return f"{value:+.1f} %" if signed else f"{value:.1f} %"


def fails(section: Figures) -> bool:
    """Whether a section got the wrong rate on most of its ground."""
    within = section["within_5_pct"]
    return within is not None and bool(within < FAILING_PCT)


def remarks(about: dict[str, Any]) -> list[str]:
    """What a reader must know of a run before trusting its figures."""
    found = [about["cut_off"]] if about.get("cut_off") else []
    gaps = about.get("gaps_s", [])
    if gaps:
        lengths = ", ".join(f"{gap:g}" for gap in gaps[:GAPS]) + (", ..." if gaps[GAPS:] else "")
        found.append(f"The line was lost and came back {times(len(gaps))}: {lengths} s are "
                     "missing.")
    if about.get("damaged_lines"):
        found.append("Damaged lines of the recording that were left out: "
                     f"{about['damaged_lines']}.")
    if about.get("settings_changed"):
        found.append("Settings were changed between the sessions of the recording; shown are those "
                     f"of its beginning: {', '.join(map(key_of, about['settings_changed']))}.")
    if about.get("missed_events"):
        found.append("Never done, because the drive ended before: "
                     f"{'; '.join(about['missed_events'])}.")
    found += [f"The controller notes: {note}." for note in about.get("notes", ())]
    if about.get("resets"):
        found.append(f"The board was reset {times(len(about['resets']))}: "
                     f"{', '.join(about['resets'])}.")
    return found


def times(count: int) -> str:
    return "once" if count == 1 else f"{count} times"


def minutes(seconds: float) -> str:
    return f"{seconds / 60:.1f} minutes" if seconds >= 100 else f"{seconds:.0f} seconds"


def versus(belief: float, truth: float) -> str:
    """How far a belief is from the truth: `0.2 % less than the truth`."""
    off_pct = 100 * (belief / truth - 1) if truth else 0.0
    if abs(off_pct) < 0.05:
        return "as in truth"
    return f"{abs(off_pct):.1f} % {'more' if off_pct > 0 else 'less'} than in truth"


def spoken(names: list[str]) -> str:
    return ", ".join(name.replace("_", " ") for name in names)
