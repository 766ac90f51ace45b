"""`python -m host_sim map`: where a run applied how much, as files for maps."""

from __future__ import annotations

import argparse
from pathlib import Path

HELP = "make maps of a run: GeoJSON, ISO 11783-10 task data, a shapefile, and a drawing"

EPILOG = """\
examples:
  python -m host_sim map out/demo --out out/maps
  python -m host_sim map field.rec --out out/maps --belief

The how-to is docs/how_to/make_maps.md; what the files hold, docs/reference/map_files.md.
Exit status: 0, or 2 for bad input.
"""


def configure(parser: argparse.ArgumentParser) -> None:
    from host_sim.common.unit_option import add_units

    parser.epilog = EPILOG
    parser.add_argument("run_path", type=Path, metavar="RUN",
                        help="folder of a run, or the recording of a board")
    parser.add_argument("--out", type=Path, required=True, metavar="DIR", help="folder to write")
    parser.add_argument("--belief", action="store_true",
                        help="of a run of the twin what the controller believed, not the truth")
    add_units(parser, "of the drawing and of what is printed (default of the run)")


def run(args: argparse.Namespace) -> int:
    from host_sim.common.errors import InputError, plain
    from host_sim.common.output import check_directory, write_bytes
    from host_sim.common.unit_option import us_of
    from host_sim.maps.field_map import figures_text
    from host_sim.maps.files import map_files
    from host_sim.runs.files import load_run

    check_directory(args.out)
    record, _ = load_run(args.run_path)
    us = us_of(args, record.us)
    try:
        files, field_map = map_files(record, us, args.belief)
    except InputError as error:
        raise InputError(f"{args.run_path}: {error}") from error
    paths = write_bytes({args.out / name: data for name, data in files.items()})
    for line in figures_text(field_map, us):
        print(line)
    for path in paths:
        print(plain(path))
    return 0
