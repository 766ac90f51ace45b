"""What the extension handbooks say of outlets, as pure functions.

The published sources and their worked examples stand beside the tests; what the handbooks work
out in other ways than this project does is in tests/support/handbook.py.
"""

from __future__ import annotations

from math import sqrt

# ISO 10625 size numbers and colours. Colours 01 to 08 as published at
# https://royalbrinkman.com/knowledge-center/mechanical-equipment/nozzle-coding ,
# 10 to 20 from memory.
ISO_10625_COLOURS = {
    "01": "orange",
    "015": "green",
    "02": "yellow",
    "025": "violet",
    "03": "blue",
    "04": "red",
    "05": "brown",
    "06": "grey",
    "08": "white",
    "10": "light blue",
    "15": "light green",
    "20": "black",
}


def orifice_flow(
    flow_at_reference: float,
    reference_pressure: float,
    pressure: float,
    specific_gravity: float = 1.0,
) -> float:
    """Flow of an orifice by the square-root law, from one measured point with water."""
    return flow_at_reference * sqrt(pressure / (reference_pressure * specific_gravity))


def orifice_pressure(
    flow_at_reference: float,
    reference_pressure: float,
    flow: float,
    specific_gravity: float = 1.0,
) -> float:
    """Pressure at which an orifice passes a flow; the inverse of `orifice_flow`."""
    return reference_pressure * specific_gravity * (flow / flow_at_reference) ** 2


def density_factor(specific_gravity: float) -> float:
    """Factor sqrt(SG): `rate of solution x factor = rate of water` at the same pressure.

    For whatever an orifice and its pressure decide. A volumetric flow meter needs none.
    """
    return sqrt(specific_gravity)


def size_tenths(size: str) -> float:
    """ISO 10625 size number as tenths of a US gal/min at 40 psi: `"015"` is 1.5."""
    return float(f"{size[:2]}.{size[2:] or 0}")


def size_flow_gal_min(size: str) -> float:
    """Flow of a size at 40 psi with water: the meaning of the number."""
    return size_tenths(size) / 10
