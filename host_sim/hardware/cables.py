"""Cables of the controller, what they carry, and the fuses that guard them.

Lengths are those of a small machine and chosen: measure yours. Colours are this project's own.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from host_sim.hardware.circuit import Circuit, Part

# Cross-section in mm2: ohm for a metre, amperes that it carries for long. Source: guidance on
# cable, http://rydertowing.co.uk/towbar-wiring/cable; 4 mm2 is rated as the 3 mm2 there.
CABLES = {0.65: (0.0294, 5.75), 1.0: (0.0189, 8.75), 1.5: (0.0125, 12.75), 2.5: (0.0075, 21.75),
          4.0: (0.0047, 25.5)}  # fmt: skip
DROP_MOST_PCT = 5.0  # of 12 V, there and back; chosen
HEADROOM = 1.25  # a fuse is rated this much above the steady load; common practice, no source


@dataclass(frozen=True)
class Cable:
    """What leads from a connector to the machine: metres, mm2, amperes, a colour for each pin."""

    connector: str
    length_m: float
    mm2: float
    amps: float
    colours: tuple[str, ...]
    screened: bool = False

    @property
    def drop_v(self) -> float:
        """Volts lost there and back."""
        return 2 * self.length_m * CABLES[self.mm2][0] * self.amps

    @property
    def drop_pct(self) -> float:
        """The same as a share of 12 V."""
        return 100 * self.drop_v / 12


@dataclass(frozen=True)
class FuseCase:
    """A fuse, the steady load behind it and the thinnest wire that it guards."""

    ref: str
    load_a: float
    mm2: float
    what: str


SECTION_COLOURS = ("orange", "white")
SENSOR_COLOURS = ("orange", "yellow", "black")
TABLE = (
    Cable("J1", 4, 1.0, 0.35, ("red", "black")),
    Cable("J2", 3, 4.0, 17, ("red, thick", "black, thick")),
    Cable("J3", 6, 0.65, 0.03, SENSOR_COLOURS, screened=True),
    Cable("J4", 6, 0.65, 0.03, SENSOR_COLOURS, screened=True),
    Cable("J5", 1, 0.65, 0.001, ("green", "black")),
    Cable("J6", 6, 0.65, 0.001, ("green and white", "black")),
    Cable("J7", 1, 0.65, 0.001, ("brown", "blue", "grey", "pink", "violet", "turquoise", "white",
                                 "yellow", "black")),
    Cable("J10", 4, 2.5, 8, ("red, thick", "blue, thick")),
    *(Cable(f"J{10 + number}", 6, 1.5, 1.0, SECTION_COLOURS) for number in range(1, 9)),
    Cable("J20", 5, 1.0, 1.0, ("blue", "brown")),
    Cable("J21", 0.3, 0.65, 0.03, ("black", "red", "yellow", "green")),
    Cable("J22", 0.3, 0.65, 0.1, ("black", "red", "yellow", "green")),
    Cable("J23", 0.3, 0.65, 0.001, ("black", "white", "grey", "violet")),
    Cable("J24", 0.3, 0.65, 0.001, ("blue", "black")),
    Cable("J25", 0.3, 0.65, 0.02, ("red", "white")),
    Cable("J26", 0.3, 0.65, 0.03, ("red", "grey")),
    Cable("J27", 3, 0.65, 0.05, ("red", "black", "white"), screened=True),
    Cable("J28", 3, 0.65, 0.01, ("yellow", "green", "black")),
    Cable("J29", 5, 0.65, 0.01, ("red", "white", "black"), screened=True),
    Cable("J30", 0.15, 0.65, 0.1, ("red", "black", "yellow", "blue", "green", "white")),
)  # fmt: skip
FUSES = (
    FuseCase("F1", 0.35, 1.0, "controller, at 10.5 V with all its loads (margins.md)"),
    FuseCase("F2", 0.06, 0.65, "two sensors of 25 mA and their pull-ups"),
    FuseCase("F3", 17, 4.0, "pump 8 A, eight valves of 1 A, regulating valve 1 A"),
    FuseCase("F4", 0.14, 0.65, "coil of the relay, 90 ohm at 12.6 V"),
    FuseCase("F8", 0.14, 0.65, "the same coil while it holds itself"),
    FuseCase("F5", 8, 2.5, "pump"),
    FuseCase("F6", 8, 1.5, "eight valves, each on wire that the fuse guards"),
    FuseCase("F7", 1, 1.0, "regulating valve"),
)
RATINGS_A = {"F1": 2, "F2": 0.5, "F3": 25, "F4": 1, "F5": 15, "F6": 10, "F7": 3, "F8": 1}


def findings(circuit: Circuit) -> Iterator[str]:
    """Cables that lose too much or have a wire too few, fuses that guard nothing."""
    connectors = {part.ref: part for part in circuit.parts.values() if part.kind == "CONN"}
    drawn = {cable.connector for cable in TABLE}
    for ref in sorted(set(connectors) - drawn):
        yield f"{ref}: has no cable"
    for cable in TABLE:
        part: Part | None = connectors.get(cable.connector)
        if part and len(cable.colours) != len(part.nets):
            yield f"{cable.connector}: {len(cable.colours)} colours, {len(part.nets)} wires"
        if len(set(cable.colours)) != len(cable.colours):
            yield f"{cable.connector}: two wires of one colour"
        if cable.drop_pct > DROP_MOST_PCT:
            yield f"{cable.connector}: loses {cable.drop_pct:.1f} %"
        if cable.amps > CABLES[cable.mm2][1]:
            yield f"{cable.connector}: {cable.mm2:g} mm2 carries {CABLES[cable.mm2][1]:g} A"
    for case in FUSES:
        rating = RATINGS_A[case.ref]
        if circuit.parts[case.ref].value != f"{rating:g} A":
            yield f"{case.ref}: drawn as {circuit.parts[case.ref].value}, reckoned as {rating:g} A"
        if rating < HEADROOM * case.load_a:
            yield f"{case.ref}: {rating:g} A for a load of {case.load_a:g} A"
        if rating > CABLES[case.mm2][1]:
            yield f"{case.ref}: {rating:g} A guards a wire for {CABLES[case.mm2][1]:g} A"
