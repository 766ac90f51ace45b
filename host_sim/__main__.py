"""Command line entry: `python -m host_sim VERB ...`; verbs live in host_sim/verbs/.

An installed package has the same as a command of its own, COMMAND.
"""

from __future__ import annotations

import argparse
import errno
import importlib
import os
import pkgutil
import sys
from collections.abc import Sequence
from pathlib import Path
from types import ModuleType
from typing import NoReturn

from host_sim import verbs
from host_sim.common.errors import InputError, plain

FROM_CHECKOUT = "python -m host_sim"
COMMAND = "rate-twin"  # `[project.scripts]` in pyproject.toml
# Arguments that name a file to write. Where a verb works in place, `in_place` names that one.
WRITTEN = ("out", "json", "csv", "plot", "draw", "report", "record_inputs", "script", "notebook")
EXIT_BAD_INPUT = 2
EXIT_INTERRUPTED = 130


class OneLineParser(argparse.ArgumentParser):
    """An argument parser that says what is wrong in one line, without the usage text."""

    def error(self, message: str) -> NoReturn:
        self.exit(EXIT_BAD_INPUT, f"{self.prog}: {plain(message)} (see --help)\n")


def called_as() -> str:
    """What a person typed to get here, for messages and for examples that run as printed."""
    return COMMAND if Path(sys.argv[0]).stem == COMMAND else FROM_CHECKOUT


def verb_names() -> list[str]:
    """Names of all verbs, sorted; a module `two_words` is the verb `two-words`."""
    names = (module.name for module in pkgutil.iter_modules(verbs.__path__))
    return sorted(name.replace("_", "-") for name in names if not name.startswith("_"))


def load_verb(name: str) -> ModuleType:
    """The module behind a verb."""
    return importlib.import_module(f"{verbs.__name__}.{name.replace('-', '_')}")


def build_parser(argv: Sequence[str]) -> argparse.ArgumentParser:
    """Parser for this command line; only the verb it names is imported."""
    known = verb_names()
    wanted = [argv[0]] if argv and argv[0] in known else known
    parser = OneLineParser(
        prog=called_as(), description="Host twin of the liquid application rate controller."
    )
    subparsers = parser.add_subparsers(metavar="VERB", required=True)
    for name in wanted:
        module = load_verb(name)
        verb_parser = subparsers.add_parser(
            name,
            help=module.HELP,
            description=module.HELP,
            formatter_class=argparse.RawDescriptionHelpFormatter,
        )
        module.configure(verb_parser)
        if verb_parser.epilog:
            verb_parser.epilog = verb_parser.epilog.replace(FROM_CHECKOUT, called_as())
        verb_parser.set_defaults(run=module.run)
    return parser


def check_written(args: argparse.Namespace) -> None:
    """Raise InputError where a command would write over a file that it is given to read."""
    named = {name: Path(value) for name, value in vars(args).items()
             if isinstance(value, (str, Path)) and os.path.isfile(value)}
    for name in WRITTEN:
        if name not in named or name == getattr(args, "in_place", ""):
            continue
        for other, path in named.items():
            if other != name and os.path.samefile(named[name], path):
                raise InputError(f"--{name.replace('_', '-')}: {path}: is what the command reads: "
                                 "give another file")


def main(argv: Sequence[str] | None = None) -> int:
    """Run one command line; returns the exit status."""
    _open_what_is_closed()
    arguments = list(sys.argv[1:] if argv is None else argv)
    args = build_parser(arguments).parse_args(arguments)
    try:
        check_written(args)
        return int(args.run(args))
    except InputError as error:
        print(f"{called_as()} {arguments[0]}: {error}", file=sys.stderr)
        return EXIT_BAD_INPUT
    except KeyboardInterrupt:
        return EXIT_INTERRUPTED
    except BrokenPipeError:  # the reader (head, less) went away: not an error
        _say_no_more()
        return 0
    except OSError as error:
        if error.errno != errno.ENOSPC:
            raise
        _say_no_more()
        print(f"{called_as()} {arguments[0]}: the disk is full", file=sys.stderr)
        return EXIT_BAD_INPUT


def _open_what_is_closed() -> None:
    """Give who closed them (`2>&-`, a service) streams that lead nowhere; Python has None there."""
    for name, mode in (("stdin", "r"), ("stdout", "w"), ("stderr", "w")):
        if getattr(sys, name) is None:
            setattr(sys, name, os.fdopen(os.open(os.devnull, os.O_RDWR), mode))


def _say_no_more() -> None:
    """Keep the interpreter from complaining again when it flushes at exit."""
    os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())


if __name__ == "__main__":
    sys.exit(main())
