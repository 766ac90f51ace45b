"""`python -m host_sim fit`: a person's own twin, its parameters estimated from a recording."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import TYPE_CHECKING

from host_sim.common.unit_option import add_units, us_of

if TYPE_CHECKING:
    from host_sim.fit.episode import Episode
    from host_sim.fit.estimate import Estimate
    from host_sim.machine_file.choice import Chosen

HELP = "estimate the parameters of your own machine's twin from a recording"

EPILOG = """\
RUN is the recording of a board, made with `record --every 1`, or a directory that `drive` or
`record --from` left; of a drive on the twin only what its controller recorded is read. MACHINE is
a machine file or the name of a kind (docs/reference/machines.md): what is fitted, about which the
parameters are looked for.

Prints what the machine does and the 95 % interval of each figure, then what the run cannot tell,
and which drive or step on the bench would. With --into the parameters go into [twin] of a machine
file, each with its interval; what the file held is kept beside it as FILE.before. The liveliest
unbroken two minutes of a run are used; they take about a minute.

examples:
  python -m host_sim fit field.rec my_bar.toml
  python -m host_sim fit field.rec my_bar.toml --into my_bar.toml
  python -m host_sim report field.rec --replay my_bar.toml
"""

MISFIT_SHARE = 0.08  # of the mean rate: no machine of that kind gave these pulses


def configure(parser: argparse.ArgumentParser) -> None:
    parser.epilog = EPILOG
    parser.add_argument("run_path", type=Path, metavar="RUN", help="recording or directory")
    parser.add_argument("machine", metavar="MACHINE", help="machine file, or a kind of machine")
    parser.add_argument("--into", type=Path, metavar="FILE",
                        help="machine file whose [twin] takes the parameters")
    add_units(parser, "of what is shown (default: of the machine file, or of the run)")


def run(args: argparse.Namespace) -> int:
    from host_sim.common.errors import InputError, plain
    from host_sim.common.progress import progress
    from host_sim.fit.episode import episode_of
    from host_sim.fit.estimate import estimate
    from host_sim.fit.quantities import point_of, quantities
    from host_sim.fit.words import fit_text
    from host_sim.machine_file.choice import chosen
    from host_sim.machine_file.machine import load_machine
    from host_sim.runs.files import load_run
    from host_sim.runs.measured import as_measured

    machine = chosen(args.machine)
    into = load_machine(args.into) if args.into else None  # a bad file ends it before the work
    record, _ = load_run(args.run_path)
    episode = episode_of(str(args.run_path), as_measured(record))
    _check_kind(args, machine, episode)
    with progress("looking for the machine") as tell:
        found = estimate(machine.spec, episode, tell)
    if found.misfit_share > MISFIT_SHARE:
        raise InputError(
            f"{args.run_path}: is no run of a machine like {machine.name}: the best of them is "
            f"{100 * found.misfit_share:.0f} % off in the rate; is the kind right, and was nothing "
            "broken?")
    file = machine.file or into
    us = us_of(args, file.us if file else record.us)
    figures = quantities(found, point_of(found))
    if into:
        _keep(args.into, found, args.run_path.name, into.us)
    print(fit_text(f"{plain(args.run_path)}: {machine.name}", found, figures, us))
    if into:
        print(plain(args.into))
    return 0


def _check_kind(args: argparse.Namespace, machine: Chosen, episode: Episode) -> None:
    """Raise InputError where the run cannot be one of such a machine."""
    from host_sim.common.errors import InputError
    from host_sim.trials.commissioning.owner import ACTUATORS

    spec, settings = machine.spec, episode.settings
    if ACTUATORS[spec.actuator] != settings["actuator"]:
        names = {number: name.replace("_", " ") for name, number in ACTUATORS.items()}
        raise InputError(f"{args.run_path}: is a run of a machine with another actuator: "
                         f"{names[settings['actuator']]}, and {machine.name} has "
                         f"{names[ACTUATORS[spec.actuator]]}")
    if spec.sections.count != settings["section_count"]:
        raise InputError(f"{args.run_path}: is a run of a machine with "
                         f"{settings['section_count']} sections, {machine.name} has "
                         f"{spec.sections.count}")


def _keep(path: Path, found: Estimate, run_name: str, us: bool) -> None:
    """Write the parameters into the machine file."""
    import datetime

    from host_sim.common.errors import plain
    from host_sim.fit.words import interval_note
    from host_sim.machine_file.twin_keeping import Fitted, keep_twin

    fitted: dict[tuple[str, str], Fitted] = {}
    for unknown, z, deviation in zip(found.unknowns, found.z.tolist(), found.deviations.tolist(),
                                     strict=True):
        if unknown.beside:
            continue
        key = unknown.table, unknown.name
        value = getattr(found.machine.tables()[unknown.table], unknown.name)
        note = "" if unknown.index is not None else interval_note(unknown, z, deviation, us)
        fitted[key] = Fitted(value, note)
    how = f"fit of {plain(run_name)}, {datetime.date.today()}; 95 % intervals beside"
    keep_twin(path, found.machine, fitted, how)
