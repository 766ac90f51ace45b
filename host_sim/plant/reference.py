"""The reference page of the machines and their parameters, made from their tables."""

from __future__ import annotations

from collections.abc import Callable

from host_sim.plant.catalogue import KINDS, fertiliser_bar, machine_spec
from host_sim.plant.parameters import ParameterRow, ParameterTable, rows
from host_sim.plant.units import trade_names

HEAD = """\
# Machines

Made from `host_sim/plant/` by `make docs`; do not edit it here.

What the twin can simulate: the table `[twin]` of a [machine file](machine_file.md) names a `kind`,
and its own tables (`[twin.pump]`, `[twin.sections]` ...) change what differs from it. Component
figures are typical values from memory, representative of a class of part and of no product: a
calibration replaces them. Lengths, pressures, flows are in SI units, which end every name; the
third column has other names under which the same parameter is understood, in trade units. Without
the unit in its name a parameter takes a text that ends in it: `relief = "4 bar"`.
`builds` says from where a campaign draws it, where it does.

| kind | what it is |
|---|---|
"""

PARAMETERS_HEAD = """
| parameter | what it is | also as | range | here | builds |
|---|---|---|---|---|---|
"""

# Where each table is shown: the kind that has a typical one, and which pumps share a name.
SHOWN = (
    ("electric_m", "pump", "Electric pumps"),
    ("hydraulic", "pump", "Hydraulic drive"),
    ("inline_centrifugal", "pump", "Centrifugal pumps"),
    ("inline_pd", "pump", "Displacement pumps on a shaft"),
    ("inline_pd", "valve", "Regulating valve"),
    *(("electric_m", name, name.capitalize()) for name in
      ("manifold", "sections", "liquid", "meter", "ground", "gnss", "supply")),
)


def machines_page() -> str:
    """The whole page."""
    kinds = "".join(f"| `{kind}` | {_said(make)} |\n" for kind, make in KINDS.items())
    bar = f"\nThe fertiliser bar: {_said(fertiliser_bar)}\n"
    return HEAD + kinds + bar + "".join(_part(*shown) for shown in SHOWN)


def _said(of: Callable[..., object]) -> str:
    return " ".join((of.__doc__ or "").split())


def _part(kind: str, name: str, title: str) -> str:
    table = machine_spec(kind).tables()[name]
    text = f"\n## {title}\n\n`[twin.{name}]`; values of `{kind}`.\n" + PARAMETERS_HEAD
    return text + "".join(_line(table, field, row) for field, row in rows(type(table)).items())


def _line(table: ParameterTable, field: str, row: ParameterRow) -> str:
    value = getattr(table, field)
    values = value if row.many else (value,)
    here = ", ".join(item if row.choices else f"{item:.4g}" for item in values)
    limits = ", ".join(row.choices) if row.choices else f"{row.low:g} to {row.high:g}"
    cells = (f"`{field}`", row.note, " ".join(f"`{name}`" for name in trade_names(field)),
             limits, here, str(row.spread or ""))
    return "| " + " | ".join(cells) + " |\n"
