"""What KiCad makes of the drawings: its rule check, its netlists, its prints."""

from __future__ import annotations

import json
import re
import shutil
import subprocess
import tempfile
from collections.abc import Iterator, Mapping
from pathlib import Path

from host_sim.hardware.circuit import Nets, Part, nets_of

PROGRAM = "kicad-cli"
OLDEST = 9  # whose files these are
MISSING = (f"KiCad {OLDEST} or newer is not here ({PROGRAM}); hardware/README.md says how to "
           "get it")


def version() -> str:
    """The version of the KiCad that is installed, "" where there is none."""
    if not shutil.which(PROGRAM):
        return ""
    told = subprocess.run([PROGRAM, "version"], capture_output=True, text=True, check=False)
    return told.stdout.strip()


def is_here() -> bool:
    """Whether a KiCad that can read the drawings is installed."""
    major = version().split(".")[0]
    return major.isdigit() and int(major) >= OLDEST


def run(*arguments: str) -> None:
    """Run KiCad. Raises RuntimeError with its words where it fails."""
    done = subprocess.run([PROGRAM, *arguments], capture_output=True, text=True, check=False)
    if done.returncode:
        raise RuntimeError(f"{PROGRAM} {' '.join(arguments[:3])}: {done.stderr or done.stdout}")


def violations(schematic: Path) -> list[str]:
    """What the electrical rule check finds, errors and warnings alike."""
    with tempfile.TemporaryDirectory() as folder:
        report = Path(folder, "erc.json")
        run("sch", "erc", "--severity-all", "--format", "json", "-o", str(report), str(schematic))
        told = json.loads(report.read_text("utf-8"))
    return [
        f"{sheet['path']}: {found['description']}: "
        + "; ".join(item["description"] for item in found["items"])
        for sheet in told["sheets"]
        for found in sheet["violations"]
    ]


def netlist(schematic: Path) -> dict[str, Part]:
    """The parts that KiCad sees, with the net of each pin; only drawn places are not known."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder, "netlist")
        run("sch", "export", "netlist", "--format", "kicadsexpr", "-o", str(path), str(schematic))
        return read_netlist(path.read_text("utf-8"))


def spice_netlist(schematic: Path) -> str:
    """The netlist for a simulator."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder, "netlist")
        run("sch", "export", "netlist", "--format", "spice", "-o", str(path), str(schematic))
        return path.read_text("utf-8")


def read_netlist(text: str) -> dict[str, Part]:
    """Read a netlist in KiCad's own format. A net that is only on one page loses its path."""
    tree = parsed(text)
    nets: dict[str, dict[str, str]] = {}
    for net in children(child(tree, "nets"), "net"):
        name = str(value(net, "name")).rsplit("/", 1)[-1]
        if name.startswith("unconnected-"):
            name = ""
        for node in children(net, "node"):
            nets.setdefault(value(node, "ref"), {})[value(node, "pin")] = name
    parts = {}
    for component in children(child(tree, "components"), "comp"):
        ref = value(component, "ref")
        items = {value(field, "name"): field[-1] for field in children(component, "property")}
        kind = re.sub(r"_(up|down|left|right)$", "",
                      value(child(component, "libsource"), "part"))  # fmt: skip
        item = str(items["Item"][-1])
        parts[ref] = Part(ref, re.sub(r"^CONN_\d+$", "CONN", kind), value(component, "value"), item,
                          nets.get(ref, {}), (0, 0))  # fmt: skip
    return parts


# A list of lists and words, as the format has it.
Tree = list


def parsed(text: str) -> Tree:  # type: ignore[type-arg]
    """Brackets and words as nested lists."""
    stack: list[Tree] = [[]]  # type: ignore[type-arg]
    for opening, closing, words, word in re.findall(
        r'(\()|(\))|"((?:[^"\\]|\\.)*)"|([^\s()"]+)', text
    ):
        if opening:
            stack.append([])
        elif closing:
            done = stack.pop()
            stack[-1].append(done)
        else:
            stack[-1].append(word or words.replace('\\"', '"'))
    return stack[0][0]


def children(tree: Tree, name: str) -> Iterator[Tree]:  # type: ignore[type-arg]
    """Every list in a list that begins with this word."""
    return (entry for entry in tree if isinstance(entry, list) and entry and entry[0] == name)


def child(tree: Tree, name: str) -> Tree:  # type: ignore[type-arg]
    """The first of them."""
    return next(children(tree, name))


def value(tree: Tree, name: str) -> str:  # type: ignore[type-arg]
    """The word behind the name in the first of them."""
    return str(child(tree, name)[1])


def differences(wanted: Mapping[str, Part], found: Mapping[str, Part]) -> list[str]:
    """How what KiCad sees differs from the circuit table: parts, their items, and every net."""
    told = [f"{ref}: is not drawn" for ref in sorted(set(wanted) - set(found))]
    told += [f"{ref}: is drawn and in no table" for ref in sorted(set(found) - set(wanted))]
    for ref in sorted(set(wanted) & set(found)):
        one, other = wanted[ref], found[ref]
        if (one.item, one.value, one.kind) != (other.item, other.value, other.kind):
            told.append(f"{ref}: is {other.kind} {other.value} ({other.item}), "
                        f"should be {one.kind} {one.value} ({one.item})")
    return told + net_differences(nets_of(wanted), nets_of(found))


def net_differences(wanted: Nets, found: Nets) -> list[str]:
    """Nets by their names, pin by pin."""
    told = []
    for net in sorted(set(wanted) | set(found)):
        extra = found.get(net, frozenset()) - wanted.get(net, frozenset())
        missing = wanted.get(net, frozenset()) - found.get(net, frozenset())
        told += [f"{net}: {ref} pin {pin} is joined to it" for ref, pin in sorted(extra)]
        told += [f"{net}: {ref} pin {pin} is missing" for ref, pin in sorted(missing)]
    return told
