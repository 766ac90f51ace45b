"""`python -m host_sim zones`: rates by place, from GeoJSON to a board."""

from __future__ import annotations

import argparse
from pathlib import Path

HELP = "make the file of zones with rates that a board looks up, from GeoJSON"

EPILOG = """\
examples:
  python -m host_sim zones zones.geojson --out zones.bin
  python -m host_sim zones zones.geojson --out zones.bin --size 2000 --units us

How it gets onto a board, and what it does there: docs/how_to/apply_by_zones.md.
Exit status: 0, or 2 for bad input.

caution: on the board the rate changes by itself where another zone begins. The product label, local
rules and licensed practice prevail.
"""
SIZE_MIN, SIZE = 200, 8000


def configure(parser: argparse.ArgumentParser) -> None:
    from host_sim.common.unit_option import add_units

    parser.epilog = EPILOG
    parser.add_argument("zones", type=Path, metavar="FILE", help="zones (GeoJSON)")
    parser.add_argument("--out", type=Path, required=True, metavar="FILE", help="file to write")
    parser.add_argument("--size", type=int, default=SIZE, metavar="BYTES",
                        help=f"how much of a board's memory it may take (default {SIZE})")
    add_units(parser, "of what is printed (default metric)")


def run(args: argparse.Namespace) -> int:
    from app.zones import SIZE_MAX
    from host_sim.common import units
    from host_sim.common.errors import InputError, plain
    from host_sim.common.output import check_target, write_bytes
    from host_sim.common.unit_option import us_of
    from host_sim.maps.zone_file import M2_HA, ML_HA_PER_M, grid_of, read_zones, zone_bytes

    if not SIZE_MIN <= args.size <= SIZE_MAX:
        raise InputError(f"--size: must be {SIZE_MIN} to {SIZE_MAX}, is {args.size}")
    check_target(args.out)
    zones = read_zones(args.zones)
    try:
        grid = grid_of(zones, args.size)
    except InputError as error:
        raise InputError(f"{args.zones}: {error}") from error
    us = us_of(args)
    data = zone_bytes(grid)
    write_bytes({args.out: data})
    for number, rate in enumerate(grid.rates_ml_ha, start=1):
        area_m2 = grid.area_ha(number) * M2_HA
        print(f"{units.text('rate_ml_ha', rate / ML_HA_PER_M, us):>14}  "
              f"{units.text('area_m2', area_m2, us)}")
    side = units.text("distance_mm", grid.cell_mm / 1e3, us)
    print(f"{plain(args.out)}: {len(data)} bytes, cells of {side}")
    return 0
