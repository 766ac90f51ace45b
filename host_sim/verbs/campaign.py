"""`python -m host_sim campaign`: many random builds, each tuned only by its own procedures."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from host_sim.trials.campaign.build import BuildResult

HELP = "set up and drive many random machines; find those that surge or lag"

EPILOG = """\
Each build is a machine of any kind with its parameters drawn from the ranges in
docs/reference/machines.md, calibrated by a careful but not perfect owner, tuned by nothing but
the firmware's own pump curve and step test, then driven through speed steps and sections off and
on. Everything follows from the seed: the same seeds give the same results on any number of
processes. Exit status: 0 if every claim holds, 1 if not, 2 for bad input.

examples:
  python -m host_sim campaign --builds 1000 --json out/campaign.json --plot out/campaign.png
  python -m host_sim campaign --builds 60 --drift
  python -m host_sim campaign --replay 137
  python -m host_sim campaign --builds 1000 --dask tcp://127.0.0.1:8786
"""
PLOT_SUFFIXES = (".png", ".svg")


def configure(parser: argparse.ArgumentParser) -> None:
    from host_sim.verbs.acceptance import at_least_one

    parser.epilog = EPILOG
    parser.add_argument("--builds", type=at_least_one, default=100, metavar="N",
                        help="how many builds (default 100)")
    parser.add_argument("--seed", type=int, default=1, metavar="S",
                        help="seed of the first build; the others follow (default 1)")
    where = parser.add_mutually_exclusive_group()
    where.add_argument("--workers", type=at_least_one, metavar="W",
                       help="processes to use (default: one a core)")
    where.add_argument("--dask", metavar="ADDRESS",
                       help="run on the cluster whose scheduler is at this address")
    parser.add_argument("--drift", action="store_true",
                        help="drive each build as tuned and after each of five drifts instead")
    parser.add_argument("--field", choices=("calm", "ordinary", "rough"), default="calm",
                        help="the field to drive in (default calm: the claims are about that)")
    parser.add_argument("--json", type=Path, metavar="FILE", help="write all results as JSON")
    parser.add_argument("--plot", type=Path, metavar="FILE", help="draw them: .png or .svg")
    parser.add_argument("--replay", type=int, metavar="SEED",
                        help="one build again: its parameters, its settings and what came of it")


def run(args: argparse.Namespace) -> int:
    from host_sim.common.errors import InputError
    from host_sim.verbs.acceptance import check_file

    if args.replay is not None:
        return _replay(args.replay)
    check_file("--json", args.json)
    check_file("--plot", args.plot, PLOT_SUFFIXES)
    if args.drift and args.plot:
        raise InputError("--plot: there is no picture of a campaign with --drift")
    return _campaign(args)


def _campaign(args: argparse.Namespace) -> int:
    from host_sim.common.errors import plain
    from host_sim.common.output import write_json, write_whole
    from host_sim.common.parallel import executor
    from host_sim.common.progress import progress
    from host_sim.trials.campaign.chart import draw
    from host_sim.trials.campaign.session import as_json, run_campaign, run_drifts
    from host_sim.trials.campaign.table import campaign_text, holds

    with executor(args.workers, args.dask) as pool, progress("building and driving") as tell:
        if args.drift:
            return _drifts(args, run_drifts(args.builds, args.seed, pool, tell, args.field))
        campaign = run_campaign(args.builds, args.seed, pool, tell, args.field)
    written = write_json(args.json, as_json(campaign))
    if args.plot and campaign.tuned:
        written.append(
            write_whole(args.plot, lambda part: draw(campaign, part, args.plot.suffix)))
    print("\n".join([campaign_text(campaign), *map(plain, written)]))
    return 0 if holds(campaign) else 1


def _drifts(args: argparse.Namespace, results: list[BuildResult]) -> int:
    """Tell what drift does, and what of it is claimed."""
    from host_sim.common.errors import plain
    from host_sim.common.output import write_json
    from host_sim.trials.campaign.session import drifts_json
    from host_sim.trials.campaign.table import drift_text, drifts_hold

    written = write_json(args.json, drifts_json(results))
    print("\n".join([drift_text(results), *map(plain, written)]))
    return 0 if drifts_hold(results) else 1


def _replay(seed: int) -> int:
    import json
    from dataclasses import asdict

    from host_sim.trials.campaign.build import draw_build, try_build

    build = draw_build(seed)
    print(json.dumps({"spec": asdict(build.spec), "slips": asdict(build.slips),
                      "wish": asdict(build.wish)}, indent=1))
    print(json.dumps(asdict(try_build(seed)), indent=1))
    return 0
